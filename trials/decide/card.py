"""The card for the machine: what to fit, at which settings, what was shown around them, when to change it.

No more than the trial supports: a type that was not shown to be as good as the one in use gets no card.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from trials.decide.chart import SERVES, Said
from trials.decide.typical_life import TypicalLife
from trials.decide.window_result import TypeWindow, WindowStudy
from trials.errors import InputError
from trials.findings import Finding
from trials.infer.answer import Answer
from trials.nozzles import STYLE_FIELDS, Nozzle
from trials.trial import Application, Level, Trial


class CardKind(StrEnum):
    """What a card says about its own ground."""

    ONLY_TODAY = "card_only_today_compared"
    NOT_SHOWN_SAFE = "card_not_shown_safe"
    EXPLORATORY = "card_exploratory"
    NO_LIVES = "card_no_lives"
    LIFE_STATED = "card_life_stated"
    LIFE_NONE_FAILED = "card_life_none_failed"
    LIFE_SEEN = "card_life_seen"


class Watch(StrEnum):
    """What to look out for at the machine (common practice, no source)."""

    CENTRE = "centre"
    SPATTER = "spatter"
    TIP_UP = "tip_up"
    EDGE = "edge"
    JETS = "jets"
    DOUBLE_WALL = "double_wall"
    POINT = "point"
    PLATED = "plated"


def watch(nozzle: Nozzle) -> tuple[Watch, ...]:
    """What to look out for with a nozzle of this form."""
    of_form = (
        (Watch.JETS, nozzle.side_jets),
        (Watch.DOUBLE_WALL, nozzle.wall == "double"),
        (Watch.POINT, nozzle.point),
        (Watch.PLATED, nozzle.plated),
    )
    return (Watch.CENTRE, *(one for one, so in of_form if so), Watch.SPATTER, Watch.TIP_UP, Watch.EDGE)


@dataclass(frozen=True)
class Setting:
    """One setting of the machine, with its unit; held: it was the same for the whole trial."""

    name: str
    value: Level
    unit: str
    held: bool


@dataclass(frozen=True)
class Span:
    """How far one setting may go, the others as on the card, with the stated chance shown by its bound."""

    name: str
    low: float
    high: float
    unit: str


@dataclass(frozen=True)
class Safe:
    """What was shown around the settings. wanted: the stated chance; chance, low: at the card's own settings."""

    wanted: float
    chance: float | None
    low: float | None
    spans: tuple[Span, ...]


@dataclass(frozen=True)
class LookAlike:
    """Another type of the trial, and the details in which it differs; same_orifice: the number does not tell them."""

    nozzle: Nozzle
    differs: tuple[str, ...]
    same_orifice: bool


@dataclass(frozen=True)
class Card:
    """Everything on the card.

    said: decisive answers against `today`, none where the card is for the type in use; safe: None where no window could
    be reckoned; grounds: what the card says about its own ground; watch: what to look out for; life: None where none is
    known; look, day: of the kept verdict behind it.
    """

    title: str
    job: Application
    nozzle: Nozzle
    today: str
    said: tuple[Said, ...]
    settings: tuple[Setting, ...]
    safe: Safe | None
    look_alikes: tuple[LookAlike, ...]
    watch: tuple[Watch, ...]
    life: TypicalLife | None
    grounds: tuple[Finding, ...]
    look: int
    day: date


def choose(trial: Trial, answers: Mapping[str, Sequence[Said]], wanted: str = "") -> Nozzle:
    """The type of the card: the one named, else that with the largest proved gain, else the one in use.

    Raises
    ------
    InputError
        If the named type is none of the trial, or was not shown to be as good as the one in use.
    """
    able = {name: said for name, said in answers.items() if said and all(one.answer in SERVES for one in said)}
    if wanted and wanted not in trial.types:
        raise InputError(
            "no such nozzle type", column="--nozzle", found=wanted, allowed=", ".join(trial.types), do="Name one."
        )
    if wanted and wanted != trial.today.type and wanted not in able:
        raise InputError(
            f"was not shown to be as good as {trial.today.type}",
            column="--nozzle",
            found=wanted,
            allowed=", ".join((trial.today.type, *able)),
            do="Name one of these, or cut more (`trials extend`).",
        )
    better = {name: gain for name, said in able.items() if (gain := _gain(said)) > 0}
    chosen = wanted or max(better, key=lambda name: better[name], default=trial.today.type)
    return next(nozzle for nozzle in trial.nozzles if nozzle.type == chosen)


def _gain(said: Sequence[Said]) -> float:
    return max((one.times_worthwhile or 1.0 for one in said if one.answer == Answer.BETTER), default=0.0)


def settings_of(trial: Trial, at: Mapping[str, Level] | None = None) -> tuple[Setting, ...]:
    """Settings of the machine as compared, then what was held; those of [held] carry their unit in their name."""
    varied = at or trial.today_settings
    own = [Setting(name, level, trial.factors[name].unit, held=False) for name, level in varied.items()]
    fixed = [Setting(name, _level(value), "", held=True) for name, value in trial.held.items()]
    return (*own, *fixed)


def _level(value: float | str | bool) -> Level:
    return ("yes" if value else "no") if isinstance(value, bool) else value


def look_alikes(trial: Trial, nozzle: Nozzle) -> tuple[LookAlike, ...]:
    """The other types of the trial, the most alike first."""
    others = [_look_alike(nozzle, other) for other in trial.nozzles if other.type != nozzle.type]
    return tuple(sorted(others, key=lambda one: (len(one.differs), not one.same_orifice)))


def _look_alike(nozzle: Nozzle, other: Nozzle) -> LookAlike:
    """Details that both types state and in which they differ."""
    pairs = {name: (getattr(nozzle, name), getattr(other, name)) for name in (*STYLE_FIELDS, "orifice_mm")}
    differs = tuple(name for name, (one, two) in pairs.items() if None not in (one, two) and one != two)
    return LookAlike(other, differs, nozzle.orifice_mm is not None and nozzle.orifice_mm == other.orifice_mm)


def safe_around(found: WindowStudy, nozzle: str) -> Safe | None:
    """What the window shows around today's setting of one type; None where it is not in the window.

    A span runs along one setting, the other at the step of the grid next to today's, over the steps next to each other
    at which the bound of the chance is high enough; it starts at the step next to today's, none where that is not so.
    """
    own = next((one for one in found.types if one.nozzle == nozzle), None)
    if own is None:
        return None
    spans = [_span(found, own, name) for name in found.across]
    return Safe(found.wanted, own.today_chance, own.today_low, tuple(span for span in spans if span is not None))


def _span(found: WindowStudy, own: TypeWindow, name: str) -> Span | None:
    other = next(one for one in found.across if one != name)
    grid = {found.across[0]: found.x, found.across[1]: found.y}
    beside = _nearest(grid[other], float(found.today[other]))
    good = {
        float(setting[name]): low >= found.wanted
        for setting, low in zip(own.settings, own.low, strict=True)
        if float(setting[other]) == beside
    }
    steps, start = sorted(good), _nearest(grid[name], float(found.today[name]))
    if not good.get(start, False):
        return None
    low = high = steps.index(start)
    while low > 0 and good[steps[low - 1]]:
        low -= 1
    while high < len(steps) - 1 and good[steps[high + 1]]:
        high += 1
    return Span(name, steps[low], steps[high], found.units.get(name, ""))


def _nearest(steps: Sequence[float], value: float) -> float:
    return min(steps, key=lambda step: abs(step - value))
