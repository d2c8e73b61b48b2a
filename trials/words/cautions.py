"""The hazards of a trial in words."""

from __future__ import annotations

from trials.standards import cautions
from trials.words.language import text, word


def caution_lines() -> list[str]:
    """One line each, with the document that governs it."""
    return [
        text("{caution} ({document})", caution=text(one.text), document=word(one.document))
        if one.document
        else text(one.text)
        for one in cautions()
    ]
