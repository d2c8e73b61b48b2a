"""Writing what happened: cuts, mounts, sheets, readings, and corrections of them. All of a call is kept, or nothing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, Table, insert, select

from trials.errors import InputError
from trials.store import schema
from trials.store.core import (
    check_unchanged,
    last_version,
    read_records,
    read_trial,
    require_frozen,
    stamp,
    write_journal,
)
from trials.store.records import (
    CUT_COLUMNS,
    MOUNT_COLUMNS,
    READING_COLUMNS,
    REAL,
    SHEET_COLUMNS,
    WHOLE,
    Records,
    plain,
    rows_of,
)
from trials.store.rules import (
    check_coupon,
    check_cut,
    check_cutoff,
    check_mount,
    check_value,
    check_was_cut,
    outcomes,
    quantities,
)
from trials.store.settings import nearest, parse_changed_setting, written
from trials.store.slips import Slip, open_slips


@dataclass(frozen=True)
class Recorded:
    """What one call wrote: rows added, rows that were already there, suspected slips, and remarks in words."""

    added: int
    ignored: int
    said: tuple[str, ...] = ()
    slips: tuple[Slip, ...] = ()


@contextmanager
def writing(folder: Path | str) -> Iterator[tuple[Connection, Records]]:
    """One write transaction on a frozen, unchanged trial, with its records as they stand."""
    path = require_frozen(folder)
    trial, _ = read_trial(folder)
    with schema.transaction(path, writes=True) as connection:
        version = last_version(connection)
        check_unchanged(Path(folder), trial, version)
        yield connection, read_records(connection, Path(folder), trial, version)


def record_cuts(
    folder: Path | str,
    cuts: pd.DataFrame,
    mounts: pd.DataFrame | None = None,
    sheets: pd.DataFrame | None = None,
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
        tables = [("mount", schema.mounts, MOUNT_COLUMNS, mounts), ("sheet", schema.sheets, SHEET_COLUMNS, sheets)]
        detail = sum(
            _keep_details(connection, records, key, target, columns, rows, who, moment)
            for key, target, columns, rows in tables
            if rows is not None
        )
        after = read_records(connection, records.folder, records.trial, last_version(connection))
        added, ignored = _keep_cuts(connection, after, cuts, who, moment)
        if added or detail:
            what = f"{added} coupons, {detail} mounts or sheets"
            write_journal(connection, moment, who, "cuts recorded", what)
    said = (f"{ignored} cut records were already there and equal; ignored.",) if ignored else ()
    return Recorded(added, ignored, said)


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
        added, _ = _keep_cuts(connection, records, cuts, who, moment)
        if added:
            write_journal(connection, moment, who, "cuts recorded", f"{added} coupons, as planned")
    return Recorded(added, len(records.cuts))


def record_readings(
    folder: Path | str,
    long_rows: pd.DataFrame,
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
    file = str(long_rows.attrs.get("file", ""))
    with writing(folder) as (connection, records):
        rows = _new_readings(long_rows, records, file)
        check_cutoff(long_rows.reindex(columns=READING_COLUMNS), records, file)
        if rows:
            entry = {"who": who.strip(), "why": "", "entered_at": moment}
            connection.execute(insert(schema.readings), [{**row, **entry} for row in rows])
            coupons = len({row["coupon"] for row in rows})
            write_journal(connection, moment, who, "readings recorded", f"{len(rows)} readings of {coupons} coupons")
        after = read_records(connection, records.folder, records.trial, last_version(connection))
        new = {(row["coupon"], row["reading"], row["repeat"], row["field"]) for row in rows}
        found = [s for s in open_slips(after) if (s.coupon, s.reading, s.repeat, s.field) in new]
        if confirm_slips:
            _confirm(connection, after, found, who, "confirmed when recorded", moment)
    ignored = len(long_rows) - len(rows)
    said = (f"{ignored} readings were already there and equal; ignored.",) if ignored else ()
    return Recorded(len(rows), ignored, said, tuple(found))


def confirm_slips(
    folder: Path | str, who: str, why: str, coupons: list[str] | None = None, at: datetime | None = None
) -> Recorded:
    """Confirm that suspected slips (of the coupons named, or all) are what was really measured.

    Raises
    ------
    InputError
        If who or why is missing, or there is nothing to confirm.
    """
    _named(who, why)
    with writing(folder) as (connection, records):
        found = [slip for slip in open_slips(records) if coupons is None or slip.coupon in coupons]
        if not found:
            raise InputError("no suspected slip to confirm", found=coupons, do="See `trials status`.")
        _confirm(connection, records, found, who, why, stamp(at))
    return Recorded(len(found), 0, slips=tuple(found))


def correct(
    folder: Path | str,
    coupon: str,
    reading: int,
    field: str,
    new_value: float | None,
    who: str,
    why: str,
    repeat: int = 0,
    at: datetime | None = None,
) -> Recorded:
    """Correct one reading by a new row that names the old one; None withdraws it (typed for the wrong coupon).

    Raises
    ------
    InputError
        If who or why is missing, there is no such reading, or the value equals the old one or is not allowed.
    """
    _named(who, why)
    moment = stamp(at)
    with writing(folder) as (connection, records):
        check_coupon(coupon, set(records.coupons["coupon"]))
        known = quantities(records.trial)
        if field not in known:
            hint = nearest(field, list(known))
            raise InputError("unknown field", found=field, allowed=", ".join(known), do=hint or "Use one of these.")
        old = _reading_row(records, coupon, reading, repeat, field)
        value = None if new_value is None else check_value(new_value, known[field])
        if value == old["value"]:
            raise InputError("the new value equals the one on record", found=new_value, do="Nothing to correct.")
        row = {name: plain(old[name]) for name in READING_COLUMNS}
        row |= {"value": value, "who": who, "why": why, "entered_at": moment, "replaces": int(old["id"])}
        connection.execute(insert(schema.readings), row)
        shown = "withdrawn" if value is None else f"{value:g}"
        place = f"coupon {coupon}, reading {reading}" + (f", repeat {repeat}" if repeat else "")
        write_journal(
            connection, moment, who, "reading corrected", f"{place}, {field}: {old['value']:g} -> {shown}", why
        )
    return Recorded(1, 0)


def correct_cut(
    folder: Path | str, coupon: str, column: str, new_value: Any, who: str, why: str, at: datetime | None = None
) -> Recorded:
    """Correct one column of a coupon's cut record by a new row that names the old one; raises as `correct`."""
    return _correct_row(folder, "coupon", coupon, column, new_value, who, why, at)


def correct_mount(
    folder: Path | str, mount: str, column: str, new_value: Any, who: str, why: str, at: datetime | None = None
) -> Recorded:
    """Correct one column of a mount on record; raises as `correct`."""
    return _correct_row(folder, "mount", mount, column, new_value, who, why, at)


def correct_sheet(
    folder: Path | str, sheet: str, column: str, new_value: Any, who: str, why: str, at: datetime | None = None
) -> Recorded:
    """Correct one column of a sheet on record; raises as `correct`."""
    return _correct_row(folder, "sheet", sheet, column, new_value, who, why, at)


def _correct_row(folder, key: str, mark: str, column: str, new_value: Any, who: str, why: str, at) -> Recorded:
    target, columns = {
        "coupon": (schema.cuts, CUT_COLUMNS),
        "mount": (schema.mounts, MOUNT_COLUMNS),
        "sheet": (schema.sheets, SHEET_COLUMNS),
    }[key]
    _named(who, why)
    if column not in columns[1:]:
        raise InputError("unknown column", found=column, allowed=", ".join(columns[1:]), do="Use one of these.")
    moment = stamp(at)
    with writing(folder) as (connection, records):
        old = _current_rows(connection, target, key).get(mark)
        if old is None:
            raise InputError(f"nothing is recorded for this {key}", found=mark, do="Record it with `trials cut`.")
        new = _cleaned({**old, column: new_value}, columns, records)
        if new == {name: old[name] for name in columns}:
            raise InputError("the new value equals the one on record", found=new_value, do="Nothing to correct.")
        _check_row(key, new, records)
        extra = {"who": who, "why": why, "entered_at": moment, "replaces": old["id"]}
        connection.execute(insert(target), {**new, **extra})
        what = f"{key} {mark}, {column}: {_shown(old[column])} -> {_shown(new[column])}"
        kind = "cut corrected" if key == "coupon" else f"{key} corrected"
        write_journal(connection, moment, who, kind, what, why)
    return Recorded(1, 0)


def _shown(value: Any) -> str:
    return "empty" if value in (None, "") else str(value)


def _check_row(key: str, row: dict[str, Any], records: Records, **place: Any) -> None:
    if key == "coupon":
        check_cut(row, records, set(records.mounts["mount"]), set(records.sheets["sheet"]), **place)
    if key == "mount":
        check_mount(row, records.trial, **place)


def _named(who: str, why: str) -> None:
    if not who.strip() or not why.strip():
        raise InputError("a correction needs a name and a reason", do="Give both: who corrects, and why.")


def _cleaned(row: dict[str, Any], columns: tuple[str, ...], records: Records) -> dict[str, Any]:
    """A row with every column present: whole numbers as int, text stripped, settings in their stored spelling."""
    clean: dict[str, Any] = {}
    for name in columns:
        value = plain(row.get(name))
        if name in WHOLE:
            clean[name] = None if value in (None, "") else int(value)
        elif name in REAL:
            clean[name] = None if value in (None, "") else float(value)
        else:
            clean[name] = "" if value is None else str(value).strip()
    if clean.get("changed_setting"):
        clean["changed_setting"] = written(parse_changed_setting(clean["changed_setting"], records.trial))
    return clean


def _current_rows(connection: Connection, target: Table, key: str) -> dict[str, dict[str, Any]]:
    rows = [dict(row._mapping) for row in connection.execute(select(target).order_by(target.c.id))]
    replaced = {row["replaces"] for row in rows}
    return {row[key]: row for row in rows if row["id"] not in replaced}


def _keep_details(connection, records: Records, key, target, columns, rows: pd.DataFrame, who, moment) -> int:
    """Mounts or sheets: new rows, and rows that fill in what was empty. Returns how many were written."""
    frame = records.planned_mounts if key == "mount" else records.planned_sheets
    planned = {row[key]: row for row in rows_of(frame)}
    kept = _current_rows(connection, target, key)
    file = str(rows.attrs.get("file", ""))
    count = 0
    for number, row in zip(rows.index, rows_of(rows), strict=True):
        place = {"file": file, "row": int(number)} if file else {}
        given = _cleaned(row, columns, records)
        old = kept.get(given[key])
        base = _cleaned(old or planned.get(given[key], {}), columns, records)
        merged = {name: base[name] if given[name] in (None, "") else given[name] for name in columns}
        if old is not None:
            _refuse_other(key, base, merged, **place)
            if merged == base:
                continue
        _check_row(key, merged, records, **place)
        extra = {"who": who, "why": "", "entered_at": moment, "replaces": old["id"] if old else None}
        new_id = connection.execute(insert(target), {**merged, **extra}).inserted_primary_key[0]
        kept[given[key]] = {**merged, "id": new_id}
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


def _keep_cuts(connection, records: Records, cuts: pd.DataFrame, who: str, moment: str) -> tuple[int, int]:
    kept = _current_rows(connection, schema.cuts, "coupon")
    planned = {row["coupon"]: row for row in rows_of(records.coupons)}
    taken = {row["cut_order"]: mark for mark, row in kept.items() if row["cut_order"] is not None}
    file = str(cuts.attrs.get("file", ""))
    added = 0
    for number, row in zip(cuts.index, rows_of(cuts), strict=True):
        place = {"file": file, "row": int(number)} if file else {}
        new = _cleaned(row, CUT_COLUMNS, records)
        for name in ("mount", "sheet"):
            new[name] = new[name] or str(planned.get(new["coupon"], {}).get(name) or "")
        _check_row("coupon", new, records, **place)
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
    return added, len(cuts) - added


def _refuse_changed_cut(old: dict[str, Any], new: dict[str, Any], place: dict[str, Any]) -> None:
    differs = [name for name in CUT_COLUMNS if old[name] != new[name]]
    if differs:
        name = differs[0]
        raise InputError(
            f"coupon {new['coupon']} is on record with {name} {_shown(old[name])}",
            column=name,
            found=new[name],
            do="State who and why with `trials correct`.",
            **place,
        )


def _new_readings(long: pd.DataFrame, records: Records, file: str) -> list[dict[str, Any]]:
    """Checked rows that are not on record yet."""
    known, marks, recorded = quantities(records.trial), set(records.coupons["coupon"]), outcomes(records)
    stored = {_key(row): row["value"] for row in rows_of(records.readings)}
    fresh: list[dict[str, Any]] = []
    for number, raw in zip(long.index, rows_of(long), strict=True):
        place = {"file": file, "row": int(number)} if file else {}
        row = _cleaned({"repeat": 0, **raw}, READING_COLUMNS, records)
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


def _reading_row(records: Records, coupon: str, reading: int, repeat: int, field: str) -> dict[str, Any]:
    rows = records.readings
    chosen = rows[(rows["coupon"] == coupon) & (rows["field"] == field)]
    exact = chosen[(chosen["reading"] == reading) & (chosen["repeat"] == repeat)]
    if exact.empty:
        have = ", ".join(str(number) for number in sorted(chosen["reading"].unique())) or "none"
        raise InputError(
            f"coupon {coupon} has no such reading of {field}",
            found=reading,
            allowed=have,
            do="Name a reading on record, or record it with `trials record`.",
        )
    return exact.iloc[0].to_dict()


def _confirm(connection, records: Records, found: list[Slip], who: str, why: str, moment: str) -> None:
    for slip in found:
        row = _reading_row(records, slip.coupon, slip.reading, slip.repeat, slip.field)
        line = write_journal(connection, moment, who, "slip confirmed", slip.words, why)
        connection.execute(insert(schema.confirmed_slips), {"reading_id": int(row["id"]), "journal_id": line})
