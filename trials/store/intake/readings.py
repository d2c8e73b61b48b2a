"""Readings as people type them, wide, checked cell by cell and turned into long form."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd

from trials.endings import Ended
from trials.errors import InputError, Problems
from trials.findings import Fact, Finding
from trials.record_kinds import RecordKind
from trials.responses import QUANTITIES, Quantity
from trials.store.intake.bounds import reading_in
from trials.store.intake.headers import (
    Columns,
    Placer,
    each_row,
    head,
    match_columns,
    missing,
    named_sheet,
    placer,
    result,
)
from trials.store.intake.lives import note_says_good
from trials.store.intake.names import one_spelling
from trials.store.language import SIDES, kept_word
from trials.store.records.again import BECAUSE
from trials.store.records.bounds import as_typed, same_reading
from trials.store.records.records import (
    READING_COLUMNS,
    Records,
)
from trials.store.records.rules import (
    check_coupon,
    check_cutoff,
    check_value,
    check_was_cut,
    ended_in,
    outcomes,
    quantities,
)
from trials.store.records.second_marks import known_marks
from trials.store.records.spelling import as_mark
from trials.store.tables import FileTable, moment_in, number_in, text_in, whole_in
from trials.trial import Method
from trials.units import suffix

PLAIN = {"coupon": "", "repeat": "", "thickness_mm": "mm", "u_mm": "mm", "rz5_um": "um", "dross_grade": ""}
NOT_TYPED = ("field", "value", "beyond", "measured_order")
"""Columns of a reading that no column of a file is named after."""
READING_UNITS = {"cutoff_mm": "mm", "depth_mm": "mm"}


def read_readings(path: str | Path, records: Records) -> FileTable:
    """Readings in long form, from a wide CSV file or the sheet `readings` of the bench workbook.

    One row per coupon, reading, repeat and field, in the kept unit; the index holds the row of the file.

    Raises
    ------
    InputError
        For every cell that cannot be used, a coupon that is unknown or was not cut, two values for one place, or
        mixed cut-offs.
    """
    return read_table_of_readings(named_sheet(path, "readings", ("coupon",)), records)


def read_table_of_readings(table: FileTable, records: Records) -> FileTable:
    """The same of a table that was read already; a second mark of a coupon stays as it was typed."""
    known = quantities(records.trial)
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
    rows = _long_rows(table, columns, {name: known[name] for name in values}, records)
    kept, equal = _without_equals(rows, table.file)
    said = (*table.said, *left_out, *equal, *_with_ends(kept, records), *one_spelling(kept, records))
    long = result(kept, READING_COLUMNS, table.file, said)
    check_cutoff(long.frame, records, table.file)
    return long


def _long_rows(
    table: FileTable, columns: Columns, known: dict[str, Quantity], records: Records
) -> list[tuple[int, dict[str, Any]]]:
    marks, recorded = known_marks(records), outcomes(records)
    recorded |= {mark: recorded[coupon] for mark, coupon in records.repeat_marks.items() if coupon in recorded}
    rows: list[tuple[int, dict[str, Any]]] = []
    problems = Problems()
    for number, cells in each_row(table, columns):
        if all(cells[name] is None for name in known):
            continue
        place = placer(table, number, columns)
        base: dict[str, Any] = {"reading": 0}
        with problems.gathered():
            base = _reading_base(cells, columns, place, table.decimal_comma)
            base["coupon"] = base["coupon"] if base["coupon"] in marks else as_mark(base["coupon"], marks)
            check_coupon(base["coupon"], marks, **place("coupon"))
            check_was_cut(base["coupon"], recorded, **place("coupon"))
        for name, quantity in known.items():
            with problems.gathered():
                found = reading_in(cells[name], quantity, columns[name][1], table.decimal_comma, base, place(name))
                if found is None:
                    continue
                reading = 1 if quantity.per_coupon else base["reading"]
                if reading is None:
                    raise InputError("no reading number", allowed="1, 2, 3, ...", do="Number it.", **place("reading"))
                rows.append((number, {**base, "reading": reading, "field": name, **found}))
    problems.tell()
    return rows


def _reading_base(cells: dict[str, Any], columns: Columns, place: Placer, decimal_comma: bool) -> dict[str, Any]:
    """The columns of a reading that are not values."""
    names = [name for name in READING_COLUMNS if name not in NOT_TYPED]
    row: dict[str, Any] = {name: text_in(cells.get(name)) for name in names}
    row["side"] = kept_word(row["side"]) if row["side"] not in ("", *SIDES) else row["side"]
    row["reading"] = whole_in(cells.get("reading"), 1, decimal_comma=decimal_comma, **place("reading"))
    row["repeat"] = whole_in(cells.get("repeat"), 0, decimal_comma=decimal_comma, **place("repeat")) or 0
    row["measured_on"] = moment_in(cells.get("measured_on"), **place("measured_on"))
    row["ended"] = _ended(cells, place)
    for name in READING_UNITS:
        value = number_in(cells.get(name), decimal_comma=decimal_comma, **place(name))
        if value is not None and value <= 0:
            raise InputError("not above zero", found=cells[name], do="Correct the cell.", **place(name))
        row[name] = None if value is None else _converted(value, columns[name][1])
    return row


def _ended(cells: dict[str, Any], place: Callable[[str], Any]) -> str:
    """How a life ended, empty where the cell is."""
    found = ended_in(cells.get("ended"), **place("ended"))
    return "" if found is None else found.value


def _with_ends(rows: list[tuple[int, dict[str, Any]]], records: Records) -> tuple[Finding, ...]:
    """In a life trial a note `still good` of an older file becomes the end of that life, and it is said."""
    if records.trial.plan.method != Method.LIFE:
        return ()
    noted = [row for _, row in rows if not row["ended"] and note_says_good(row["note"])]
    for row in noted:
        row["ended"] = Ended.TAKEN_OFF_GOOD.value
    facts: dict[str, Fact] = {"notes": len(noted), "ended": Ended.TAKEN_OFF_GOOD.value}
    return (Finding(RecordKind.NOTED_GOOD, facts=facts),) if noted else ()


def _converted(value: float, scale: float) -> float:
    """A value in the kept unit, to twelve digits: 14000 uin is 355.6 um, not 355.59999999999997."""
    return value if scale == 1.0 else float(f"{value * scale:.12g}")


def _without_equals(
    rows: list[tuple[int, dict[str, Any]]], file: str
) -> tuple[list[tuple[int, dict[str, Any]]], tuple[Finding, ...]]:
    """One row per coupon, reading, repeat and field; equal ones are dropped, different ones refused, all at once."""
    seen: dict[tuple[Any, ...], tuple[int, dict[str, Any]]] = {}
    kept: list[tuple[int, dict[str, Any]]] = []
    equal = 0
    problems = Problems()
    for number, row in rows:
        key = (row["coupon"], row["reading"], row["repeat"], row["field"])
        if key not in seen:
            seen[key] = (number, row)
            kept.append((number, row))
        elif same_reading(row, seen[key][1]):
            equal += 1
        else:
            with problems.gathered():
                raise _two_values(row, number, *seen[key], file)
    problems.tell()
    return kept, (Finding(RecordKind.EQUAL_CELLS, facts={"cells": equal}),) if equal else ()


def _two_values(row: dict[str, Any], number: int, first: int, other: dict[str, Any], file: str) -> InputError:
    return InputError(
        f"coupon {row['coupon']}, reading {row['reading']} has {as_typed(other)} in row {first}",
        file=file,
        row=number,
        column=row["field"],
        found=as_typed(row) if row["beyond"] or row["value"] is None else row["value"],
        do=f"Keep one of them; or, where the first went wrong, say why in the column {BECAUSE} of the second; a place "
        "measured again for the study of the bench is repeat 1.",
    )


def read_plain_readings(path: str | Path) -> pd.DataFrame:
    """Readings to be graded without a trial: coupon and any of u_mm, rz5_um, dross_grade, thickness_mm, repeat.

    Other units in a header are converted; the index holds the row of the file.

    Raises
    ------
    InputError
        If a column is missing or a cell cannot be used.
    """
    table = named_sheet(path, "readings", ("coupon",))
    columns, _ = match_columns(table, PLAIN, ("coupon",))
    known = {quantity.column: quantity for quantity in QUANTITIES.values() if quantity.column in columns}
    if not known:
        raise InputError(
            "no column of readings",
            allowed="u_mm, rz5_um, dross_grade",
            do="Name one in the header row.",
            **head(table),
        )
    rows, problems = dict[int, list[Any]](), Problems()
    for number, cells in each_row(table, columns):
        with problems.gathered():
            rows[number] = _plain_row(cells, columns, known, table, number)
    problems.tell()
    frame = pd.DataFrame.from_dict(rows, orient="index", columns=list(columns))
    numbers = [name for name in columns if name not in ("coupon", "repeat")]
    return frame.astype(dict.fromkeys(numbers, "float64"))


def _plain_row(
    cells: dict[str, Any], columns: Columns, known: dict[str, Quantity], table: FileTable, number: int
) -> list[Any]:
    place = placer(table, number, columns)
    comma = table.decimal_comma
    row: dict[str, Any] = {"coupon": text_in(cells["coupon"])}
    if not row["coupon"]:
        raise InputError("no coupon", do="Fill in its mark, or remove the row.", **place("coupon"))
    if "repeat" in columns:
        row["repeat"] = whole_in(cells["repeat"], 0, decimal_comma=comma, **place("repeat")) or 0
    for name in (column for column in columns if column not in row):
        value = number_in(cells[name], decimal_comma=comma, **place(name))
        value = None if value is None else _converted(value, columns[name][1])
        if value is not None and name in known:
            value = check_value(value, known[name], **place(name))
        elif value is not None and value <= 0:
            raise InputError(
                "not a sheet thickness", found=value, allowed="above 0 mm", do="Correct it.", **place(name)
            )
        row[name] = value
    return [row[name] for name in columns]
