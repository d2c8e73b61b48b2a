"""Looks at the data: which one a verdict on these records is."""

from __future__ import annotations

from trials.steps.extend import begun
from trials.store import records as store
from trials.store.records import Records


def fingerprint(records: Records) -> str:
    """SHA-256 of what was recorded; two looks at the same records are one look.

    A block that was added but of which nothing is cut yet is not part of it.
    """
    return store.fingerprint(begun(records))


def look_number(records: Records) -> int:
    """Which look at the data this is: that of an earlier verdict on the same records, or the next one."""
    return store.look_of(begun(records)) or len(records.looks) + 1
