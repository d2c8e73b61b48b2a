"""A trial's own honesty in words: one line for the verdict, and a table for the engineer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trials.infer.answer import Answer
from trials.responses import QUANTITIES
from trials.words.language import plural, text
from trials.words.numbers import percent

if TYPE_CHECKING:
    from trials.decide.results import HonestyRow, OwnHonesty

WORDS = (Answer.BETTER, Answer.SAME, Answer.WORSE, Answer.NOT_SETTLED)


def honesty_sentence(found: OwnHonesty) -> str:
    """How often the rule would have spoken wrongly in trials like this one, and how often it would have settled."""
    counted = plural("In {n} simulated trial like this one", "In {n} simulated trials like this one", found.trials)
    return text(
        "{counted} ({response}; its layout, losses and spreads) the rule called some type better or worse in {wrong} "
        "where none differed, and spoke wrongly of some type in {missed} where all were better by the worthwhile "
        "difference; it settled rightly {same} of the words in the first case and {better} in the second.",
        counted=counted,
        response=_named(found.response),
        wrong=percent(found.wrong_at_none, 1),
        missed=percent(found.wrong_at_worthwhile, 1),
        same=percent(found.settled_at_none),
        better=percent(found.settled_at_worthwhile),
    )


def _named(response: str) -> str:
    """A response by its short name; names of the user's own stay as they are."""
    known = QUANTITIES.get(response)
    return response if known is None else text(known.short)


def honesty_heads() -> list[str]:
    """Heads of the table."""
    return [text("nozzle type"), text("true difference"), *(text(word) for word in WORDS)]


def honesty_rows(found: OwnHonesty) -> list[list[str]]:
    """Two lines for each type: without a difference, and with the worthwhile one."""
    return [line for row in found.rows for line in _lines(row)]


def _lines(row: HonestyRow) -> list[list[str]]:
    cases = ((text("no difference"), row.at_none), (text("better by the worthwhile one"), row.at_worthwhile))
    return [[row.nozzle, true, *(percent(shares[word], 1) for word in WORDS)] for true, shares in cases]
