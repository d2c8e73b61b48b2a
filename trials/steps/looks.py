"""Looks at the data: which one a verdict on these records is."""

from __future__ import annotations

import json

from trials.findings import Finding
from trials.record_kinds import JournalKind, RecordKind
from trials.steps.extend import begun
from trials.store import records as store
from trials.store.records import Records

CORRECTED = {
    JournalKind.READING_CORRECTED: RecordKind.READING_WAS_CORRECTED,
    JournalKind.CUT_CORRECTED: RecordKind.CUT_WAS_CORRECTED,
    JournalKind.MOUNT_CORRECTED: RecordKind.MOUNT_WAS_CORRECTED,
    JournalKind.SHEET_CORRECTED: RecordKind.SHEET_WAS_CORRECTED,
    JournalKind.SLIP_CONFIRMED: RecordKind.SLIP_WAS_CONFIRMED,
}


def fingerprint(records: Records) -> str:
    """SHA-256 of the question put to the records; two looks at the same question are one look.

    A block that was added but of which nothing is cut yet is not part of it.
    """
    return store.fingerprint(begun(records))


def every_cell(records: Records) -> str:
    """SHA-256 of every cell on record, which tells whether a kept paper is still that of its records."""
    return store.fingerprint(begun(records), store.ALL_CELLS)


def kept_paper_is_current(records: Records, look: int) -> bool:
    """Whether a look of this number is kept, and nothing was corrected since."""
    rows = records.looks[records.looks["look"] == look]
    if not len(rows):
        return False
    return json.loads(rows["summary_json"].iloc[0]).get("every_cell") in (None, every_cell(records))


def look_number(records: Records) -> int:
    """Which look at the data this is: that of an earlier verdict on the same question, or the next one.

    Words that were read while a reading was open use no look, as long as the question stays the same: settling the
    reading is none, withdrawing it or leaving its coupon out is.
    """
    kept = store.look_of(begun(records))
    if kept is not None:
        return kept
    provisional = {entry.payload["fingerprint"] for entry in store.entries(records.journal, JournalKind.PROVISIONAL)}
    other = provisional - set(records.looks["fingerprint"])
    other -= {fingerprint(records)} if other else set()
    return len(records.looks) + len(other) + 1


def corrections_since_read(records: Records) -> tuple[Finding, ...]:
    """What was corrected or confirmed after a verdict was read, as kept or while a reading was open."""
    read = store.entries(records.journal, JournalKind.VERDICT, JournalKind.PROVISIONAL)
    if not read:
        return ()
    later = [entry for entry in store.entries(records.journal, *CORRECTED) if entry.number > read[0].number]
    return tuple(Finding(CORRECTED[e.kind], facts={**e.payload, "who": e.who, "why": e.why}) for e in later)
