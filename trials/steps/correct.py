"""A record is corrected: a new row names the old one, with who and why."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from trials.errors import InputError
from trials.findings import Finding
from trials.responses import VALUE_COLUMNS
from trials.store import records
from trials.store.intake.bounds import reading_in
from trials.trial import Trial
from trials.units import match_header, suffix

KINDS = ("coupon", "mount", "sheet")


@dataclass(frozen=True)
class Correction:
    """What is to be corrected: the mark of a coupon, mount or sheet (`of`), the column, the right value as typed.

    column: as `record` takes it, in any unit it takes (`rz5_uin`); value: with a decimal point or comma, `>100` or
    `not measurable`. withdraw: take a reading back; restore: bring one back that was taken back, as it was or with the
    value given. Reading 0 is the only one of its column on the coupon; repeat: which re-measurement, 0 for the reading
    itself.
    """

    mark: str
    column: str
    value: str = ""
    reading: int = 0
    repeat: int = 0
    of: str = "coupon"
    withdraw: bool = False
    restore: bool = False


@dataclass(frozen=True)
class Corrected:
    """What was written: how many rows, of which coupon, mount or sheet, by whom; slips that were confirmed."""

    rows: int
    mark: str
    who: str
    confirmed: tuple[Finding, ...] = ()


def correct(folder: Path | str, asked: Correction, who: str, why: str, seen: records.Change | None = None) -> Corrected:
    """Correct one value on record; `change` shows it before, and seen is what it showed.

    Raises
    ------
    InputError
        If who or why is missing, there is no such record, the value cannot be used or equals the one on record, or
        the record changed since it was seen.
    """
    target = _target(records.load(folder), asked)
    if target.place is None:
        done = records.correct_row(folder, _row(asked), who, why, seen=seen)
    elif target.is_detail:
        done = records.correct_detail(folder, target.place, asked.value, who, why, seen=seen)
    else:
        done = records.correct(folder, target.place, target.new, who, why, restore=asked.restore, seen=seen)
    return Corrected(done.added, asked.mark, who)


def change(folder: Path | str, asked: Correction) -> records.Change:
    """What a correction would change, old and new; nothing is written. Raises as `correct`."""
    known = records.load(folder)
    target = _target(known, asked)
    if target.place is None:
        return records.row_change(known, _row(asked))[0]
    if target.is_detail:
        return records.detail_change(known, target.place, asked.value)[0]
    return records.reading_change(known, target.place, target.new, asked.restore)[0]


def _row(asked: Correction) -> records.RowChange:
    return records.RowChange(asked.of, asked.mark, asked.column, asked.value)


@dataclass(frozen=True)
class _Target:
    """Which reading is meant (None: a row of cuts, mounts or sheets), its new value (None: withdrawn or as it was),
    and whether it is a detail of the reading instead of its value."""

    place: records.ReadingPlace | None
    new: records.NewReading | None = None
    is_detail: bool = False


def _target(known: records.Records, asked: Correction) -> _Target:
    if asked.of not in KINDS:
        raise InputError(
            "unknown kind of record", column="--of", found=asked.of, allowed=", ".join(KINDS), do="Name one of these."
        )
    if not asked.column:
        raise InputError("the column to correct is missing", do="Name it, or give --as-read for a flagged reading.")
    mark, repeat = records.coupon_behind(asked.mark, asked.repeat, known)
    matched = match_header(asked.column, _units(known.trial)) if asked.of == "coupon" else None
    if matched:
        column, scale = matched
        place = records.ReadingPlace(mark, column, asked.reading, repeat)
        return _Target(place, _new_reading(known.trial, asked, column, scale))
    if asked.withdraw or asked.restore:
        raise InputError(
            "only the value of a reading is withdrawn or restored",
            column=asked.column,
            allowed=", ".join(_units(known.trial)),
            do="Name the column of the reading.",
        )
    column = asked.column.strip().lower()
    detail = column in records.READING_DETAILS and (column != "note" or asked.reading > 0)
    if asked.of == "coupon" and detail:
        return _Target(records.ReadingPlace(mark, column, asked.reading, repeat), is_detail=True)
    return _Target(None)


def _units(trial: Trial) -> dict[str, str]:
    """Every column that can be read for a trial, with the unit it is kept in."""
    known = {column: suffix(quantity.unit) for column, quantity in records.quantities(trial).items()}
    return dict.fromkeys(VALUE_COLUMNS, "") | known


def _new_reading(trial: Trial, asked: Correction, column: str, scale: float) -> records.NewReading | None:
    """What the reading is to say, in the kept unit; None where it is withdrawn, or restored as it was."""
    if asked.withdraw and (asked.value or asked.restore):
        raise InputError("withdraw it, restore it or give a value: one of the three", do="Leave out the others.")
    if asked.withdraw or (asked.restore and not asked.value):
        return None
    if not asked.value.strip():
        raise InputError("the right value is missing", column=asked.column, do="Give it, or --withdraw the reading.")
    quantity = records.quantities(trial)[column]
    found = reading_in(asked.value.strip(), quantity, scale, True, noted=True, column=asked.column)
    return None if found is None else records.NewReading(*found)


def confirm(folder: Path | str, coupon: str, who: str, why: str) -> Corrected:
    """Say that the flagged readings of a coupon are right as they are.

    Raises
    ------
    InputError
        If who or why is missing, or no reading of the coupon is flagged.
    """
    done = records.confirm_slips(folder, who, why, [coupon])
    return Corrected(done.added, coupon, who, tuple(slip.finding for slip in done.slips))
