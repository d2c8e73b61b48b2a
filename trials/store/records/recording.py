"""Writing what happened: cuts, mounts, sheets, readings. All of a call is kept, or nothing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, insert

from trials.errors import InputError
from trials.findings import Finding
from trials.record_kinds import JournalKind, RecordKind
from trials.store.records import schema
from trials.store.records.changed_setting import nearest
from trials.store.records.corrections import confirm_slips, correct, correct_cut, correct_mount, correct_sheet
from trials.store.records.entry import Recorded, check_row, cleaned, confirm, current_rows, shown, writing
from trials.store.records.folder import last_version, read_records, stamp
from trials.store.records.journal import write_journal
from trials.store.records.records import (
    CUT_COLUMNS,
    MOUNT_COLUMNS,
    READING_COLUMNS,
    SHEET_COLUMNS,
    Records,
    rows_of,
)
from trials.store.records.rules import (
    check_coupon,
    check_cutoff,
    check_value,
    check_was_cut,
    outcomes,
    quantities,
)
from trials.store.records.slips import open_slips
from trials.store.tables import FileTable, sourced

__all__ = [
    "Recorded",
    "confirm_slips",
    "correct",
    "correct_cut",
    "correct_mount",
    "correct_sheet",
    "record_as_planned",
    "record_cuts",
    "record_readings",
]


def record_cuts(
    folder: Path | str,
    cuts: FileTable | pd.DataFrame,
    mounts: FileTable | pd.DataFrame | None = None,
    sheets: FileTable | pd.DataFrame | None = None,
    who: str = "",
    at: datetime | None = None,
) -> Recorded:
    """Keep what was really cut. Rows already on record are ignored if equal; sheets and mounts may gain details.

    Raises
    ------
    InputError
        If a row differs from the one on record, or names an unknown coupon, mount, sheet, nozzle or setting.
    """
    moment = stamp(at)
    with writing(folder) as (connection, records):
        detail = sum(
            _keep_details(_Entering(connection, records, who, moment), key, sourced(rows))
            for key, rows in (("mount", mounts), ("sheet", sheets))
            if rows is not None
        )
        after = read_records(connection, records.folder, records.trial, last_version(connection))
        added, ignored = _keep_cuts(_Entering(connection, after, who, moment), sourced(cuts))
        if added or detail:
            facts = {"coupons": added, "details": detail, "as_planned": False}
            write_journal(connection, moment, who, JournalKind.CUTS_RECORDED, facts)
    heard = [line for rows in (cuts, mounts, sheets) if rows is not None for line in sourced(rows).said]
    return Recorded(added, ignored, (*heard, *_known(RecordKind.CUTS_KNOWN, ignored)))


def _known(kind: RecordKind, rows: int) -> tuple[Finding, ...]:
    return (Finding(kind, facts={"rows": rows}),) if rows else ()


def record_as_planned(folder: Path | str, who: str = "", at: datetime | None = None) -> Recorded:
    """Keep every coupon without a cut record as cut, in planned order, on the planned mounts and sheets."""
    moment = stamp(at)
    with writing(folder) as (connection, records):
        missing = records.coupons[~records.coupons["coupon"].isin(records.cuts["coupon"])]
        cuts = pd.DataFrame(
            {
                "coupon": missing["coupon"],
                "cut_order": missing["order"],
                "mount": missing["mount"],
                "sheet": missing["sheet"],
                "outcome": "cut",
            }
        )
        added, _ = _keep_cuts(_Entering(connection, records, who, moment), FileTable(cuts))
        if added:
            facts = {"coupons": added, "details": 0, "as_planned": True}
            write_journal(connection, moment, who, JournalKind.CUTS_RECORDED, facts)
    return Recorded(added, len(records.cuts))


def record_readings(
    folder: Path | str,
    long_rows: FileTable | pd.DataFrame,
    who: str = "",
    confirm_slips: bool = False,
    at: datetime | None = None,
) -> Recorded:
    """Keep readings (long: one row per coupon, reading, repeat and field). Suspected slips are kept and flagged.

    Raises
    ------
    InputError
        If a coupon is unknown or was not cut, a value is outside its range, cut-offs are mixed, or a reading differs
        from the one on record.
    """
    moment = stamp(at)
    given = sourced(long_rows)
    with writing(folder) as (connection, records):
        rows = _new_readings(given, records)
        check_cutoff(given.frame.reindex(columns=READING_COLUMNS), records, given.file)
        if rows:
            entry = {"who": who.strip(), "why": "", "entered_at": moment}
            connection.execute(insert(schema.readings), [{**row, **entry} for row in rows])
            coupons = len({row["coupon"] for row in rows})
            facts = {"readings": len(rows), "coupons": coupons}
            write_journal(connection, moment, who, JournalKind.READINGS_RECORDED, facts)
        after = read_records(connection, records.folder, records.trial, last_version(connection))
        new = {(row["coupon"], row["reading"], row["repeat"], row["field"]) for row in rows}
        found = [s for s in open_slips(after) if (s.coupon, s.reading, s.repeat, s.field) in new]
        if confirm_slips:
            confirm(connection, after, found, who, "confirmed when recorded", moment)
    ignored = len(given.frame) - len(rows)
    return Recorded(len(rows), ignored, (*given.said, *_known(RecordKind.READINGS_KNOWN, ignored)), tuple(found))


@dataclass(frozen=True)
class _Entering:
    """One entry under way: its transaction, the records before it, who makes it and when."""

    connection: Connection
    records: Records
    who: str
    moment: str


def _keep_details(entering: _Entering, key: str, rows: FileTable) -> int:
    """Mounts or sheets: new rows, and rows that fill in what was empty. Returns how many were written."""
    connection, records, who, moment = entering.connection, entering.records, entering.who, entering.moment
    target, columns = (schema.mounts, MOUNT_COLUMNS) if key == "mount" else (schema.sheets, SHEET_COLUMNS)
    frame = records.planned_mounts if key == "mount" else records.planned_sheets
    planned = {row[key]: row for row in rows_of(frame)}
    kept = current_rows(connection, target, key)
    count = 0
    for number, row in zip(rows.frame.index, rows_of(rows.frame), strict=True):
        place = rows.place(number)
        given = cleaned(row, columns, records)
        old = kept.get(given[key])
        base = cleaned(old or planned.get(given[key], {}), columns, records)
        merged = {name: base[name] if given[name] in (None, "") else given[name] for name in columns}
        if old is not None:
            _refuse_other(key, base, merged, **place)
            if merged == base:
                continue
        check_row(key, merged, records, **place)
        extra = {"who": who, "why": "", "entered_at": moment, "replaces": old["id"] if old else None}
        new_id = connection.execute(insert(target), {**merged, **extra}).inserted_primary_key
        assert new_id is not None
        kept[given[key]] = {**merged, "id": new_id[0]}
        count += 1
    return count


def _refuse_other(key: str, old: dict[str, Any], new: dict[str, Any], **place: Any) -> None:
    """Raise where a value on record would change."""
    for name, value in old.items():
        if value not in (None, "") and new[name] != value:
            raise InputError(
                f"{key} {old[key]} is on record with {name} {value!r}",
                column=name,
                found=new[name],
                do="State who and why with `trials correct`.",
                **place,
            )


def _keep_cuts(entering: _Entering, cuts: FileTable) -> tuple[int, int]:
    connection, records, who, moment = entering.connection, entering.records, entering.who, entering.moment
    kept = current_rows(connection, schema.cuts, "coupon")
    planned = {row["coupon"]: row for row in rows_of(records.coupons)}
    taken = {row["cut_order"]: mark for mark, row in kept.items() if row["cut_order"] is not None}
    added = 0
    for number, row in zip(cuts.frame.index, rows_of(cuts.frame), strict=True):
        place = cuts.place(number)
        new = cleaned(row, CUT_COLUMNS, records)
        for name in ("mount", "sheet"):
            new[name] = new[name] or str(planned.get(new["coupon"], {}).get(name) or "")
        check_row("coupon", new, records, **place)
        old = kept.get(new["coupon"])
        if old is not None:
            _refuse_changed_cut(old, new, place)
            continue
        other = taken.get(new["cut_order"])
        if new["cut_order"] is not None and other is not None:
            raise InputError(
                f"place {new['cut_order']} in the cutting order is taken by coupon {other}",
                column="cut_order",
                found=new["cut_order"],
                do="Number the coupons in the order they were cut, each place once.",
                **place,
            )
        connection.execute(insert(schema.cuts), {**new, "who": who, "why": "", "entered_at": moment})
        kept[new["coupon"]], taken[new["cut_order"]] = new, new["coupon"]
        added += 1
    return added, len(cuts.frame) - added


def _refuse_changed_cut(old: dict[str, Any], new: dict[str, Any], place: dict[str, Any]) -> None:
    differs = [name for name in CUT_COLUMNS if old[name] != new[name]]
    if differs:
        name = differs[0]
        raise InputError(
            f"coupon {new['coupon']} is on record with {name} {shown(old[name])}",
            column=name,
            found=new[name],
            do="State who and why with `trials correct`.",
            **place,
        )


def _new_readings(long: FileTable, records: Records) -> list[dict[str, Any]]:
    """Checked rows that are not on record yet."""
    known, marks, recorded = quantities(records.trial), set(records.coupons["coupon"]), outcomes(records)
    stored = {_key(row): row["value"] for row in rows_of(records.readings)}
    fresh: list[dict[str, Any]] = []
    for number, raw in zip(long.frame.index, rows_of(long.frame), strict=True):
        place = long.place(number)
        row = cleaned({"repeat": 0, **raw}, READING_COLUMNS, records)
        row["repeat"] = row["repeat"] or 0
        if row["field"] not in known:
            hint = nearest(row["field"], list(known))
            raise InputError("unknown field", found=row["field"], allowed=", ".join(known), do=hint, **place)
        check_coupon(row["coupon"], marks, **place)
        check_was_cut(row["coupon"], recorded, **place)
        row["value"] = check_value(row["value"], known[row["field"]], **place)
        if _key(row) in stored:
            _refuse_other_reading(row, stored[_key(row)], place)
            continue
        stored[_key(row)] = row["value"]
        fresh.append(row)
    return fresh


def _key(row: dict[str, Any]) -> tuple[str, int, int, str]:
    return row["coupon"], int(row["reading"]), int(row["repeat"]), row["field"]


def _refuse_other_reading(row: dict[str, Any], value: float, place: dict[str, Any]) -> None:
    if row["value"] != value:
        repeat = f", repeat {row['repeat']}" if row["repeat"] else ""
        raise InputError(
            f"coupon {row['coupon']}, reading {row['reading']}{repeat} is on record with {value:g}",
            column=row["field"],
            found=row["value"],
            do="Readings are never overwritten; state who and why with `trials correct`.",
            **place,
        )
