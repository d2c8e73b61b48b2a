"""Limits on files that people bring, checked before they are read whole.

What is beyond them is no table of a trial but a slip (one stray cell in the last column) or worse (an archive that
unpacks to gigabytes); it is refused in seconds and in less than 300 MB of memory.
"""

from __future__ import annotations

import io
import re
import sys
import zipfile
import zlib
from itertools import repeat
from pathlib import Path
from typing import IO

from trials.errors import InputError
from trials.store import outlines

MAX_BYTES = 32_000_000
"""Of one file: 200,000 readings typed as CSV take 12 MB."""
MAX_LINES = 1_100_000
"""Of a text file: a sheet of a workbook has at most 1,048,576 rows."""
MAX_LINE = 100_000
"""Characters of one line: 1,000 columns of 100 characters."""
MAX_COLUMNS = 1_000
"""A trial table has some twenty columns."""
MAX_CELLS = 4_000_000
"""Of one table, empty ones inside its outline included: 200,000 readings with twenty columns."""
MAX_UNPACKED = 150_000_000
"""Bytes of a workbook once unpacked: 200,000 readings take about 100 MB."""
MAX_MEMBERS = 1_000
"""Parts inside a workbook; one with four sheets has about fifteen."""
CHUNK = 1 << 16

_CELL = re.compile(rb"<(?:\w+:)?c\s[^<>]*?\br\s*=\s*[\"']\$?([A-Za-z]{1,7})\$?(\d{1,10})")
_KEPT = 400  # bytes kept between two chunks, so that no cell tag is cut in two


def check_there(path: str | Path, name: str) -> None:
    """Raise InputError where there is no such file, or it is a folder."""
    try:
        if not Path(path).exists():
            raise InputError("no such file", file=name, do="Check the name and the folder.")
        if Path(path).is_dir():
            raise InputError("is a folder, not a table", file=name, do="Name a CSV or XLSX file.")
    except (OSError, ValueError) as error:
        raise _unreadable(name, error) from None


def read_whole(path: str | Path, name: str, most: int = MAX_BYTES) -> bytes:
    """The bytes of a file, or (`-`) of standard input, within the limit.

    Raises
    ------
    InputError
        If there is no such file, it cannot be read, is no plain file, or is too large.
    """
    if str(path) == "-":
        return _limited(sys.stdin.buffer, name, most)
    check_there(path, name)
    try:
        with Path(path).open("rb") as stream:
            return _limited(stream, name, most)
    except (OSError, ValueError) as error:
        raise _unreadable(name, error) from None


def _unreadable(name: str, error: Exception) -> InputError:
    reason = getattr(error, "strerror", None) or str(error)
    return InputError(f"cannot be read ({reason})", file=name, do="Check name and rights.")


def _limited(stream: IO[bytes], name: str, most: int) -> bytes:
    data = stream.read(most + 1)
    if len(data) > most:
        raise _too_much(name, "larger than a table may be", f"{most // 1_000_000} MB")
    return data


def check_text(text: str, name: str) -> None:
    """Raise InputError where a text has too many or too long lines."""
    if text.count("\n") + text.count("\r") > MAX_LINES:
        raise _too_much(name, "too many lines", f"{MAX_LINES:,} lines")
    if max(map(len, text.replace("\r", "\n").split("\n"))) > MAX_LINE:
        raise _too_much(name, "a line is too long", f"{MAX_LINE:,} characters a line")


def check_cells(text: str, separator: str, name: str) -> None:
    """Raise InputError where a text has too many columns or cells."""
    widest = max(map(str.count, text.split("\n"), repeat(separator))) + 1
    if widest > MAX_COLUMNS:
        raise _too_much(name, "too many columns", f"{MAX_COLUMNS:,} columns")
    if text.count(separator) > MAX_CELLS:
        raise _too_much(name, "too many cells", f"{MAX_CELLS:,} cells")


def check_workbook(data: bytes, name: str) -> None:
    """Go through a workbook piece by piece and keep nothing: it must be whole, and small once unpacked.

    Raises
    ------
    InputError
        If it is cut off or damaged, unpacks to too much, or a cell stands far outside any table of a trial.
    """
    try:
        if data.startswith(outlines.COMPOUND):
            for found in outlines.compound_outlines(data):
                _check_outline(found, name, "the workbook")
        if not data.startswith(b"PK"):
            return
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
            if len(parts) > MAX_MEMBERS or sum(part.file_size for part in parts) > MAX_UNPACKED:
                raise _too_much(name, "unpacks to more than a workbook may", f"{MAX_UNPACKED // 1_000_000} MB")
            for part in parts:
                with archive.open(part) as stream:
                    _check_part(stream, part.filename, name)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, ValueError) as error:
        raise InputError(
            f"the workbook is cut off or damaged ({_one_line(error)})", file=name, do="Save or copy it again."
        ) from None


def _check_part(stream: IO[bytes], part: str, name: str) -> None:
    """Read one part to its end, which also proves its check sum; cells of a sheet must lie in a table's outline."""
    sheet = part.lower().startswith("xl/worksheets/")
    if sheet and part.lower().endswith(".bin"):
        raise InputError("a workbook in binary form", file=name, do="Save it as CSV or XLSX.")
    if part.lower() == "content.xml":
        content = outlines.OpenOutline()
        while chunk := stream.read(CHUNK):
            _check_outline(content.read(chunk), name, part)
        return
    last = [0, 0]
    rest = b""
    while chunk := stream.read(CHUNK):
        if not sheet:
            continue
        text = rest + chunk
        for letters, digits in _CELL.findall(text):
            last = [max(last[0], _place(letters)), max(last[1], int(digits))]
        rest = text[-_KEPT:]
        _check_outline(outlines.Outline(last[0], last[1], last[0] * last[1]), name, Path(part).stem)


def _check_outline(found: outlines.Outline, name: str, where: str) -> None:
    if found.columns > MAX_COLUMNS or found.cells > MAX_CELLS:
        raise _too_much(
            name,
            f"a cell far outside the table (column {found.columns:,}, row {found.rows:,} of {where})",
            f"{MAX_COLUMNS:,} columns, {MAX_CELLS:,} cells",
            "Delete the stray cell, or save the table alone as CSV.",
        )


def _place(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = 26 * number + letter - 64
    return number


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())[:80] or type(error).__name__


def _too_much(
    name: str, problem: str, allowed: str, do: str = "Save the table alone, or in several files."
) -> InputError:
    return InputError(problem, file=name, allowed=f"up to {allowed}", do=do)
