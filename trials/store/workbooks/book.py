"""A workbook with one look: typed cells white, planned cells grey and locked, limits and drop-downs on each cell."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

from trials.store.records.records import Records
from trials.words import columns as column_words
from trials.words.language import text, word

GREY = "#E4E4E4"
HEAD = "#D0D6DC"
BORDER = "#9AA0A6"


@dataclass(frozen=True)
class Column:
    """One column of a sheet to fill in.

    header: as read back; width in characters; typed: white and open, else grey and locked; number_format as in the
    spreadsheet; rule: what a cell accepts (data validation); align: left, center or right.
    """

    header: str
    width: float = 11.0
    typed: bool = True
    number_format: str = "General"
    rule: dict[str, Any] = field(default_factory=dict)
    align: str = "center"


class Book:
    """A workbook built in memory; the same content gives the same bytes for the same `created`."""

    def __init__(self, title: str, created: datetime, trial: str = "", paper: str = "A4") -> None:
        """Start an empty workbook; `created` is the only date inside it, trial: its title, at the foot of each page."""
        import xlsxwriter

        self._buffer = io.BytesIO()
        self.workbook = xlsxwriter.Workbook(self._buffer, {"in_memory": True})
        self.workbook.set_properties({"title": title, "created": created.replace(tzinfo=None)})
        self._trial, self._paper = trial.replace("&", "&&")[:100], paper
        self._formats: dict[tuple[Any, ...], Any] = {}

    def style(self, **properties: Any) -> Any:
        """A cell format, made once."""
        key = tuple(sorted(properties.items()))
        if key not in self._formats:
            self._formats[key] = self.workbook.add_format({"valign": "top", **properties})
        return self._formats[key]

    def filled_sheet(
        self,
        name: str,
        columns: Sequence[Column],
        rows: Sequence[Sequence[Any]],
        spare: int = 0,
        frozen: int = 1,
        group: str = "",
        row_height: float | None = None,
    ) -> Any:
        """A sheet with a header row, prefilled rows and `spare` empty ones; `frozen` columns stay in view.

        A heavier line is drawn where the column `group` changes; row_height in points, the usual one if None.

        A cell is its value, or a `Cell` where one cell departs from its column (locked, or a formula).
        """
        sheet = self.workbook.add_worksheet(word(name))
        head = self.style(bold=True, bg_color=HEAD, border=1, border_color=BORDER, text_wrap=True, align="center")
        for place, column in enumerate(columns):
            sheet.set_column(place, place, column.width)
            sheet.write_string(0, place, header_words(column.header), head)
            if column.rule:
                sheet.data_validation(1, place, len(rows) + spare, place, column.rule)
        marks = [row[[column.header for column in columns].index(group)] for row in rows] if group else []
        for number, row in enumerate(rows, 1):
            line = 2 if group and number > 1 and marks[number - 1] != marks[number - 2] else 1
            for place, (column, cell) in enumerate(zip(columns, row, strict=True)):
                self._write(sheet, number, place, column, cell, line)
        for number in range(1, len(rows) + 1) if row_height is not None else ():
            sheet.set_row(number, row_height)
        for number in range(len(rows) + 1, len(rows) + spare + 1):
            for place, column in enumerate(columns):
                self._write(sheet, number, place, replace(column, typed=True), None)
        sheet.set_row(0, 32)
        sheet.freeze_panes(1, frozen)
        sheet.protect("", {"format_columns": True, "format_rows": True, "sort": True, "autofilter": True})
        self.paper(sheet, name)
        sheet.repeat_rows(0)
        return sheet

    def text_sheet(self, name: str, lines: Sequence[tuple[str, str]], widths: tuple[float, float] = (30, 92)) -> Any:
        """A sheet of two columns of text; a line with an empty second part is a heading."""
        sheet = self.workbook.add_worksheet(word(name))
        sheet.set_column(0, 0, widths[0])
        sheet.set_column(1, 1, widths[1])
        for number, (left, right) in enumerate(lines):
            heading = bool(left) and not right
            sheet.write_string(
                number, 0, left, self.style(bold=heading, font_size=12 if heading else 11, text_wrap=not heading)
            )
            sheet.write_string(number, 1, right, self.style(text_wrap=True))
            lines_needed = -(-len(right) // int(1.15 * widths[1]))
            left_lines = 1 if heading else -(-len(left) // int(widths[0]))
            sheet.set_row(number, 15.0 * max(1, lines_needed, left_lines))
        sheet.hide_gridlines(2)
        self.paper(sheet, name)
        return sheet

    def data(self) -> bytes:
        """The finished workbook; nothing can be added after."""
        self.workbook.close()
        return self._buffer.getvalue()

    def _write(self, sheet: Any, number: int, place: int, column: Column, cell: Any, line: int = 1) -> None:
        value, typed = (cell.value, cell.typed) if isinstance(cell, Cell) else (cell, column.typed)
        style = {"border": 1, "border_color": BORDER, "num_format": column.number_format, "locked": not typed}
        style |= {"align": column.align, "top": line, "top_color": BORDER if line == 1 else "#000000"}
        if not typed:
            style["bg_color"] = GREY
        cell_format = self.style(**style)
        moment = _moment(value)
        if value is None or value == "":
            sheet.write_blank(number, place, None, cell_format)
        elif isinstance(value, str) and value.startswith("=") and isinstance(cell, Cell):
            sheet.write_formula(number, place, value, cell_format, "")
        elif moment is not None:
            sheet.write_datetime(number, place, moment, cell_format)
        elif isinstance(value, str):
            sheet.write_string(number, place, value, cell_format)
        else:
            sheet.write_number(number, place, value, cell_format)

    def paper(self, sheet: Any, name: str) -> None:
        """Landscape, one page wide, the name of the sheet and of the trial at the foot."""
        sheet.set_landscape()
        sheet.set_paper(1 if self._paper == "Letter" else 9)
        sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
        sheet.fit_to_pages(1, 0)
        sheet.set_footer(f"&L{word(name)}&C{self._trial}&R{text('Page &P of &N')}")


@dataclass(frozen=True)
class Cell:
    """One cell that departs from its column: a formula (starts with `=`), or locked where the column is open."""

    value: Any
    typed: bool = False


def _moment(value: Any) -> datetime | None:
    """A date with a time of day, which a spreadsheet reckons with; None for anything else, such as a time alone."""
    if not isinstance(value, str) or not _MOMENT.fullmatch(value):
        return None
    return datetime.fromisoformat(value)


_MOMENT = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d")


def header_words(header: str) -> str:
    """A header as printed: in the words of the language where it has some, else as it is read back."""
    name, mark, _ = header.partition(" (plan)")
    return f"{column_words.printed(name)} {word('(plan)')}" if mark else column_words.printed(name)


def created_at(records: Records, created: datetime | None) -> datetime:
    """The date inside a workbook: as given, else the moment of the freeze, so that a copy has the same bytes."""
    if created is not None:
        return created if created.tzinfo is None else created.astimezone(UTC)
    return datetime.fromisoformat(records.frozen_at) if records.frozen_at else datetime(2000, 1, 1, tzinfo=UTC)


def choice(words: Sequence[Any], title: str, message: str, strict: bool = True) -> dict[str, Any]:
    """A drop-down; not strict means that other words are allowed."""
    rule: dict[str, Any] = {"validate": "list", "source": list(words), **said(title, message)}
    return rule if strict else {**rule, "error_type": "information"}


def between(low: float, high: float, title: str, message: str, whole: bool = False) -> dict[str, Any]:
    """A number from low to high, both included."""
    bounds = {"criteria": "between", "minimum": low, "maximum": high}
    return {"validate": "integer" if whole else "decimal", **bounds, **said(title, message)}


def said(title: str, message: str) -> dict[str, Any]:
    """What shows when a cell is chosen, and when something else is typed."""
    return {
        "input_title": title[:32],
        "input_message": message[:255],
        "error_title": text("Not accepted"),
        "error_message": message[:255],
    }
