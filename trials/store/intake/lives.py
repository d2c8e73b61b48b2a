"""A plain table of lives, checked cell by cell; how a life ended, in a column of its own or as older tables say it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trials.endings import Ended, Part
from trials.errors import InputError, Problems
from trials.store.records.rules import ENDS, ended_in
from trials.store.tables import FileTable, check_filled, number_in, read_table, text_in, whole_in, yes_no_in

UNITS = ("hours", "metres", "pierces")
STILL_GOOD = "still good"
"""What a note said before there was a column for the end of a life."""


@dataclass(frozen=True)
class LifeColumns:
    """Names of the columns of a table of lives; life empty: the one column named after a unit (hours, life_hours)."""

    nozzle: str = "nozzle"
    specimen: str = "specimen"
    life: str = ""
    failed: str = "failed"
    ended: str = "ended"
    part: str = "part"
    cleaned: str = "cleaned"
    refitted: str = "refitted"


@dataclass(frozen=True)
class StoredLives:
    """frame: `nozzle, specimen, part, life, ended, cleaned, refitted`, the index holds the row of the file; unit; file.

    part: a `Part`; ended: an `Ended`; cleaned, refitted: how often, 0 where nothing is said.
    """

    frame: pd.DataFrame
    unit: str
    file: str


@dataclass(frozen=True)
class _Source:
    """Where the cells of a table are found."""

    file: str
    header_row: int
    decimal_comma: bool
    columns: LifeColumns
    life: str
    ended: bool
    failed: bool


def read_table_of_lives(path: Any, columns: LifeColumns, several: bool = False) -> StoredLives:
    """A table of lives with `ended`, or `failed` (yes, no), or both where they agree.

    `part`, `cleaned` and `refitted` are read where they are there.

    several: a specimen may have several lenses and windows, one after the other.

    Raises
    ------
    InputError
        For a missing column, an empty cell, a life that is no number above zero, a specimen listed twice, types that
        differ only in case or spaces.
    """
    raw = read_table(path)
    source, unit = _source(raw, columns)
    check_filled(raw, [name for name in (*vars(columns).values(), source.life) if name in raw.frame])
    rows, problems = list[dict[str, Any]](), Problems()
    for number, cells in zip(raw.frame.index, raw.frame.to_dict("records"), strict=True):
        with problems.gathered():
            rows.append(_row(int(str(number)), {str(k): v for k, v in cells.items()}, source))
    problems.tell()
    if not rows:
        raise InputError("the table holds no lives", file=source.file, do="Add one row per specimen.")
    table = pd.DataFrame(rows, index=raw.frame.index)
    _each_once(table[table["part"] == Part.NOZZLE] if several else table, source)
    check_spelling([str(name) for name in table["nozzle"]], [int(n) for n in table.index], source.file, columns.nozzle)
    return StoredLives(table, unit, source.file)


def _source(raw: FileTable, columns: LifeColumns) -> tuple[_Source, str]:
    """Which columns a table has, and the unit of its lives."""
    place: dict[str, Any] = {"file": raw.file, "row": raw.header_row}
    life, unit = _life_column(raw, columns.life)
    ended, failed = columns.ended in raw.frame, columns.failed in raw.frame
    absent = columns.nozzle if columns.nozzle not in raw.frame else "" if ended or failed else columns.ended
    if absent:
        raise InputError(
            "missing column",
            column=absent,
            allowed=f"nozzle, specimen, {', '.join(UNITS)}, ended, failed",
            do="Rename the column, or name it with an option (`trials life --help`).",
            **place,
        )
    return _Source(raw.file, raw.header_row, raw.decimal_comma, columns, life, ended, failed), unit


def _life_column(raw: FileTable, named: str) -> tuple[str, str]:
    """Column of lives and its unit."""
    if named:
        if named not in raw.frame:
            raise InputError(
                "missing column", file=raw.file, column=named, allowed=", ".join(raw.frame.columns), do="Correct it."
            )
        unit = next((unit for unit in UNITS if named.lower().endswith(unit)), named.replace("_", " "))
        return named, unit
    found = [(str(c), u) for c in raw.frame.columns for u in UNITS if str(c).lower() in (u, f"life_{u}")]
    if len(found) != 1:
        problem = "several columns of lives" if found else "no column of lives"
        raise InputError(
            problem,
            file=raw.file,
            row=raw.header_row,
            allowed=", ".join(UNITS),
            do="Name the one to use with --life-column.",
        )
    return found[0]


def _row(number: int, cells: dict[str, Any], source: _Source) -> dict[str, Any]:
    place: dict[str, Any] = {"file": source.file, "row": number}
    wanted = source.columns
    nozzle, specimen = text_in(cells[wanted.nozzle]), text_in(cells.get(wanted.specimen))
    if not nozzle:
        raise InputError("no nozzle type", column=wanted.nozzle, do="Fill it in.", **place)
    value = number_in(cells[source.life], decimal_comma=source.decimal_comma, column=source.life, **place)
    if value is None:
        raise InputError("no life", column=source.life, do="Fill it in, or leave the row out.", **place)
    if value <= 0:
        raise InputError(
            "a life must be above zero",
            column=source.life,
            found=value,
            do="Leave out what never ran, or write the shortest step.",
            **place,
        )
    row: dict[str, Any] = {
        "nozzle": nozzle,
        "specimen": specimen,
        "part": _part(cells.get(wanted.part), column=wanted.part, **place),
    }
    row |= {"life": value, "ended": _ended(cells, source, place)}
    for name, column in (("cleaned", wanted.cleaned), ("refitted", wanted.refitted)):
        count = whole_in(cells.get(column), 0, decimal_comma=source.decimal_comma, column=column, **place)
        row[name] = count or 0
    return row


def _part(cell: Any, **place: Any) -> Part:
    """Whose life a row is; that of the nozzle where nothing is said."""
    word = text_in(cell).lower() or Part.NOZZLE.value
    if word not in list(Part):
        allowed = ", ".join(part.value for part in Part)
        raise InputError("not a part that wears", found=cell, allowed=allowed, do="Name one of these.", **place)
    return Part(word)


def _ended(cells: dict[str, Any], source: _Source, place: dict[str, Any]) -> Ended:
    """How a life ended, from the column of that name, else from yes or no."""
    wanted = source.columns
    ended = ended_in(cells[wanted.ended], column=wanted.ended, **place) if source.ended else None
    failed = yes_no_in(cells[wanted.failed], column=wanted.failed, **place) if source.failed else ""
    if ended is None and not failed:
        column, allowed = (wanted.failed, "yes, no") if source.failed else (wanted.ended, ", ".join(ENDS))
        raise InputError("not said whether it failed", column=column, allowed=allowed, do="Fill it in.", **place)
    if ended is None:
        return Ended.NOT_SAID if failed == "yes" else Ended.TAKEN_OFF_GOOD
    if failed and ended.failed != (failed == "yes"):
        raise InputError(
            f"{wanted.failed} and {wanted.ended} contradict each other",
            column=wanted.ended,
            found=ended.value,
            do="Correct one of them.",
            **place,
        )
    return ended


def note_says_good(note: str) -> bool:
    """Whether a note of older records says that the piece was still good."""
    return STILL_GOOD in str(note).lower()


def _each_once(table: pd.DataFrame, source: _Source) -> None:
    named = table[table["specimen"] != ""]
    twice = named[named.duplicated(["part", "specimen"])]
    if len(twice):
        raise InputError(
            "a specimen has two lives",
            file=source.file,
            row=int(twice.index[0]),
            column=source.columns.specimen,
            found=twice["specimen"].iloc[0],
            do="Keep one row per specimen: its whole life.",
        )


def check_spelling(names: Sequence[str], rows: Sequence[int], file: str, column: str) -> None:
    """Ask which is meant where two names differ only in case or spaces.

    Raises
    ------
    InputError
        At the first row whose name was spelled otherwise above.
    """
    seen: dict[str, str] = {}
    for name, row in zip(names, rows, strict=True):
        first = seen.setdefault(squeezed(name), name)
        if first != name:
            raise InputError(
                f"differs from {first!r} above only in case or spaces: one type or two",
                file=file,
                row=row,
                column=column,
                found=name,
                do=f"Write {first!r} in every row if they are one type, or give the other a name of its own.",
            )


def squeezed(name: str) -> str:
    """A name without case and spaces: two that are equal so may be one thing spelled twice."""
    return "".join(name.casefold().split())
