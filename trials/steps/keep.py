"""Records checked, backed up, exported and made again."""

from __future__ import annotations

from pathlib import Path

from trials.store import keeping
from trials.store.keeping import Kept
from trials.store.records import Checked
from trials.store.records import check as check_records

__all__ = ["Checked", "Kept", "backup", "check", "export", "restore"]


def check(folder: Path | str) -> Checked:
    """Whether the records of a trial are as they were written; raises InputError where there are none."""
    return check_records(folder)


def backup(folder: Path | str, out: Path | str) -> Kept:
    """Question and records of one moment in a new trial folder; see `trials.store.keeping` for what it raises."""
    return keeping.backup(folder, out)


def export(folder: Path | str, out: Path | str) -> Kept:
    """Everything on record in a new folder of open files."""
    return keeping.export(folder, out)


def restore(source: Path | str, folder: Path | str) -> Kept:
    """A trial made again in a new folder from an export."""
    return keeping.restore(source, folder)
