"""Traces and scans as instruments export them: CSV, TXT or XLSX of points, checked on the way in.

A trace is height against distance, or heights alone at a known spacing; a scan is offset against depth. Lines above
the column names are passed over and said. Units stand in the column names (`height_um`, `height (mm)`), in a line of
their own below them, or are given by the caller; a unit that nobody named is refused, never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from trials.bench.kinds import BenchKind
from trials.errors import InputError
from trials.findings import Finding
from trials.store import guard
from trials.store.tables import WORKBOOKS, read_table
from trials.units import factor, shown, suffix

Kind = Literal["roughness", "squareness"]
FloatArray = npt.NDArray[np.float64]
Row = tuple[int, list[str]]

SUFFIXES = (".csv", ".txt", ".dat", ".xlsx")
NAMES: Mapping[Kind, Mapping[str, tuple[str, ...]]] = {
    "roughness": {"distance": ("distance", "x", "position", "length"), "height": ("height", "z", "profile")},
    "squareness": {"depth": ("depth",), "offset": ("offset",)},
}
KEPT = {"distance": "mm", "height": "um", "depth": "mm", "offset": "mm"}
UNITS = "mm, um, nm, in, uin"


@dataclass(frozen=True)
class Points:
    """Points of one file: `along` (n,) distance or depth in mm, None where the file holds heights alone; `across` (n,)
    height in um or offset in mm; said: what was passed over."""

    file: str
    kind: Kind
    along: FloatArray | None
    across: FloatArray
    said: tuple[Finding, ...]


@dataclass(frozen=True)
class Place:
    """What the name of a file says: the coupon, which reading, which edge, which re-measurement (0 the reading)."""

    coupon: str
    reading: int
    side: str
    repeat: int


_NAME = re.compile(
    r"(?P<coupon>.+?)[-_](?P<reading>[1-9]\d*)(?:[-_](?P<side>left|right))?(?:[-_]again(?P<repeat>\d+))?"
)


def place_of(path: Path) -> Place:
    """Place of a reading from a file name: `K7T-2.csv`, `K7T-2-left.csv`, `K7T-2-left-again1.csv`.

    Raises
    ------
    InputError
        If the name does not hold coupon and reading.
    """
    found = _NAME.fullmatch(path.stem)
    if found is None:
        raise InputError(
            "the file name holds no coupon and reading",
            file=str(path),
            allowed="K7T-2.csv, K7T-2-left.csv; measured again: K7T-2-again1.csv",
            do="Rename the file: mark, reading, and the edge where two are measured.",
        )
    return Place(found["coupon"], int(found["reading"]), found["side"] or "", int(found["repeat"] or 0))


def point_files(sources: Sequence[Path]) -> list[Path]:
    """Files of points among files and folders, those of a folder in order of name.

    Raises
    ------
    InputError
        If a source does not exist or a folder holds none.
    """
    files: list[Path] = []
    for source in sources:
        if not source.exists():
            raise InputError("no such file or folder", file=str(source), do="Check the name.")
        if not source.is_dir():
            files.append(source)
            continue
        inside = sorted(
            p for p in source.iterdir() if p.suffix.lower() in SUFFIXES and not p.name.startswith((".", "~"))
        )
        if not inside:
            raise InputError(
                "the folder holds no traces or scans", file=str(source), allowed=", ".join(SUFFIXES), do="Export some."
            )
        files += inside
    return files


def read_points(path: Path, kind: Kind | None = None, along_unit: str = "", across_unit: str = "") -> Points:
    """Points of a trace or a scan. Column names decide which it is; without names `kind` must say so.

    along_unit: unit of distance or depth, across_unit: of height or offset, where the file does not name them.

    Raises
    ------
    InputError
        For the first line or cell that cannot be used, or a unit that is not named.
    """
    rows = _workbook_rows(path) if path.suffix.lower() in WORKBOOKS else _text_rows(path)
    head, body, said = _split(rows, str(path))
    width = max(len(cells) for _, cells in body)
    if head is None:
        kind, columns, units = _unnamed(width, kind, str(path))
        head_row = None
    else:
        kind, columns, units = _named(head[1], kind, str(path), head[0])
        head_row = head[0]
        body, units = _unit_line(body, columns, units)
    given = {"distance": along_unit, "depth": along_unit, "height": across_unit, "offset": across_unit}
    values = {}
    for name, place in columns.items():
        scale = _scale(name, units.get(name) or given[name], str(path), head_row)
        values[name] = _numbers(body, place, name, str(path)) * scale
    along, across = ("distance", "height") if kind == "roughness" else ("depth", "offset")
    return Points(str(path), kind, values.get(along), values[across], tuple(said))


def _text_rows(path: Path) -> list[Row]:
    data = guard.read_whole(path, str(path))
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = data.decode("utf-16", errors="replace")
    elif b"\0" in data[:4096] or data.startswith(b"%PDF"):
        raise InputError("is not a table of text", file=str(path), do="Export the points as CSV or TXT.")
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = data.decode("latin-1")
    guard.check_text(text, str(path))
    lines = [(number, line.strip()) for number, line in enumerate(text.splitlines(), 1)]
    lines = [(number, line) for number, line in lines if line and not line.startswith("#")]
    return _cells(lines, str(path))


def _cells(lines: list[tuple[int, str]], file: str) -> list[Row]:
    """Lines cut into cells at the mark that the first line of figures uses; decimal commas become points."""
    sample = next((line for _, line in lines if re.fullmatch(r"[-+\d.,;\seE]+", line) and line[-1].isdigit()), "")
    if not sample:
        sample = lines[0][1] if lines else ""
    mark = next((m for m in (";", "\t") if m in sample), None)
    if mark is None and "," in sample and (len(sample.split()) == 1 or re.search(r",\s", sample)):
        mark = ","
    rows = [(number, [cell.strip().strip('"') for cell in line.split(mark)]) for number, line in lines]
    if mark == ",":
        named = any(not _is_figure(cell) for cell in rows[0][1])
        if not named and len(rows[0][1]) == 2 and not any("." in line for _, line in lines):
            raise InputError(
                "a comma may part two columns or be a decimal comma",
                file=file,
                row=rows[0][0],
                found=sample,
                do="Name the columns in the first row, or put `;` between them.",
            )
        return rows
    comma = re.compile(r"([-+]?\d*),(\d+(?:[eE][-+]?\d+)?)")
    return [(number, [comma.sub(r"\1.\2", c) if comma.fullmatch(c) else c for c in cells]) for number, cells in rows]


def _workbook_rows(path: Path) -> list[Row]:
    table = read_table(path)
    rows = [(table.header_row, [str(name) for name in table.frame.columns])]
    for number, cells in zip(table.frame.index, table.frame.itertuples(index=False, name=None), strict=True):
        rows.append((int(str(number)), ["" if cell is None else str(cell) for cell in cells]))
    return rows


def _is_figure(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _split(rows: list[Row], file: str) -> tuple[Row | None, list[Row], list[Finding]]:
    """The line of column names (None if there is none), the lines of figures below it, and what was passed over."""
    if not rows:
        raise InputError("the file is empty", file=file, do="Export the trace or scan again.")
    first = next((i for i, (_, cells) in enumerate(rows) if all(_is_figure(c) for c in cells if c)), len(rows))
    known = {alias for names in NAMES.values() for aliases in names.values() for alias in aliases}
    above = [i for i in range(first) if {_parted(cell)[0] for cell in rows[i][1]} & known]
    start = above[-1] if above else first - 1
    body = rows[start + 1 :]
    if not body:
        raise InputError("the file holds no figures", file=file, do="Export the points as CSV or TXT.")
    said = [Finding(BenchKind.LINES_PASSED_OVER, facts={"lines": start})] if start > 0 else []
    return (rows[start] if start >= 0 else None), body, said


def _parted(header: str) -> tuple[str, str]:
    """`Height (µm)` -> (`height`, `um`)."""
    typed = re.sub(r"[\s\-\[\]()/]+", "_", header.strip().lower().replace("µ", "u").replace("μ", "u")).strip("_")
    name, _, unit = typed.partition("_")
    return name, unit


def _named(header: list[str], kind: Kind | None, file: str, row: int) -> tuple[Kind, dict[str, int], dict[str, str]]:
    """Kind, place and unit of each column, from the column names."""
    parts = [_parted(cell) for cell in header]
    for which, names in NAMES.items():
        found = {name: i for name, aliases in names.items() for i, (typed, _) in enumerate(parts) if typed in aliases}
        if list(names)[1] not in found or (which == "squareness" and "depth" not in found):
            continue
        if kind not in (None, which):
            raise InputError(f"the columns are those of a {which} file", file=file, row=row, do="Correct --kind.")
        return which, found, {name: parts[i][1] for name, i in found.items()}
    raise InputError(
        "neither a trace nor a scan",
        file=file,
        row=row,
        found=", ".join(header),
        allowed="columns distance and height, height alone, or depth and offset",
        do="Name the columns so, with their units: distance_mm, height_um.",
    )


def _unnamed(width: int, kind: Kind | None, file: str) -> tuple[Kind, dict[str, int], dict[str, str]]:
    """Kind and place of each column where the file names none: along first, then across, or heights alone."""
    if kind is None:
        raise InputError(
            "the columns have no names", file=file, do="Say with --kind whether it is roughness or squareness."
        )
    names = list(NAMES[kind])
    if width == 1 and kind == "roughness":
        return kind, {"height": 0}, {}
    if width != 2:
        raise InputError(
            f"{width} columns without names", file=file, allowed="two columns", do="Name the columns in the first row."
        )
    return kind, {names[0]: 0, names[1]: 1}, {}


def _unit_line(body: list[Row], columns: dict[str, int], units: dict[str, str]) -> tuple[list[Row], dict[str, str]]:
    """Units from a line of their own below the column names, if there is one."""
    cells = body[0][1]
    found = {name: suffix(cells[i].strip("[]()")) for name, i in columns.items() if i < len(cells)}
    if len(found) < len(columns) or any(factor(unit, KEPT[name]) is None for name, unit in found.items()):
        return body, units
    return body[1:], {name: units[name] or unit for name, unit in found.items()}


def _scale(name: str, unit: str, file: str, row: int | None) -> float:
    option = "--along-unit" if name in ("distance", "depth") else "--across-unit"
    if not unit:
        raise InputError(
            f"the unit of the {name} is not named",
            file=file,
            row=row,
            allowed=UNITS,
            do=f"Name the column {name}_{KEPT[name]}, or say it with {option}.",
        )
    scale = factor(unit, KEPT[name])
    if scale is None:
        raise InputError(
            f"not a unit of {name}", file=file, row=row, found=shown(unit), allowed=UNITS, do="Correct the unit."
        )
    return scale


def _numbers(body: list[Row], place: int, name: str, file: str) -> FloatArray:
    cells = [row[place] if place < len(row) else "" for _, row in body]
    try:
        values = np.array(cells, dtype=float)
    except ValueError:
        values = np.array([float(cell) if _is_figure(cell) else np.nan for cell in cells])
    bad = ~np.isfinite(values)
    if bad.any():
        first = int(np.argmax(bad))
        raise InputError(
            "not a number",
            file=file,
            row=body[first][0],
            column=name,
            found=cells[first] or "an empty cell",
            do="Export or measure it again.",
        )
    return values
