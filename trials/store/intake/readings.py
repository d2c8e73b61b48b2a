"""Readings as people type them, wide, checked cell by cell and turned into long form."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from trials.endings import Ended
from trials.errors import InputError, Problems
from trials.findings import Fact, Finding
from trials.record_kinds import RecordKind
from trials.responses import QUANTITIES, Quantity
from trials.store.intake.headers import (
    Columns,
    each_row,
    head,
    match_columns,
    named_sheet,
    placer,
)
from trials.store.intake.lives import note_says_good
from trials.store.intake.names import one_spelling
from trials.store.intake.reading_cells import WorkedRows, converted, mark_meant, reading_columns, worked_rows
from trials.store.records.again import BECAUSE
from trials.store.records.bounds import as_typed, same_reading
from trials.store.records.reading_columns import READING_COLUMNS
from trials.store.records.records import PLACE, Records, rows_of
from trials.store.records.rules import (
    check_cutoff,
    check_value,
    outcomes,
)
from trials.store.records.second_marks import known_marks
from trials.store.tables import FileTable, number_in, text_in, whole_in
from trials.trial import Method

PLAIN = {"coupon": "", "repeat": "", "thickness_mm": "mm", "u_mm": "mm", "rz5_um": "um", "dross_grade": ""}


def read_table_of_readings(table: FileTable, records: Records) -> FileTable:
    """Readings of a table in long form; a second mark of a coupon stays as it was typed.

    One row per coupon, reading, repeat and field, in the kept unit; the index holds the row of the file.

    Raises
    ------
    InputError
        For every cell that cannot be used, a coupon that is unknown or was not cut, two values for one place, or
        mixed cut-offs.
    """
    found = reading_columns(table, records.trial)
    worked = worked_rows(table, found, _mark_of(records))
    rows = _without_equals(_long_rows(worked, found.values), table.file)
    ends = _with_ends(rows.frame, records)
    said = (*table.said, *found.said, *rows.said, *ends, *one_spelling(rows.frame, records))
    check_cutoff(rows.frame, records, table.file)
    return replace(rows, said=said)


def _mark_of(records: Records) -> Callable[[Any], str]:
    recorded = outcomes(records)
    recorded |= {mark: recorded[coupon] for mark, coupon in records.repeat_marks.items() if coupon in recorded}
    return mark_meant(known_marks(records), recorded)


def _long_rows(worked: WorkedRows, known: dict[str, Quantity]) -> pd.DataFrame:
    """One row per value that is there, in the order of rows and then of columns; the index holds the row of the
    file."""
    parts = []
    for place, (name, column) in enumerate(worked.values.items(), 1):
        there = [at for at, value in enumerate(column) if value is not None]
        values = [value for value in column if value is not None]
        one = {"value": [value for value, _ in values], "beyond": [beyond for _, beyond in values], "field": name}
        parts.append(pd.DataFrame({"at": there, "place": place, **one, "once": known[name].per_coupon}))
    return _joined(parts, worked.base, worked.numbers)


def _joined(parts: list[pd.DataFrame], base: dict[str, list[Any]], numbers: list[int]) -> pd.DataFrame:
    """Values of all columns in the order of the file, with what their rows have in common."""
    long = pd.concat([part.astype({"value": "float64"}) for part in parts])
    long = long.sort_values(["at", "place"], kind="stable", ignore_index=True)
    common = pd.DataFrame({name: pd.Series(cells, dtype=KEPT.get(name, object)) for name, cells in base.items()})
    long = long.join(common, on="at")
    long["reading"] = long["reading"].mask(long["once"].astype(bool), 1).astype("int64")
    return long.set_index(pd.Index(numbers, dtype="int64")[long["at"].to_numpy(int)]).reindex(
        columns=list(READING_COLUMNS)
    )


KEPT = {"reading": "float64", "repeat": "int64", "cutoff_mm": "float64", "depth_mm": "float64"}


def _with_ends(rows: pd.DataFrame, records: Records) -> tuple[Finding, ...]:
    """In a life trial a note `still good` of an older file becomes the end of that life, in place, and it is said."""
    if records.trial.plan.method != Method.LIFE:
        return ()
    noted = (rows["ended"] == "") & rows["note"].map(note_says_good)
    rows.loc[noted, "ended"] = Ended.TAKEN_OFF_GOOD.value
    facts: dict[str, Fact] = {"notes": int(noted.sum()), "ended": Ended.TAKEN_OFF_GOOD.value}
    return (Finding(RecordKind.NOTED_GOOD, facts=facts),) if noted.any() else ()


def _without_equals(rows: pd.DataFrame, file: str) -> FileTable:
    """One row per coupon, reading, repeat and field; equal ones are dropped, different ones refused, all at once."""
    several = rows.duplicated(list(PLACE), keep=False).to_numpy()
    kept, equal = np.ones(len(rows), bool), 0
    seen: dict[tuple[Any, ...], tuple[int, dict[str, Any]]] = {}
    problems = Problems()
    again = rows[several]
    for at, number, row in zip(np.flatnonzero(several), again.index, rows_of(again), strict=True):
        key = tuple(row[name] for name in PLACE)
        if key not in seen:
            seen[key] = (int(number), row)
            continue
        kept[at] = False
        if same_reading(row, seen[key][1]):
            equal += 1
        else:
            with problems.gathered():
                raise _two_values(row, int(number), *seen[key], file)
    problems.tell()
    said = (Finding(RecordKind.EQUAL_CELLS, facts={"cells": equal}),) if equal else ()
    return FileTable(rows[kept].copy(), file, said=said)


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
        value = None if value is None else converted(value, columns[name][1])
        if value is not None and name in known:
            value = check_value(value, known[name], **place(name))
        elif value is not None and value <= 0:
            raise InputError(
                "not a sheet thickness", found=value, allowed="above 0 mm", do="Correct it.", **place(name)
            )
        row[name] = value
    return [row[name] for name in columns]
