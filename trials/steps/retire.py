"""A specimen that is destroyed or lost is taken out of what can still be planned."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trials.store import records


@dataclass(frozen=True)
class Retirement:
    """What was written: the specimen, its nozzle type, who and why; left: how many of that type are still there;
    open: coupons planned in its mounts that were never cut."""

    specimen: str
    nozzle: str
    who: str
    why: str
    left: int
    open: tuple[str, ...]


def retire(folder: Path | str, specimen: str, who: str, why: str) -> Retirement:
    """Retire a specimen: it is never planned again; its cuts and readings stay in the analysis.

    Raises
    ------
    InputError
        If who or why is missing, no plan is frozen, or the specimen is not of this trial or retired already.
    """
    done = records.retire(folder, specimen, who, why)
    known = records.load(folder)
    gone = {each.specimen for each in records.retired(known)}
    pieces = next(nozzle.specimens for nozzle in known.trial.nozzles if nozzle.type == done.nozzle)
    left = sum(mark not in gone for mark in pieces)
    return Retirement(specimen, done.nozzle, done.who, done.why, left, records.open_coupons(known, specimen))


def retirement_json(done: Retirement) -> dict[str, Any]:
    """A retirement as plain values; keys: schema, specimen, nozzle, who, why, left, open_coupons[]."""
    return {
        "schema": 2,
        "specimen": done.specimen,
        "nozzle": done.nozzle,
        "who": done.who,
        "why": done.why,
        "left": done.left,
        "open_coupons": list(done.open),
    }
