"""The limits of ISO 9013 at a thickness, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from trials.grade.iso9013 import in_scope
from trials.standards import scope
from trials.units import shown
from trials.words.language import text
from trials.words.numbers import bare, fixed, plain

DIGITS = {"mm": 4, "um": 2}
"""Digits after the point: the rules have no more of them at a thickness in tenths of a millimetre."""


def heading(standard: str, thickness_mm: float) -> str:
    """Which limits these are."""
    return text(
        "{standard}, thickness a = {thickness}; a value on the limit is inside.",
        standard=standard,
        thickness=plain(thickness_mm, "mm"),
    )


def column_heads() -> list[str]:
    """Heads of the table of limits."""
    return [text("of"), text("range"), text("at most"), text("unit"), text("rule"), text("status")]


def table_cells(rows: Sequence[Mapping[str, Any]]) -> list[list[object]]:
    """One row per limit: `of, range, at_most, unit, rule, status`."""
    return [
        [
            row["of"],
            row["range"],
            fixed(row["at_most"], DIGITS[row["unit"]]),
            shown(row["unit"]),
            row["rule"],
            row["status"],
        ]
        for row in rows
    ]


def scope_sentence(thickness_mm: float) -> tuple[str, ...]:
    """What is to be said of a thickness that the standard does not cover; nothing of one that it does."""
    if in_scope(thickness_mm):
        return ()
    covered = scope("laser")
    return (
        text(
            "Laser cuts are covered from {low} to {high}; beyond by the same rules.",
            low=bare(covered.low_mm, "mm"),
            high=plain(covered.high_mm, "mm"),
        ),
    )
