"""How far the cells of a workbook reach, found before any of them is read: `.xls` (records in a compound file) and
`.ods` (cells and rows with the number of their repeats).

Layouts after the published descriptions: compound file binary format [MS-CFB] 2.2-2.6, workbook records [MS-XLS] 2.4,
OpenDocument 1.3 part 3, 9.1 (from memory; held by the tests against files that a reader accepts).
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass

COMPOUND = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_END = 0xFFFFFFFA  # numbers from here on are no sectors
_CELLS = {0x0006, 0x00BD, 0x00D6, 0x00FD, 0x0203, 0x0204, 0x0205, 0x0207, 0x027E}
_MANY, _BEGIN = 0x00BD, 0x0809


@dataclass(frozen=True)
class Outline:
    """Last column and row of a sheet that hold anything, and how many cells lie inside all outlines so far."""

    columns: int
    rows: int
    cells: int


def compound_outlines(data: bytes) -> Iterator[Outline]:
    """Outlines of the sheets of an `.xls` file, growing.

    Raises
    ------
    ValueError
        If the file is cut off, or no workbook is in it.
    """
    try:
        stream = _Compound(data).workbook()
        columns = rows = before = at = 0
        while at + 4 <= len(stream):
            kind, size = struct.unpack_from("<HH", stream, at)
            if kind == _BEGIN:
                before, columns, rows = before + columns * rows, 0, 0
            elif kind in _CELLS and size >= 4:
                row, column = struct.unpack_from("<HH", stream, at + 4)
                if kind == _MANY:
                    (column,) = struct.unpack_from("<H", stream, at + 2 + size)
                columns, rows = max(columns, column + 1), max(rows, row + 1)
                yield Outline(columns, rows, before + columns * rows)
            at += 4 + size
    except (struct.error, IndexError) as error:
        raise ValueError(f"ends too early ({error})") from None


class _Compound:
    """A compound file: sectors in chains, small streams inside the stream of the root."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.size = 1 << struct.unpack_from("<H", data, 30)[0]
        if self.size not in (512, 4096):
            raise ValueError("sectors of an odd size")
        first = self._difat()
        self.table = [n for sector in first for n in self._numbers(self._sector(sector))]
        self.small_below: int = struct.unpack_from("<I", data, 56)[0]

    def workbook(self) -> bytes:
        """The stream of the workbook."""
        folder = self._chain(struct.unpack_from("<I", self.data, 48)[0])
        entries = [folder[at : at + 128] for at in range(0, len(folder) - 127, 128)]
        found = next((entry for entry in entries if _name(entry) in ("workbook", "book")), None)
        if found is None:
            raise ValueError("no workbook in it")
        start, length = struct.unpack_from("<I", found, 116)[0], struct.unpack_from("<I", found, 120)[0]
        stream = self._chain(start) if length >= self.small_below else self._small(entries[0], start)
        if len(stream) < length:
            raise ValueError("the workbook ends too early")
        return stream[:length]

    def _difat(self) -> list[int]:
        found = [n for n in struct.unpack_from("<109I", self.data, 76) if n < _END]
        following, count = struct.unpack_from("<II", self.data, 68)
        while following < _END and count > 0 and len(found) <= len(self.data) // self.size:
            numbers = self._numbers(self._sector(following))
            found += [n for n in numbers[:-1] if n < _END]
            following, count = numbers[-1], count - 1
        return found

    def _sector(self, number: int) -> bytes:
        part = self.data[(number + 1) * self.size : (number + 2) * self.size]
        if not part:
            raise ValueError("a part of it is missing")
        return part

    def _numbers(self, part: bytes) -> tuple[int, ...]:
        return struct.unpack(f"<{len(part) // 4}I", part[: len(part) // 4 * 4])

    def _chain(self, number: int) -> bytes:
        parts = list[bytes]()
        while number < _END:
            parts.append(self._sector(number))
            if len(parts) > len(self.data) // self.size:
                raise ValueError("a chain without an end")
            number = self.table[number]
        return b"".join(parts)

    def _small(self, root: bytes, number: int) -> bytes:
        whole = self._chain(struct.unpack_from("<I", root, 116)[0])
        table = self._numbers(self._chain(struct.unpack_from("<I", self.data, 60)[0]))
        parts = list[bytes]()
        while number < _END:
            parts.append(whole[number * 64 : (number + 1) * 64])
            if len(parts) > len(whole) // 64:
                raise ValueError("a chain without an end")
            number = table[number]
        return b"".join(parts)


def _name(entry: bytes) -> str:
    length = struct.unpack_from("<H", entry, 64)[0]
    return entry[: max(0, min(length, 64) - 2)].decode("utf-16-le", "replace").lower()


_TAG = re.compile(rb"<(/?)table:(table-row|table-cell|covered-table-cell|table)\b([^<>]*)>")
_REPEATED = re.compile(rb"table:number-(?:columns|rows)-repeated\s*=\s*[\"'](\d{1,12})")
LONGEST_TAG = 4_000
"""Bytes kept between two pieces, so that no tag is cut in two."""


class OpenOutline:
    """Outlines of the sheets of an `.ods` file, from the pieces of its `content.xml`.

    Cells and rows that are empty reach nowhere until something that is not stands behind them.
    """

    def __init__(self) -> None:
        """Nothing read yet."""
        self._rest = b""
        self._before = self._columns = self._rows = 0
        self._empty_rows = self._row_repeats = self._at = self._last = 0

    def read(self, piece: bytes) -> Outline:
        """Take up the next piece."""
        text = self._rest + piece
        end = 0
        for tag in _TAG.finditer(text):
            self._take(bool(tag.group(1)), tag.group(2), tag.group(3))
            end = tag.end()
        self._rest = text[max(end, len(text) - LONGEST_TAG) :]
        return Outline(self._columns, self._rows, self._before + self._columns * self._rows)

    def _take(self, closes: bool, name: bytes, inside: bytes) -> None:
        if name == b"table":
            if not closes:
                self._before += self._columns * self._rows
                self._columns = self._rows = self._empty_rows = 0
        elif name == b"table-row":
            if not closes:
                self._row_repeats, self._at, self._last = _repeats(inside), 0, 0
            if closes or inside.endswith(b"/"):
                self._end_row()
        elif not closes:
            self._at += _repeats(inside)
            if not inside.endswith(b"/") or b"office:value" in inside or b"table:formula" in inside:
                self._last = self._at

    def _end_row(self) -> None:
        if self._last:
            self._rows += self._empty_rows + self._row_repeats
            self._columns, self._empty_rows = max(self._columns, self._last), 0
        else:
            self._empty_rows += self._row_repeats
        self._last = self._row_repeats = 0


def _repeats(inside: bytes) -> int:
    found = _REPEATED.search(inside)
    return int(found.group(1)) if found else 1
