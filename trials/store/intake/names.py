"""Names in the readings of a file: inspectors, instruments and sides in one spelling each, sides that are known."""

from __future__ import annotations

import pandas as pd

from trials.findings import About, Fact, Finding
from trials.record_kinds import RecordKind
from trials.store.language import SIDES
from trials.store.records.records import Records
from trials.store.records.spelling import by_folded, folded

NAMED = ("side", "inspector", "instrument")


def one_spelling(rows: pd.DataFrame, records: Records) -> tuple[Finding, ...]:
    """Names that differ only in case or spaces become one, in place: as on record, else as first typed. Sides that are
    none of `SIDES` are said."""
    said = [finding for column in NAMED for finding in _column(column, rows, records)]
    strange = rows[~rows["side"].isin(["", *SIDES])]
    for side, mine in strange.groupby("side", sort=False):
        facts: dict[str, Fact] = {"side": str(side), "known": SIDES}
        said.append(Finding(RecordKind.SIDE_UNKNOWN, About(coupons=tuple(mine["coupon"].unique())), facts))
    return tuple(said)


def _column(column: str, rows: pd.DataFrame, records: Records) -> list[Finding]:
    first = SIDES if column == "side" else ()
    typed = [name for name in rows[column].unique() if name]
    known = by_folded([*first, *records.readings[column].unique(), *typed])
    changed = {name: known[folded(name)] for name in typed if known[folded(name)] != name}
    if changed:
        rows[column] = rows[column].replace(changed)
    return [
        Finding(RecordKind.NAMES_TAKEN_AS, facts={"column": column, "found": found, "kept": kept})
        for found, kept in changed.items()
    ]
