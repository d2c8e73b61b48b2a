"""The version of a trial's database: old ones are brought up to date, newer ones refused.

A file of an older version is changed by the first transaction that writes to it; until then it is read through a copy
in memory, so that looking at a trial writes nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from sqlalchemy import Column, Connection, Table, create_engine, insert, inspect, select, update
from sqlalchemy.pool import StaticPool
from sqlalchemy.schema import CreateColumn

from trials.errors import InputError
from trials.record_kinds import JournalKind
from trials.store.records import chain, schema
from trials.store.records.old_prose import fill_looks, fill_payloads
from trials.store.records.place import Place, Server
from trials.store.records.roles import grant

SCHEMA_VERSION = 5
CHAINED = 3
"""The first version whose journal is a chain."""
_VERSION = "schema_version"
IDENTITY_DIGITS = 12


def create_tables(connection: Connection, identity: str) -> None:
    """All tables of a new database, with its version and the start of its chain."""
    schema.metadata.create_all(connection)
    connection.execute(insert(schema.about), {"name": _VERSION, "value": str(SCHEMA_VERSION)})
    chain.begin(connection, identity)


@contextmanager
def transaction(place: Place, *, writes: bool) -> Iterator[Connection]:
    """One transaction on a trial's database in this version's schema: all of it is kept, or nothing.

    What was written is chained at its end (see `chain`), and one writer at a time is let in.

    Raises
    ------
    InputError
        If it is no trial database, was made by a newer version, or another program is writing to it.
    """
    with schema.begun(place, writes=writes) as connection:
        found = _version(connection, place)
        if not writes and found != SCHEMA_VERSION:
            _refuse_copy(place)
            with _copy_in_memory(connection) as copy:
                _migrate(copy, found, place)
                yield copy
            return
        if writes and found == SCHEMA_VERSION:
            chain.lock(connection)
        elif writes:
            _migrate(connection, found, place)
        yield connection
        if writes and connection.in_transaction():
            chain.seal(connection)


def _refuse_copy(place: Place) -> None:
    """Records on a server are brought up to date where they are, by the first entry."""
    if isinstance(place, Server):
        raise InputError(
            "the records on the server are of an earlier version",
            file=str(place),
            do="Make one entry (`trials record`, `cut` or `correct`), which brings them up to date.",
        )


def _version(connection: Connection, place: Place) -> int:
    tables = inspect(connection)
    if not tables.has_table(schema.about.name):
        if tables.has_table(schema.versions.name):
            return 1
        raise InputError("not a trial database, or damaged", file=str(place), do="Put back a backup of the file.")
    known = chain.about(connection)
    if not known.get(_VERSION, "").isdecimal():
        raise chain.damaged("version", str(place))
    found = int(known[_VERSION])
    if found > SCHEMA_VERSION:
        raise InputError(
            "was written by a newer version of this tool",
            file=str(place),
            found=f"schema {found}",
            allowed=f"up to schema {SCHEMA_VERSION}",
            do="Install the newer version.",
        )
    return found


def _migrate(connection: Connection, found: int, place: Place) -> None:
    newer = CHAINED if found < CHAINED else found + 1
    if found not in _STEPS or _has_mark(connection, newer) or (found >= CHAINED and not _has_mark(connection, CHAINED)):
        raise chain.damaged("version", str(place))  # the version alone was changed
    if found >= CHAINED:
        chain.lock(connection)
    for number in range(found, SCHEMA_VERSION):
        _STEPS[number](connection)
    connection.execute(update(schema.about).where(schema.about.c.name == _VERSION).values(value=str(SCHEMA_VERSION)))
    if isinstance(place, Server):  # rights are given column by column
        grant(connection, place)


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


def _second_to_third(connection: Connection) -> None:
    """The journal becomes a chain: every entry so far is bound to the one before, the newest to all rows so far.

    The identity is made from the question as it was first frozen, so that a copy for reading has the same.
    """
    _third_to_fourth(connection)  # rows are bound with the columns that this version reads
    _fourth_to_fifth(connection)
    _add_columns(connection, schema.journal, ("covers", "previous", "digest"))
    for index in schema.journal.indexes:
        index.create(connection)
    _add_columns(connection, schema.looks, ("journal_id",))
    _place_looks(connection)
    first = connection.execute(select(schema.versions.c.at, schema.versions.c.toml).order_by(schema.versions.c.id))
    chain.begin(connection, chain.digest([list(row) for row in first][:1])[:IDENTITY_DIGITS])
    chain.seal(connection)


def _place_looks(connection: Connection) -> None:
    """Each look names the journal entry it came with; one whose entry is not known, the newest."""
    wanted = select(schema.journal.c.id, schema.journal.c.kind, schema.journal.c.payload).order_by(schema.journal.c.id)
    entries = connection.execute(wanted).all()
    made = {json.loads(e.payload).get("look"): e.id for e in entries if e.kind == JournalKind.VERDICT.value}
    for look in connection.execute(select(schema.looks.c.look)).scalars().all():
        values = {"journal_id": made.get(look, entries[-1].id)}
        connection.execute(update(schema.looks).where(schema.looks.c.look == look).values(values))


def _third_to_fourth(connection: Connection) -> None:
    """A reading may be a bound of the instrument, or none that could be taken."""
    _add_columns(connection, schema.readings, ("beyond",))


def _fourth_to_fifth(connection: Connection) -> None:
    """A reading has its place in the order of measuring; coupons that are measured again have a second mark."""
    _add_columns(connection, schema.readings, ("measured_order",))
    schema.repeat_marks.create(connection, checkfirst=True)


_STEPS: dict[int, Callable[[Connection], None]] = {
    1: _first_to_second,
    2: _second_to_third,
    3: _third_to_fourth,
    4: _fourth_to_fifth,
}
_MARKS = {
    CHAINED: (schema.journal, "digest"),
    4: (schema.readings, "beyond"),
    5: (schema.readings, "measured_order"),
}
"""A column that a database has from this version on."""


def _has_mark(connection: Connection, version: int) -> bool:
    table, name = _MARKS[version]
    return any(column["name"] == name for column in inspect(connection).get_columns(table.name))


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
