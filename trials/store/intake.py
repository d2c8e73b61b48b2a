"""Tables that people fill in, checked cell by cell on the way in: cuts, mounts, sheets and readings.

Each problem is one InputError that names file, row (the header is row 1) and column, the value found, what is allowed
and what to do. What a reader had to say without refusing is in `attrs["said"]` of the table it returns.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from trials.errors import InputError
from trials.responses import Quantity
from trials.store.records import (
    CUT_COLUMNS,
    MOUNT_COLUMNS,
    OUTCOMES,
    READING_COLUMNS,
    SHEET_COLUMNS,
    YES_NO_COLUMNS,
    Records,
    rows_of,
)
from trials.store.rules import (
    check_coupon,
    check_cut,
    check_cutoff,
    check_mount,
    check_value,
    check_was_cut,
    outcomes,
    quantities,
)
from trials.store.settings import nearest, parse_changed_setting, written
from trials.store.slips import Slip, open_slips, slips
from trials.store.tables import moment_in, number_in, read_table, sheet_names, text_in, whole_in, yes_no_in
from trials.units import factor, match_header, shown, suffix

__all__ = [
    "Slip",
    "open_slips",
    "read_cuts",
    "read_mounts",
    "read_readings",
    "read_sheets",
    "read_table",
    "slips",
]

READING_UNITS = {"cutoff_mm": "mm", "depth_mm": "mm"}
GRADE_COLUMNS = ("range of u", "range of Rz5", "measure_order")
"""Columns of the bench workbook that are worked out or printed there, not typed."""


def read_cuts(path: str | Path, records: Records, mounts: pd.DataFrame | None = None) -> pd.DataFrame:
    """What was cut, from a CSV file or the sheet `cuts` of the run workbook; rows without an outcome are left out.

    mounts: further mounts that the rows may name (a workbook's own sheet `mounts` is read by itself).

    Raises
    ------
    InputError
        For the first cell that cannot be used.
    """
    table = _named_sheet(path, "cuts")
    columns = _columns(table, dict.fromkeys(CUT_COLUMNS, ""), ("coupon", "outcome"))
    if mounts is None and "mounts" in _lower(sheet_names(path)):
        mounts = read_mounts(path, records)
    marks = set(records.mounts["mount"]) | (set(mounts["mount"]) if mounts is not None else set())
    sheets = set(records.sheets["sheet"]) | _added_sheets(path, records)
    said = list(table.attrs["said"])
    if "cut_order" not in columns:
        said.append("No column cut_order: the planned order was taken.")
    planned = {row["coupon"]: row for row in rows_of(records.coupons)}
    rows: dict[int, dict[str, Any]] = {}
    blank = 0
    for number, cells in _cells(table, columns):
        row = _cut_row(cells, _place(table, number, columns), planned, "cut_order" in columns)
        if not row["outcome"]:
            blank += 1
            continue
        check_cut(row, records, marks, sheets, file=table.attrs["file"], row=number)
        row["changed_setting"] = written(parse_changed_setting(row["changed_setting"], records.trial))
        rows[number] = row
    if blank:
        said.append(f"{blank} rows have no outcome yet; left out.")
    _once(rows, "coupon", table.attrs["file"])
    _once(rows, "cut_order", table.attrs["file"])
    return _result(rows, CUT_COLUMNS, table, said)


def read_mounts(path: str | Path, records: Records) -> pd.DataFrame:
    """Mounts as fitted, from a CSV file or the sheet `mounts` of the run workbook; rows left as planned are left out.

    Raises
    ------
    InputError
        For the first cell that cannot be used.
    """
    table = _named_sheet(path, "mounts")
    columns = _columns(table, dict.fromkeys(MOUNT_COLUMNS, ""), ("mount",))
    planned = {row["mount"]: row for row in rows_of(records.planned_mounts)}
    rows: dict[int, dict[str, Any]] = {}
    for number, cells in _cells(table, columns):
        place = _place(table, number, columns)
        plan = planned.get(text_in(cells.get("mount")), {})
        row = _mount_row(cells, plan, place, table.attrs["decimal_comma"])
        if not row["mount"]:
            raise InputError("no mount", do="Name the mount.", **place("mount"))
        if plan and all(row[name] in (None, "", plan.get(name)) for name in MOUNT_COLUMNS):
            continue
        check_mount(row, records.trial, file=table.attrs["file"], row=number)
        rows[number] = row
    _once(rows, "mount", table.attrs["file"])
    return _result(rows, MOUNT_COLUMNS, table, list(table.attrs["said"]))


def read_sheets(path: str | Path, records: Records) -> pd.DataFrame:
    """Sheets of material, from a CSV file or the sheet `sheets` of the run workbook; empty rows are left out.

    Raises
    ------
    InputError
        For the first cell that cannot be used.
    """
    table = _named_sheet(path, "sheets")
    columns = _columns(table, dict.fromkeys(SHEET_COLUMNS, ""), ("sheet",))
    known = set(records.planned_sheets["sheet"])
    rows: dict[int, dict[str, Any]] = {}
    for number, cells in _cells(table, columns):
        row = {name: text_in(cells.get(name)) for name in SHEET_COLUMNS}
        if not row["sheet"]:
            raise InputError("no sheet", do="Name the sheet.", **_place(table, number, columns)("sheet"))
        if row["sheet"] in known and not any(row[name] for name in SHEET_COLUMNS[1:]):
            continue
        rows[number] = row
    _once(rows, "sheet", table.attrs["file"])
    return _result(rows, SHEET_COLUMNS, table, list(table.attrs["said"]))


def read_readings(path: str | Path, records: Records) -> pd.DataFrame:
    """Readings in long form, from a wide CSV file or the sheet `readings` of the bench workbook.

    One row per coupon, reading, repeat and field, in the kept unit; the index holds the row of the file.

    Raises
    ------
    InputError
        For the first cell that cannot be used, a coupon that is unknown or was not cut, two values for one place, or
        mixed cut-offs.
    """
    table = _named_sheet(path, "readings")
    known = quantities(records.trial)
    wanted = {name: "" for name in READING_COLUMNS if name not in ("field", "value")} | READING_UNITS
    wanted |= {column: suffix(quantity.unit) for column, quantity in known.items()}
    columns = _columns(table, wanted, ("coupon",))
    values = [name for name in columns if name in known]
    if not values:
        raise InputError(
            "no column of readings",
            file=table.attrs["file"],
            row=table.attrs["header_row"],
            allowed=", ".join(known),
            do="Name the columns as in the bench workbook.",
        )
    per_reading = [name for name in values if not known[name].per_coupon]
    if per_reading and "reading" not in columns:
        raise _missing(table, "reading")
    rows = _long_rows(table, columns, {name: known[name] for name in values}, records)
    said = list(table.attrs["said"])
    kept = _without_equals(rows, table.attrs["file"], said)
    long = _result(kept, READING_COLUMNS, table, said)
    check_cutoff(long, records, table.attrs["file"])
    return long


def _lower(names: list[str]) -> list[str]:
    return [name.lower() for name in names]


def _named_sheet(path: str | Path, name: str) -> pd.DataFrame:
    """The sheet of that name, or the only sheet of a workbook, or a CSV file."""
    names = sheet_names(path)
    return read_table(path, name if len(names) > 1 else None)


def _added_sheets(path: str | Path, records: Records) -> set[str]:
    if "sheets" not in _lower(sheet_names(path)):
        return set()
    return set(read_sheets(path, records)["sheet"])


def _columns(table: pd.DataFrame, wanted: dict[str, str], needed: tuple[str, ...]) -> dict[str, tuple[str, float]]:
    """Kept column -> (header as typed, factor onto the kept unit); unknown headers are refused where they look like
    a slip of the pen, else left out and said."""
    found: dict[str, tuple[str, float]] = {}
    strange: list[str] = []
    for header in table.columns:
        matched = match_header(str(header), wanted)
        if matched is None:
            _refuse_slip(str(header), wanted, table)
            strange += [str(header)] if header not in GRADE_COLUMNS and "(plan)" not in str(header) else []
            continue
        kept, scale = matched
        if kept in found:
            raise InputError(
                f"holds the same as column {found[kept][0]}", column=header, do="Remove one.", **_head(table)
            )
        found[kept] = (header, scale)
    for name in needed:
        if name not in found:
            raise _missing(table, name)
    if strange:
        table.attrs["said"] = [*table.attrs["said"], f"Columns left out: {', '.join(strange)}."]
    return found


def _head(table: pd.DataFrame) -> dict[str, Any]:
    return {"file": table.attrs["file"], "row": table.attrs["header_row"]}


def _missing(table: pd.DataFrame, name: str) -> InputError:
    hint = nearest(name, [str(column) for column in table.columns]).replace("Did you mean", "Is it")
    return InputError("missing column", column=name, do=f"Add it to the header row. {hint}".strip(), **_head(table))


def _refuse_slip(header: str, wanted: dict[str, str], table: pd.DataFrame) -> None:
    if header in GRADE_COLUMNS or "(plan)" in header:
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
                **_head(table),
            )
    hint = nearest(header, list(wanted), 0.8)
    if hint:
        raise InputError("unknown column", column=header, do=f"{hint} Correct the header or remove it.", **_head(table))


def _other_units(unit: str) -> str:
    names = ("mm", "um", "nm", "in", "uin", "mil", "bar", "mbar", "kpa", "mpa", "psi")
    return ", ".join(name for name in names if name != unit and factor(name, unit) is not None) or unit


def _cells(table: pd.DataFrame, columns: dict[str, tuple[str, float]]):
    """Each row as (row number, {kept column: cell})."""
    positions = {kept: table.columns.get_loc(header) for kept, (header, _) in columns.items()}
    for number, row in zip(table.index, table.itertuples(index=False, name=None), strict=True):
        yield int(number), {kept: row[position] for kept, position in positions.items()}


def _place(table: pd.DataFrame, number: int, columns: dict[str, tuple[str, float]]):
    """column -> keyword arguments that say where, in the user's own header."""

    def place(column: str) -> dict[str, Any]:
        return {"file": table.attrs["file"], "row": number, "column": columns.get(column, (column, 1.0))[0]}

    return place


def _cut_row(cells: dict[str, Any], place, planned: dict[str, dict[str, Any]], ordered: bool) -> dict[str, Any]:
    row: dict[str, Any] = {name: text_in(cells.get(name)) for name in CUT_COLUMNS}
    row["outcome"] = row["outcome"].lower().replace(" ", "_")
    plan = planned.get(row["coupon"], {})
    row["cut_at"] = moment_in(cells.get("cut_at"), **place("cut_at"))
    row["cut_order"] = (
        whole_in(cells.get("cut_order"), 1, decimal_comma=False, **place("cut_order")) if ordered else plan.get("order")
    )
    if not row["outcome"] and any(row[name] for name in ("cut_at", "changed_setting", "note")):
        raise InputError("no outcome", allowed=", ".join(OUTCOMES), do="Fill it in.", **place("outcome"))
    for name in ("mount", "sheet"):
        row[name] = row[name] or str(plan.get(name) or "")
    return row


def _mount_row(cells: dict[str, Any], plan: dict[str, Any], place, decimal_comma: bool) -> dict[str, Any]:
    row: dict[str, Any] = {name: text_in(cells.get(name)) for name in MOUNT_COLUMNS}
    for name in ("nozzle", "specimen", "sheet"):
        row[name] = row[name] or str(plan.get(name) or "")
    for name in ("order", "pierces_before"):
        row[name] = whole_in(cells.get(name), 0, decimal_comma=decimal_comma, **place(name))
    row["order"] = plan.get("order") if row["order"] is None else row["order"]
    row["fitted_at"] = moment_in(cells.get("fitted_at"), **place("fitted_at"))
    for name in YES_NO_COLUMNS:
        row[name] = yes_no_in(cells.get(name), **place(name))
    return row


def _long_rows(
    table: pd.DataFrame, columns: dict[str, tuple[str, float]], known: dict[str, Quantity], records: Records
) -> list[tuple[int, dict[str, Any]]]:
    marks, recorded = set(records.coupons["coupon"]), outcomes(records)
    rows: list[tuple[int, dict[str, Any]]] = []
    for number, cells in _cells(table, columns):
        if all(cells[name] is None for name in known):
            continue
        place = _place(table, number, columns)
        base = _reading_base(cells, columns, place, table.attrs["decimal_comma"])
        check_coupon(base["coupon"], marks, **place("coupon"))
        check_was_cut(base["coupon"], recorded, **place("coupon"))
        for name, quantity in known.items():
            value = number_in(cells[name], decimal_comma=table.attrs["decimal_comma"], **place(name))
            if value is None:
                continue
            kept = check_value(_converted(value, columns[name][1]), quantity, **place(name))
            reading = 1 if quantity.per_coupon else base["reading"]
            if reading is None:
                raise InputError("no reading number", allowed="1, 2, 3, ...", do="Number it.", **place("reading"))
            rows.append((number, {**base, "reading": reading, "field": name, "value": kept}))
    return rows


def _reading_base(cells: dict[str, Any], columns, place, decimal_comma: bool) -> dict[str, Any]:
    """The columns of a reading that are not values."""
    names = [name for name in READING_COLUMNS if name not in ("field", "value")]
    row: dict[str, Any] = {name: text_in(cells.get(name)) for name in names}
    row["reading"] = whole_in(cells.get("reading"), 1, decimal_comma=decimal_comma, **place("reading"))
    row["repeat"] = whole_in(cells.get("repeat"), 0, decimal_comma=decimal_comma, **place("repeat")) or 0
    row["measured_on"] = moment_in(cells.get("measured_on"), **place("measured_on"))
    for name in READING_UNITS:
        value = number_in(cells.get(name), decimal_comma=decimal_comma, **place(name))
        if value is not None and value <= 0:
            raise InputError("not above zero", found=cells[name], do="Correct the cell.", **place(name))
        row[name] = None if value is None else _converted(value, columns[name][1])
    return row


def _converted(value: float, scale: float) -> float:
    """A value in the kept unit, to twelve digits: 14000 uin is 355.6 um, not 355.59999999999997."""
    return value if scale == 1.0 else float(f"{value * scale:.12g}")


def _without_equals(rows: list[tuple[int, dict[str, Any]]], file: str, said: list[str]) -> list[tuple[int, dict]]:
    """One row per coupon, reading, repeat and field; equal ones are dropped, different ones refused."""
    seen: dict[tuple[Any, ...], tuple[int, float]] = {}
    kept: list[tuple[int, dict[str, Any]]] = []
    equal = 0
    for number, row in rows:
        key = (row["coupon"], row["reading"], row["repeat"], row["field"])
        if key not in seen:
            seen[key] = (number, row["value"])
            kept.append((number, row))
            continue
        first, value = seen[key]
        if value != row["value"]:
            raise InputError(
                f"coupon {row['coupon']}, reading {row['reading']} has {value:g} in row {first}",
                file=file,
                row=number,
                column=row["field"],
                found=row["value"],
                do="Keep one of them; a second measurement of the same place is repeat 1.",
            )
        equal += 1
    if equal:
        said.append(f"{equal} cells repeat an equal one above; ignored.")
    return kept


def _once(rows: dict[int, dict[str, Any]], column: str, file: str) -> None:
    """Raise InputError where a column that must not repeat does."""
    seen: dict[Any, int] = {}
    for number, row in rows.items():
        value = row[column]
        if value is None:
            continue
        if value in seen:
            do = f"Row {seen[value]} has it too; keep one."
            raise InputError("stands twice", file=file, row=number, column=column, found=value, do=do)
        seen[value] = number


def _result(rows, columns: tuple[str, ...], table: pd.DataFrame, said: list[str]) -> pd.DataFrame:
    pairs = list(rows.items()) if isinstance(rows, dict) else rows
    data = pd.DataFrame([row for _, row in pairs], columns=list(columns), index=[number for number, _ in pairs])
    for name in ("value", "cutoff_mm", "depth_mm"):
        if name in data.columns:
            data[name] = pd.to_numeric(data[name]).astype("float64")
    data.attrs = {"file": table.attrs["file"], "said": said}
    return data
