"""Corrections: a new row that names the old one, with who and why. Nothing on record is changed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import insert

from trials.errors import InputError
from trials.record_kinds import JournalKind
from trials.store.records import schema
from trials.store.records.changed_setting import nearest
from trials.store.records.entry import Recorded, check_row, cleaned, confirm, current_rows, reading_row, writing
from trials.store.records.folder import stamp
from trials.store.records.journal import write_journal
from trials.store.records.records import (
    CUT_COLUMNS,
    MOMENT_COLUMNS,
    MOUNT_COLUMNS,
    READING_COLUMNS,
    SHEET_COLUMNS,
    WHOLE,
    YES_NO_COLUMNS,
    Records,
    plain,
    rows_of,
)
from trials.store.records.rules import (
    check_coupon,
    check_value,
    quantities,
)
from trials.store.records.slips import open_slips
from trials.store.tables import moment_in, text_in, whole_in, yes_no_in


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
        confirm(connection, records, found, who, why, stamp(at))
    return Recorded(len(found), 0, slips=tuple(found))


@dataclass(frozen=True)
class ReadingPlace:
    """One reading on record; reading 0 stands for the only reading of that field on the coupon; repeat: which
    re-measurement, 0 for the reading itself."""

    coupon: str
    field: str
    reading: int = 0
    repeat: int = 0


def correct(
    folder: Path | str, place: ReadingPlace, new_value: float | None, who: str, why: str, at: datetime | None = None
) -> Recorded:
    """Correct one reading by a new row that names the old one; None withdraws it (typed for the wrong coupon).

    Raises
    ------
    InputError
        If who or why is missing, there is no such reading, or the value equals the old one or is not allowed.
    """
    _named(who, why)
    moment, coupon, field, repeat = stamp(at), place.coupon, place.field, place.repeat
    with writing(folder) as (connection, records):
        check_coupon(coupon, set(records.coupons["coupon"]))
        known = quantities(records.trial)
        if field not in known:
            hint = nearest(field, list(known))
            raise InputError("unknown field", found=field, allowed=", ".join(known), do=hint or "Use one of these.")
        old = reading_row(records, coupon, place.reading, repeat, field)
        value = None if new_value is None else check_value(new_value, known[field])
        if value == old["value"]:
            raise InputError("the new value equals the one on record", found=new_value, do="Nothing to correct.")
        row = {name: plain(old[name]) for name in READING_COLUMNS}
        row |= {"value": value, "who": who, "why": why, "entered_at": moment, "replaces": int(old["id"])}
        connection.execute(insert(schema.readings), row)
        facts = {"coupon": coupon, "reading": int(old["reading"]), "repeat": repeat, "field": field}
        facts |= {"old": float(old["value"]), "new": value}
        write_journal(connection, moment, who, JournalKind.READING_CORRECTED, facts, why)
    return Recorded(1, 0)


def correct_cut(
    folder: Path | str, coupon: str, column: str, new_value: Any, who: str, why: str, at: datetime | None = None
) -> Recorded:
    """Correct one column of a coupon's cut record by a new row that names the old one; raises as `correct`."""
    return _correct_row(folder, _RowChange("coupon", coupon, column, new_value), who, why, at)


def correct_mount(
    folder: Path | str, mount: str, column: str, new_value: Any, who: str, why: str, at: datetime | None = None
) -> Recorded:
    """Correct one column of a mount on record; raises as `correct`."""
    return _correct_row(folder, _RowChange("mount", mount, column, new_value), who, why, at)


def correct_sheet(
    folder: Path | str, sheet: str, column: str, new_value: Any, who: str, why: str, at: datetime | None = None
) -> Recorded:
    """Correct one column of a sheet on record; raises as `correct`."""
    return _correct_row(folder, _RowChange("sheet", sheet, column, new_value), who, why, at)


@dataclass(frozen=True)
class _RowChange:
    """One column of a cut record, a mount or a sheet (`of`), named by its mark."""

    of: str
    mark: str
    column: str
    value: Any


_TABLES = {
    "coupon": (schema.cuts, CUT_COLUMNS, JournalKind.CUT_CORRECTED),
    "mount": (schema.mounts, MOUNT_COLUMNS, JournalKind.MOUNT_CORRECTED),
    "sheet": (schema.sheets, SHEET_COLUMNS, JournalKind.SHEET_CORRECTED),
}


def _correct_row(folder: Path | str, change: _RowChange, who: str, why: str, at: datetime | None) -> Recorded:
    key, mark, column = change.of, change.mark, change.column
    target, columns, kind = _TABLES[key]
    _named(who, why)
    if column not in columns[1:]:
        raise InputError("unknown column", found=column, allowed=", ".join(columns[1:]), do="Use one of these.")
    moment, value = stamp(at), _typed(column, change.value)
    with writing(folder) as (connection, records):
        old = current_rows(connection, target, key).get(mark) or _planned(records, key).get(mark)
        if old is None:
            raise InputError(f"nothing is recorded for this {key}", found=mark, do="Record it with `trials cut`.")
        before = cleaned(old, columns, records)
        new = cleaned({**before, column: value}, columns, records)
        if new == before:
            raise InputError("the new value equals the one on record", found=change.value, do="Nothing to correct.")
        check_row(key, new, records)
        extra = {"who": who, "why": why, "entered_at": moment, "replaces": old.get("id")}
        connection.execute(insert(target), {**new, **extra})
        facts = {"of": key, "mark": mark, "column": column, "old": before[column], "new": new[column]}
        write_journal(connection, moment, who, kind, facts, why)
    return Recorded(1, 0)


def _planned(records: Records, key: str) -> dict[str, dict[str, Any]]:
    """Mounts and sheets that stand as planned may be corrected; a coupon needs a cut record first."""
    frame = {"mount": records.planned_mounts, "sheet": records.planned_sheets}.get(key)
    return {} if frame is None else {row[key]: row for row in rows_of(frame)}


def _typed(column: str, value: Any) -> Any:
    """A new value as the tables of cuts, mounts and sheets accept it."""
    if column in WHOLE:
        return whole_in(value, 0, decimal_comma=False, column=column)
    if column in YES_NO_COLUMNS:
        return yes_no_in(value, column=column)
    return moment_in(value, column=column) if column in MOMENT_COLUMNS else text_in(value)


def _named(who: str, why: str) -> None:
    if not who.strip() or not why.strip():
        raise InputError("a correction needs a name and a reason", do="Give both: who corrects, and why.")
