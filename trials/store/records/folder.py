"""A trial's folder: found, opened, loaded, guarded against a silent change of its question."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import Connection, Table, select

from trials.errors import InputError, no_trial_folder
from trials.frozen import changes
from trials.store.placing import write_new
from trials.store.records import schema
from trials.store.records.migrations import transaction
from trials.store.records.records import (
    COUPON_COLUMNS,
    CUT_COLUMNS,
    JOURNAL_COLUMNS,
    LOOK_COLUMNS,
    MOUNT_COLUMNS,
    MOUNT_PLAN_COLUMNS,
    READING_COLUMNS,
    SHEET_COLUMNS,
    Records,
    current,
    table,
)
from trials.toml_text import MOST_TEXT
from trials.trial import Trial, parse

TOML = "trial.toml"
ENTERED = ("id", "who", "why", "entered_at", "replaces")


def stamp(at: datetime | None) -> str:
    """The moment of an entry as ISO 8601 text in UTC; now if none is given. A time without zone counts as UTC."""
    moment = at or datetime.now(UTC)
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone(UTC).isoformat(timespec="seconds")


def database_path(folder: Path) -> Path:
    """Where a trial's database lies."""
    return Path(folder) / schema.FILE


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
    try:
        with path.open(encoding="utf-8-sig") as stream:
            text = stream.read(MOST_TEXT + 1)  # `parse` refuses what is longer
    except (UnicodeDecodeError, OSError) as error:
        raise InputError(f"cannot be read ({error})", file=str(path), do="Save it as UTF-8 text.") from None
    return parse(text, str(path)), text


def restore_question(folder: Path) -> None:
    """Write `trial.toml` as the database of the folder holds it, unless one is there.

    Raises
    ------
    InputError
        If the database cannot be read, or the folder not be written to.
    """
    with transaction(database_path(folder), writes=False) as connection:
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
    if not database_path(folder).is_file():
        return _unfrozen(folder, trial)
    with transaction(database_path(folder), writes=False) as connection:
        version = last_version(connection)
        check_unchanged(folder, trial, version)
        return read_records(connection, folder, trial, version)


def last_version(connection: Connection) -> dict[str, Any]:
    """The question as last frozen or amended: at, who, why, freeze_hash, toml; `frozen_at` is the first one's time."""
    rows = _rows(connection, schema.versions)
    if not rows:
        raise InputError("holds no frozen plan", file=schema.FILE, do="Put back a copy of the file, or plan again.")
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


def require_frozen(folder: Path | str) -> Path:
    """The database of a frozen trial.

    Raises
    ------
    InputError
        If the folder is no trial folder or nothing was frozen yet.
    """
    read_trial(folder)
    path = database_path(Path(folder))
    if not path.is_file():
        raise InputError("no plan is frozen yet", file=str(folder), do="Choose and freeze coupons with `trials plan`.")
    return path


def read_records(connection: Connection, folder: Path, trial: Trial, version: dict[str, Any]) -> Records:
    """All tables of an open database."""
    mounts, all_mounts = (
        _planned(connection, schema.planned_mounts, MOUNT_PLAN_COLUMNS),
        _all(connection, schema.mounts, MOUNT_COLUMNS),
    )
    sheets, all_sheets = (
        _planned(connection, schema.planned_sheets, SHEET_COLUMNS),
        _all(connection, schema.sheets, SHEET_COLUMNS),
    )
    cuts, readings = _all(connection, schema.cuts, CUT_COLUMNS), _all(connection, schema.readings, READING_COLUMNS)
    now = current(readings)
    factors = [trial.factor_column(name) for name in trial.factors]
    return Records(
        folder=folder,
        trial=trial,
        frozen=True,
        coupons=_planned(connection, schema.planned_coupons, (*COUPON_COLUMNS[:-1], *factors, "block")),
        mounts=_overlaid(mounts, current(all_mounts), MOUNT_COLUMNS, "mount"),
        sheets=_overlaid(sheets, current(all_sheets), SHEET_COLUMNS, "sheet"),
        cuts=current(cuts),
        readings=now[now["value"].notna()].reset_index(drop=True),
        journal=table(_rows(connection, schema.journal), JOURNAL_COLUMNS),
        looks=table(_rows(connection, schema.looks, LOOK_COLUMNS), LOOK_COLUMNS),
        planned_mounts=mounts,
        planned_sheets=sheets,
        all_cuts=cuts,
        all_readings=readings,
        confirmed=frozenset(row["reading_id"] for row in _rows(connection, schema.confirmed_slips)),
        frozen_at=version["frozen_at"],
        freeze_hash=version["freeze_hash"],
    )


def _rows(connection: Connection, source: Table, names: tuple[str, ...] = ()) -> list[dict[str, Any]]:
    order = list(source.primary_key.columns)[0]
    wanted = [source.c[name] for name in names] if names else [source]
    return [dict(row._mapping) for row in connection.execute(select(*wanted).order_by(order))]


def _planned(connection: Connection, source: Table, columns: tuple[str, ...]) -> pd.DataFrame:
    rows = connection.execute(select(source.c.cells).order_by(source.c.position)).scalars()
    return table(rows, columns)


def _all(connection: Connection, source: Table, columns: tuple[str, ...]) -> pd.DataFrame:
    names = ["id", *columns, *ENTERED[1:]]
    return table(_rows(connection, source), names)[names]


def _overlaid(planned: pd.DataFrame, recorded: pd.DataFrame, columns: tuple[str, ...], key: str) -> pd.DataFrame:
    """Planned rows, each replaced by what was recorded, then rows that were added at the machine."""
    known = {row[key]: row for row in recorded.to_dict("records")}
    rows = [known.pop(row[key], row) for row in planned.to_dict("records")]
    extra = [column for column in planned.columns if column not in columns]
    plan = {row[key]: row for row in planned.to_dict("records")}
    kept = [{**{c: plan.get(row[key], {}).get(c) for c in extra}, **row} for row in [*rows, *known.values()]]
    return table([{name: _none(row.get(name)) for name in (*columns, *extra)} for row in kept], (*columns, *extra))


def _none(value: Any) -> Any:
    return None if value is pd.NA or (isinstance(value, float) and value != value) else value


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
