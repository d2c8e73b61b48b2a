"""Tables column by column: the bytes that are hashed are those of the rows, and what is alike is never guessed."""

import hashlib
import json
import math
import sqlite3
from contextlib import closing

import pytest

from trials.errors import InputError
from trials.store import records
from trials.store.records import chain, stored
from trials.store.records.migrations import transaction
from trials.store.records.stored import Same, Stored, canonical

ODD = [
    [1, 2, 3, -4, 10**20],
    [0.0, -0.0, 1e16, 1e-5, 35.400000000000006],
    [math.inf, -math.inf, math.nan, 1.5, None],
    [1, True, 1.0, None, "1"],
    ["%s", '"', "\\", "\x00\n\u2028\x7f", "\ud800"],
    ["a", "a", None, "", "a"],
    [b"", b"\x00", None, "sha256:", b"\xff"],
]


@pytest.mark.parametrize("piece", [1, 2, 20_000])
def test_the_bytes_of_columns_are_those_of_the_rows(monkeypatch, piece):
    monkeypatch.setattr(stored, "PIECE", piece)
    cells = {str(place): column for place, column in enumerate(ODD)} | {"alike": Same('5 % "of"', 5)}
    rows = list(zip(*cells.values(), strict=True))
    packed = [[f"sha256:{hashlib.sha256(c).hexdigest()}" if isinstance(c, bytes) else c for c in row] for row in rows]
    text = json.dumps(packed, ensure_ascii=False, separators=(",", ":"))
    wanted = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
    table = Stored(cells)
    assert table.digest(table.columns) == wanted == chain.digest(rows)
    assert table.digest(["0", "5"], 1, 3) == hashlib.sha256(canonical([[2, "a"], [3, None]])).hexdigest()
    assert Stored({"a": []}).digest("a") == hashlib.sha256(b"[]").hexdigest()


def test_rows_of_another_width_are_no_table():
    assert Stored.of_rows(["a", "b"], [(1, 2), (3, 4)]).cells == {"a": [1, 3], "b": [2, 4]}
    with pytest.raises(ValueError, match="other cells"):
        Stored.of_rows(["a", "b"], [(1, 2), (3,)])


def test_what_is_alike_in_every_row_is_not_fetched_for_each(measured):
    with transaction(measured / "trial.db", writes=False) as connection:
        table = chain.stored(connection, "readings")
        rows = connection.exec_driver_sql("SELECT * FROM readings ORDER BY id").fetchall()
    alike = {name for name, cells in table.cells.items() if isinstance(cells, Same)}
    assert {"side", "cutoff_mm"} <= alike and not alike & {"id", "coupon", "value", "replaces", "repeat"}
    assert list(table.of()) == [tuple(row) for row in rows]


@pytest.mark.parametrize("cell", ["x''", "NULL", "' '"])
def test_one_cell_among_alike_ones_that_is_another_is_found(measured, cell):
    """Bytes that look like the text are not the text."""
    with closing(sqlite3.connect(measured / "trial.db")) as connection, connection:
        connection.execute("PRAGMA ignore_check_constraints = ON")
        try:
            connection.execute(f"UPDATE readings SET side = {cell} WHERE id = 3")
        except sqlite3.IntegrityError:
            connection.execute("UPDATE readings SET side = x'' WHERE id = 4")
    with pytest.raises(InputError, match="damaged, or changed by another program"):
        records.load(measured)
