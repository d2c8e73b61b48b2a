"""The fastest clean cut of a ladder trial, on the screen and as JSON."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from trials.cli import show
from trials.errors import TrialError

if TYPE_CHECKING:
    from trials.decide.ladder import LadderStudy


def ladder_facts(folder: Path) -> dict[str, Any]:
    """The fastest clean cut of a ladder trial under the key `ladder` (null where it cannot be studied), as JSON."""
    from trials.steps.ladders import ladder_json

    found, problem = _ladder(folder)
    if found is None:
        return {"ladder": None, "ladder_why_not": problem}
    return {"ladder": ladder_json(found)}


def print_ladder(folder: Path) -> None:
    """The fastest clean cut of each mount, and whether types differ in it."""
    from trials.words.ladders import remark_words, sentences
    from trials.words.language import text

    found, problem = _ladder(folder)
    show.heading(text("Fastest clean cut"))
    if found is None:
        show.say(problem)
        return
    head = [text("mount"), text("nozzle"), text("specimen"), text("fastest clean, {unit}", unit=found.unit)]
    rows = found.ladders[["mount", "nozzle", "specimen", "speed", "remark"]].itertuples(index=False, name=None)
    show.table([*head, text("remark")], [[*cells, remark_words(remark)] for *cells, remark in rows])
    show.bullets(sentences(found))


def _ladder(folder: Path) -> tuple[LadderStudy | None, str]:
    from trials.steps import load
    from trials.steps.ladders import ladder_study

    try:
        return ladder_study(load(folder)), ""
    except TrialError as error:
        return None, str(error)
