"""The operating window: over which settings each nozzle type meets the requirement, and where it does so best."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import pandas as pd

from trials.decide.best import best_of, compare_bests
from trials.decide.chances import cuts_of
from trials.decide.graded import specimens_in
from trials.decide.prepare import NOZZLE, Array
from trials.decide.response import Studied
from trials.decide.surfaces import Known, Settings, chance_alone, chances_at, known_of
from trials.decide.window_choice import asks_window
from trials.decide.window_result import Elsewhere, TypeWindow, WindowStudy
from trials.errors import InputError, NotIdentifiable, TrialError
from trials.infer.answer import levels
from trials.infer.chance import Reach, chance, find_reach
from trials.infer.chance.window import inside_hull
from trials.trial import Level, Trial

POINTS = 9  # settings along each factor of a map
FEWER_POINTS = 7  # where a trial asks something else
ALONG = {2: POINTS, 3: 5, 4: 3}  # settings along each factor where a best is sought over so many
MOST = max(ALONG)
SINGLE_DRAWS = 4_096


def study_window(
    trial: Trial,
    studied: Mapping[str, Studied],
    coupons: pd.DataFrame,
    dross: pd.DataFrame | None = None,
    across: Sequence[str] = (),
    held: Mapping[str, Level] | None = None,
    points: int | None = None,
    only: str | None = None,
) -> WindowStudy:
    """Chance of meeting the whole requirement over two factors, the others at today's setting or as `held`.

    studied: the fitted responses; coupons: as cut, one row per coupon; dross: worst grade per coupon; points: settings
    along each factor of the map, `POINTS` if None; only: the one type that is asked about, all if None.

    Raises
    ------
    InputError
        If nothing that is required was measured, a factor is unknown, or two numeric factors cannot be told.
    NotIdentifiable
        If the cuts of a type do not span a region.
    """
    axes = two_factors(trial, across)
    others = _others(trial, axes, held or {})
    known = known_of(trial, studied, coupons, dross)
    types = [t for t in trial.types if only in (None, t) and all(t in s.ready.types for s in studied.values())]
    main = next((n for n in trial.primaries if n in studied and studied[n].graded is None), "")
    searched = axes if held else _searched(trial)
    asked = _Asked(known, axes, others, main, searched, points or POINTS)
    found = tuple(_of_type(asked, t) for t in types)
    alone = levels(max(trial.deciding, 1), trial.plan.looks)
    return WindowStudy(
        across=axes,
        units={name: factor.unit for name, factor in trial.factors.items()},
        others=others,
        wanted=trial.application.window_chance,
        x=asked.along(axes[0]),
        y=asked.along(axes[1]),
        today=trial.today_settings,
        response=main,
        unit=trial.quantity(main).unit if main else "",
        best_by=trial.application.best_by,
        types=tuple(each for each, _ in found),
        comparisons=compare_bests(known, main, [(each.nozzle, each.best, places) for each, places in found], alone),
        searched=searched,
        elsewhere=tuple(at for name in searched if name not in axes for at in _elsewhere(asked, types, name)),
        asked=asks_window(trial),
    )


def window_of(
    trial: Trial,
    studied: Mapping[str, Studied],
    coupons: pd.DataFrame,
    dross: pd.DataFrame | None,
) -> WindowStudy | None:
    """The window over the first two factors, coarser where a trial asks something else; None if it cannot be told."""
    points = POINTS if asks_window(trial) else FEWER_POINTS
    try:
        return study_window(trial, studied, coupons, dross, points=points)
    except TrialError:
        return None


@dataclass(frozen=True)
class _Asked:
    """What is asked of every type: the axes of the map, the other settings, the factors searched for the best."""

    known: Known
    axes: tuple[str, str]
    others: Settings
    main: str
    searched: tuple[str, ...]
    points: int

    def along(self, name: str, points: int | None = None) -> tuple[float, ...]:
        """Even settings from the lowest to the highest that was cut by any type."""
        coupons = self.known.coupons
        done = coupons.loc[coupons["outcome"] == "cut", self.known.trial.factor_column(name)].astype(float)
        first, *inner, last = np.linspace(done.min(), done.max(), points or self.points)
        return (float(first), *(float(f"{x:.4g}") for x in inner), float(last))  # as they are dialled

    def inside(self, label: str, names: Sequence[str], points: int | None = None) -> list[Settings]:
        """Every place over these factors inside what was cut with a type, the first factor running fastest."""
        ways = [self.along(name, points) for name in reversed(names)]
        places = [dict(zip(reversed(names), way, strict=True)) for way in product(*ways)]
        inside = inside_hull(self.cut(label, names), _points(places, names))
        full = [{**self.others, **places[int(i)]} for i in np.flatnonzero(inside)]
        return [{name: place[name] for name in self.known.trial.factors} for place in full]

    def cut(self, label: str, names: Sequence[str]) -> Array:
        """Settings of some factors that were cut with a type, each once."""
        coupons = self.known.coupons
        own = coupons[(coupons[NOZZLE] == label) & (coupons["outcome"] == "cut")]
        columns = [self.known.trial.factor_column(name) for name in names]
        return own[columns].drop_duplicates().to_numpy(float)


def _searched(trial: Trial) -> tuple[str, ...]:
    """Factors of numbers over which a best is sought; the first few where there are many."""
    return tuple(name for name, factor in trial.factors.items() if len(factor.numbers) > 1)[:MOST]


def two_factors(trial: Trial, across: Sequence[str] = ()) -> tuple[str, str]:
    """The factors of a map: those named, else the first two with several numbers.

    Raises
    ------
    InputError
        If there are not two.
    """
    numeric = [name for name, asked in trial.factors.items() if not asked.is_text and len(asked.levels) > 1]
    chosen = list(across) or numeric[:2]
    if len(chosen) != 2 or len(set(chosen)) != 2 or any(name not in numeric for name in chosen):
        raise InputError(
            "a window needs two factors with several numbers as levels",
            found=", ".join(chosen) or None,
            allowed=", ".join(numeric) or "none in this trial",
            do="Name two with --across FACTOR --across FACTOR.",
        )
    return chosen[0], chosen[1]


def _others(trial: Trial, across: tuple[str, str], held: Mapping[str, Level]) -> dict[str, Level]:
    rest = {name: level for name, level in trial.today_settings.items() if name not in across}
    strange = [name for name in held if name not in rest]
    if strange:
        allowed = ", ".join(rest) or "none: both factors are on the map"
        raise InputError("not a factor to hold", found=strange[0], allowed=allowed, do="Correct --at.")
    return rest | dict(held)


def _of_type(asked: _Asked, label: str) -> tuple[TypeWindow, Sequence[Settings]]:
    """The window of one type, and the places among which its best was sought."""
    known, axes = asked.known, asked.axes
    kept = asked.inside(label, axes)
    estimates, lows = chances_at(known, label, kept)
    wanted = known.trial.application.window_chance
    shown = bool(np.any(lows >= wanted))
    today = {name: {**known.trial.today_settings, **asked.others}[name] for name in known.trial.factors}
    cut = asked.cut(label, axes)
    inside = bool(inside_hull(cut, _points([today], axes))[0])
    places, found = _sought(asked, label, kept, (estimates, lows))
    best = best_of(known, label, places, *found, asked.main, today if inside else None)
    at_today = chance_alone(known, label, today) if inside else None
    window = TypeWindow(
        nozzle=label,
        settings=tuple(kept),
        chance=tuple(map(float, estimates)),
        low=tuple(map(float, lows)),
        share_estimate=float(np.mean(estimates >= wanted)),
        share_bound=float(np.mean(lows >= wanted)),
        best=best,
        today_chance=None if at_today is None else at_today[0],
        today_low=None if at_today is None else at_today[1],
        border=_border(kept, (lows if shown else estimates) >= wanted, today, axes) if inside else None,
        reach=None if best.chance_low >= wanted else _reach(known, label, best.settings),
        cut=tuple((float(a), float(b)) for a, b in cut),
    )
    return window, places


def _sought(
    asked: _Asked, label: str, kept: Sequence[Settings], found: tuple[Array, Array]
) -> tuple[Sequence[Settings], tuple[Array, Array]]:
    """Places among which the best is sought, with their chances: those of the map, or over all factors searched."""
    if set(asked.searched) == set(asked.axes):
        return kept, found
    try:
        places = asked.inside(label, asked.searched, ALONG[len(asked.searched)])
    except NotIdentifiable:
        return kept, found
    return places, chances_at(asked.known, label, places)


def _elsewhere(asked: _Asked, types: Sequence[str], name: str) -> tuple[Elsewhere, ...]:
    """The map of every type with one further factor at its lowest and at its highest level."""
    ends = asked.along(name, 2)
    return tuple(_at_level(replace(asked, others={**asked.others, name: level}), types, name, level) for level in ends)


def _at_level(asked: _Asked, types: Sequence[str], name: str, level: float) -> Elsewhere:
    wanted, shares = asked.known.trial.application.window_chance, {}
    for label in types:
        found = chances_at(asked.known, label, asked.inside(label, asked.axes, ALONG[3]))
        shares[label] = tuple(float(np.mean(part >= wanted)) for part in found)
    return Elsewhere(name, level, *({t: share[i] for t, share in shares.items()} for i in (0, 1)))


def _points(settings: Sequence[Settings], names: Sequence[str]) -> Array:
    return np.array([[float(p[name]) for name in names] for p in settings])


def _border(
    kept: Sequence[Settings], safe: np.ndarray, today: Settings, axes: tuple[str, str]
) -> Mapping[str, Level] | None:
    """The nearest place in the other state than the place next to today's, distances in the range of each factor."""
    points = _points(kept, axes)
    size = np.ptp(points, axis=0)
    away = np.linalg.norm((points - _points([today], axes)) / np.where(size > 0, size, 1.0), axis=1)
    other = np.flatnonzero(safe != safe[int(np.argmin(away))])
    return kept[int(other[np.argmin(away[other])])] if len(other) else None


def _reach(known: Known, label: str, settings: Settings) -> Reach | None:
    """How many specimens would show the stated chance at the best, by the response that is least sure to meet."""
    singles, (cuts, lost) = [], cuts_of(known.coupons, label)
    for name in known.sources:
        edge, rule = known.edge(name, label, settings), known.rule(name)
        found = chance(edge, rule, draws=SINGLE_DRAWS, cuts=cuts or None, lost=lost)
        singles.append((found, edge, rule, known.sources[name].ready))
    if not singles:
        return None
    found, edge, rule, ready = min(singles, key=lambda each: each[0].low)
    specimens = ready.structure.counts.get("specimen", 0)
    if not specimens:
        return None
    own = specimens_in(ready.table[ready.table[NOZZLE] == label])
    return find_reach(edge, rule, found, known.trial.application.window_chance, own, specimens / own)
