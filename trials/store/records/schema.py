"""Tables of a trial's records: portable types only, so that the same schema serves SQLite and PostgreSQL.

Nothing that was recorded is changed in place: a row that corrects another names it in `replaces`, and each row can be
replaced once. The plan is kept as JSON cells, because its columns depend on the factors of the trial.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Connection,
    Engine,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    create_engine,
    event,
)
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

from trials.errors import InputError
from trials.store.records.place import Place, Server, without_password

PATIENCE = 30.0
"""Seconds that a writer waits for the one before it."""
metadata = MetaData()


def _plan(name: str, mark: str) -> Table:
    return Table(
        name,
        metadata,
        Column(mark, String, primary_key=True),
        Column("position", Integer, nullable=False),
        Column("cells", JSON, nullable=False),
    )


def _recorded(name: str, *columns: Column[Any]) -> Table:
    return Table(
        name,
        metadata,
        Column("id", Integer, primary_key=True),
        *columns,
        Column("who", Text, nullable=False, default=""),
        Column("why", Text, nullable=False, default=""),
        Column("entered_at", String, nullable=False),
        Column("replaces", Integer, ForeignKey(f"{name}.id"), unique=True),
    )


def _text(name: str) -> Column[str]:
    return Column(name, Text, nullable=False, default="")


planned_coupons = _plan("planned_coupons", "coupon")
planned_mounts = _plan("planned_mounts", "mount")
planned_sheets = _plan("planned_sheets", "sheet")

versions = Table(
    "versions",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("at", String, nullable=False),
    _text("who"),
    _text("why"),
    Column("freeze_hash", String(64), nullable=False),
    Column("toml", Text, nullable=False),
)
mounts = _recorded(
    "mounts",
    Column("mount", String, nullable=False),
    Column("nozzle", Text, nullable=False),
    _text("specimen"),
    Column("order", Integer),
    _text("sheet"),
    _text("fitted_at"),
    _text("centring_checked"),
    _text("height_calibrated"),
    Column("pierces_before", Integer),
    _text("window_changed"),
)
sheets = _recorded(
    "sheets",
    Column("sheet", String, nullable=False),
    _text("heat_lot"),
    _text("surface"),
    _text("gas_purity"),
)
cuts = _recorded(
    "cuts",
    Column("coupon", String, ForeignKey("planned_coupons.coupon"), nullable=False),
    Column("cut_order", Integer),
    _text("cut_at"),
    _text("mount"),
    _text("sheet"),
    Column("outcome", String, nullable=False),
    _text("changed_setting"),
    _text("note"),
)
readings = _recorded(
    "readings",
    Column("coupon", String, ForeignKey("planned_coupons.coupon"), nullable=False),
    Column("reading", Integer, nullable=False),
    Column("repeat", Integer, nullable=False, default=0),
    _text("side"),
    Column("field", String, nullable=False),
    Column("value", Float),
    _text("inspector"),
    _text("instrument"),
    Column("cutoff_mm", Float),
    Column("depth_mm", Float),
    _text("measured_on"),
    _text("note"),
    Column("ended", Text, nullable=False, default="", server_default=""),
    Column("beyond", Text, nullable=False, default="", server_default=""),
    Column("measured_order", Integer),
)
repeat_marks = Table(
    "repeat_marks",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("mark", String, nullable=False, unique=True),
    Column("coupon", String, ForeignKey("planned_coupons.coupon"), nullable=False),
)
instruments = _recorded(
    "instruments",
    Column("instrument", String, nullable=False),
    _text("calibrated_on"),
    _text("due_on"),
    Column("uncertainty", JSON, nullable=False),
    _text("note"),
)
journal = Table(
    "journal",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("at", String, nullable=False),
    _text("who"),
    Column("kind", String, nullable=False),
    Column("what", Text, nullable=False),
    _text("why"),
    Column("payload", Text, nullable=False, server_default="{}"),
    Column("covers", Text, nullable=False, server_default="{}"),
    Column("previous", String(64)),
    Column("digest", String(64)),
    Index("journal_previous", "previous", unique=True),
)
confirmed_slips = Table(
    "confirmed_slips",
    metadata,
    Column("reading_id", Integer, ForeignKey("readings.id"), primary_key=True),
    Column("journal_id", Integer, ForeignKey("journal.id"), nullable=False),
)
looks = Table(
    "looks",
    metadata,
    Column("look", Integer, primary_key=True),
    Column("at", String, nullable=False),
    Column("declared", Boolean, nullable=False),
    Column("summary_json", Text, nullable=False),
    Column("fingerprint", String(64), nullable=False, server_default=""),
    Column("fingerprint_version", Integer, nullable=False, server_default="1"),
    Column("rule_version", String, nullable=False, server_default=""),
    Column("words_json", Text, nullable=False, server_default="[]"),
    Column("costs_json", Text, nullable=False, server_default="{}"),
    Column("lives_json", Text, nullable=False, server_default="null"),
    Column("paper", LargeBinary),
    Column("journal_id", Integer, ForeignKey("journal.id")),
)
about = Table(
    "about",
    metadata,
    Column("name", String, primary_key=True),
    Column("value", Text, nullable=False),
)


@lru_cache(maxsize=32)
def engine_for_file(path: str) -> Engine:
    """Engine of a database file, whatever its name holds: no URL is made of it.

    Foreign keys are on and a writer takes the lock at the start, not halfway. No connection outlives its transaction
    (NullPool); what is kept between calls is the compiled SQL.
    """

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(path, timeout=PATIENCE)

    return _with_settings(create_engine("sqlite://", creator=connect, poolclass=NullPool))


@lru_cache(maxsize=32)
def engine_for_server(place: Server) -> Engine:
    """Engine of a schema on a server; statements and errors never show values.

    Raises
    ------
    InputError
        If the driver is not installed.
    """
    options = f"-csearch_path={place.schema} -clock_timeout={int(PATIENCE * 1000)}"
    arguments = {"options": options, "connect_timeout": 10, "application_name": "trials"}
    try:
        return create_engine(place.url, poolclass=NullPool, connect_args=arguments, hide_parameters=True)
    except ModuleNotFoundError:
        raise InputError(
            "records on a server need a driver that is not installed",
            file=str(place),
            do="Install it with `pip install 'nozzle-trials[lab]'`.",
        ) from None


def _with_settings(engine: Engine) -> Engine:
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _sqlite_settings)
        event.listen(engine, "begin", _sqlite_begin)
    return engine


def _sqlite_settings(connection: Any, _record: object) -> None:
    connection.isolation_level = None  # the driver's own BEGIN comes too late; ours is in _sqlite_begin
    connection.execute("PRAGMA foreign_keys = ON")


def _sqlite_begin(connection: Connection) -> None:
    kind = "IMMEDIATE" if connection.get_execution_options().get("writes") else "DEFERRED"
    connection.exec_driver_sql(f"BEGIN {kind}")


@contextmanager
def begun(place: Place, *, writes: bool) -> Iterator[Connection]:
    """One transaction on a database, whatever its version: all of it is kept, or nothing.

    On a server a reader sees one moment of all tables; a writer sees what is there once it holds the lock.

    Raises
    ------
    InputError
        If it is no trial database, cannot be reached, or another program is writing to it.
    """
    if isinstance(place, Server):
        level = "READ COMMITTED" if writes else "REPEATABLE READ"
        engine = engine_for_server(place).execution_options(isolation_level=level)
    else:
        engine = engine_for_file(str(place)).execution_options(writes=writes)
    try:
        with engine.begin() as connection:
            yield connection
    except DBAPIError as error:
        raise _database_problem(error, place) from None
    except (UnicodeEncodeError, OverflowError) as error:
        problem = "a text or number cannot be stored" if isinstance(error, OverflowError) else "a text is not Unicode"
        raise InputError(problem, file=str(place), do="Nothing was written; correct the input.") from None


def _database_problem(error: DBAPIError, place: Place) -> InputError:
    text = " ".join(str(error.orig).split())
    if isinstance(place, Server):
        text = without_password(text, place.url)
    for signs, problem, do in _PROBLEMS:
        if any(sign in text for sign in signs):
            return InputError(problem.format(text=text), file=str(place), do=do)
    return InputError(f"the database refused: {text}", file=str(place), do="Nothing was written; correct the input.")


_PROBLEMS = (
    (
        ("permission denied", "row-level security"),
        "your role on the server may not do this ({text})",
        "Ask whoever keeps the server; the roles are in the README.",
    ),
    (("locked", "lock timeout"), "another program is writing to it", "Wait a moment and run again."),
    (
        ("connection failed", "server closed", "timeout expired", "connection is lost"),
        "cannot be reached ({text})",
        "Check address, name and network.",
    ),
    (
        ("readonly", "unable to open", "disk I/O", "full"),
        "cannot be written ({text})",
        "Check the rights of file and folder, and the room on the disk.",
    ),
    (
        ("not a database", "malformed", "no such table", "no such column", "decode", "does not exist"),
        "not a trial database, or damaged ({text})",
        "`trials check FOLDER` says more; put back a backup.",
    ),
)
"""What a database says, and what it means: signs in its message, the problem, the remedy."""
