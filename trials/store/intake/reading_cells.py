"""Cells of a file of readings, worked out whole columns at a time without any library of tables.

What no records could make right is so refused before they are loaded.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from trials.errors import InputError
from trials.findings import Finding
from trials.responses import Quantity
from trials.store.intake.bounds import reading_in
from trials.store.intake.distinct_cells import Faults, Worked, worked_out
from trials.store.intake.headers import Columns, head, match_columns, missing, named_cells
from trials.store.language import SIDES, kept_word
from trials.store.records.bounds import NOT_MEASURABLE
from trials.store.records.reading_columns import READING_COLUMNS
from trials.store.records.rules import check_coupon, check_was_cut, ended_in, quantities
from trials.store.records.spelling import Marks
from trials.store.tables import FileCells, FileTable, moment_in, number_in, text_in, whole_in
from trials.trial import Trial
from trials.units import suffix

NOT_TYPED = ("field", "value", "beyond", "measured_order")
"""Columns of a reading that no column of a file is named after."""
READING_UNITS = {"cutoff_mm": "mm", "depth_mm": "mm"}
_NO_NUMBER = InputError("no reading number", allowed="1, 2, 3, ...", do="Number it.")


@dataclass(frozen=True)
class ReadingColumns:
    """Columns of a file of readings; values: those that hold readings, with their quantities; said: of the others."""

    columns: Columns
    values: dict[str, Quantity]
    said: tuple[Finding, ...]


@dataclass(frozen=True)
class WorkedRows:
    """Rows of a file that hold a reading.

    numbers: of the rows as the user sees them; base: cells by column of a reading that is no value; values: value and
    beyond by column, None where the cell is empty.
    """

    numbers: list[int]
    base: dict[str, list[Any]]
    values: dict[str, list[tuple[float, str] | None]]


def bench_cells(path: str | Path) -> FileCells:
    """Cells of a file from the bench; raises InputError where it is no table with coupons."""
    return named_cells(path, "readings", ("coupon",))


def refuse_bad_cells(table: FileCells, trial: Trial, outcome_of: Callable[[], Mapping[str, str | None]]) -> None:
    """Raise InputError for every cell that cannot be used whatever is on record.

    outcome_of: called only where there is one, gives every known mark and what became of its coupon, None if it is not
    cut yet, so that all marks that cannot be used are told with it; empty where the marks are not known.
    """
    found = reading_columns(table, trial)
    try:
        worked_rows(table, found)
    except InputError:
        outcomes = outcome_of()
        worked_rows(table, found, mark_meant(outcomes, outcomes) if outcomes else text_in)


def mark_meant(known: Collection[str], outcomes: Mapping[str, str | None]) -> Callable[[Any], str]:
    """What finds the mark that a cell means, and refuses one that is unknown or was not cut."""
    marks = Marks(known)

    def mark(cell: Any) -> str:
        found = marks.meant(text_in(cell))
        check_coupon(found, marks.known)
        check_was_cut(found, outcomes)
        return found

    return mark


def reading_columns(table: FileTable | FileCells, trial: Trial) -> ReadingColumns:
    """The columns of a file of readings.

    Raises
    ------
    InputError
        If none holds readings, one that is needed is missing, or one cannot be understood.
    """
    known = quantities(trial)
    wanted = {name: "" for name in READING_COLUMNS if name not in NOT_TYPED} | READING_UNITS
    wanted |= {column: suffix(quantity.unit) for column, quantity in known.items()}
    columns, left_out = match_columns(table, wanted, ("coupon",))
    values = [name for name in columns if name in known]
    if not values:
        raise InputError(
            "no column of readings",
            allowed=", ".join(known),
            do="Name the columns as in the bench workbook.",
            **head(table),
        )
    per_reading = [name for name in values if not known[name].per_coupon]
    if per_reading and "reading" not in columns:
        raise missing(table, "reading")
    return ReadingColumns(columns, {name: known[name] for name in values}, left_out)


def worked_rows(
    table: FileTable | FileCells, found: ReadingColumns, mark: Callable[[Any], str] = text_in
) -> WorkedRows:
    """The rows that hold a reading, in order; mark: the coupon that a cell means, which may raise without a place.

    Raises
    ------
    InputError
        For every cell that cannot be used.
    """
    numbers, cells = _filled(table, found)
    faults = Faults(table, numbers, found.columns)
    base, comma = _base(cells, len(numbers), found.columns, table.decimal_comma, mark, faults), table.decimal_comma
    values = {}
    for place, (name, quantity) in enumerate(found.values.items(), 1):
        worked = _values(cells[name], base["note"], quantity, found.columns[name][1], comma)
        faults.of_value(name, place, worked.wrong)
        if not quantity.per_coupon:
            there = (at for at, value in enumerate(worked.values) if value is not None)
            bare = [at for at in there if base["reading"][at] is None and not faults.in_row(at)]
            faults.of_value("reading", place, dict.fromkeys(bare, _NO_NUMBER))
        values[name] = worked.values
    faults.tell()
    return WorkedRows(numbers, base, values)


def _filled(table: FileTable | FileCells, found: ReadingColumns) -> tuple[list[int], dict[str, list[Any]]]:
    """Row numbers and cells, by column, of the rows that hold a reading."""
    cells = {name: table.cells(header) for name, (header, _) in found.columns.items()}
    rows = zip(*(cells[name] for name in found.values), strict=True)
    kept = [at for at, row in enumerate(rows) if row.count(None) < len(row)]
    numbers = table.numbers
    if len(kept) == len(numbers):
        return numbers, cells
    return [numbers[at] for at in kept], {name: [column[at] for at in kept] for name, column in cells.items()}


def _base(
    cells: dict[str, list[Any]],
    rows: int,
    columns: Columns,
    decimal_comma: bool,
    mark: Callable[[Any], str],
    faults: Faults,
) -> dict[str, list[Any]]:
    """The columns of a reading that are not values, whole."""

    def number(name: str, cell: Any) -> float | None:
        value = number_in(cell, decimal_comma=decimal_comma)
        if value is not None and value <= 0:
            raise InputError("not above zero", found=cell, do="Correct the cell.")
        return None if value is None else converted(value, columns[name][1])

    work: dict[str, Callable[[Any], Any]] = {
        "reading": lambda cell: whole_in(cell, 1, decimal_comma=decimal_comma),
        "repeat": lambda cell: whole_in(cell, 0, decimal_comma=decimal_comma) or 0,
        "measured_on": moment_in,
        "ended": _ended,
        **{name: partial(number, name) for name in READING_UNITS},
        "coupon": mark,
        "side": _side,
    }
    base = dict[str, list[Any]]()
    for name in (*work, *(name for name in READING_COLUMNS if name not in (*work, *NOT_TYPED))):
        found = worked_out(cells.get(name) or [None] * rows, work.get(name, text_in))
        faults.of_row(name, found.wrong)
        base[name] = found.values
    return base


def _side(cell: Any) -> str:
    typed = text_in(cell)
    return typed if typed in ("", *SIDES) else kept_word(typed)


def _ended(cell: Any) -> str:
    """How a life ended, empty where the cell is."""
    found = ended_in(cell)
    return "" if found is None else found.value


def _values(cells: list[Any], notes: list[str], quantity: Quantity, scale: float, decimal_comma: bool) -> Worked:
    """Value and beyond of each cell of a column of readings, None where it is empty."""

    def work(pair: tuple[Any, bool]) -> tuple[float | None, str] | None:
        return reading_in(pair[0], quantity, scale, decimal_comma, noted=pair[1])

    if not any(isinstance(cell, str) and kept_word(cell.strip()).casefold() == NOT_MEASURABLE for cell in set(cells)):
        return worked_out(cells, lambda cell: reading_in(cell, quantity, scale, decimal_comma, noted=False))
    return worked_out(list(zip(cells, map(bool, notes), strict=True)), work)


def converted(value: float, scale: float) -> float:
    """A value in the kept unit, to twelve digits: 14000 uin is 355.6 um, not 355.59999999999997."""
    return value if scale == 1.0 else float(f"{value * scale:.12g}")
