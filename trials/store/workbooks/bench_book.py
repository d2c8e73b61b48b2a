"""The workbook for the bench: coupon marks in a random order of their own, and nothing about nozzle or setting."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from trials import standards
from trials.grade.dross import SCALE
from trials.responses import Quantity
from trials.store.language import SIDES
from trials.store.records.as_cut import coupon_table
from trials.store.records.bounds import NOT_MEASURABLE
from trials.store.records.records import Records
from trials.store.records.rules import CUTOFF_FIELD, ENDS
from trials.store.workbooks.book import Book, Cell, Column, between, choice, created_at, header_words, said
from trials.store.workbooks.orders import edges_to_measure, labelled, measuring_order, repeatable
from trials.trial import Method, Trial
from trials.words.grade import dross_definition, dross_name
from trials.words.language import text, word
from trials.words.numbers import bare, plain
from trials.words.sides import edge_of_mark, edge_words
from trials.words.system import inches, scale_in_use, shown_unit, unit_in_use

THICKNESS = "thickness_mm"
LIMIT_ROW = 4
"""Row (counted from 1) of the first limit on the sheet `how to`; range r is r - 1 rows below."""
ORDER, AGAIN = "measure_order", "again_because"
SPARE = 6
"""Open rows below the last, for places that are measured once more."""


def how_to(again: bool) -> list[tuple[str, str]]:
    """The routine, a step and how it is done; again: of the repeats."""
    return [*(_repeats() if again else _firsts()), *_both()]


def _firsts() -> list[tuple[str, str]]:
    return [
        (
            text("order at the bench"),
            text("Cold coupon. Dross first; then take the dross off and brush loose oxide, never grind."),
        ),
        ("", text("Then u, then Rz5. Leave out lead-in, corners and slat marks; always the same sides and depths.")),
    ]


def _repeats() -> list[tuple[str, str]]:
    return [
        (
            text("repeats"),
            text(
                "Coupons that were measured before, under other marks: they show how far the bench itself differs. "
                "Measure them after a break or on another day, as if for the first time. Leave the labels on."
            ),
        ),
    ]


def _both() -> list[tuple[str, str]]:
    return [
        (
            text("rows"),
            text(
                "Measure in the order of the rows. Where you measured in another, change the numbers in the first "
                "column. Leave a cell empty where nothing was measured."
            ),
        ),
        (
            text("spare rows"),
            text(
                "Open rows at the end, where a reading went wrong and was measured again: type the mark, the number of "
                "the reading, the new value, and why in the column {column}. The first value stays in its row; the new "
                "one counts.",
                column=header_words(AGAIN),
            ),
        ),
        (text("side"), f"{edge_words()} {edge_of_mark()}"),
        (
            text("outside the range"),
            text(
                "Type >100 or <2 where the instrument ends. Where a place cannot be measured, type {words} and say why "
                "in the note.",
                words=word(NOT_MEASURABLE),
            ),
        ),
        (
            text("ranges"),
            text("Worked out from each single reading while typing; the coupon's grade comes from `trials grade`."),
        ),
        (text("afterwards"), text("Save it and record it: trials record FOLDER this-file.xlsx")),
    ]


def bench_workbook(records: Records, created: datetime | None = None) -> bytes:
    """The bench workbook: sheets `readings` and `how to`. Read back by `intake.read_bench`.

    Nothing in it tells nozzle type, setting or order of cutting, except the thickness where that is a factor: grades
    need it, and the inspector holds the coupon in hand. The same records and `created` give the same bytes.
    """
    asked = [(records.trial.quantity(name), request.readings) for name, request in records.trial.responses.items()]
    order = [(mark, mark) for mark in measuring_order(records)]
    return _workbook(_List(records, tuple(order), _sorted(asked)), text("Bench workbook"), created)


def repeats_workbook(records: Records, created: datetime | None = None) -> bytes | None:
    """The workbook of the blind repeats: as the bench workbook, under second marks, without what is off the edge by
    then; None where nothing is measured again."""
    again = {quantity.name for quantity in repeatable(records)}
    asked = [
        (records.trial.quantity(name), request.readings)
        for name, request in records.trial.responses.items()
        if records.trial.quantity(name).name in again
    ]
    order = labelled(records)
    if not order:
        return None
    return _workbook(_List(records, tuple(order), _sorted(asked), again=True), text("Workbook of repeats"), created)


@dataclass(frozen=True)
class _List:
    """What is measured: (mark shown, coupon behind it) in that order, what of it and how often; again: as repeats."""

    records: Records
    order: tuple[tuple[str, str], ...]
    asked: list[tuple[Quantity, int]]
    again: bool = False

    @property
    def fields(self) -> list[str]:
        """Columns that are measured."""
        return [quantity.column for quantity, _ in self.asked]


def _sorted(asked: list[tuple[Quantity, int]]) -> list[tuple[Quantity, int]]:
    return sorted(asked, key=lambda pair: (not pair[0].per_coupon, pair[0].column == CUTOFF_FIELD))


def _workbook(listed: _List, title: str, created: datetime | None) -> bytes:
    records, trial = listed.records, listed.records.trial
    thickness = _thickness_by_coupon(records)
    columns = _columns(trial, [quantity for quantity, _ in listed.asked], bool(thickness))
    rows = _rows(listed, thickness, [column.header for column in columns])
    book = Book(title, created_at(records, created), paper=trial.trial.paper)
    book.filled_sheet("readings", columns, rows, SPARE, frozen=3, group=ORDER, row_height=19.0)
    _how_to(book, listed, bool(thickness))
    return book.data()


def _thickness_by_coupon(records: Records) -> dict[str, float]:
    """Thickness of each coupon where it is a factor; else empty."""
    if THICKNESS not in records.factor_columns.values():
        return {}
    table = coupon_table(records)
    return dict(zip(table["coupon"], table[THICKNESS], strict=True))


def _graded(trial: Trial, fields: list[str], varies: bool) -> list[tuple[str, str, str]]:
    """(field, header of its range, column of the limits on `how to`) where the thickness is known."""
    if trial.application.thickness_mm is None and not varies:
        return []
    known = [("u_mm", "range of u", "B"), ("rz5_um", "range of Rz5", "D")]
    return [entry for entry in known if entry[0] in fields]


def _columns(trial: Trial, asked: list[Quantity], varies: bool) -> list[Column]:
    fields = [quantity.column for quantity in asked]
    columns = [
        Column(ORDER, 14, rule=between(1, 1e6, header_words(ORDER), text("The place in which it was measured."), True)),
        Column("coupon", 8, typed=False),
        Column("reading", 8, typed=False),
        Column(
            "side",
            8,
            rule=choice(
                tuple(word(side) for side in SIDES),
                text("side"),
                edge_words(),
                False,
            ),
        ),
    ]
    columns += [Column(f"{THICKNESS} (plan)", 10, typed=False)] if varies else []
    columns += [_value_column(quantity) for quantity in asked]
    columns += [Column(header, 13, typed=False) for _, header, _ in _graded(trial, fields, varies)]
    columns += [Column("inspector", 11), Column("instrument", 12)]
    if CUTOFF_FIELD in fields:
        columns.append(
            Column(
                "cutoff_mm",
                11,
                rule=between(0.08, 8, header_words("cutoff_mm"), text("Cut-off, one for the whole trial.")),
            )
        )
        columns.append(Column("depth_mm", 11, rule=between(0, 1000, header_words("depth_mm"), _depth_words(trial))))
    date = {
        "validate": "date",
        "criteria": ">",
        "value": datetime(2000, 1, 1),
        **said(text("measured_on"), text("A date.")),
    }
    if _of_lives(trial):
        columns.append(Column("ended", 17, rule=choice(ENDS, text("ended"), text("How the life ended."))))
    return [
        *columns,
        Column("measured_on", 13, number_format="yyyy-mm-dd", rule=date),
        Column("note", 20, align="left"),
        Column(AGAIN, 22, typed=False, align="left"),
    ]


def _of_lives(trial: Trial) -> bool:
    return trial.plan.method == Method.LIFE


def _depth_words(trial: Trial) -> str:
    thickness = trial.application.thickness_mm
    if thickness is None:
        return text("Depth of the trace below the top face, mm.")
    usual = plain(standards.roughness_depth_mm(thickness), "mm")
    return text("Depth of the trace below the top face, mm; {depth} is usual here (from memory).", depth=usual)


def typed_column(quantity: Quantity) -> str:
    """The column as the inspector types into it: in the unit in use, which is converted back when it is recorded."""
    return f"{quantity.column.removesuffix(quantity.unit)}{unit_in_use(quantity.unit)}"


def _value_column(quantity: Quantity) -> Column:
    title = typed_column(quantity)
    head = header_words(title)
    width = max(11.0, len(head) + 2.0)
    if quantity.scale == "grade" and quantity.high < 10:
        words = "; ".join(f"{step.grade} {dross_name(step.grade)}" for step in SCALE)
        grades = range(int(quantity.low), int(quantity.high) + 1)
        return Column(
            title,
            width,
            rule=choice(list(grades), head, text("Worst place of the lower edge. {grades}.", grades=words), False),
        )
    scale = scale_in_use(quantity.unit)
    digits = max(0, -int(np.floor(np.log10(scale * quantity.resolution))))
    high = min(quantity.high, 1e9)
    message = text(
        "{label}: {low} to {high}. Leave it empty where not measured.",
        label=word(quantity.label),
        low=bare(quantity.low, quantity.unit),
        high=plain(high, quantity.unit),
    )
    number_format = f"0.{'0' * digits}" if digits else "0"
    rule = between(scale * quantity.low, scale * high, head, message) | {"error_type": "warning"}  # `>100` may be typed
    return Column(title, width, number_format=number_format, rule=rule)


def _rows(listed: _List, thickness: dict[str, float], headers: list[str]) -> list[list[Any]]:
    records, trial, asked = listed.records, listed.records.trial, listed.asked
    most = max(1 if quantity.per_coupon else readings for quantity, readings in asked)
    place = {header: _letter(i) for i, header in enumerate(headers)}
    graded = _graded(trial, listed.fields, bool(thickness))
    typed = {quantity.column: typed_column(quantity) for quantity, _ in asked}
    rows: list[list[Any]] = []
    edges = edges_to_measure(records)
    for order, (mark, coupon) in enumerate(listed.order, 1):
        for reading in range(1, most + 1):
            cells: dict[str, Any] = {ORDER: order, "coupon": mark, "reading": reading, AGAIN: None}
            cells[f"{THICKNESS} (plan)"] = thickness.get(coupon)
            cells["side"] = word(edges.get(coupon, ""))
            for quantity, readings in asked:
                closed = reading > (1 if quantity.per_coupon else readings)
                cells[typed_column(quantity)] = Cell(None) if closed else None
            if CUTOFF_FIELD in headers:
                cells["cutoff_mm"] = trial.bench.cutoff_mm
            number = len(rows) + 2
            where = f"${place[f'{THICKNESS} (plan)']}{number}" if thickness else f"{_limits_sheet()}!$B$2"
            for field, header, limits in graded:
                value = f"{place[typed[field]]}{number}"
                cells[header] = Cell(_range_formula(value, where, limits, field))
            rows.append([cells.get(header) for header in headers])
    return rows


def _letter(place: int) -> str:
    """Column letter of a place counted from 0, as in a spreadsheet."""
    from xlsxwriter.utility import xl_col_to_name

    return str(xl_col_to_name(place))


def _range_formula(cell: str, thickness: str, limits: str, field: str) -> str:
    """The range of one reading, compared in mm or µm after rounding to 1e-9 like `trials.grade.iso9013`."""
    scale = scale_in_use(field.rpartition("_")[2])
    kept = cell if scale == 1.0 else f"{cell}*{float(f'{1 / scale:.12g}'):g}"
    ranges = standards.squareness_ranges() if field == "u_mm" else standards.roughness_ranges()
    slope = chr(ord(limits) + 1)
    worse = text("worse than {n}", n=ranges[-1].range)
    inner, sheet = f'"{worse}"', _limits_sheet()
    for place in reversed(range(len(ranges))):
        row = LIMIT_ROW + place
        limit = f"ROUND({sheet}!${limits}${row}+{sheet}!${slope}${row}*{thickness},9)"
        inner = f"IF(ROUND({kept},9)<={limit},{ranges[place].range},{inner})"
    return f'=IF(ISNUMBER({cell}),{inner},"")'


def _limits_sheet() -> str:
    """The sheet `how to` as a formula names it."""
    quoted = word("how to").replace("'", "''")
    return f"'{quoted}'"


def _how_to(book: Book, listed: _List, varies: bool) -> None:
    """Limits on top, where the formulas look, then the routine and the dross scale."""
    trial = listed.records.trial
    graded = _graded(trial, listed.fields, varies)
    sheet = book.workbook.add_worksheet(word("how to"))
    sheet.set_column(0, 0, 24)
    sheet.set_column(1, 6, 17)
    bold, plain = book.style(bold=True), book.style()
    if graded:
        _limit_table(book, sheet, trial, varies)
    number = 11 if graded else 0
    scale = [
        (text("dross grade {grade}", grade=step.grade), f"{dross_name(step.grade)}: {dross_definition(step.grade)}")
        for step in SCALE
    ]
    scale = scale if any(quantity.scale == "grade" for quantity, _ in listed.asked) else []
    for left, right in (*how_to(listed.again), ("", ""), *scale):
        sheet.write_string(number, 0, left, bold)
        sheet.write_string(number, 1, right, plain)
        number += 1
    sheet.protect("")
    sheet.hide_gridlines(2)
    book.paper(sheet, "how to")


def _limit_table(book: Book, sheet: Any, trial: Trial, varies: bool) -> None:
    bold, plain = book.style(bold=True), book.style()
    sheet.write_string(0, 0, text("Ranges of {standard}", standard=standards.edition()), bold)
    sheet.write_string(1, 0, text("thickness, mm"), bold)
    if varies:
        sheet.write_string(1, 1, text("of each coupon, beside its mark"), plain)
    else:
        sheet.write_number(1, 1, trial.application.thickness_mm, plain)
    heads = (
        text("range"),
        text("u: base, mm"),
        text("u: mm per mm"),
        text("Rz5: base, µm"),
        text("Rz5: µm per mm"),
        text("limit of {symbol}, {unit}", symbol="u", unit=shown_unit("mm")),
        text("limit of {symbol}, {unit}", symbol="Rz5", unit=shown_unit("um")),
    )
    right = {"align": "right"}
    for place, head in enumerate(heads[: 5 if varies else 7]):
        sheet.write_string(LIMIT_ROW - 2, place, head, bold if place == 0 else book.style(bold=True, **right))
    at = 0.0 if varies or trial.application.thickness_mm is None else trial.application.thickness_mm
    for first, limits in ((1, standards.squareness_ranges()), (3, standards.roughness_ranges())):
        for place, row in enumerate(limits):
            number = LIMIT_ROW - 1 + place
            sheet.write_number(number, 0, row.range, book.style(bold=True, align="left"))
            sheet.write_number(number, first, row.base, plain)
            sheet.write_number(number, first + 1, row.per_mm, plain)
            if not varies:
                limit = scale_in_use("mm" if first == 1 else "um") * (row.base + row.per_mm * at)
                sheet.write_number(number, 5 + first // 2, round(limit, 5 if inches() else 9), plain)
