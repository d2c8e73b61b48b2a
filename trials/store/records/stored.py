"""A table as it stands in the database, column by column, and the bytes of its rows that are hashed.

The bytes are those of the rows as JSON without spaces; they are put together from the text of each column, in which
every different cell is written once. A long table is asked first which of its columns hold one text, or nothing, from
end to end: these are not fetched row by row. What is proved stays every cell of every row.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, islice, repeat
from math import isfinite
from operator import itemgetter
from types import NoneType
from typing import Any, overload

from sqlalchemy import Connection, Table, Text, cast, func, null, select
from sqlalchemy import types as kinds
from sqlalchemy.exc import DBAPIError

LONG = ("readings",)
"""Tables that may be so long that it pays to ask first which columns hold the same all through."""
PIECE = 20_000
"""Rows that are hashed in one piece."""
Column = Sequence[Any]


@dataclass(frozen=True)
class Same(Sequence[Any]):
    """A column that holds one cell so many times."""

    cell: Any
    times: int

    def __len__(self) -> int:
        """Number of its rows."""
        return self.times

    def __iter__(self) -> Iterator[Any]:
        """Each of them."""
        return repeat(self.cell, self.times)

    @overload
    def __getitem__(self, at: int) -> Any: ...
    @overload
    def __getitem__(self, at: slice) -> Same: ...
    def __getitem__(self, at: int | slice) -> Any:
        """The cell, or as many of it."""
        places = range(self.times)[at]
        return Same(self.cell, len(places)) if isinstance(places, range) else self.cell


@dataclass(frozen=True)
class Stored:
    """One table as it stands in the database: JSON as its text, yes and no as 1 and 0, in the order of its counter.

    cells: by column, each whole.
    """

    cells: Mapping[str, Column]

    @classmethod
    def of_rows(cls, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> Stored:
        """From rows; raises ValueError where one has other cells than there are columns."""
        if set(map(len, rows)) - {len(columns)}:
            raise ValueError("a row has other cells than there are columns")
        return cls({name: list(map(itemgetter(at), rows)) for at, name in enumerate(columns)})

    @property
    def columns(self) -> tuple[str, ...]:
        """Their names, in order."""
        return tuple(self.cells)

    def __len__(self) -> int:
        """Number of rows."""
        return len(next(iter(self.cells.values())))

    def of(self, *names: str) -> Iterator[tuple[Any, ...]]:
        """The rows with these columns only, or with all."""
        return zip(*(self.cells[name] for name in names or self.cells), strict=True)

    def digest(self, columns: Iterable[str], start: int = 0, end: int | None = None) -> str:
        """SHA-256 of the canonical bytes of the rows from start to before end, with these columns.

        Raises
        ------
        KeyError
            If there is no such column.
        """
        whole = [self.cells[name] for name in columns]
        end = len(self) if end is None else end
        made, between = hashlib.sha256(b"["), b""
        for first in range(start, end, PIECE):
            made.update(between + _rows_text([column[first : min(end, first + PIECE)] for column in whole]))
            between = b","
        made.update(b"]")
        return made.hexdigest()


def canonical(value: Any) -> bytes:
    """One value as the bytes that are hashed; what a database should never return is written as Python shows it."""
    return _text(value).encode("utf-8", "surrogatepass")


def _odd(value: Any) -> str:
    return f"sha256:{hashlib.sha256(value).hexdigest()}" if isinstance(value, bytes) else repr(value)


_text = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), default=_odd).encode


def _rows_text(columns: Sequence[Column]) -> bytes:
    """Rows as JSON, with commas between them; what is the same all through is joined to what stands around it."""
    if not columns:
        raise ValueError("no columns")
    parts, before = list[Iterable[str]](), ",["
    for column in columns:
        if isinstance(column, Same):
            before += f"{_text(column.cell)},"
            continue
        parts += [repeat(before, len(column)), _texts(column)]
        before = ","
    parts.append(repeat(f"{before.removesuffix(',')}]", len(columns[0])))
    rows = "".join(chain.from_iterable(zip(*parts, strict=True)))
    return rows.removeprefix(",").encode("utf-8", "surrogatepass")


def _texts(column: Column) -> Iterable[str]:
    """The JSON of each cell; every different one is written once where equal cells are the same cell."""
    found = set(map(type, column))
    if found == {int}:
        return map(int.__repr__, column)
    different = set(column) if found <= {str, float, NoneType} else set()
    if found <= {str, NoneType}:
        return map({cell: _text(cell) for cell in different}.__getitem__, column)
    if found <= {float, NoneType} and all(cell is None or _tells_itself(cell) for cell in different):
        return map({cell: "null" if cell is None else repr(cell) for cell in different}.__getitem__, column)
    return map(_text, column)


def _tells_itself(number: float) -> bool:
    """Whether a number is finite and not zero, which may be below zero too."""
    return number != 0 and isfinite(number)


def read(connection: Connection, source: Table, counter: str, after: int | None = None) -> Stored:
    """A table of the database in the order of its counter; after: only rows beyond that number.

    Raises
    ------
    DBAPIError
        If the database cannot read it.
    """

    def rows(columns: Sequence[Any], most: int | None = None) -> list[tuple[Any, ...]]:
        wanted = select(*columns).order_by(source.c[counter], *source.primary_key.columns).limit(most)
        return _fetched(connection, source.name, wanted if after is None else wanted.where(source.c[counter] > after))

    first = rows([_plain(column) for column in source.c], 1) if source.name in LONG else []
    alike = _alike(connection, source, first[0], counter, after) if first else {}
    names = [column.name for column in source.c if column.name not in alike]
    found = Stored.of_rows(names, rows([_plain(source.c[name]) for name in names]))
    cells = {name: _once_each(column) for name, column in found.cells.items()}
    return Stored({c.name: Same(alike[c.name], len(found)) if c.name in alike else cells[c.name] for c in source.c})


def _plain(column: Any) -> Any:
    if isinstance(column.type, kinds.JSON):
        return cast(column, Text).label(column.name)
    if isinstance(column.type, kinds.Boolean):
        return cast(column, kinds.Integer).label(column.name)
    return column


def _alike(
    connection: Connection, source: Table, first: Sequence[Any], counter: str, after: int | None
) -> dict[str, Any]:
    """Columns that hold the same text, or nothing, in every row as in the first one; each with that cell.

    A cell is compared as it is stored: a number never counts as the text that it would be written as.
    """
    asked = {c.name: cell for c, cell in zip(source.c, first, strict=True) if cell is None or isinstance(cell, str)}
    other = [
        func.count().filter(func.coalesce(source.c[name], null()).is_distinct_from(cell))
        for name, cell in asked.items()
    ]
    wanted = select(*other)
    counted = _fetched(connection, source.name, wanted if after is None else wanted.where(source.c[counter] > after))
    return {name: cell for (name, cell), n in zip(asked.items(), counted[0], strict=True) if not n}


def _fetched(connection: Connection, name: str, wanted: Any) -> list[tuple[Any, ...]]:
    """Plain tuples of the driver."""
    cursor, driver = connection.execute(wanted).cursor, connection.dialect.dbapi
    assert cursor is not None
    assert driver is not None
    try:
        return list(cursor.fetchall())
    except driver.Error as error:
        raise DBAPIError(name, None, error) from error


def _once_each(column: Column) -> Column:
    """The column with one object for all cells that are the same text."""
    if not all(isinstance(cell, str) for cell in islice(column, 2)) or set(map(type, column)) != {str}:
        return column
    return list(map({cell: cell for cell in column}.__getitem__, column))
