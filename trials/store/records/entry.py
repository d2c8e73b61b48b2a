"""One write transaction on a frozen trial, and what every entry in it has in common."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, insert, select

from trials.errors import InputError
from trials.findings import Fact, Finding
from trials.frozen import ABSENT, differences, lots_of
from trials.record_kinds import JournalKind, RecordKind
from trials.responses import Beyond
from trials.store.records import schema
from trials.store.records.changed_setting import parse_changed_setting, written
from trials.store.records.folder import (
    Proved,
    check_belongs,
    check_unchanged,
    last_version,
    name_records,
    read_records,
    read_trial,
    require_frozen,
    stamp,
)
from trials.store.records.journal import entries_of, write_journal
from trials.store.records.migrations import transaction
from trials.store.records.records import (
    REAL,
    WHOLE,
    Records,
    current,
    plain,
)
from trials.store.records.roles import require_engineer
from trials.store.records.rules import (
    check_cut,
    check_mount,
)
from trials.store.records.second_marks import second_mark
from trials.store.records.slips import Slip
from trials.trial import Trial, parse


@dataclass(frozen=True)
class Recorded:
    """What one call wrote: rows added, rows that were already there, suspected slips, and remarks."""

    added: int
    ignored: int
    said: tuple[Finding, ...] = ()
    slips: tuple[Slip, ...] = ()


@contextmanager
def writing(folder: Path | str, decides: bool = False) -> Iterator[tuple[Connection, Records]]:
    """One write transaction on a frozen, unchanged trial, with its records as they stand.

    decides: it corrects or confirms, which is not for the bench of a lab that shares a server.
    """
    place = require_frozen(folder)
    trial, _ = read_trial(folder)
    with transaction(place, writes=True) as connection:
        if decides:
            require_engineer(connection, place)
        proved = Proved.of(connection, place)
        check_belongs(Path(folder), trial, proved)
        version = last_version(connection)
        check_unchanged(Path(folder), trial, version)
        noted = note_lots(connection, trial, version)
        yield connection, read_records(connection, Path(folder), trial, version, None if noted else proved)
    if not trial.store.trial:  # a question of an earlier version, or a freeze that was cut short
        with suppress(InputError):
            name_records(Path(folder), proved.identity)


def undo(connection: Connection) -> None:
    """Take back what the transaction wrote, at its end."""
    begun = connection.get_transaction()
    if begun is not None:
        begun.rollback()


def journal_lots(folder: Path | str) -> None:
    """Bring the journal up to date with lots that were edited since the last entry.

    Raises
    ------
    InputError
        If the folder is no frozen trial, or its question was changed without an amendment.
    """
    with writing(folder):
        pass


def note_lots(
    connection: Connection, trial: Trial, version: dict[str, Any], who: str = "", why: str = ""
) -> list[tuple[str, str, str]]:
    """Journal lots that differ from those last known: they may be edited after the freeze, but not unseen."""
    known = lots_of(parse(version["toml"], "frozen trial.toml"))
    for payload in entries_of(connection, JournalKind.LOTS):
        known[payload["key"]] = payload["new"]
    known = {key: text for key, text in known.items() if text != ABSENT}
    changed = differences(known, lots_of(trial))
    for key, old, new in changed:
        write_journal(connection, stamp(None), who, JournalKind.LOTS, {"key": key, "old": old, "new": new}, why)
    return changed


def cleaned(row: dict[str, Any], columns: tuple[str, ...], records: Records) -> dict[str, Any]:
    """A row with every column present: whole numbers as int, text stripped, settings in their stored spelling."""
    clean = {name: cleaned_cell(name, row.get(name)) for name in columns}
    if clean.get("changed_setting"):
        clean["changed_setting"] = written(parse_changed_setting(clean["changed_setting"], records.trial))
    return clean


def cleaned_cell(name: str, cell: Any) -> Any:
    """A cell of that column as it is kept, None for a number that is not there."""
    value = plain(cell)
    if name in WHOLE:
        return None if value in (None, "") else int(value)
    if name in REAL:
        return None if value in (None, "") else float(value)
    return "" if value is None else str(value).strip()


def check_row(key: str, entry: dict[str, Any], records: Records, **place: Any) -> None:
    """Raise InputError where a cut record or a mount does not fit the trial."""
    if key == "coupon":
        check_cut(entry, records, set(records.mounts["mount"]), set(records.sheets["sheet"]), **place)
    if key == "mount":
        check_mount(entry, records.trial, **place)


def current_rows(connection: Connection, target: Table, key: str) -> dict[str, dict[str, Any]]:
    """The rows of a recorded table that no other row replaces, by mark."""
    rows = [dict(row._mapping) for row in connection.execute(select(target).order_by(target.c.id))]
    replaced = {row["replaces"] for row in rows}
    return {row[key]: row for row in rows if row["id"] not in replaced}


def shown(value: Any) -> str:
    """A cell as printed in a message."""
    return "empty" if value in (None, "") else str(value)


def earlier_rows(connection: Connection, target: Table, key: str) -> dict[str, list[dict[str, Any]]]:
    """The rows of a recorded table that were replaced since, by mark."""
    rows = [dict(row._mapping) for row in connection.execute(select(target).order_by(target.c.id))]
    replaced = {row["replaces"] for row in rows}
    found: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        if row["id"] in replaced:
            found.setdefault(row[key], []).append(row)
    return found


def superseded(mark: str, column: str, found: Any, kept: Any, place: Mapping[str, Any]) -> Finding:
    """An older file still says what was corrected since: the correction stands, and this is the cell to mend."""
    facts: dict[str, Fact] = {"mark": mark, "column": column, "found": found, "kept": kept}
    facts |= {"file": place.get("file", ""), "row": place.get("row")}
    return Finding(RecordKind.CORRECTION_STANDS, facts=facts)


def reading_row(
    records: Records, coupon: str, reading: int, repeat: int, field: str, withdrawn: bool = False
) -> dict[str, Any]:
    """The current row of one reading (0: the only one); withdrawn: of one that was taken back.

    Raises
    ------
    InputError
        If there is none; the text says which there are, and whether it was taken back.
    """
    rows = current(records.all_readings)
    rows = rows[(rows["coupon"] == coupon) & (rows["field"] == field)]
    place = ((rows["reading"] == reading) | (reading == 0)) & (rows["repeat"] == repeat)
    gone = rows["value"].isna() & (rows["beyond"] != Beyond.NOT_MEASURABLE.value)
    exact, others = rows[place & (gone == withdrawn)], rows[place & (gone != withdrawn)]
    if len(exact) == 1:
        return {str(name): cell for name, cell in exact.iloc[0].to_dict().items()}
    have = ", ".join(str(number) for number in sorted(rows.loc[gone == withdrawn, "reading"].unique())) or "none"
    if withdrawn:
        do = "Only a reading that was withdrawn can be restored."
    elif len(others):
        do = "It was withdrawn; bring it back with --restore."
    else:
        do = "Name a reading on record, or record it with `trials record`."
    kind = "withdrawn reading" if withdrawn else "reading"
    named = second_mark(coupon, repeat, records) or coupon
    raise InputError(f"coupon {named} has no such {kind} of {field}", found=reading, allowed=have, do=do)


def confirm(connection: Connection, records: Records, found: list[Slip], who: str, why: str, moment: str) -> None:
    """Mark the readings of suspected slips as confirmed, one journal line each."""
    for slip in found:
        row = reading_row(records, slip.coupon, slip.reading, slip.repeat, slip.field)
        facts = {"coupon": slip.coupon, "reading": slip.reading, "repeat": slip.repeat, "field": slip.field}
        facts |= {"value": slip.value, "median": slip.neighbours_median, "where": slip.where.value}
        line = write_journal(connection, moment, who, JournalKind.SLIP_CONFIRMED, facts, why)
        connection.execute(insert(schema.confirmed_slips), {"reading_id": int(row["id"]), "journal_id": line})
