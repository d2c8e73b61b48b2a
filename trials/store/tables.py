"""Raw tables from CSV and XLSX files: cells as typed, each row with the number that the user sees."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from itertools import chain, pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trials.errors import InputError, Problems
from trials.findings import Fact, Finding
from trials.record_kinds import RecordKind
from trials.store import guard
from trials.store.language import kept_word
from trials.store.valueless import Valueless, valueless_cells

if TYPE_CHECKING:
    import pandas as pd
    from python_calamine import CalamineWorkbook

WORKBOOKS = (".xlsx", ".xlsm", ".xls", ".ods")
MAX_WHOLE = 1_000_000
"""Of readings, repeats, orders and pierces: what a person counts, and far below what a database holds."""
YES_NO = {"yes": "yes", "y": "yes", "true": "yes", "1": "yes", "no": "no", "n": "no", "false": "no", "0": "no"}
SAVE = "Save it as CSV or XLSX."
TOP = 20
"""Rows at the top of a table among which its header is looked for."""


@dataclass(frozen=True)
class FileTable:
    """A table with its source.

    frame: its index holds row numbers as the user sees them (the header is row 1); file: as messages name it, empty
    for a table that no file stands behind; header_row: of the column names; decimal_comma: cells are separated by `;`;
    sheet: of a workbook; said: what was passed over or taken for granted.
    """

    frame: pd.DataFrame
    file: str = ""
    header_row: int = 1
    decimal_comma: bool = False
    sheet: str = ""
    said: tuple[Finding, ...] = ()

    @property
    def names(self) -> list[str]:
        """Columns as they are headed."""
        return [str(name) for name in self.frame.columns]

    @property
    def numbers(self) -> list[int]:
        """Of the rows."""
        return [int(number) for number in self.frame.index.tolist()]

    def cells(self, header: str) -> list[Any]:
        """Of one column."""
        return list(self.frame[header].tolist())

    def place(self, row: object) -> dict[str, Any]:
        """File and row for a message; nothing where no file stands behind the table."""
        return {"file": self.file, "row": int(str(row))} if self.file else {}


@dataclass(frozen=True)
class FileCells:
    """What becomes a `FileTable`, read without a library of tables.

    columns: {header: cells}; numbers: of the rows as the user sees them; the rest as there.
    """

    columns: dict[str, list[Any]]
    numbers: list[int]
    file: str = ""
    header_row: int = 1
    decimal_comma: bool = False
    sheet: str = ""
    said: tuple[Finding, ...] = ()

    @property
    def names(self) -> list[str]:
        """Columns as they are headed."""
        return list(self.columns)

    def cells(self, header: str) -> list[Any]:
        """Of one column."""
        return self.columns[header]

    def place(self, row: int) -> dict[str, Any]:
        """File and row for a message."""
        return {"file": self.file, "row": row}

    def table(self) -> FileTable:
        """The cells as a table."""
        import pandas as pd

        index = pd.Index(self.numbers)
        frame = pd.DataFrame({name: _column(cells, index) for name, cells in self.columns.items()}, index)
        return FileTable(frame, self.file, self.header_row, self.decimal_comma, self.sheet, self.said)


def sourced(table: FileTable | pd.DataFrame) -> FileTable:
    """A table with its source; a plain table of a notebook has none."""
    return table if isinstance(table, FileTable) else FileTable(table)


def read_table(path: str | Path, sheet: str | None = None, needed: Collection[str] = ()) -> FileTable:
    """A table of a file; see `read_cells`."""
    return read_cells(path, sheet, needed).table()


def read_cells(path: str | Path, sheet: str | None = None, needed: Collection[str] = ()) -> FileCells:
    """Cells of a CSV file, a workbook sheet, or (`-`) CSV on standard input, with empty rows left out.

    Cells are text, numbers, dates, None, or `Valueless`. Title rows above the header are passed over and said; needed:
    columns that the header names, which tell it from them.

    Raises
    ------
    InputError
        If the file is missing, empty, no table, or its header is missing or names a column twice.
    """
    name = "standard input" if str(path) == "-" else str(path)
    data = _bytes(path, name)
    if Path(name).suffix.lower() in WORKBOOKS or data.startswith(b"PK\x03\x04"):
        rows, found = _workbook_rows(data, name, sheet)
        return replace(_below_header(rows, name, needed), sheet=found)
    rows, decimal_comma, said = _csv_rows(data, name)
    cells = _below_header(rows, name, needed)
    return replace(cells, decimal_comma=decimal_comma, said=(*said, *cells.said))


def sheet_names(path: str | Path) -> list[str]:
    """Names of the sheets of a workbook; an empty list for anything else."""
    if Path(path).suffix.lower() not in WORKBOOKS:
        return []
    names: list[str] = _open_workbook(_bytes(path, str(path)), str(path)).sheet_names
    return names


def _bytes(path: str | Path, name: str) -> bytes:
    data = guard.read_whole(path, name)
    if not data.strip():
        raise InputError("the file is empty", file=name, do="It needs a header row and rows below it.")
    return data


def _text(data: bytes, name: str) -> tuple[str, tuple[Finding, ...]]:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace"), ()
    if data.startswith(b"%PDF") or b"\0" in data[:4096]:
        raise InputError("is not a table of text", file=name, do=SAVE)
    try:
        return data.decode("utf-8-sig"), ()
    except UnicodeDecodeError:
        return _windows(data), (Finding(RecordKind.READ_AS_LATIN, facts={"file": name}),)


def _windows(data: bytes) -> str:
    """Windows-1252, which is Latin-1 with signs in place of most control characters; the five without stay."""
    return "".join(_SIGNS.get(sign, sign) for sign in data.decode("latin-1"))


_SIGNS = {chr(code): sign for code in range(0x80, 0xA0) if (sign := bytes([code]).decode("cp1252", errors="ignore"))}


def _csv_rows(data: bytes, name: str) -> tuple[list[tuple[int, list[Any]]], bool, tuple[Finding, ...]]:
    """Rows with their numbers, whether a comma is the decimal sign, and remarks."""
    text, said = _text(data, name)
    guard.check_text(text, name)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    skipped = 0
    separator = ""
    if lines and lines[0].lower().startswith("sep=") and len(lines[0]) == 5:
        separator, skipped = lines[0][4], 1
        text = "\n".join(lines[1:])
    separator = separator or _separator([line for line in lines[skipped:] if line.strip()][: TOP + 1])
    guard.check_cells(text, separator, name)
    try:
        parsed = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True))
    except csv.Error as error:
        raise InputError(
            f"not a table: {error}", file=name, do="Check the quotation marks, or save it again."
        ) from None
    stripped = {cell: cell.strip() or None for cell in set(chain.from_iterable(parsed))}
    rows: list[tuple[int, list[Any]]] = [
        (number, list(map(stripped.__getitem__, row))) for number, row in enumerate(parsed, 1 + skipped)
    ]
    return rows, separator == ";" or (separator == "\t" and not _has_points(rows)), said


def _separator(lines: list[str]) -> str:
    """What parts the cells: the commonest mark of the first line of which the next has some too; a title has none."""

    def count(line: str, mark: str) -> int:
        return _outside_quotes(line).count(mark)

    marks = ";\t,"
    for line, following in pairwise(lines):
        mark = max(marks, key=lambda each: count(line, each))
        if count(line, mark) and count(following, mark):
            return mark
    return max(marks, key=lambda each: count(lines[0], each) if lines else 0)


def _has_points(rows: list[tuple[int, list[Any]]]) -> bool:
    """Whether any cell is a number with a decimal point."""
    return any(_POINT.fullmatch(cell) for _, row in rows for cell in row if cell)


_POINT = re.compile(r"[-+]?\d*\.\d+")


def _outside_quotes(line: str) -> str:
    return "".join(line.split('"')[::2])


def _open_workbook(data: bytes, name: str) -> CalamineWorkbook:
    from python_calamine import CalamineWorkbook

    guard.check_workbook(data, name)
    with _readable(name):
        return CalamineWorkbook.from_filelike(io.BytesIO(data))


@contextmanager
def _readable(name: str) -> Iterator[None]:
    """Whatever the reader of workbooks trips over is one line; its panics are no ordinary exceptions."""
    try:
        yield
    except (KeyboardInterrupt, SystemExit, InputError):
        raise
    except BaseException as error:
        reason = " ".join(str(error).split())[:80] or "unknown format"
        raise InputError(f"not a workbook that can be read ({reason})", file=name, do=SAVE) from None


def _workbook_rows(data: bytes, name: str, sheet: str | None) -> tuple[list[tuple[int, list[Any]]], str]:
    book = _open_workbook(data, name)
    if not book.sheet_names:
        raise InputError("the workbook has no sheet", file=name, do=SAVE)
    wanted = sheet or book.sheet_names[0]
    found = next((s for s in book.sheet_names if s.lower() == wanted.lower()), None)
    if found is None:
        raise InputError(
            f"has no sheet {wanted!r}", file=name, allowed=", ".join(book.sheet_names), do="Rename the sheet."
        )
    with _readable(name):
        cells = book.get_sheet_by_name(found).to_python(skip_empty_area=False)
        without = valueless_cells(data, found)
    rows = [[_cell(cell) for cell in row] for row in cells]
    for (row, column), cell in without.items():
        if row < len(rows) and column < len(rows[row]):
            rows[row][column] = cell
    return list(enumerate(rows, 1)), found


def _cell(cell: Any) -> Any:
    if isinstance(cell, str):
        return cell.strip() or None
    return cell


def _below_header(rows: list[tuple[int, list[Any]]], name: str, needed: Collection[str]) -> FileCells:
    """The cells below the header; rows above it are said."""
    filled = [(number, row) for number, row in rows if row.count(None) < len(row)]
    if not filled:
        raise InputError("the table is empty", file=name, do="It needs a header row and rows below it.")
    titles = _titles(filled, needed)
    facts: dict[str, Fact] = {"file": name, "rows": titles, "row": filled[titles][0]}
    said = (Finding(RecordKind.TITLES_PASSED_OVER, facts=facts),) if titles else ()
    filled = filled[titles:]
    header = _header(*filled[0], name)
    width = len(header)
    problems = Problems()
    for number, row in filled[1:]:
        if len(row) > width or "" in header:
            with problems.gathered():
                _check_width(number, row, header, name)
    problems.tell()
    body = [row if len(row) == width else (row + [None] * width)[:width] for _, row in filled[1:]]
    cells = zip(*body, strict=True) if body else [()] * width
    columns = {column: list(mine) for column, mine in zip(header, cells, strict=True) if column}
    return FileCells(columns, [number for number, _ in filled[1:]], name, filled[0][0], said=said)


def _column(cells: Sequence[Any], index: pd.Index) -> pd.Series:
    import numpy as np
    import pandas as pd

    held = np.empty(len(cells), dtype=object)
    held[:] = cells
    return pd.Series(held, index, object)


def _titles(filled: list[tuple[int, list[Any]]], needed: Collection[str]) -> int:
    """How many of the first rows stand above the header.

    The header is the first row that names what is needed, else the first that is no single cell above a row of names.
    """
    top = [[cell for cell in row if cell is not None] for _, row in filled[:TOP]]
    wanted = {_plain_name(column) for column in needed}
    for place, row in enumerate(top):
        if wanted and wanted <= {_plain_name(kept_word(cell)) for cell in row if isinstance(cell, str)}:
            return place
    first = next((place for place, row in enumerate(top) if len(row) > 1), 0)
    named = all(isinstance(cell, str) and not _is_number(cell) for cell in top[first])
    return first if named else 0


def _plain_name(name: str) -> str:
    return re.sub(r"[\s\-]+", "_", name.strip()).lower()


def _check_width(number: int, row: list[Any], header: list[str], name: str) -> None:
    """Raise InputError where a row has a cell that no column name stands over."""
    width = len(header)
    beyond = next((cell for cell in row[width:] if cell is not None), None)
    if beyond is not None:
        raise InputError(
            f"has more cells than the header ({width})",
            file=name,
            row=number,
            found=beyond,
            do="A decimal comma needs `;` between the cells; or give the extra column a name.",
        )
    for place, (cell, column) in enumerate(zip(row, header, strict=False), 1):
        if cell is not None and not column:
            raise InputError(
                f"a cell under no name (column {place} of the header is blank)",
                file=name,
                row=number,
                found=cell,
                do="Name the column, or remove its cells.",
            )


def check_filled(table: FileTable | FileCells, headers: Collection[str]) -> None:
    """Refuse cells without a value in the named columns, all at once.

    Raises
    ------
    InputError
        For each error of a workbook and each formula without a stored value.
    """
    problems = Problems()
    for header in headers:
        cells = table.cells(header)
        for number, cell in zip(table.numbers, cells, strict=True) if Valueless in set(map(type, cells)) else ():
            if isinstance(cell, Valueless):
                with problems.gathered():
                    problem = "an error in place of a value" if cell.error else str(cell)
                    do = "Mend the cell." if cell.error else "Open and save the workbook in a spreadsheet program."
                    found = cell.error or None
                    raise InputError(problem, found=found, do=do, column=header, **table.place(number))
    problems.tell()


def _header(number: int, row: list[Any], name: str) -> list[str]:
    while row and row[-1] is None:
        row = row[:-1]
    names = ["" if cell is None else str(cell) for cell in row]
    if not any(isinstance(cell, str) and not _is_number(cell) for cell in row):
        raise InputError(
            "no header row", file=name, row=number, found=names[0], do="Name the columns in the first row."
        )
    seen: set[str] = set()
    for column in names:
        if column and column.lower() in seen:
            raise InputError(
                "a column is named twice", file=name, row=number, column=column, do="Rename or remove one."
            )
        seen.add(column.lower())
    return names


def _is_number(text: str) -> bool:
    try:
        float(text.replace(",", "."))
    except ValueError:
        return False
    return True


def number_in(cell: Any, *, decimal_comma: bool, **place: Any) -> float | None:
    """A cell as a finite number, None where empty; place is file, row and column for the message.

    Raises
    ------
    InputError
        If the cell holds anything but one finite number.
    """
    if cell is None:
        return None
    value = _parsed(str(cell), decimal_comma)
    if math.isfinite(value):
        return value
    comma = isinstance(cell, str) and "," in cell and not decimal_comma
    do = (
        "Write 3.5, or put `;` between the cells of a file with decimal commas."
        if comma
        else "Type a number, or leave the cell empty where nothing was measured."
    )
    raise InputError("not a number", found=cell, do=do, **place)


def _parsed(text: str, decimal_comma: bool) -> float:
    if decimal_comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    try:
        return math.nan if "_" in text else float(text)
    except ValueError:
        return math.nan


def whole_in(cell: Any, low: int, *, decimal_comma: bool, **place: Any) -> int | None:
    """A cell as a whole number of at least `low`, None where empty; raises as `number_in`."""
    value = number_in(cell, decimal_comma=decimal_comma, **place)
    if value is None:
        return None
    if value != int(value) or not low <= value <= MAX_WHOLE:
        allowed = f"{low} or more" if value < MAX_WHOLE else f"{low} to {MAX_WHOLE:,}"
        raise InputError("not a whole number", found=cell, allowed=allowed, do="Correct the cell.", **place)
    return int(value)


def text_in(cell: Any) -> str:
    """A cell as text: a whole number without its decimal point, a date as ISO 8601, empty for None."""
    if cell is None:
        return ""
    if isinstance(cell, (datetime, date)):
        return moment_in(cell)
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell).strip()


def moment_in(cell: Any, **place: Any) -> str:
    """A date, a date with time or a time of day as ISO 8601 text, empty for None.

    Raises
    ------
    InputError
        If text is none of them, such as 31.3.26.
    """
    if cell is None:
        return ""
    if isinstance(cell, time):
        return cell.isoformat(timespec="minutes")
    if isinstance(cell, datetime):
        whole_day = (cell.hour, cell.minute, cell.second) == (0, 0, 0)
        return cell.date().isoformat() if whole_day else cell.isoformat(sep=" ", timespec="minutes")
    if isinstance(cell, date):
        return cell.isoformat()
    text = _DOTTED.sub(_dashed, str(cell).strip())
    for kind in (time, datetime):
        try:
            moment = kind.fromisoformat(text)
        except ValueError:
            continue
        if ":" in text or kind is datetime:
            return moment_in(moment)
    allowed = "2026-03-31, 2026-03-31 14:05 or 14:05"
    raise InputError("not a date", found=cell, allowed=allowed, do="Write year-month-day.", **place)


_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})(?!\d)")
"""Day.month.year; with strokes, or two digits of the year, it cannot be told what is what."""


def _dashed(found: re.Match[str]) -> str:
    return f"{found[3]}-{found[2]:0>2}-{found[1]:0>2}"


def yes_no_in(cell: Any, **place: Any) -> str:
    """A cell as `yes`, `no` or empty.

    Raises
    ------
    InputError
        If it is something else.
    """
    word = text_in(cell).lower()
    word = word if not word or word in YES_NO else kept_word(word)
    if word and word not in YES_NO:
        raise InputError("not yes or no", found=cell, allowed="yes, no", do="Correct it.", **place)
    return YES_NO.get(word, "")
