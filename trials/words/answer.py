"""The four words in the current language."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trials.words.language import text

if TYPE_CHECKING:
    from trials.infer.answer import Added, Answer


def word_of(answer: Answer | None, adds: Added | None) -> str:
    """The word for a nozzle type with its added clause; empty without a word."""
    if answer is None:
        return ""
    return text(answer) if adds is None else text("{answer}, {clause}", answer=text(answer), clause=text(adds))
