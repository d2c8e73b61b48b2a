"""Columns of a typed table matched to the columns that are kept, in whatever unit; rows with their place."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from trials.errors import InputError, Problems
from trials.findings import Fact, Finding
from trials.record_kinds import RecordKind
from trials.store.language import is_planned, kept_word
from trials.store.records.changed_setting import nearest
from trials.store.tables import FileCells, FileTable, check_filled, read_cells, sheet_names
from trials.units import factor, match_header, shown

GRADE_COLUMNS = ("range of u", "range of Rz5", "measure_order", "again_because")
"""Columns of the bench workbook that are worked out there, or say of a row what it is."""


Columns = Mapping[str, tuple[str, float]]
"""Kept column -> (header as typed, factor onto the kept unit)."""
Placer = Callable[[str], dict[str, Any]]


def kept_sheets(names: list[str]) -> dict[str, str]:
    """Sheets by the names that they are kept under, whatever their case or language; the first of two counts."""
    return {kept_word(name).lower(): name for name in reversed(names)}


def named_sheet(path: str | Path, name: str, needed: tuple[str, ...]) -> FileTable:
    """A table of a file; see `named_cells`."""
    return named_cells(path, name, needed).table()


def named_cells(path: str | Path, name: str, needed: tuple[str, ...]) -> FileCells:
    """The sheet of that name, or the only sheet of a workbook, or a CSV file; needed: columns that it has.

    A sheet of another name is taken, and said, where it is the only one that has those columns.
    """
    names = sheet_names(path)
    known = kept_sheets(names)
    if len(names) < 2 or name in known:
        return read_cells(path, known[name] if len(names) > 1 else None, needed)
    fitting = [table for each in names if (table := _with_columns(path, each, needed)) is not None]
    if len(fitting) != 1:
        return read_cells(path, name, needed)
    facts: dict[str, Fact] = {"sheet": fitting[0].sheet, "wanted": name}
    return replace(fitting[0], said=(*fitting[0].said, Finding(RecordKind.SHEET_RENAMED, facts=facts)))


def _with_columns(path: str | Path, sheet: str, needed: tuple[str, ...]) -> FileCells | None:
    try:
        table = read_cells(path, sheet, needed)
    except InputError:
        return None
    found = {kept_word(name).strip().lower() for name in table.names}
    return table if set(needed) <= found else None


def match_columns(
    table: FileTable | FileCells, wanted: dict[str, str], needed: tuple[str, ...]
) -> tuple[dict[str, tuple[str, float]], tuple[Finding, ...]]:
    """Columns by kept name, and what is said of others: unknown headers are refused where they look like a slip of
    the pen, else left out."""
    found: dict[str, tuple[str, float]] = {}
    strange: list[str] = []
    for header in table.names:
        matched = match_header(header, wanted) or match_header(kept_word(header), wanted)
        if matched is None:
            _refuse_slip(header, wanted, table)
            strange += [header] if kept_word(header) not in GRADE_COLUMNS and not is_planned(header) else []
            continue
        kept, scale = matched
        if kept in found:
            raise InputError(
                f"holds the same as column {found[kept][0]}", column=header, do="Remove one.", **head(table)
            )
        found[kept] = (header, scale)
    for name in needed:
        if name not in found:
            raise missing(table, name)
    check_filled(table, [header for header, _ in found.values()])
    left_out = (Finding(RecordKind.COLUMNS_LEFT_OUT, facts={"columns": tuple(strange)}),) if strange else ()
    return found, left_out


def head(table: FileTable | FileCells) -> dict[str, Any]:
    """Where the header of a table stands, for a message."""
    return {"file": table.file, "row": table.header_row}


def missing(table: FileTable | FileCells, name: str) -> InputError:
    """The error for a column that a table needs and does not have."""
    hint = nearest(name, table.names).replace("Did you mean", "Is it")
    return InputError("missing column", column=name, do=f"Add it to the header row. {hint}".strip(), **head(table))


def _refuse_slip(header: str, wanted: dict[str, str], table: FileTable | FileCells) -> None:
    if kept_word(header) in GRADE_COLUMNS or is_planned(header):
        return
    typed = header.strip().lower().replace(" ", "_").replace("-", "_")
    for kept, unit in wanted.items():
        stem = kept[: -len(unit)].lower() if unit and kept.endswith(f"_{unit}") else ""
        if stem and typed.startswith(stem):
            raise InputError(
                f"{typed[len(stem) :]!r} is not a unit of {stem.rstrip('_')}",
                column=header,
                allowed=f"{kept} in {shown(unit)}, or another unit such as {_other_units(unit)}",
                do="Correct the header.",
                **head(table),
            )
    hint = nearest(header, list(wanted), 0.8)
    if hint:
        raise InputError("unknown column", column=header, do=f"{hint} Correct the header or remove it.", **head(table))


def _other_units(unit: str) -> str:
    names = ("mm", "um", "nm", "in", "uin", "mil", "bar", "mbar", "kpa", "mpa", "psi")
    return ", ".join(name for name in names if name != unit and factor(name, unit) is not None) or unit


def each_row(table: FileTable, columns: Columns) -> Iterator[tuple[int, dict[str, Any]]]:
    """Each row as (row number, {kept column: cell})."""
    names = list(table.frame.columns)
    positions = {kept: names.index(header) for kept, (header, _) in columns.items()}
    for number, row in zip(table.frame.index, table.frame.itertuples(index=False, name=None), strict=True):
        yield int(number), {kept: row[position] for kept, position in positions.items()}


def placer(table: FileTable, number: int, columns: Columns) -> Placer:
    """column -> keyword arguments that say where, in the user's own header."""

    def place(column: str) -> dict[str, Any]:
        return {"file": table.file, "row": number, "column": columns.get(column, (column, 1.0))[0]}

    return place


def once(rows: dict[int, dict[str, Any]], column: str, file: str) -> None:
    """Raise InputError for each cell of a column that must not repeat and does."""
    seen: dict[Any, int] = {}
    problems = Problems()
    for number, row in rows.items():
        value = row[column]
        if value is None:
            continue
        if value in seen:
            do = f"Row {seen[value]} has it too; keep one."
            with problems.gathered():
                raise InputError("stands twice", file=file, row=number, column=column, found=value, do=do)
        seen.setdefault(value, number)
    problems.tell()


def result(
    pairs: Sequence[tuple[int, dict[str, Any]]], columns: tuple[str, ...], file: str, said: Sequence[Finding]
) -> FileTable:
    """Rows by row number as a table with `columns`, with its file and what there was to say."""
    import pandas as pd

    data = pd.DataFrame([row for _, row in pairs], columns=list(columns), index=[number for number, _ in pairs])
    for name in ("value", "cutoff_mm", "depth_mm"):
        if name in data.columns:
            data[name] = pd.to_numeric(data[name]).astype("float64")
    return FileTable(data, file, said=tuple(said))
