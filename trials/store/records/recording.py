"""Writing what happened: cuts, mounts, sheets, readings. All of a call is kept, or nothing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, insert

from trials.errors import InputError, Problems
from trials.findings import Fact, Finding
from trials.record_kinds import JournalKind, RecordKind
from trials.responses import Beyond, Quantity
from trials.store.records import schema
from trials.store.records.again import Again, keep_again
from trials.store.records.bounds import as_typed, same_reading
from trials.store.records.changed_setting import nearest
from trials.store.records.corrections import confirm_slips, correct, correct_cut, correct_mount, correct_sheet
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
from trials.store.records.records import (
    CUT_COLUMNS,
    MOUNT_COLUMNS,
    READING_COLUMNS,
    SHEET_COLUMNS,
    Records,
    current,
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
from trials.store.records.unexpected import dated_later, unplanned_readings
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
    odd = dated_later(rows_of(sourced(cuts).frame.reindex(columns=CUT_COLUMNS)), "cut_at", moment)
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
        found_in_file = _new_readings(given, records)
        rows = found_in_file.fresh
        check_cutoff(given.frame.reindex(columns=READING_COLUMNS), records, given.file)
        if rows:
            entry = {"who": who.strip(), "why": "", "entered_at": moment}
            _add_readings(connection, [{**row, **entry} for row in rows])
            coupons = len({row["coupon"] for row in rows})
            facts = {"readings": len(rows), "coupons": coupons}
            write_journal(connection, moment, who, JournalKind.READINGS_RECORDED, facts)
        after = read_records(connection, records.folder, records.trial, last_version(connection))
        done = Again()
        if again is not None and len(again.frame):
            done = keep_again(connection, after, again, who, moment)
            after = read_records(connection, records.folder, records.trial, last_version(connection))
        new = {(row["coupon"], row["reading"], row["repeat"], row["field"]) for row in rows} | done.keys
        found = [s for s in open_slips(after) if (s.coupon, s.reading, s.repeat, s.field) in new]
        if confirm_slips:
            confirm(connection, after, found, who, "confirmed when recorded", moment)
        if dry_run:
            undo(connection)
    overruled = (*(line for line in found_in_file.overruled if _overruled_key(line) not in done.keys), *done.said)
    ignored = len(given.frame) - len(rows) + (0 if again is None else len(again.frame) - done.added)
    odd = (*unplanned_readings(rows, records.trial), *dated_later(rows, "measured_on", moment))
    said = (*given.said, *_known(RecordKind.READINGS_KNOWN, ignored - len(overruled)), *overruled, *odd)
    return Recorded(len(rows) + done.added, ignored, said, tuple(found))


def _overruled_key(line: Finding) -> tuple[Fact, ...]:
    """Which reading an older file still has otherwise."""
    return tuple(line.facts.get(name) for name in ("mark", "reading", "repeat", "column"))


def _add_readings(connection: Connection, rows: list[dict[str, Any]]) -> None:
    """Rows that replace another name it; the others leave that column out, which is all that a bench may write."""
    first = [
        {name: cell for name, cell in row.items() if name != "replaces"} for row in rows if row["replaces"] is None
    ]
    for part in (first, [row for row in rows if row["replaces"] is not None]):
        if part:
            connection.execute(insert(schema.readings), part)


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


@dataclass(frozen=True)
class _Sorted:
    """Readings of a file by what becomes of them: to be added, and those that a later decision overrules."""

    fresh: list[dict[str, Any]]
    overruled: tuple[Finding, ...]


def _new_readings(long: FileTable, records: Records) -> _Sorted:
    """Checked rows that are not on record yet; what was corrected or withdrawn since stays as it was decided."""
    checked, stored = _Checked.of(records), dict[_Key, dict[str, Any]]()
    for kept in rows_of(current(records.all_readings)):
        stored[_key(kept)] = kept
    earlier, ends = _earlier_values(records), _ends(records)
    fresh: list[dict[str, Any]] = []
    overruled: list[Finding] = []
    problems = Problems()
    for number, raw in zip(long.frame.index, rows_of(long.frame), strict=True):
        place = long.place(number)
        row = checked.row(raw, place)
        key = _key(row)
        old = stored.get(key)
        gone = old is None or old["value"] is None
        if same_reading(row, old):
            with problems.gathered():
                _check_end(row, ends.get(key, []), place)
        elif gone and row["value"] not in earlier.get(key, set()):
            stored[key] = row
            fresh.append(row | {"replaces": int(old["id"]) if old and "id" in old else None})
        else:
            with problems.gathered():
                overruled.append(_overruled(row, old or {}, earlier.get(key, set()), place))
    problems.tell()
    return _Sorted(fresh, tuple(overruled))


@dataclass(frozen=True)
class _Checked:
    """What a row of readings is checked by."""

    records: Records
    known: dict[str, Quantity]
    marks: frozenset[str]
    outcomes: dict[str, str]

    @classmethod
    def of(cls, records: Records) -> _Checked:
        """The rules of one trial."""
        return cls(records, quantities(records.trial), frozenset(records.coupons["coupon"]), outcomes(records))

    def row(self, raw: dict[str, Any], place: dict[str, Any]) -> dict[str, Any]:
        """A row as it is kept; raises InputError where it cannot be."""
        row = cleaned({"repeat": 0, **raw}, READING_COLUMNS, self.records)
        row["repeat"] = row["repeat"] or 0
        if row["field"] not in self.known:
            hint = nearest(row["field"], list(self.known))
            raise InputError("unknown field", found=row["field"], allowed=", ".join(self.known), do=hint, **place)
        check_coupon(row["coupon"], self.marks, **place)
        check_was_cut(row["coupon"], self.outcomes, **place)
        if row["beyond"] != Beyond.NOT_MEASURABLE:
            row["value"] = check_value(row["value"], self.known[row["field"]], **place)
        return row


_Key = tuple[str, int, int, str]


def _key(row: dict[str, Any]) -> _Key:
    return row["coupon"], int(row["reading"]), int(row["repeat"]), row["field"]


def _earlier_values(records: Records) -> dict[_Key, set[float]]:
    """Values that a correction replaced, by reading."""
    gone = set(records.all_readings["replaces"].dropna())
    rows = records.all_readings[records.all_readings["id"].isin(gone) & records.all_readings["value"].notna()]
    found: dict[_Key, set[float]] = {}
    for row in rows_of(rows):
        found.setdefault(_key(row), set()).add(row["value"])
    return found


def _ends(records: Records) -> dict[_Key, list[str]]:
    """How the life of each reading ended, as first typed to as it stands now."""
    found: dict[_Key, list[str]] = {}
    for row in rows_of(records.all_readings):
        found.setdefault(_key(row), []).append(row["ended"] or "")
    return found


def _check_end(row: dict[str, Any], ends: list[str], place: dict[str, Any]) -> None:
    """Raise where a file says of a known life that it ended otherwise than was ever on record."""
    if row["ended"] and ends and row["ended"] not in ends:
        raise InputError(
            f"coupon {row['coupon']}, reading {row['reading']} is on record as {ends[-1] or 'ended without a cause'}",
            column="ended",
            found=row["ended"],
            do="Put that into the cell, or state who and why with `trials correct`.",
            **place,
        )


def _overruled(row: dict[str, Any], old: dict[str, Any], earlier: set[float], place: dict[str, Any]) -> Finding:
    """The finding that a decision stands against an older file; raises where the value was never on record."""
    kept = old.get("value")
    if row["value"] in earlier:
        facts: dict[str, Fact] = {"mark": row["coupon"], "reading": row["reading"], "column": row["field"]}
        facts |= {"repeat": row["repeat"], "found": row["value"], "kept": kept}
        facts |= {"file": place.get("file", ""), "row": place.get("row")}
        return Finding(RecordKind.WITHDRAWAL_STANDS if kept is None else RecordKind.CORRECTION_STANDS, facts=facts)
    repeat = f", repeat {row['repeat']}" if row["repeat"] else ""
    where = f"coupon {row['coupon']}, reading {row['reading']}{repeat}"
    raise InputError(
        f"{where} is on record with {as_typed(old)}",
        column=row["field"],
        found=as_typed(row) if row["beyond"] or row["value"] is None else row["value"],
        do="Readings are never overwritten: put that into the cell, or state who and why with `trials correct`.",
        **place,
    )
