"""A change to a frozen question is stated."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

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


def amend(folder: Path | str, who: str, why: str) -> Amendment:
    """Adopt the trial file as it stands now; each changed key goes into the journal.

    Raises
    ------
    InputError
        If who or why is missing, nothing frozen has changed, or coupons would lose their nozzle, specimen or factor.
    """
    return Amendment(tuple(Change(*each) for each in records.amend(folder, who, why)), who, why)
