"""A trial's folder: found, opened, loaded, guarded against a silent change of its question."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, Table, inspect, select

from trials.errors import InputError, no_trial_folder
from trials.frozen import changes
from trials.store.placing import replace_bytes, write_new
from trials.store.question import DATABASE, TOML, read_question
from trials.store.records import chain, schema
from trials.store.records.migrations import transaction
from trials.store.records.place import Place, Server, database_path, place_of, with_identity
from trials.store.records.reading_columns import READING_COLUMNS
from trials.store.records.records import (
    COUPON_COLUMNS,
    CUT_COLUMNS,
    JOURNAL_COLUMNS,
    LOOK_COLUMNS,
    MOUNT_COLUMNS,
    MOUNT_PLAN_COLUMNS,
    SHEET_COLUMNS,
    Records,
    current,
    rows_of,
    table,
    typed,
)
from trials.store.records.stored import Stored
from trials.trial import Trial, parse

ENTERED = ("id", "who", "why", "entered_at", "replaces")


def stamp(at: datetime | None) -> str:
    """The moment of an entry as ISO 8601 text in UTC; now if none is given. A time without zone counts as UTC."""
    moment = at or datetime.now(UTC)
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone(UTC).isoformat(timespec="seconds")


def records_place(folder: Path | str, trial: Trial) -> Place | None:
    """Where the records of a trial are; None before a plan is frozen.

    Raises
    ------
    InputError
        If the server of a lab cannot be reached.
    """
    place = place_of(Path(folder), trial)
    if not isinstance(place, Server):
        return place if place.is_file() else None
    if not place.schema:
        return None
    with schema.begun(place, writes=False) as connection:
        there = inspect(connection).has_table(schema.about.name)
    return place if there else None


def read_trial(folder: Path | str) -> tuple[Trial, str]:
    """The trial file of a folder, checked, and its text.

    A trial whose file was never written, because an adoption was cut short, or was lost, gets it back from the
    database, which holds it word for word.

    Raises
    ------
    InputError
        If the folder is no trial folder, or the file cannot be read or used.
    """
    path = Path(folder) / TOML
    if not path.exists() and database_path(Path(folder)).is_file():
        restore_question(Path(folder))
    if not path.is_file():
        raise no_trial_folder(folder)
    return read_question(path)


def restore_question(folder: Path) -> None:
    """Write `trial.toml` as the database of the folder holds it, unless one is there.

    Raises
    ------
    InputError
        If the database cannot be read, or the folder not be written to.
    """
    with transaction(database_path(folder), writes=False) as connection:
        Proved.of(connection, database_path(folder))
        text = str(last_version(connection)["toml"])
    write_question(folder, text)


def write_question(folder: Path, text: str) -> None:
    """Write `trial.toml`, which must not be there with another text; raises InputError where it cannot be written."""
    path = folder / TOML
    try:
        write_new(path, text.encode())
    except FileExistsError:
        if path.read_bytes() != text.encode():
            raise InputError("holds a trial already", file=str(folder), do="Name a new folder.") from None
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", file=str(path), do="Check the rights.") from None


def load(folder: Path | str) -> Records:
    """Everything known about the trial in a folder.

    Raises
    ------
    InputError
        If the folder is no trial folder, the database is damaged, or `trial.toml` was changed after freezing
        without an amendment.
    """
    folder = Path(folder)
    trial, _ = read_trial(folder)
    place = records_place(folder, trial)
    if place is None:
        return _unfrozen(folder, trial)
    with transaction(place, writes=False) as connection:
        proved = Proved.of(connection, place)
        check_belongs(folder, trial, proved)
        version = last_version(connection)
        check_unchanged(folder, trial, version)
        return read_records(connection, folder, trial, version, proved)


@dataclass(frozen=True)
class Proved:
    """The tables of a database whose chain holds, its identity, and the newest hash."""

    tables: Mapping[str, Stored]
    journal: Stored
    identity: str
    head: str

    @classmethod
    def of(cls, connection: Connection, place: Place) -> Proved:
        """Read every table once and hold it against the chain.

        Raises
        ------
        InputError
            If a row or an entry is not as it was written.
        """
        known, journal = chain.about(connection), chain.stored(connection, schema.journal.name)
        tables = {name: chain.stored(connection, name) for name in chain.COUNTERS}
        found = chain.breaks(known, journal, tables)
        if found:
            raise chain.damaged("; ".join(each.words() for each in found[:3]), str(place))
        return cls(tables, journal, known[chain.IDENTITY], chain.head_of(known).digest)


def check_belongs(folder: Path, trial: Trial, proved: Proved) -> None:
    """Raise InputError where the question names other records than those that lie beside it."""
    if trial.store.trial and trial.store.trial != proved.identity:
        raise InputError(
            "the records beside it belong to another trial",
            file=str(folder / TOML),
            column="store.trial",
            found=trial.store.trial,
            allowed=proved.identity,
            do=f"Put back the {DATABASE} that belongs to this question, or the question of these records.",
        )


def name_records(folder: Path, identity: str) -> None:
    """Write the identity of its records into `trial.toml`; the rest of the file stays as it is.

    Raises
    ------
    InputError
        If the file cannot be written, or keeps `[store]` in a form in which nothing can be put.
    """
    path = (folder / TOML).resolve()
    try:
        before = path.read_bytes()
        after = with_identity(before.decode("utf-8"), identity)
        if parse(after.removeprefix("\ufeff"), str(path)).store.trial != identity:
            do = f'Add a table [store] with the line trial = "{identity}".'
            raise InputError("the identity of the records has no place in it", file=str(path), do=do)
        replace_bytes(path, after.encode("utf-8"))
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", file=str(path), do="Check the rights.") from None


def last_version(connection: Connection) -> dict[str, Any]:
    """The question as last frozen or amended: at, who, why, freeze_hash, toml; `frozen_at` is the first one's time."""
    rows = _rows(connection, schema.versions)
    if not rows:
        raise InputError("holds no frozen plan", file=DATABASE, do="Put back a copy of the file, or plan again.")
    return {**rows[-1], "frozen_at": rows[0]["at"]}


def check_unchanged(folder: Path, trial: Trial, version: dict[str, Any]) -> None:
    """Raise InputError, naming the keys, where the frozen part of `trial.toml` is not the one on record.

    Both are compared as this version parses them: a key that joined since and is at its default changes nothing.
    """
    changed = changes(parse(version["toml"], "frozen trial.toml"), trial)
    if changed:
        raise InputError(
            f"changed after freezing ({'; '.join(f'{key}: {old} -> {new}' for key, old, new in changed)})",
            file=str(folder / TOML),
            do="Put the old values back, or state who and why with `trials amend`.",
        )


def require_frozen(folder: Path | str) -> Place:
    """Where the records of a frozen trial are.

    Raises
    ------
    InputError
        If the folder is no trial folder or nothing was frozen yet.
    """
    place = records_place(folder, read_trial(folder)[0])
    if place is None:
        raise InputError("no plan is frozen yet", file=str(folder), do="Choose and freeze coupons with `trials plan`.")
    return place


def read_records(
    connection: Connection, folder: Path, trial: Trial, version: dict[str, Any], proved: Proved | None = None
) -> Records:
    """All tables of an open database; proved: as they were read to be proved, None while they are being added to."""
    stored = _Source(connection, proved)
    mounts, all_mounts = (
        _planned(stored, "planned_mounts", MOUNT_PLAN_COLUMNS),
        _all(stored, "mounts", MOUNT_COLUMNS),
    )
    sheets, all_sheets = (
        _planned(stored, "planned_sheets", SHEET_COLUMNS),
        _all(stored, "sheets", SHEET_COLUMNS),
    )
    cuts, readings = _all(stored, "cuts", CUT_COLUMNS), _all(stored, "readings", READING_COLUMNS)
    now = current(readings)
    factors = [trial.factor_column(name) for name in trial.factors]
    return Records(
        folder=folder,
        trial=trial,
        frozen=True,
        coupons=_planned(stored, "planned_coupons", (*COUPON_COLUMNS[:-1], *factors, "block")),
        mounts=_overlaid(mounts, current(all_mounts), MOUNT_COLUMNS, "mount"),
        sheets=_overlaid(sheets, current(all_sheets), SHEET_COLUMNS, "sheet"),
        cuts=current(cuts),
        readings=now[now["value"].notna()].reset_index(drop=True),
        journal=_typed_table(stored.table("journal"), JOURNAL_COLUMNS),
        looks=_looks(stored.table("looks")),
        planned_mounts=mounts,
        planned_sheets=sheets,
        all_cuts=cuts,
        all_readings=readings,
        confirmed=frozenset(int(number) for (number,) in stored.table("confirmed_slips").of("reading_id")),
        repeat_marks={str(m): str(c) for m, c in stored.table("repeat_marks").of("mark", "coupon")},
        frozen_at=version["frozen_at"],
        freeze_hash=version["freeze_hash"],
        identity=proved.identity if proved else "",
        head=proved.head if proved else "",
    )


@dataclass(frozen=True)
class _Source:
    """The tables of a database: those that were read to be proved, or read now."""

    connection: Connection
    proved: Proved | None

    def table(self, name: str) -> Stored:
        """One table, in the order in which its rows were written."""
        if self.proved is None:
            return chain.stored(self.connection, name)
        return self.proved.journal if name == schema.journal.name else self.proved.tables[name]


def _rows(connection: Connection, source: Table) -> list[dict[str, Any]]:
    order = list(source.primary_key.columns)[0]
    return [dict(row._mapping) for row in connection.execute(select(source).order_by(order))]


def _planned(stored: _Source, name: str, columns: tuple[str, ...]) -> pd.DataFrame:
    return table(json.loads(f"[{','.join(stored.table(name).cells['cells'])}]"), columns)


def _typed_table(found: Stored, names: Sequence[str]) -> pd.DataFrame:
    return typed({name: found.cells[name] for name in names}) if len(found) else table([], names)


def _looks(found: Stored) -> pd.DataFrame:
    looks = _typed_table(found, LOOK_COLUMNS)
    return looks.assign(declared=looks["declared"].astype(bool)).sort_values("look", ignore_index=True)


def _all(stored: _Source, name: str, columns: tuple[str, ...]) -> pd.DataFrame:
    return _typed_table(stored.table(name), ("id", *columns, *ENTERED[1:]))


def _overlaid(planned: pd.DataFrame, recorded: pd.DataFrame, columns: tuple[str, ...], key: str) -> pd.DataFrame:
    """Planned rows, each replaced by what was recorded, then rows that were added at the machine."""
    known = {row[key]: row for row in rows_of(recorded)}
    first = rows_of(planned)
    rows, plan = [known.pop(row[key], row) for row in first], {row[key]: row for row in first}
    extra = [column for column in planned.columns if column not in columns]
    kept = [{**{c: plan.get(row[key], {}).get(c) for c in extra}, **row} for row in [*rows, *known.values()]]
    return table([{name: row.get(name) for name in (*columns, *extra)} for row in kept], (*columns, *extra))


def _unfrozen(folder: Path, trial: Trial) -> Records:
    factors = [trial.factor_column(name) for name in trial.factors]
    entered = {"id": (), **dict.fromkeys(ENTERED[1:], ())}
    cuts, readings = (
        table([], ["id", *CUT_COLUMNS, *list(entered)[1:]]),
        table([], ["id", *READING_COLUMNS, *list(entered)[1:]]),
    )
    return Records(
        folder=folder,
        trial=trial,
        frozen=False,
        coupons=table([], (*COUPON_COLUMNS[:-1], *factors, "block")),
        mounts=table([], MOUNT_COLUMNS),
        sheets=table([], SHEET_COLUMNS),
        cuts=cuts,
        readings=readings,
        journal=table([], JOURNAL_COLUMNS),
        looks=table([], LOOK_COLUMNS),
        planned_mounts=table([], MOUNT_PLAN_COLUMNS),
        planned_sheets=table([], SHEET_COLUMNS),
        all_cuts=cuts,
        all_readings=readings,
    )
