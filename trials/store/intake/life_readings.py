"""A table of lives as readings of a life trial: each specimen's coupon, each part its own field."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from trials.endings import Part
from trials.errors import InputError, Problems
from trials.store.intake.headers import result
from trials.store.intake.lives import LifeColumns, StoredLives, read_table_of_lives, squeezed
from trials.store.records.as_cut import coupon_table
from trials.store.records.changed_setting import nearest
from trials.store.records.reading_columns import READING_COLUMNS
from trials.store.records.records import Records
from trials.store.records.rules import LifeFields, check_was_cut, life_quantities, outcomes
from trials.store.tables import FileTable, text_in
from trials.trial import Method


def read_life_readings(path: Path | str, records: Records, columns: LifeColumns | None = None) -> FileTable:
    """Lives by specimen in the long form of readings; the index holds the row of the file.

    The life of a nozzle is reading 1 of its coupon; lenses and windows are numbered in the order of the file. `cleaned`
    and `refitted` are kept where they are above zero.

    Raises
    ------
    InputError
        If the trial was not planned for lives, or, all at once, for each cell that cannot be used: what
        `read_table_of_lives` refuses, a specimen that is not of the trial or of another type, lives in another unit.
    """
    if records.trial.plan.method != Method.LIFE:
        raise InputError(
            "this trial was not planned for lives",
            file=str(records.folder),
            do="Record its readings with `trials record`, or give `trials life` the table alone.",
        )
    wanted = columns or LifeColumns()
    found = read_table_of_lives(path, wanted, several=True)
    fields = life_quantities(records.trial)
    unit = fields[Part.NOZZLE].life.unit
    if squeezed(found.unit) != squeezed(unit):
        raise InputError(
            f"the lives of this trial are in {unit}",
            file=found.file,
            found=found.unit,
            allowed=unit,
            do="Convert the column and name it after that unit.",
        )
    return result(_rows(found, records, fields, wanted), READING_COLUMNS, found.file, ())


def _rows(
    found: StoredLives, records: Records, fields: Mapping[Part, LifeFields], columns: LifeColumns
) -> list[tuple[int, dict[str, Any]]]:
    coupons = coupon_table(records)
    pieces = {
        str(specimen): (str(mark), str(nozzle))
        for specimen, mark, nozzle in zip(coupons["specimen"], coupons["coupon"], coupons["nozzle"], strict=True)
    }
    cut, seen = outcomes(records), Counter[tuple[str, Part]]()
    rows: list[tuple[int, dict[str, Any]]] = []
    problems = Problems()
    for number, cells in zip(found.frame.index, found.frame.to_dict("records"), strict=True):
        place: dict[str, Any] = {"file": found.file, "row": int(str(number))}
        with problems.gathered():
            mark = _coupon(cells, pieces, columns, place)
            check_was_cut(mark, cut, **place, column=columns.specimen)
            seen[mark, cells["part"]] += 1
            base = {"coupon": mark, "reading": seen[mark, cells["part"]], "repeat": 0}
            rows += [(place["row"], base | one) for one in _fields_of(cells, fields[cells["part"]])]
    problems.tell()
    return rows


def _fields_of(cells: Mapping[Any, Any], fields: LifeFields) -> list[dict[str, Any]]:
    life = {"field": fields.life.column, "value": float(cells["life"]), "ended": cells["ended"].value}
    counts = ((fields.cleaned, cells["cleaned"]), (fields.refitted, cells["refitted"]))
    return [life, *({"field": field.column, "value": float(count)} for field, count in counts if count)]


def _coupon(
    cells: Mapping[Any, Any], pieces: Mapping[str, tuple[str, str]], columns: LifeColumns, place: Mapping[str, Any]
) -> str:
    """Coupon of a specimen; raises where it is none of the trial, or of another type than the row says."""
    specimen, nozzle = text_in(cells["specimen"]), text_in(cells["nozzle"])
    at = {**place, "column": columns.specimen}
    if not specimen:
        raise InputError("no specimen", do="Fill in its mark; a life is kept for one piece.", **at)
    if specimen not in pieces:
        alike = next((name for name in pieces if squeezed(name) == squeezed(specimen)), "")
        hint = f"Write {alike!r} if it is that piece." if alike else nearest(specimen, list(pieces))
        do = hint or "Use the marks of the run sheet."
        raise InputError("not a specimen of this trial", found=specimen, allowed=", ".join(pieces), do=do, **at)
    mark, known = pieces[specimen]
    if nozzle != known:
        at = {**place, "column": columns.nozzle}
        raise InputError(
            f"specimen {specimen} is of type {known!r}", found=nozzle, do=f"Write {known!r}, or mend the mark.", **at
        )
    return mark
