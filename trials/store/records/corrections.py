"""Corrections: a new row that names the old one, with who and why. Nothing on record is changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, insert

from trials.errors import InputError
from trials.record_kinds import JournalKind
from trials.responses import Beyond
from trials.store.records import schema
from trials.store.records.bounds import as_typed
from trials.store.records.changed_setting import nearest
from trials.store.records.entry import Recorded, check_row, cleaned, confirm, current_rows, reading_row, writing
from trials.store.records.folder import stamp
from trials.store.records.journal import write_journal
from trials.store.records.reading_columns import READING_COLUMNS
from trials.store.records.records import (
    CUT_COLUMNS,
    MOMENT_COLUMNS,
    MOUNT_COLUMNS,
    REAL,
    SHEET_COLUMNS,
    WHOLE,
    YES_NO_COLUMNS,
    Records,
    plain,
    rows_of,
    standing,
)
from trials.store.records.rules import (
    check_coupon,
    check_value,
    ended_in,
    quantities,
)
from trials.store.records.second_marks import second_mark
from trials.store.records.slips import open_slips
from trials.store.records.spelling import as_mark
from trials.store.tables import moment_in, number_in, text_in, whole_in, yes_no_in


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
    with writing(folder, decides=True) as (connection, records):
        meant = None if coupons is None else {as_mark(mark, records.coupons["coupon"]) for mark in coupons}
        found = [slip for slip in open_slips(records) if meant is None or meant & {slip.coupon, slip.seen_as}]
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


@dataclass(frozen=True)
class Change:
    """A change of one record that was not written yet: what it is of, what stands there, what would.

    seen_as: the mark at the bench, where the coupon behind it is not to be named.
    """

    mark: str
    column: str
    old: Any
    new: Any
    reading: int = 0
    repeat: int = 0
    seen_as: str = ""


def _check_seen(seen: Change | None, now: Change) -> None:
    """Raise InputError where a record is no longer as the person saw it who corrects it; None: nothing was shown."""
    if seen is not None and (seen.old, seen.reading) != (now.old, now.reading):
        raise InputError(
            f"{now.seen_as or now.mark}, {now.column} was corrected by somebody else meanwhile",
            found=now.old,
            allowed=f"{seen.old}, as it was shown",
            do="Nothing was written. Look at the record, then correct it again if it still needs to be.",
        )


READING_DETAILS = ("side", "inspector", "instrument", "cutoff_mm", "depth_mm", "measured_on", "note", "ended")
"""Columns of a reading that are not its value; a correction changes them in all values of that reading."""


@dataclass(frozen=True)
class NewReading:
    """What a reading is to say: value in the kept unit, and beyond (a bound of the instrument, or not measurable)."""

    value: float | None
    beyond: str = ""


def reading_change(
    records: Records, place: ReadingPlace, new: NewReading | float | None = None, restore: bool = False
) -> tuple[Change, dict[str, Any]]:
    """What a correction of one reading would change, and the row that would replace it; raises as `correct`."""
    coupon, field = as_mark(place.coupon, records.coupons["coupon"]), place.field
    check_coupon(coupon, set(records.coupons["coupon"]))
    known = quantities(records.trial)
    if field not in known:
        hint = nearest(field, list(known))
        raise InputError("unknown field", found=field, allowed=", ".join(known), do=hint or "Use one of these.")
    found = reading_row(records, coupon, place.reading, place.repeat, field, withdrawn=restore)
    old = {name: plain(found[name]) for name in (*READING_COLUMNS, "id", "replaces")}
    row = old | _said(records, old, new, restore)
    if row["value"] is not None:
        row["value"] = check_value(row["value"], known[field])
    if (row["value"], row["beyond"]) == (old["value"], old["beyond"]):
        raise InputError("the new value equals the one on record", found=_typed_reading(row), do="Nothing to correct.")
    seen_as = second_mark(coupon, place.repeat, records)
    said = _typed_reading(old), _typed_reading(row)
    change = Change(coupon, field, *said, int(old["reading"]), place.repeat, seen_as)
    return change, {name: row[name] for name in READING_COLUMNS} | {"replaces": int(old["id"])}


def _said(records: Records, old: dict[str, Any], new: NewReading | float | None, restore: bool) -> dict[str, Any]:
    """Value and beyond of the new row; restored as it was before it was withdrawn where nothing else is given."""
    if new is None and restore:
        before = records.all_readings.set_index("id").loc[int(old["replaces"])]
        return {"value": plain(before["value"]), "beyond": before["beyond"]}
    given = new if isinstance(new, NewReading) else NewReading(new)
    return {"value": given.value, "beyond": given.beyond}


def _typed_reading(row: dict[str, Any]) -> float | str | None:
    """A reading as a figure, as typed where it is none, None where it is withdrawn."""
    return as_typed(row) if row["beyond"] else row["value"]


def correct(
    folder: Path | str,
    place: ReadingPlace,
    new: NewReading | float | None,
    who: str,
    why: str,
    at: datetime | None = None,
    restore: bool = False,
    seen: Change | None = None,
) -> Recorded:
    """Correct one reading by a new row that names the old one; None withdraws it (typed for the wrong coupon).

    restore: bring back a reading that was withdrawn, as it was, or with what is new if that is given. What could not
    be measured has the reason in its note: `why`, where it has none.
    seen: the change as it was shown before; it is not written where the record changed since.

    Raises
    ------
    InputError
        If who or why is missing, there is no such reading, or the value equals the old one or is not allowed.
    """
    _named(who, why)
    moment = stamp(at)
    with writing(folder, decides=True) as (connection, records):
        change, row = reading_change(records, place, new, restore)
        _check_seen(seen, change)
        if row["beyond"] == Beyond.NOT_MEASURABLE:
            row["note"] = row["note"] or why.strip()
        connection.execute(insert(schema.readings), row | {"who": who, "why": why, "entered_at": moment})
        _note_reading(connection, change, who, why, moment)
    return Recorded(1, 0)


def _note_reading(connection: Connection, change: Change, who: str, why: str, moment: str) -> None:
    facts = {"coupon": change.mark, "reading": change.reading, "repeat": change.repeat, "field": change.column}
    facts |= {"old": change.old, "new": change.new}
    write_journal(connection, moment, who, JournalKind.READING_CORRECTED, facts, why)


def detail_change(records: Records, place: ReadingPlace, new: str) -> tuple[Change, list[dict[str, Any]]]:
    """What a correction of side, inspector, instrument, ... of one reading would change, and the rows it would replace.

    Raises
    ------
    InputError
        If there is no such reading, or nothing would change.
    """
    place = replace(place, coupon=as_mark(place.coupon, records.coupons["coupon"]))
    check_coupon(place.coupon, set(records.coupons["coupon"]))
    rows = standing(records.all_readings)
    rows = rows[rows["coupon"] == place.coupon]
    numbers = sorted(rows["reading"].unique())
    wanted = (rows["reading"] == place.reading) | (place.reading == 0 and len(numbers) == 1)
    chosen = rows_of(rows[wanted & (rows["repeat"] == place.repeat)])
    if not chosen:
        raise InputError(
            f"coupon {second_mark(place.coupon, place.repeat, records) or place.coupon} has no such reading",
            found=place.reading,
            allowed=", ".join(map(str, numbers)) or "none",
            do="Name a reading on record with --reading.",
        )
    value: Any = _detail(place.field, new)
    if place.field == "note" and not value and any(row["beyond"] == Beyond.NOT_MEASURABLE for row in chosen):
        raise InputError("what could not be measured needs a reason", column="note", do="Give the reason.")
    replaced = [row for row in chosen if row[place.field] != value]
    if not replaced:
        raise InputError("the new value equals the one on record", found=new, do="Nothing to correct.")
    old, seen_as = _or_empty(replaced[0][place.field]), second_mark(place.coupon, place.repeat, records)
    number = int(chosen[0]["reading"])
    return Change(place.coupon, place.field, old, _or_empty(value), number, place.repeat, seen_as), replaced


def _or_empty(cell: Any) -> Any:
    return "" if cell is None else cell


def _detail(column: str, typed: str) -> Any:
    if column in REAL:
        value = number_in(typed or None, decimal_comma=True, column=column)
        if value is not None and value <= 0:
            raise InputError("not above zero", column=column, found=typed, do="Correct it.")
        return value
    if column == "ended":
        ended = ended_in(typed, column=column)
        return "" if ended is None else ended.value
    return moment_in(typed or None, column=column) if column in MOMENT_COLUMNS else text_in(typed)


def correct_detail(
    folder: Path | str,
    place: ReadingPlace,
    new: str,
    who: str,
    why: str,
    at: datetime | None = None,
    seen: Change | None = None,
) -> Recorded:
    """Correct side, inspector, instrument or another detail of one reading, in all its values.

    Raises
    ------
    InputError
        If who or why is missing, there is no such reading, nothing would change, or cut-offs would be mixed.
    """
    _named(who, why)
    moment = stamp(at)
    with writing(folder, decides=True) as (connection, records):
        change, rows = detail_change(records, place, new)
        _check_seen(seen, change)
        entry = {"who": who, "why": why, "entered_at": moment}
        new_cell = None if change.new == "" and place.field in REAL else change.new
        fresh = [
            {**{name: row[name] for name in READING_COLUMNS}, place.field: new_cell, **entry, "replaces": row["id"]}
            for row in rows
        ]
        connection.execute(insert(schema.readings), fresh)
        _note_reading(connection, change, who, why, moment)
    return Recorded(len(rows), 0)


@dataclass(frozen=True)
class RowChange:
    """The new value of one column of a cut record (`of` a coupon), a mount or a sheet, named by its mark."""

    of: str
    mark: str
    column: str
    value: Any


_TABLES = {
    "coupon": (schema.cuts, CUT_COLUMNS, JournalKind.CUT_CORRECTED),
    "mount": (schema.mounts, MOUNT_COLUMNS, JournalKind.MOUNT_CORRECTED),
    "sheet": (schema.sheets, SHEET_COLUMNS, JournalKind.SHEET_CORRECTED),
}


def row_change(records: Records, asked: RowChange) -> tuple[Change, dict[str, Any]]:
    """What a correction of a cut record, mount or sheet would change, and the whole new row; raises as `correct`."""
    key, column = asked.of, asked.column
    _, columns, _ = _TABLES[key]
    if column not in columns[1:]:
        readings = [records.trial.quantity(name).column for name in records.trial.responses] if key == "coupon" else []
        allowed = ", ".join(dict.fromkeys([*readings, *columns[1:]]))
        raise InputError("unknown column", found=column, allowed=allowed, do="Use one of these.")
    value = _typed(column, asked.value)
    recorded = {"coupon": records.cuts, "mount": records.mounts, "sheet": records.sheets}[key]
    mark = as_mark(asked.mark, recorded[key])
    old = next((row for row in rows_of(recorded) if row[key] == mark), None)
    if old is None:
        raise InputError(f"nothing is recorded for this {key}", found=mark, do="Record it with `trials cut`.")
    before = cleaned(old, columns, records)
    new = cleaned({**before, column: value}, columns, records)
    if new == before:
        raise InputError("the new value equals the one on record", found=asked.value, do="Nothing to correct.")
    check_row(key, new, records)
    return Change(mark, column, _or_empty(before[column]), _or_empty(new[column])), new


def correct_row(
    folder: Path | str, asked: RowChange, who: str, why: str, at: datetime | None = None, seen: Change | None = None
) -> Recorded:
    """Correct one column of a row on record by a new row that names the old one; arguments and errors as `correct`."""
    _named(who, why)
    target, _, kind = _TABLES[asked.of]
    moment = stamp(at)
    with writing(folder, decides=True) as (connection, records):
        change, new = row_change(records, asked)
        _check_seen(seen, change)
        kept = current_rows(connection, target, asked.of).get(change.mark)
        extra = {"who": who, "why": why, "entered_at": moment, "replaces": kept["id"] if kept else None}
        connection.execute(insert(target), {**new, **extra})
        facts = {"of": asked.of, "mark": change.mark, "column": asked.column, "old": change.old, "new": change.new}
        write_journal(connection, moment, who, kind, facts, why)
    return Recorded(1, 0)


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
