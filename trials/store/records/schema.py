"""Tables of `trial.db`: portable types only, so that the same schema serves SQLite and PostgreSQL.

Nothing that was recorded is changed in place: a row that corrects another names it in `replaces`, and each row can be
replaced once. The plan is kept as JSON cells, because its columns depend on the factors of the trial.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Connection,
    Engine,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    create_engine,
    event,
)
from sqlalchemy.exc import DatabaseError
from sqlalchemy.pool import NullPool

from trials.errors import InputError

FILE = "trial.db"
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
)
about = Table(
    "about",
    metadata,
    Column("name", String, primary_key=True),
    Column("value", Text, nullable=False),
)


@lru_cache(maxsize=32)
def engine_for(url: str) -> Engine:
    """Engine of a database URL. On SQLite foreign keys are on and a writer takes the lock at the start, not halfway.

    No connection outlives its transaction (NullPool); what is kept between calls is the compiled SQL.
    """
    return _with_settings(create_engine(url, poolclass=NullPool))


@lru_cache(maxsize=32)
def engine_for_file(path: str) -> Engine:
    """Engine of a database file, whatever its name holds: no URL is made of it."""
    return _with_settings(create_engine("sqlite://", creator=lambda: sqlite3.connect(path), poolclass=NullPool))


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
def begun(path: Path, *, writes: bool) -> Iterator[Connection]:
    """One transaction on a database file, whatever its version: all of it is kept, or nothing.

    Raises
    ------
    InputError
        If the file is no trial database, or another program is writing to it.
    """
    engine = engine_for_file(str(path)).execution_options(writes=writes)
    try:
        with engine.begin() as connection:
            yield connection
    except DatabaseError as error:
        raise _database_problem(error, path) from error
    except (UnicodeEncodeError, OverflowError) as error:
        problem = "a text or number cannot be stored" if isinstance(error, OverflowError) else "a text is not Unicode"
        raise InputError(problem, file=str(path), do="Nothing was written; correct the input.") from None


def _database_problem(error: DatabaseError, path: Path) -> InputError:
    text = str(error.orig)
    if "locked" in text:
        return InputError("another program is writing to it", file=str(path), do="Wait a moment and run again.")
    if "readonly" in text or "unable to open" in text:
        return InputError(f"cannot be written ({text})", file=str(path), do="Check the rights of file and folder.")
    if "not a database" in text or "malformed" in text or "no such table" in text:
        return InputError("not a trial database, or damaged", file=str(path), do="Put back a copy of the file.")
    return InputError(f"the database refused: {text}", file=str(path), do="Nothing was written; correct the input.")
