"""The register of instruments of a trial: when they were calibrated, until when that holds, and their U.

An entry is never changed: a new calibration is a new row that names the old one, with a line in the journal.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd
from sqlalchemy import insert, select

from trials.errors import InputError
from trials.findings import Fact, Finding
from trials.record_kinds import JournalKind, RecordKind
from trials.store.records import schema
from trials.store.records.entry import current_rows, writing
from trials.store.records.folder import read_trial, records_place, require_frozen, stamp
from trials.store.records.journal import write_journal
from trials.store.records.migrations import transaction
from trials.store.records.rules import quantities
from trials.store.records.spelling import folded
from trials.store.tables import moment_in
from trials.words.records import instrument as instrument_words

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True)
class Instrument:
    """One instrument as last entered: dates as year-month-day, empty where not stated; uncertainty: U (k = 2) by
    column."""

    instrument: str
    calibrated_on: str
    due_on: str
    uncertainty: Mapping[str, float]
    note: str

    def words(self) -> str:
        """The entry in one sentence, in the current language."""
        return instrument_words(vars(self))


def keep_instrument(folder: Path | str, entry: Instrument, who: str, at: datetime | None = None) -> bool:
    """Enter an instrument, or a new calibration of one; False where the same is on record already.

    Raises
    ------
    InputError
        If nobody is named, a date or a column cannot be used, or the trial has no frozen plan.
    """
    require_frozen(folder)
    name = entry.instrument.strip()
    if not name or not who.strip():
        raise InputError("an entry needs the instrument and who makes it", do="Name the instrument and add --who.")
    new: dict[str, Any] = {"instrument": name, "note": entry.note.strip()}
    new |= {"calibrated_on": _day(entry.calibrated_on, "--calibrated"), "due_on": _day(entry.due_on, "--due")}
    if new["due_on"] and new["due_on"] < new["calibrated_on"]:
        raise InputError(
            "due before it was calibrated", column="--due", found=new["due_on"], do="Correct one of the dates."
        )
    moment = stamp(at)
    with writing(folder) as (connection, records):
        new["uncertainty"] = _uncertainty(entry.uncertainty, tuple(quantities(records.trial)))
        old = current_rows(connection, schema.instruments, "instrument").get(name)
        if old is not None and all(old[key] == value for key, value in new.items()):
            return False
        extra = {"who": who.strip(), "why": "", "entered_at": moment, "replaces": old["id"] if old else None}
        connection.execute(insert(schema.instruments), {**new, **extra})
        write_journal(connection, moment, who, JournalKind.INSTRUMENT, new)
    return True


def instruments(folder: Path | str) -> list[Instrument]:
    """The register: each instrument with each of its calibrations, in the order of entry; empty without any entry.

    A later entry with the same day of calibration stands for the one before.
    """
    place = records_place(folder, read_trial(folder)[0])
    if place is None:
        return []
    with transaction(place, writes=False) as connection:
        rows = connection.execute(select(schema.instruments).order_by(schema.instruments.c.id)).mappings()
        kept = {(row["instrument"], row["calibrated_on"]): row for row in rows}
    return [Instrument(**{key: row[key] for key in Instrument.__match_args__}) for row in kept.values()]


def calibration_doubts(known: Sequence[Instrument], readings: pd.DataFrame) -> tuple[Finding, ...]:
    """What the register leaves open about readings: instruments that are not in it, and days that no calibration
    covers, a reading without a date counting on the day of its entry. Silent where there is no register."""
    if not known:
        return ()
    used = readings[readings["instrument"].astype(str) != ""]
    said = []
    for name, rows in used.groupby("instrument", sort=True):
        mine = [one for one in known if folded(one.instrument) == folded(str(name))]
        if not mine:
            facts: dict[str, Fact] = {"instrument": str(name), "values": len(rows)}
            said.append(Finding(RecordKind.INSTRUMENT_UNKNOWN, facts=facts))
            continue
        days = _days(rows)
        open_days = days[[not any(_covers(one, day) for one in mine) for day in days]]
        if len(open_days):
            last = str(open_days.max())
            days_facts: dict[str, Fact] = {"instrument": str(name), "values": len(open_days), "last": last}
            said.append(Finding(RecordKind.CALIBRATION_OPEN, facts=days_facts))
    return tuple(said)


def _days(readings: pd.DataFrame) -> pd.Series[str]:
    """The day of each reading: when it was measured, or entered where that is not known."""
    measured, entered = (readings[name].astype(str).str.slice(0, 10) for name in ("measured_on", "entered_at"))
    return measured.where(measured.str.fullmatch(_DAY.pattern), entered)


def _covers(one: Instrument, day: str) -> bool:
    return one.calibrated_on <= day and (not one.due_on or day <= one.due_on)


def _day(text: str, option: str) -> str:
    day = moment_in(text.strip() or None, column=option)
    if day and not _DAY.fullmatch(day):
        raise InputError("not a day", column=option, found=text, allowed="2026-03-31", do="Write year-month-day.")
    return day


def _uncertainty(given: Mapping[str, float], columns: Sequence[str]) -> dict[str, float]:
    for name, value in given.items():
        if name not in columns:
            raise InputError("unknown column", column=name, allowed=", ".join(columns), do="Name one of these.")
        if not 0 <= value < float("inf"):
            raise InputError("not an uncertainty", column=name, found=value, allowed="0 or more", do="Give U at k = 2.")
    return {name: float(value) for name, value in given.items()}
