"""Tables that people fill in, checked cell by cell on the way in: cuts, mounts and sheets.

Each problem is one InputError that names file, row (the header is row 1) and column, the value found, what is allowed
and what to do. What a reader had to say without refusing is in `said` of the table it returns.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from trials.errors import InputError, Problems
from trials.findings import Finding
from trials.record_kinds import RecordKind
from trials.store.intake.headers import Placer, each_row, kept_sheets, match_columns, named_sheet, once, placer, result
from trials.store.language import kept_word
from trials.store.records.changed_setting import parse_changed_setting, written
from trials.store.records.records import CUT_COLUMNS, MOUNT_COLUMNS, SHEET_COLUMNS, YES_NO_COLUMNS, Records, rows_of
from trials.store.records.rules import (
    OUTCOMES,
    check_cut,
    check_mount,
)
from trials.store.records.spelling import as_mark
from trials.store.tables import FileTable, moment_in, sheet_names, text_in, whole_in, yes_no_in


def read_cuts(path: str | Path, records: Records) -> FileTable:
    """What was cut, from a CSV file or the sheet `cuts` of the run workbook; rows without an outcome are left out.

    Mounts and sheets that were added at the machine are looked up in the workbook; beside a CSV file they stand in
    tables of their own, and `record_cuts` looks them up.

    Raises
    ------
    InputError
        For every cell that cannot be used.
    """
    table = named_sheet(path, "cuts", ("coupon", "outcome"))
    columns, left_out = match_columns(table, dict.fromkeys(CUT_COLUMNS, ""), ("coupon", "outcome"))
    marks, sheets = _added(path, records)
    said = [*table.said, *left_out]
    if "cut_order" not in columns:
        said.append(Finding(RecordKind.PLANNED_ORDER_TAKEN))
    planned = {row["coupon"]: row for row in rows_of(records.coupons)}
    rows: dict[int, dict[str, Any]] = {}
    blank = 0
    problems = Problems()
    for number, cells in each_row(table, columns):
        with problems.gathered():
            row = _cut_row(cells, placer(table, number, columns), planned, "cut_order" in columns)
            if not row["outcome"]:
                blank += 1
                continue
            check_cut(row, records, marks, sheets, file=table.file, row=number)
            row["changed_setting"] = written(parse_changed_setting(row["changed_setting"], records.trial))
            rows[number] = row
    problems.tell()
    if blank:
        said.append(Finding(RecordKind.ROWS_WITHOUT_OUTCOME, facts={"rows": blank}))
    once(rows, "coupon", table.file)
    once(rows, "cut_order", table.file)
    return result(list(rows.items()), CUT_COLUMNS, table.file, said)


def read_mounts(path: str | Path, records: Records) -> FileTable:
    """Mounts as fitted, from a CSV file or the sheet `mounts` of the run workbook; rows left as planned are left out.

    Raises
    ------
    InputError
        For every cell that cannot be used.
    """
    table = named_sheet(path, "mounts", ("mount",))
    columns, left_out = match_columns(table, dict.fromkeys(MOUNT_COLUMNS, ""), ("mount",))
    planned = {row["mount"]: row for row in rows_of(records.planned_mounts)}
    rows: dict[int, dict[str, Any]] = {}
    problems = Problems()
    for number, cells in each_row(table, columns):
        place = placer(table, number, columns)
        plan = planned.get(as_mark(text_in(cells.get("mount")), planned), {})
        with problems.gathered():
            row = _mount_row(cells, plan, place, table.decimal_comma)
            if not row["mount"]:
                raise InputError("no mount", do="Name the mount.", **place("mount"))
            if plan and all(row[name] in (None, "", plan.get(name)) for name in MOUNT_COLUMNS):
                continue
            check_mount(row, records.trial, file=table.file, row=number)
            rows[number] = row
    problems.tell()
    once(rows, "mount", table.file)
    return result(list(rows.items()), MOUNT_COLUMNS, table.file, (*table.said, *left_out))


def read_sheets(path: str | Path, records: Records) -> FileTable:
    """Sheets of material, from a CSV file or the sheet `sheets` of the run workbook; empty rows are left out.

    Raises
    ------
    InputError
        For every cell that cannot be used.
    """
    table = named_sheet(path, "sheets", ("sheet",))
    columns, left_out = match_columns(table, dict.fromkeys(SHEET_COLUMNS, ""), ("sheet",))
    known = set(records.planned_sheets["sheet"])
    rows: dict[int, dict[str, Any]] = {}
    problems = Problems()
    for number, cells in each_row(table, columns):
        row = {name: text_in(cells.get(name)) for name in SHEET_COLUMNS}
        row["sheet"] = as_mark(row["sheet"], known)
        with problems.gathered():
            if not row["sheet"]:
                raise InputError("no sheet", do="Name the sheet.", **placer(table, number, columns)("sheet"))
            if row["sheet"] not in known or any(row[name] for name in SHEET_COLUMNS[1:]):
                rows[number] = row
    problems.tell()
    once(rows, "sheet", table.file)
    return result(list(rows.items()), SHEET_COLUMNS, table.file, (*table.said, *left_out))


def _added(path: str | Path, records: Records) -> tuple[set[str] | None, set[str] | None]:
    """Marks of mounts and sheets, planned or in the same workbook; None beside a CSV file."""
    names = kept_sheets(sheet_names(path))
    if not names:
        return None, None
    mounts = set(records.mounts["mount"]) | (
        set(read_mounts(path, records).frame["mount"]) if "mounts" in names else set()
    )
    sheets = set(records.sheets["sheet"]) | (
        set(read_sheets(path, records).frame["sheet"]) if "sheets" in names else set()
    )
    return mounts, sheets


def _cut_row(cells: dict[str, Any], place: Placer, planned: dict[str, dict[str, Any]], ordered: bool) -> dict[str, Any]:
    row: dict[str, Any] = {name: text_in(cells.get(name)) for name in CUT_COLUMNS}
    row["outcome"] = _outcome(row["outcome"])
    row["coupon"] = as_mark(row["coupon"], planned)
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


def _outcome(typed: str) -> str:
    """The outcome as kept: in any case, with blanks, or in the words of a language of the papers."""
    found = typed.lower().replace(" ", "_")
    return found if not found or found in OUTCOMES else kept_word(typed).lower().replace(" ", "_")


def _mount_row(cells: dict[str, Any], plan: dict[str, Any], place: Placer, decimal_comma: bool) -> dict[str, Any]:
    row: dict[str, Any] = {name: text_in(cells.get(name)) for name in MOUNT_COLUMNS}
    row["mount"] = str(plan.get("mount") or row["mount"])
    for name in ("nozzle", "specimen", "sheet"):
        row[name] = row[name] or str(plan.get(name) or "")
    for name in ("order", "pierces_before"):
        row[name] = whole_in(cells.get(name), 0, decimal_comma=decimal_comma, **place(name))
    row["order"] = plan.get("order") if row["order"] is None else row["order"]
    row["fitted_at"] = moment_in(cells.get("fitted_at"), **place("fitted_at"))
    for name in YES_NO_COLUMNS:
        row[name] = yes_no_in(cells.get(name), **place(name))
    return row
