"""The version of a trial's database: old ones are brought up to date, newer ones refused.

A file of an older version is changed by the first transaction that writes to it; until then it is read through a copy
in memory, so that looking at a trial writes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Column, Connection, Table, create_engine, insert, inspect, select, update
from sqlalchemy.pool import StaticPool
from sqlalchemy.schema import CreateColumn

from trials.errors import InputError
from trials.store.records import schema
from trials.store.records.old_prose import fill_looks, fill_payloads

SCHEMA_VERSION = 2
_VERSION = "schema_version"


def create_tables(connection: Connection) -> None:
    """All tables of a new database, with its version."""
    schema.metadata.create_all(connection)
    connection.execute(insert(schema.about), {"name": _VERSION, "value": str(SCHEMA_VERSION)})


@contextmanager
def transaction(path: Path, *, writes: bool) -> Iterator[Connection]:
    """One transaction on a trial's database in this version's schema: all of it is kept, or nothing.

    Raises
    ------
    InputError
        If the file is no trial database, was made by a newer version, or another program is writing to it.
    """
    with schema.begun(path, writes=writes) as connection:
        found = _version(connection, path)
        if found == SCHEMA_VERSION:
            yield connection
            return
        if writes:
            _migrate(connection, found)
            yield connection
            return
        with _copy_in_memory(connection) as copy:
            _migrate(copy, found)
            yield copy


def _version(connection: Connection, path: Path) -> int:
    tables = inspect(connection)
    if not tables.has_table(schema.about.name):
        if tables.has_table(schema.versions.name):
            return 1
        raise InputError("not a trial database, or damaged", file=str(path), do="Put back a copy of the file.")
    found = int(connection.execute(select(schema.about.c.value).where(schema.about.c.name == _VERSION)).scalar_one())
    if found > SCHEMA_VERSION:
        raise InputError(
            "was written by a newer version of this tool",
            file=str(path),
            found=f"schema {found}",
            allowed=f"up to schema {SCHEMA_VERSION}",
            do="Install the newer version.",
        )
    return found


def _migrate(connection: Connection, found: int) -> None:
    for number in range(found, SCHEMA_VERSION):
        _STEPS[number](connection)
    connection.execute(update(schema.about).where(schema.about.c.name == _VERSION).values(value=str(SCHEMA_VERSION)))


def _first_to_second(connection: Connection) -> None:
    """Journal entries get a payload, looks what they rest on; the version itself is kept from here on."""
    schema.about.create(connection)
    connection.execute(insert(schema.about), {"name": _VERSION, "value": "2"})
    schema.instruments.create(connection, checkfirst=True)
    _add_columns(connection, schema.journal, ("payload",))
    _add_columns(connection, schema.readings, ("ended",))
    names = ("fingerprint", "fingerprint_version", "rule_version", "words_json", "costs_json", "lives_json", "paper")
    _add_columns(connection, schema.looks, names)
    fill_payloads(connection)
    fill_looks(connection)


_STEPS: dict[int, Callable[[Connection], None]] = {1: _first_to_second}


def _add_columns(connection: Connection, target: Table, names: tuple[str, ...]) -> None:
    prepare = connection.dialect.identifier_preparer
    there = {column["name"] for column in inspect(connection).get_columns(target.name)}
    for name in (name for name in names if name not in there):
        column: Column[object] = target.c[name]
        definition = CreateColumn(column).compile(dialect=connection.dialect)
        connection.exec_driver_sql(f"ALTER TABLE {prepare.format_table(target)} ADD COLUMN {definition}")


@contextmanager
def _copy_in_memory(connection: Connection) -> Iterator[Connection]:
    engine = create_engine("sqlite://", poolclass=StaticPool)
    try:
        with engine.connect() as copy:
            source, target = connection.connection.dbapi_connection, copy.connection.dbapi_connection
            assert source is not None and target is not None
            source.backup(target)
            yield copy
            copy.rollback()
    finally:
        engine.dispose()
