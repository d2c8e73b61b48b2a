"""Cells of a workbook that hold no value: errors, and formulas that were never worked out.

The reader of workbooks hands both out as empty, so that they would vanish; here they are found in the file itself.
"""

from __future__ import annotations

import io
import posixpath
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO
from xml.etree import ElementTree

CHUNK = 1 << 20
_CELL = re.compile(rb"<(?:\w+:)?c\s([^<>]*?)(?<!/)>(.*?)</(?:\w+:)?c>", re.DOTALL)
_PLACE = re.compile(rb"\br\s*=\s*[\"']([A-Za-z]{1,3})(\d{1,7})[\"']")
_TYPE = re.compile(rb"\bt\s*=\s*[\"'](\w+)[\"']")
_VALUE = re.compile(rb"<(?:\w+:)?v(?:\s[^<>]*)?>([^<]*)</")
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")
_SHEET = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}sheet"
_LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_MARKS = (b't="e"', b"t='e'", b"<f", b":f")


@dataclass(frozen=True)
class Valueless:
    """A cell without a value; error: what stands there, empty for a formula that was never worked out."""

    error: str = ""

    def __str__(self) -> str:
        """What a person sees in the cell."""
        return self.error or "a formula without a stored value"


def valueless_cells(data: bytes, sheet: str) -> dict[tuple[int, int], Valueless]:
    """Cells without a value on a sheet of an XLSX file, by row and column counted from 0; of other files none.

    The workbook was checked by `guard.check_workbook` before. A text formula that gives an empty text has a value.
    """
    if not data.startswith(b"PK"):
        return {}
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        part = _part_of(archive, sheet)
        if part is None:
            return {}
        with archive.open(part) as stream:
            return dict(_found(stream))


def _part_of(archive: zipfile.ZipFile, sheet: str) -> str | None:
    """The part of the archive that holds a sheet."""
    names = set(archive.namelist())
    if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= names:
        return None
    try:
        book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
        links = ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
    except ElementTree.ParseError:
        return None
    targets = {link.get("Id"): link.get("Target", "") for link in links}
    for each in book.iter(_SHEET):
        if each.get("name") == sheet:
            target = targets.get(each.get(_LINK), "")
            part = target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"xl/{target}")
            return part if part in names else None
    return None


def _found(stream: IO[bytes]) -> Iterator[tuple[tuple[int, int], Valueless]]:
    rest = b""
    while chunk := stream.read(CHUNK):
        rest += chunk
        end = rest.rfind(b"</row>") if b"</row>" in rest else rest.rfind(b":row>")
        if end >= 0:
            yield from _in_block(rest[:end])
            rest = rest[end:]
    yield from _in_block(rest)


def _in_block(block: bytes) -> Iterator[tuple[tuple[int, int], Valueless]]:
    if not any(mark in block for mark in _MARKS):
        return
    for attributes, inner in _CELL.findall(block):
        place, kind, value = _PLACE.search(attributes), _TYPE.search(attributes), _VALUE.search(inner)
        if place is None:
            continue
        at = int(place[2]) - 1, _column(place[1])
        text = value[1].decode("utf-8", "replace").strip() if value else ""
        if kind and kind[1] == b"e":
            yield at, Valueless(text or "an error")
        elif not text and _FORMULA.search(inner) and not (kind and kind[1] == b"str"):
            yield at, Valueless()


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = 26 * number + letter - 64
    return number - 1
