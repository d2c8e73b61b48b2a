"""Writing what happened: cuts, mounts, sheets, readings. All of a call is kept, or nothing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, insert

from trials.errors import InputError
from trials.findings import Fact, Finding
from trials.record_kinds import JournalKind, RecordKind
from trials.store.records import schema
from trials.store.records.again import Again, keep_again
from trials.store.records.entry import (
    Recorded,
    check_row,
    cleaned,
    confirm,
    current_rows,
    earlier_rows,
    shown,
    superseded,
    undo,
    writing,
)
from trials.store.records.folder import last_version, read_records, stamp
from trials.store.records.journal import write_journal
from trials.store.records.new_readings import sorted_readings
from trials.store.records.reading_columns import READING_COLUMNS
from trials.store.records.records import CUT_COLUMNS, MOUNT_COLUMNS, PLACE, SHEET_COLUMNS, Records, cells_of, rows_of
from trials.store.records.rules import check_cutoff
from trials.store.records.second_marks import at_the_bench
from trials.store.records.slips import Slip, open_slips
from trials.store.records.unexpected import dated_later, unplanned_readings
from trials.store.tables import FileTable, sourced


def record_cuts(
    folder: Path | str,
    cuts: FileTable | pd.DataFrame,
    mounts: FileTable | pd.DataFrame | None = None,
    sheets: FileTable | pd.DataFrame | None = None,
    who: str = "",
    at: datetime | None = None,
    dry_run: bool = False,
) -> Recorded:
    """Keep what was really cut. Rows already on record are ignored if equal; sheets and mounts may gain details.

    dry_run: everything is checked and counted, and nothing is kept.

    Raises
    ------
    InputError
        If a row differs from the one on record, or names an unknown coupon, mount, sheet, nozzle or setting.
    """
    moment = stamp(at)
    with writing(folder) as (connection, records):
        details = [
            _keep_details(_Entering(connection, records, who, moment), key, sourced(rows))
            for key, rows in (("mount", mounts), ("sheet", sheets))
            if rows is not None
        ]
        detail = sum(count for count, _ in details)
        after = read_records(connection, records.folder, records.trial, last_version(connection))
        added, ignored, overruled = _keep_cuts(_Entering(connection, after, who, moment), sourced(cuts))
        if added or detail:
            facts = {"coupons": added, "details": detail, "as_planned": False}
            write_journal(connection, moment, who, JournalKind.CUTS_RECORDED, facts)
        if dry_run:
            undo(connection)
    heard = [line for rows in (cuts, mounts, sheets) if rows is not None for line in sourced(rows).said]
    odd = dated_later([row["cut_at"] for row in rows_of(sourced(cuts).frame.reindex(columns=CUT_COLUMNS))], moment)
    stands = (*(line for _, lines in details for line in lines), *overruled, *odd)
    return Recorded(added, ignored, (*heard, *_known(RecordKind.CUTS_KNOWN, ignored), *stands))


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
        added, _, _ = _keep_cuts(_Entering(connection, records, who, moment), FileTable(cuts))
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
    dry_run: bool = False,
    again: FileTable | None = None,
) -> Recorded:
    """Keep readings (long: one row per coupon, reading, repeat and field). Suspected slips are kept and flagged.

    dry_run: everything is checked and counted, and nothing is kept. again: readings that were measured again, each
    with its reason in `again_because`; they correct those on record or in the same file.

    Raises
    ------
    InputError
        If a coupon is unknown or was not cut, a value is outside its range, cut-offs are mixed, or a reading differs
        from the one on record.
    """
    moment = stamp(at)
    given = sourced(long_rows)
    with writing(folder) as (connection, records):
        found_in_file = sorted_readings(given, records)
        rows = found_in_file.fresh
        check_cutoff(given.frame.reindex(columns=READING_COLUMNS), records, given.file)
        rows = rows.assign(who=who.strip(), why="", entered_at=moment)
        if len(rows):
            _add_readings(connection, rows)
            facts = {"readings": len(rows), "coupons": int(rows["coupon"].nunique())}
            write_journal(connection, moment, who, JournalKind.READINGS_RECORDED, facts)
        done = Again()
        if again is not None and len(again.frame):
            after = read_records(connection, records.folder, records.trial, last_version(connection))
            done = keep_again(connection, after, again, who, moment)
        found = _slips_after(connection, records, rows, done)
        if confirm_slips and found:
            after = read_records(connection, records.folder, records.trial, last_version(connection))
            confirm(connection, after, found, who, "confirmed when recorded", moment)
        if dry_run:
            undo(connection)
    settled = {(*at_the_bench(c, repeat, records), reading, field) for c, reading, repeat, field in done.keys}
    overruled = (*(line for line in found_in_file.overruled if _overruled_key(line) not in settled), *done.said)
    ignored = len(given.frame) - len(rows) + (0 if again is None else len(again.frame) - done.added)
    odd = (*unplanned_readings(rows, records), *dated_later(rows["measured_on"], moment))
    said = (*given.said, *_known(RecordKind.READINGS_KNOWN, ignored - len(overruled)), *overruled, *odd)
    return Recorded(len(rows) + done.added, ignored, said, tuple(found))


def _overruled_key(line: Finding) -> tuple[Fact, ...]:
    """Which reading an older file still has otherwise."""
    return tuple(line.facts.get(name) for name in ("mark", "repeat", "reading", "column"))


def _slips_after(connection: Connection, records: Records, rows: pd.DataFrame, done: Again) -> list[Slip]:
    """Suspected slips among the rows that were added, and among those measured again."""
    if not done.keys:
        return _new_slips(records, rows)
    after = read_records(connection, records.folder, records.trial, last_version(connection))
    keys = set(zip(*(rows[name] for name in PLACE), strict=True)) | done.keys
    return [s for s in open_slips(after) if (s.coupon, s.reading, s.repeat, s.field) in keys]


def _new_slips(records: Records, rows: pd.DataFrame) -> list[Slip]:
    """Suspected slips among the rows that join those on record."""
    names = list(READING_COLUMNS)
    new = rows[rows["value"].notna()][names]
    joined = pd.concat([records.readings, new.astype({"reading": "int64", "repeat": "int64"}).assign(id=-1)])
    found = open_slips(replace(records, readings=joined.reset_index(drop=True)))
    mine = rows[rows["coupon"].isin([slip.coupon for slip in found])]
    keys = set(zip(*(mine[name] for name in PLACE), strict=True))
    return [s for s in found if (s.coupon, s.reading, s.repeat, s.field) in keys]


def _add_readings(connection: Connection, rows: pd.DataFrame) -> None:
    """Rows that replace another name it; the others leave that column out, which is all that a bench may write."""
    first = rows["replaces"].isna()
    _insert_readings(connection, rows[first].drop(columns="replaces"))
    _insert_readings(connection, rows[~first])


def _insert_readings(connection: Connection, rows: pd.DataFrame) -> None:
    """Many rows through the driver itself, which is several times as fast as building each statement."""
    if not len(rows):
        return
    made = insert(schema.readings).inline().compile(dialect=connection.dialect, column_keys=list(rows.columns))
    names = made.positiontup or list(rows.columns)
    cells = zip(*(cells_of(rows[name]) for name in names), strict=True)
    given = list(cells) if made.positional else [dict(zip(names, row, strict=True)) for row in cells]
    connection.exec_driver_sql(str(made), given)


@dataclass(frozen=True)
class _Entering:
    """One entry under way: its transaction, the records before it, who makes it and when."""

    connection: Connection
    records: Records
    who: str
    moment: str


def _keep_details(entering: _Entering, key: str, rows: FileTable) -> tuple[int, tuple[Finding, ...]]:
    """Mounts or sheets: new rows, and rows that fill in what was empty. Returns how many were written, and what a later
    correction overrules."""
    connection, records, who, moment = entering.connection, entering.records, entering.who, entering.moment
    target, columns = (schema.mounts, MOUNT_COLUMNS) if key == "mount" else (schema.sheets, SHEET_COLUMNS)
    frame = records.planned_mounts if key == "mount" else records.planned_sheets
    planned = {row[key]: row for row in rows_of(frame)}
    kept, earlier = current_rows(connection, target, key), earlier_rows(connection, target, key)
    overruled: list[Finding] = []
    count = 0
    for number, row in zip(rows.frame.index, rows_of(rows.frame), strict=True):
        place = rows.place(number)
        given = cleaned(row, columns, records)
        old = kept.get(given[key])
        base = cleaned(old or planned.get(given[key], {}), columns, records)
        merged = {name: base[name] if given[name] in (None, "") else given[name] for name in columns}
        if old is not None:
            filled = {name for name in columns if base[name] not in (None, "")}
            before = [*earlier.get(given[key], []), *([planned[given[key]]] if given[key] in planned else [])]
            overruled += _settled(key, base, {name: merged[name] for name in columns if name in filled}, before, place)
            merged |= {name: base[name] for name in filled}
            if merged == base:
                continue
        check_row(key, merged, records, **place)
        extra = {"who": who, "why": "", "entered_at": moment, "replaces": old["id"] if old else None}
        new_id = connection.execute(insert(target), {**merged, **extra}).inserted_primary_key
        assert new_id is not None
        kept[given[key]] = {**merged, "id": new_id[0]}
        count += 1
    return count, tuple(overruled)


def _keep_cuts(entering: _Entering, cuts: FileTable) -> tuple[int, int, tuple[Finding, ...]]:
    connection, records, who, moment = entering.connection, entering.records, entering.who, entering.moment
    kept = current_rows(connection, schema.cuts, "coupon")
    planned = {row["coupon"]: row for row in rows_of(records.coupons)}
    earlier, overruled = earlier_rows(connection, schema.cuts, "coupon"), list[Finding]()
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
            overruled += _settled("coupon", old, new, earlier.get(new["coupon"], []), place)
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
    return added, len(cuts.frame) - added, tuple(overruled)


def _settled(
    key: str, old: dict[str, Any], new: dict[str, Any], earlier: list[dict[str, Any]], place: dict[str, Any]
) -> list[Finding]:
    """What an older file still says although it was corrected since; raises where it says something new."""
    said = []
    for name in (name for name in new if old[name] != new[name]):
        if not any(row.get(name) == new[name] for row in earlier):
            raise InputError(
                f"{key} {new[key]} is on record with {name} {shown(old[name])}",
                column=name,
                found=new[name],
                do="Put that into the cell; or, if it is wrong, state who and why with `trials correct`.",
                **place,
            )
        said.append(superseded(str(new[key]), name, new[name], old[name], place))
    return said
