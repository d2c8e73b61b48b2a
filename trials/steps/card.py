"""The card for the machine, from the last kept verdict of a trial folder."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trials.errors import InputError, TrialError
from trials.findings import About, Amount, Fact, Finding, Weight
from trials.steps.chart import kept_answers
from trials.steps.files import check_place, plain, write_bytes
from trials.steps.lives import lives_of_trial
from trials.steps.load import load
from trials.steps.window import window
from trials.store import records as store

if TYPE_CHECKING:
    from trials.decide.card import Card, Safe
    from trials.decide.typical_life import TypicalLife

PAPERS = (".pdf",)


def card(folder: Path | str, nozzle: str = "") -> Card:
    """The card of one nozzle type: the one named, else the best that was proved, else the one in use.

    Raises
    ------
    InputError
        If no verdict is kept, or the type named was not shown to be as good as the one in use.
    """
    from trials.decide.card import Card, choose, look_alikes, settings_of, watch

    records = load(folder)
    kept = store.kept_looks(folder)
    if not kept:
        raise InputError(
            "no verdict is kept, so there is nothing to hang up",
            file=str(folder),
            do=f"Make it: `trials verdict {folder}`.",
        )
    trial, last = records.trial, kept[-1]
    answers = kept_answers(last)
    chosen = choose(trial, answers, nozzle)
    safe, life = _safe(folder, chosen.type), _life(folder, chosen.type)
    return Card(
        title=trial.trial.title,
        job=trial.application,
        nozzle=chosen,
        today=trial.today.type,
        said=answers.get(chosen.type, ()),
        settings=settings_of(trial),
        safe=safe,
        look_alikes=look_alikes(trial, chosen),
        watch=watch(chosen),
        life=life,
        grounds=(*_grounds(safe, exploratory=not last.declared), _life_finding(chosen.type, life)),
        look=last.look,
        day=last.at.date(),
    )


def _safe(folder: Path | str, nozzle: str) -> Safe | None:
    """What the window shows around the settings; None where the trial does not allow one."""
    from trials.decide.card import safe_around

    try:
        return safe_around(window(folder, only=nozzle), nozzle)
    except TrialError:
        return None


def _life(folder: Path | str, nozzle: str) -> TypicalLife | None:
    from trials.endings import Part

    found = (life for life in lives_of_trial(folder) if life.nozzle == nozzle and life.part is Part.NOZZLE)
    return next(found, None)


def _grounds(safe: Safe | None, exploratory: bool) -> tuple[Finding, ...]:
    from trials.decide.card import CardKind

    found = [Finding(CardKind.EXPLORATORY, weight=Weight.LOOK_AT)] if exploratory else []
    if safe is None:
        found.append(Finding(CardKind.ONLY_TODAY, weight=Weight.LOOK_AT))
    elif not safe.spans:
        facts: dict[str, Fact] = {"wanted": safe.wanted, "low": safe.low}
        found.append(Finding(CardKind.NOT_SHOWN_SAFE, facts=facts, weight=Weight.COULD_CHANGE))
    return tuple(found)


def _life_finding(nozzle: str, life: TypicalLife | None) -> Finding:
    """When to change it, as far as lives are known."""
    from trials.decide.card import CardKind

    about = About(nozzle=nozzle)
    if life is None:
        return Finding(CardKind.NO_LIVES, about, weight=Weight.LOOK_AT)
    if not life.n:
        return Finding(CardKind.LIFE_STATED, about, {"life": Amount(life.median, life.unit), "source": life.source})
    facts: dict[str, Fact] = {"at_least": Amount(life.tenth_low, life.unit), "n": life.n}
    if not life.failures:
        return Finding(CardKind.LIFE_NONE_FAILED, about, facts)
    return Finding(CardKind.LIFE_SEEN, about, {"tenth": Amount(life.tenth, life.unit), **facts})


def card_json(found: Card) -> dict[str, Any]:
    """A card as plain values; keys are listed in DEVELOPERS.md."""
    from trials.words import card as words

    form = ("type", *("bore", "wall", "side_jets", "plated", "point", "orifice_mm"), "specimens")
    return {
        "schema": 2,
        "title": found.title,
        "job": {name: getattr(found.job, name) for name in ("material", "thickness_mm", "gas", "cut")},
        "nozzle": {name: plain(getattr(found.nozzle, name)) for name in form},
        "today": found.today,
        "said": plain(found.said),
        "settings": plain(found.settings),
        "safe": plain(found.safe),
        "look_alikes": [
            {"nozzle": one.nozzle.type, "differs": list(one.differs), "same_orifice": one.same_orifice}
            for one in found.look_alikes
        ],
        "watch": [{"kind": one.value, "words": words.watch_words(one)} for one in found.watch],
        "life": plain(found.life),
        "grounds": plain(found.grounds),
        "look": found.look,
        "day": found.day.isoformat(),
    }


def check_card_place(path: Path) -> None:
    """Raise InputError where a card cannot be written, before work is done for it."""
    check_place(path, PAPERS)


def write_card(folder: Path | str, found: Card, path: Path, made_on: date) -> None:
    """Write the card of a folder as PDF."""
    from trials.report.card_page import card_pdf

    write_bytes(path, card_pdf(found, load(folder).trial, made_on), PAPERS)
