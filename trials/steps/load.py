"""Everything recorded about a trial, read from its folder."""

from __future__ import annotations

from pathlib import Path

from trials.store import records
from trials.store.records.records import Records


def load(folder: Path | str) -> Records:
    """Everything recorded about the trial in a folder; raises InputError where it is no trial folder."""
    return records.load(folder)
