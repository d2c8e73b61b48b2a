"""Readings that are a bound of the instrument, or none at all: as typed, and when two say the same."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from trials.responses import Beyond

SIGNS = {Beyond.ABOVE: ">", Beyond.BELOW: "<", "": ""}
NOT_MEASURABLE = "not measurable"
"""What is typed where a place cannot be measured; the note says why."""


def as_typed(row: Mapping[str, Any]) -> str:
    """A reading as a person types it: `41`, `>100`, `not measurable`."""
    if row["value"] is None:
        return NOT_MEASURABLE if row["beyond"] == Beyond.NOT_MEASURABLE else "nothing: it was withdrawn"
    return f"{SIGNS[row['beyond']]}{row['value']:g}"


def same_reading(row: Mapping[str, Any], other: Mapping[str, Any] | None) -> bool:
    """Whether two rows of one reading say the same; a withdrawn reading says nothing."""
    if other is None or (other["value"] is None and other["beyond"] != Beyond.NOT_MEASURABLE):
        return False
    return bool(row["value"] == other["value"] and row["beyond"] == other["beyond"])
