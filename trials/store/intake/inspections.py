"""Tables of a measurement study: who measured which coupon how often, without a trial."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from trials.errors import InputError, Problems
from trials.responses import QUANTITIES
from trials.store.intake.headers import Columns, Placer, each_row, head, match_columns, named_sheet, placer
from trials.store.records.rules import check_value
from trials.store.tables import number_in, text_in, whole_in
from trials.units import suffix


@dataclass(frozen=True)
class Inspections:
    """Readings of a study: `coupon, inspector, reading` (the place on it), `repeat`, and a column per quantity."""

    frame: pd.DataFrame
    columns: tuple[str, ...]
    file: str


WHO = ("coupon", "inspector", "reading", "repeat")


def read_inspections(path: str | Path, needed: tuple[str, ...] = ("coupon",)) -> Inspections:
    """Readings of a study: `coupon`, `inspector`, `reading` (the place on it), `repeat`, and a column per quantity.

    Values come in the kept unit, NaN where a cell is empty; a missing column of the first four is left empty, reading
    counts as 1.

    Raises
    ------
    InputError
        If a column is missing or a cell cannot be used.
    """
    table = named_sheet(path, "readings", needed)
    known = {quantity.column: quantity for quantity in QUANTITIES.values()}
    wanted = dict.fromkeys(WHO, "") | {name: suffix(quantity.unit) for name, quantity in known.items()}
    columns, _ = match_columns(table, wanted, needed)
    found = [name for name in columns if name in known]
    if not found:
        allowed = ", ".join(known)
        raise InputError("no column of readings", allowed=allowed, do="Name one in the header row.", **head(table))
    rows: list[dict[str, Any]] = []
    problems = Problems()
    for number, cells in each_row(table, columns):
        with problems.gathered():
            rows.append(_row(cells, columns, placer(table, number, columns), table.decimal_comma, "coupon" in needed))
    problems.tell()
    frame = pd.DataFrame(rows, columns=[*WHO, *found]).astype(dict.fromkeys(found, "float64"))
    return Inspections(frame, tuple(found), table.file)


def _row(cells: dict[str, Any], columns: Columns, place: Placer, comma: bool, marked: bool) -> dict[str, Any]:
    row: dict[str, Any] = {"coupon": text_in(cells.get("coupon")), "inspector": text_in(cells.get("inspector"))}
    if not row["coupon"] and marked:
        raise InputError("no coupon", do="Fill in its mark, or remove the row.", **place("coupon"))
    row["reading"] = whole_in(cells.get("reading"), 1, decimal_comma=comma, **place("reading")) or 1
    row["repeat"] = whole_in(cells.get("repeat"), 0, decimal_comma=comma, **place("repeat")) or 0
    for quantity in (q for q in QUANTITIES.values() if q.column in columns):
        name = quantity.column
        value = number_in(cells[name], decimal_comma=comma, **place(name))
        row[name] = None if value is None else check_value(_converted(value, columns[name][1]), quantity, **place(name))
    return row


def _converted(value: float, scale: float) -> float:
    """A value in the kept unit, to twelve digits."""
    return value if scale == 1.0 else float(f"{value * scale:.12g}")
