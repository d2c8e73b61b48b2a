"""A trial made again from an export: the same question, rows and chain, so the same analysis."""

from __future__ import annotations

import base64
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Integer, func, insert, select, text
from sqlalchemy import types as kinds
from sqlalchemy.schema import CreateSchema

from trials.errors import InputError
from trials.store import guard
from trials.store.keeping.export import FORMAT, RECORDS, ReadOut
from trials.store.keeping.folders import Kept, new_folder
from trials.store.question import DATABASE, TOML
from trials.store.records import chain, schema
from trials.store.records.folder import Proved, load
from trials.store.records.migrations import SCHEMA_VERSION
from trials.store.records.place import VARIABLE, Place, Server, server, with_identity
from trials.store.records.roles import grant
from trials.store.records.stored import Stored
from trials.trial import parse

MOST_BYTES = 1_000_000_000
"""Of one export: 200,000 readings take about 30 MB."""


def restore(source: Path | str, folder: Path | str) -> Kept:
    """Make a trial again in a new folder from an export (its folder, or the `records.json` in it).

    The records go to the server that the environment variable `TRIALS_DATABASE` names, else to a `trial.db`.

    Raises
    ------
    InputError
        If it is no export of this tool, was changed since, or the folder or the records are there already.
    """
    file = Path(source) / RECORDS if Path(source).is_dir() else Path(source)
    found = _read_back(file)
    identity = found.about.get(chain.IDENTITY, "")
    question = found.question
    if not parse(question, str(file)).store.trial:
        question = with_identity(question, identity)
    address = os.environ.get(VARIABLE, "").strip()
    with new_folder(Path(folder)) as part:
        (part / TOML).write_bytes(question.encode())
        put_back(found, server(address, identity) if address else part / DATABASE, str(file))
        head = load(part).head
    return Kept(Path(folder), head)


def put_back(found: ReadOut, place: Place, name: str = "") -> None:
    """Write every table into a new database, all at once, and hold it against its chain.

    Raises
    ------
    InputError
        If the records are on the server already, or the rows are not those that were exported.
    """
    try:
        with schema.begun(place, writes=True) as connection:
            if isinstance(place, Server):
                _refuse_taken(connection, place)
                connection.execute(CreateSchema(place.schema))
            schema.metadata.create_all(connection)
            connection.execute(insert(schema.about), [{"name": n, "value": v} for n, v in found.about.items()])
            for table in schema.metadata.sorted_tables:
                _fill(connection, table.name, found.tables.get(table.name))
            Proved.of(connection, place)
            if isinstance(place, Server):
                grant(connection, place)
    except InputError as error:
        if not name or "damaged" not in error.problem:
            raise
        raise _no_export(name, "was changed since it was made", "Take another copy of the export.") from None


def _refuse_taken(connection: Connection, place: Server) -> None:
    if connection.dialect.has_schema(connection, place.schema):
        raise InputError("the records are on the server already", file=str(place), do="Use the folder that has them.")


def _fill(connection: Connection, name: str, found: Stored | None) -> None:
    if found is None or not len(found):
        return
    target = schema.metadata.tables[name]
    read = {column: _reader(target.c[column].type) for column in found.columns}
    rows = [{column: read[column](cell) for column, cell in zip(found.columns, row, strict=True)} for row in found.of()]
    connection.execute(insert(target), rows)
    counter = list(target.primary_key.columns)[0]
    if connection.dialect.name == "postgresql" and isinstance(counter.type, Integer) and not counter.foreign_keys:
        last = connection.execute(select(func.max(counter))).scalar_one()
        moved = text("SELECT setval(pg_get_serial_sequence(:name, :counter), :last)")
        connection.execute(moved, {"name": name, "counter": counter.name, "last": last})


def _reader(kind: object) -> Callable[[Any], Any]:
    """From a cell as it stands in an export to what its column takes."""
    if isinstance(kind, kinds.JSON):
        return json.loads
    return bool if isinstance(kind, kinds.Boolean) else _as_it_is


def _as_it_is(cell: Any) -> Any:
    return cell


def _read_back(file: Path) -> ReadOut:
    data = guard.read_whole(file, str(file), MOST_BYTES)
    try:
        document = json.loads(data)
        if document["format"] != FORMAT:
            raise _no_export(str(file), "is no export of a trial", f"Name the folder with {RECORDS}.")
        if document["schema"] != SCHEMA_VERSION:
            do = "Restore it with the version that made it, and export it again."
            raise _no_export(str(file), "was made by another version of this tool", do)
        tables = {
            str(name): Stored.of_rows(
                tuple(map(str, table["columns"])), [tuple(_unpacked(cell) for cell in row) for row in table["rows"]]
            )
            for name, table in document["tables"].items()
        }
        known = {str(name): str(value) for name, value in document["about"].items()}
        _check_columns(tables)
        return ReadOut(str(document["question"]), known, tables, "")
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise _no_export(str(file), "is no export of a trial", f"Name the folder with {RECORDS}.") from None


def _check_columns(tables: dict[str, Stored]) -> None:
    """Raise KeyError where a table or a column is none of a trial."""
    for name, table in tables.items():
        known = schema.metadata.tables[name].c
        for column in table.columns:
            known[column]


def _unpacked(cell: Any) -> Any:
    if isinstance(cell, dict):
        return base64.b64decode(cell["base64"])
    if isinstance(cell, list):
        raise TypeError("a list is no cell")
    return cell


def _no_export(file: str, problem: str, do: str) -> InputError:
    return InputError(problem, file=file, do=do)
