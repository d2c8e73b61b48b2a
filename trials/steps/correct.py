"""A record is corrected: a new row names the old one, with who and why."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from trials.errors import InputError
from trials.findings import Finding
from trials.responses import VALUE_COLUMNS
from trials.store import records

KINDS = ("coupon", "mount", "sheet")


@dataclass(frozen=True)
class Correction:
    """What is to be corrected: the mark of a coupon, mount or sheet (`of`), the column, the right value as typed.

    An empty value takes a reading back; reading 0 is the only one of its column on the coupon; repeat: which
    re-measurement, 0 for the reading itself.
    """

    mark: str
    column: str
    value: str
    reading: int = 0
    repeat: int = 0
    of: str = "coupon"


@dataclass(frozen=True)
class Corrected:
    """What was written: how many rows, of which coupon, mount or sheet, by whom; slips that were confirmed."""

    rows: int
    mark: str
    who: str
    confirmed: tuple[Finding, ...] = ()


def correct(folder: Path | str, asked: Correction, who: str, why: str) -> Corrected:
    """Correct one value on record.

    Raises
    ------
    InputError
        If who or why is missing, there is no such record, or the value cannot be used or equals the one on record.
    """
    if asked.of not in KINDS:
        raise InputError(
            "unknown kind of record", column="--of", found=asked.of, allowed=", ".join(KINDS), do="Name one of these."
        )
    if not asked.column:
        raise InputError("the column to correct is missing", do="Name it, or give --as-read for a flagged reading.")
    if asked.of == "coupon" and _is_reading(folder, asked.column):
        place = records.ReadingPlace(asked.mark, asked.column, asked.reading, asked.repeat)
        done = records.correct(folder, place, _number(asked.value, asked.column), who, why)
    else:
        change = {"coupon": records.correct_cut, "mount": records.correct_mount, "sheet": records.correct_sheet}
        done = change[asked.of](folder, asked.mark, asked.column, asked.value, who, why)
    return Corrected(done.added, asked.mark, who)


def confirm(folder: Path | str, coupon: str, who: str, why: str) -> Corrected:
    """Say that the flagged readings of a coupon are right as they are.

    Raises
    ------
    InputError
        If who or why is missing, or no reading of the coupon is flagged.
    """
    done = records.confirm_slips(folder, who, why, [coupon])
    return Corrected(done.added, coupon, who, tuple(slip.finding for slip in done.slips))


def _is_reading(folder: Path | str, column: str) -> bool:
    trial = records.load(folder).trial
    return column in {*VALUE_COLUMNS, *(trial.quantity(name).column for name in trial.responses)}


def _number(value: str, column: str) -> float | None:
    if not value:
        return None
    try:
        number = float(value)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise InputError(
            "not a number", column=column, found=value, allowed="a number with a decimal point", do="Type it again."
        )
    return number
