"""A change to a frozen question is stated."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from trials.steps.doubts import amend_doubts, refuse
from trials.store import records


@dataclass(frozen=True)
class Change:
    """One key of the trial file that changed, with its old and new value as written there (`absent`: not there)."""

    key: str
    old: str
    new: str


@dataclass(frozen=True)
class Amendment:
    """What was amended, by whom, and why."""

    changes: tuple[Change, ...]
    who: str
    why: str


def amend(folder: Path | str, who: str, why: str, as_written: bool = False) -> Amendment:
    """Adopt the trial file as it stands now; each changed key goes into the journal.

    as_written: new settings that look unlikely (`trials.doubts`) were confirmed.

    Raises
    ------
    InputError
        If who or why is missing, nothing frozen has changed, a new setting is unlikely and was not confirmed, or
        coupons would lose their nozzle, specimen or factor.
    """
    if not as_written:
        refuse(amend_doubts(folder), folder)
    return Amendment(tuple(Change(*each) for each in records.amend(folder, who, why)), who, why)
