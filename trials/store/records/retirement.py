"""Specimens that are no longer there: retired with who and why, their cuts and readings kept."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from trials.errors import InputError
from trials.record_kinds import JournalKind
from trials.store.records.changed_setting import nearest
from trials.store.records.entry import writing
from trials.store.records.folder import stamp
from trials.store.records.journal import entries, write_journal
from trials.store.records.records import Records


@dataclass(frozen=True)
class Retired:
    """A specimen that is never planned again, with its nozzle type; at: day and time as in the journal."""

    specimen: str
    nozzle: str
    at: str
    who: str
    why: str


def retired(records: Records) -> tuple[Retired, ...]:
    """Specimens that were retired, in the order of the journal."""
    return tuple(
        Retired(str(entry.payload["specimen"]), str(entry.payload["nozzle"]), entry.at, entry.who, entry.why)
        for entry in entries(records.journal, JournalKind.RETIRED)
    )


def open_coupons(records: Records, specimen: str) -> tuple[str, ...]:
    """Coupons that are planned in mounts of a specimen and have no cut record."""
    own = records.mounts.loc[records.mounts["specimen"] == specimen, "mount"]
    left = records.coupons["mount"].isin(set(own)) & ~records.coupons["coupon"].isin(set(records.cuts["coupon"]))
    return tuple(map(str, records.coupons.loc[left, "coupon"]))


def retire(folder: Path | str, specimen: str, who: str, why: str, at: datetime | None = None) -> Retired:
    """Journal that a specimen is no longer there; no extension plans it again.

    Raises
    ------
    InputError
        If who or why is missing, no plan is frozen, or the specimen is not of this trial or retired already.
    """
    if not who.strip() or not why.strip():
        raise InputError("a retirement needs a name and a reason", do="Give both: who retires it, and why.")
    moment = stamp(at)
    with writing(folder) as (connection, records):
        kind = _type_of(records, specimen)
        write_journal(connection, moment, who, JournalKind.RETIRED, {"specimen": specimen, "nozzle": kind}, why)
    return Retired(specimen, kind, moment, who.strip(), why.strip())


def _type_of(records: Records, specimen: str) -> str:
    """The nozzle type of a specimen that is still there."""
    types = {mark: nozzle.type for nozzle in records.trial.nozzles for mark in nozzle.specimens}
    gone = next((one for one in retired(records) if one.specimen == specimen), None)
    if gone is not None:
        raise InputError(
            f"was retired on {gone.at[:10]} by {gone.who}", column="SPECIMEN", found=specimen, do="Name another one."
        )
    if specimen not in types:
        raise InputError(
            "no such specimen in this trial",
            column="SPECIMEN",
            found=specimen,
            allowed=", ".join(types),
            do=nearest(specimen, list(types)) or "Name one of these.",
        )
    return types[specimen]
