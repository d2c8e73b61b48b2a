"""The database of a trial: a question and its plan frozen, amended, extended."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import pandas as pd
from sqlalchemy import Connection, func, insert, select
from sqlalchemy.schema import CreateSchema

from trials.errors import InputError
from trials.findings import Finding
from trials.frozen import changes, freeze_hash
from trials.record_kinds import JournalKind
from trials.store import placing
from trials.store.records import chain, schema
from trials.store.records.entry import note_lots, writing
from trials.store.records.folder import (
    Proved,
    check_belongs,
    last_version,
    load,
    name_records,
    read_records,
    read_trial,
    records_place,
    require_frozen,
    stamp,
)
from trials.store.records.journal import write_journal, write_said
from trials.store.records.migrations import IDENTITY_DIGITS, create_tables, transaction
from trials.store.records.place import Place, Server, place_of, schema_of, with_identity
from trials.store.records.records import Records, rows_of
from trials.store.records.roles import grant
from trials.trial import Trial, parse

PLAN = {
    "coupons": (schema.planned_coupons, "coupon"),
    "mounts": (schema.planned_mounts, "mount"),
    "sheets": (schema.planned_sheets, "sheet"),
}
LABELS = ("coupon", "mount", "sheet", "nozzle", "specimen")


def freeze(
    folder: Path | str,
    plan_tables: Mapping[str, pd.DataFrame],
    said: Sequence[Finding] = (),
    at: datetime | None = None,
) -> Records:
    """Freeze the question and its plan: its records appear whole, or not at all.

    plan_tables: `coupons` (coupon, order, sheet, mount, nozzle, specimen, factor columns, any layout columns) and,
    where there are any, `mounts` and `sheets`. `said` is what the planner had to say, kept in the journal.

    Raises
    ------
    InputError
        If the folder is no trial folder, a plan is frozen already, or the tables do not fit the trial.
    """
    folder = Path(folder)
    trial, text = read_trial(folder)
    if trial.store.trial and records_place(folder, trial) is None:
        name_records(folder, "")  # a copy of the question of another trial
    name_records(folder, create(folder, NewTrial(trial, text, plan_tables, tuple(said)), at))
    return load(folder)


@dataclass(frozen=True)
class NewTrial:
    """What a new database begins with: the question and its text, the planned tables, what was found about them."""

    trial: Trial
    text: str
    plan_tables: Mapping[str, pd.DataFrame]
    said: tuple[Finding, ...] = ()


def create(
    folder: Path, new: NewTrial, at: datetime | None, fill: Callable[[Connection, str], None] | None = None
) -> str:
    """Write the records of a new trial, all at once and never over others; returns its identity.

    A `trial.db` is written beside its place and moved there in one step; on a server they are one transaction.
    `fill` may add records first. The text that is frozen names the identity, which the caller writes into the file.
    """
    place = place_of(folder, new.trial)
    if records_place(folder, new.trial) is not None:
        raise _frozen_already(place)
    check_plan(new.plan_tables, new.trial)
    identity = secrets.token_hex(IDENTITY_DIGITS // 2)
    text = with_identity(new.text, identity)
    if isinstance(place, Server):
        _fill_new(replace(place, schema=schema_of(identity)), identity, replace(new, text=text), stamp(at), fill)
        return identity
    temporary = placing.beside(place)
    try:
        _fill_new(temporary, identity, replace(new, text=text), stamp(at), fill)
        placing.place_new(temporary, place)
    except FileExistsError:
        raise _frozen_already(place) from None
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", file=str(place), do="Check the rights.") from None
    finally:
        temporary.unlink(missing_ok=True)
    return identity


def _fill_new(
    place: Place, identity: str, new: NewTrial, moment: str, fill: Callable[[Connection, str], None] | None
) -> None:
    with schema.begun(place, writes=True) as connection:
        if isinstance(place, Server):
            connection.execute(CreateSchema(place.schema))
        create_tables(connection, identity)
        _write_version(connection, new.trial, new.text, moment)
        counts = [_write_plan(connection, name, new.plan_tables.get(name), 1) for name in PLAN]
        write_journal(connection, moment, "", JournalKind.FROZEN, dict(zip(PLAN, counts, strict=True)))
        write_said(connection, moment, "", new.said)
        if fill is not None:
            fill(connection, moment)
        chain.seal(connection)
        if isinstance(place, Server):
            grant(connection, place)


def _frozen_already(place: Place) -> InputError:
    return InputError(
        "the plan of this trial is frozen already",
        file=str(place),
        do="Record cuts with `trials cut`, state a change with `trials amend`, or start another trial folder.",
    )


def check_plan(plan_tables: Mapping[str, pd.DataFrame], trial: Trial) -> None:
    """Raise InputError where planned tables do not fit the trial: columns, marks, nozzle types, mounts, sheets."""
    coupons = plan_tables.get("coupons")
    if coupons is None or coupons.empty:
        raise InputError("the plan holds no coupons", do="Check factors, limits and budget in trial.toml.")
    wanted = ["coupon", "order", "nozzle", *(trial.factor_column(name) for name in trial.factors)]
    missing = [name for name in wanted if name not in coupons.columns]
    if missing:
        raise InputError(f"the planned coupons lack {', '.join(missing)}", allowed=", ".join(wanted), do="Plan again.")
    for name, (_, mark) in PLAN.items():
        marks = plan_tables[name][mark] if name in plan_tables else pd.Series([], dtype=object)
        if marks.duplicated().any():
            raise InputError(f"a {mark} is planned twice", found=marks[marks.duplicated()].iloc[0], do="Plan again.")
        if name == "coupons" or name not in plan_tables or mark not in coupons.columns:
            continue
        strange = set(coupons[mark].dropna().astype(str)) - set(marks.astype(str)) - {""}
        if strange:
            raise InputError(f"coupons name a {mark} that is not planned", found=min(strange), do="Plan again.")
    unknown = sorted(set(coupons["nozzle"]) - set(trial.types))
    if unknown:
        raise InputError("a planned nozzle type is not in trial.toml", found=unknown[0], do="Plan again.")


def amend(folder: Path | str, who: str, why: str, at: datetime | None = None) -> list[tuple[str, str, str]]:
    """Adopt a changed `trial.toml`: each changed key goes into the journal (old -> new), and the changes are returned.

    Raises
    ------
    InputError
        If who or why is missing, nothing frozen changed, or the change would leave planned or recorded coupons
        without their nozzle type, specimen or factor.
    """
    if not who.strip() or not why.strip():
        raise InputError("an amendment needs a name and a reason", do="Give both: who amends, and why.")
    place = require_frozen(folder)
    trial, text = read_trial(folder)
    moment = stamp(at)
    with transaction(place, writes=True) as connection:
        check_belongs(Path(folder), trial, Proved.of(connection, place))
        version = last_version(connection)
        old = parse(version["toml"], "frozen trial.toml")
        changed, lots = changes(old, trial), note_lots(connection, trial, version, who, why)
        if not changed and not lots:
            raise InputError(
                "nothing that was frozen has changed",
                file=str(Path(folder) / "trial.toml"),
                do="Title, prices, costs and notes need no amendment.",
            )
        _refuse_orphans(read_records(connection, Path(folder), old, version), trial, str(Path(folder) / "trial.toml"))
        for key, before, after in changed:
            facts = {"key": key, "old": before, "new": after}
            write_journal(connection, moment, who, JournalKind.AMENDED, facts, why)
        _write_version(connection, trial, text, moment, who, why)
    return [*changed, *lots]


def frozen_text(folder: Path | str) -> str:
    """The text of the trial file as last frozen or amended; raises InputError where no plan is frozen."""
    with transaction(require_frozen(folder), writes=False) as connection:
        return str(last_version(connection)["toml"])


@dataclass(frozen=True)
class NewQuestion:
    """A changed trial file: its text, and what puts it in its place once all else is written."""

    text: str
    place: Callable[[], None]


def add_block(
    folder: Path | str,
    coupons: pd.DataFrame,
    mounts: pd.DataFrame | None,
    sheets: pd.DataFrame | None,
    declared: bool,
    why: str,
    who: str = "",
    at: datetime | None = None,
    said: Sequence[Finding] = (),
    question: NewQuestion | None = None,
) -> int:
    """Extend a frozen trial by further coupons; returns the number of the new block.

    declared: whether the extension was announced before the first look at the data; said: what the planner had to
    say, kept in the journal behind the line of the block; question: the trial file with the pieces that are new in the
    block, adopted and journalled as an amendment with it, or not at all.

    Raises
    ------
    InputError
        If a mark is planned already, or the tables do not fit the trial.
    """
    moment = stamp(at)
    with writing(folder) as (connection, records):
        new = {"coupons": coupons, "mounts": mounts, "sheets": sheets}
        old = {"coupons": records.coupons, "mounts": records.planned_mounts, "sheets": records.planned_sheets}
        given = {name: frame for name, frame in new.items() if frame is not None}
        trial = records.trial if question is None else parse(question.text, "trial.toml")
        check_plan({name: pd.concat([old[name], given.get(name)]) for name in PLAN}, trial)
        block = int(records.coupons["block"].max()) + 1
        for name in PLAN:
            _write_plan(connection, name, given.get(name), block)
        facts = {"block": block, "coupons": len(coupons), "declared": declared}
        write_journal(connection, moment, who, JournalKind.BLOCK_ADDED, facts, why)
        write_said(connection, moment, who, said)
        if question is not None:
            for key, before, after in changes(records.trial, trial):
                write_journal(
                    connection, moment, who, JournalKind.AMENDED, {"key": key, "old": before, "new": after}, why
                )
            _write_version(connection, trial, question.text, moment, who, why)
            question.place()
    return block


def _write_version(connection: Connection, trial: Trial, text: str, at: str, who: str = "", why: str = "") -> None:
    row = {"at": at, "who": who.strip(), "why": why.strip(), "freeze_hash": freeze_hash(trial), "toml": text}
    connection.execute(insert(schema.versions), row)


def _write_plan(connection: Connection, name: str, frame: pd.DataFrame | None, block: int) -> int:
    if frame is None:
        return 0
    target, mark = PLAN[name]
    start = connection.execute(select(func.count()).select_from(target)).scalar_one()
    for position, cells in enumerate(rows_of(frame), start + 1):
        cells |= {key: "" if cells[key] is None else str(cells[key]) for key in LABELS if key in cells}
        if name == "coupons":
            cells["block"] = int(cells.get("block") or block) if block == 1 else block
        connection.execute(insert(target), {mark: cells[mark], "position": position, "cells": cells})
    return len(frame)


def _refuse_orphans(records: Records, trial: Trial, file: str) -> None:
    """Raise where planned or cut coupons would lose what the new question no longer names."""
    lost = sorted(set(records.coupons["nozzle"]) - set(trial.types))
    pieces = {specimen for nozzle in trial.nozzles for specimen in nozzle.specimens}
    used = set(records.coupons["specimen"]) | set(records.mounts["specimen"])
    gone = sorted(used - pieces - {""})
    columns = {trial.factor_column(name) for name in trial.factors}
    factors = sorted(columns ^ set(records.factor_columns.values()))
    for what, names in (("nozzle type", lost), ("specimen", gone), ("factor", factors)):
        if names:
            raise InputError(
                f"{what} {names[0]!r} belongs to coupons of the frozen plan or to none of them",
                file=file,
                do="Put it back, or start another trial folder for the new question.",
            )
