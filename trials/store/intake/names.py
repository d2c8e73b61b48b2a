"""Names in the readings of a file: inspectors, instruments and sides in one spelling each, sides that are known."""

from __future__ import annotations

from typing import Any

from trials.findings import About, Fact, Finding
from trials.record_kinds import RecordKind
from trials.store.language import SIDES
from trials.store.records.records import Records
from trials.store.records.spelling import by_folded, folded

NAMED = ("side", "inspector", "instrument")


def one_spelling(rows: list[tuple[int, dict[str, Any]]], records: Records) -> tuple[Finding, ...]:
    """Names that differ only in case or spaces become one, in place: as on record, else as first typed. Sides that are
    none of `SIDES` are said."""
    said = [finding for column in NAMED for finding in _column(column, rows, records)]
    strange: dict[str, list[str]] = {}
    for _, row in rows:
        if row["side"] and row["side"] not in SIDES:
            strange.setdefault(row["side"], []).append(row["coupon"])
    for side, coupons in strange.items():
        facts: dict[str, Fact] = {"side": side, "known": SIDES}
        said.append(Finding(RecordKind.SIDE_UNKNOWN, About(coupons=tuple(dict.fromkeys(coupons))), facts))
    return tuple(said)


def _column(column: str, rows: list[tuple[int, dict[str, Any]]], records: Records) -> list[Finding]:
    first = SIDES if column == "side" else ()
    typed = dict.fromkeys(row[column] for _, row in rows if row[column])
    known = by_folded([*first, *records.readings[column].unique(), *typed])
    changed = {name: known[folded(name)] for name in typed if known[folded(name)] != name}
    for _, row in rows:
        row[column] = changed.get(row[column], row[column])
    return [
        Finding(RecordKind.NAMES_TAKEN_AS, facts={"column": column, "found": found, "kept": kept})
        for found, kept in changed.items()
    ]
