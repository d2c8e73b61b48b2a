"""What the journal keeps about plans, blocks and changes after the freeze, as values."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from trials.findings import Finding, each_once
from trials.plan.kinds import PlanKind
from trials.record_kinds import JournalKind, RecordKind
from trials.store.records import Entry, Records, entries, revived

CHANGES = {
    JournalKind.AMENDED: RecordKind.QUESTION_AMENDED,
    JournalKind.LOTS: RecordKind.LOTS_CHANGED,
    JournalKind.BLOCK_ADDED: RecordKind.BLOCK_ADDED,
    JournalKind.RETIRED: RecordKind.SPECIMEN_RETIRED,
}


@dataclass(frozen=True)
class AddedBlock:
    """A further block as the journal knows it."""

    block: int
    declared: bool
    at: datetime
    who: str
    why: str


def added_blocks(records: Records) -> list[AddedBlock]:
    """Further blocks in the order in which they were added."""
    return [added_block(entry) for entry in entries(records.journal, JournalKind.BLOCK_ADDED)]


def added_block(entry: Entry) -> AddedBlock:
    """The entry of a further block as values."""
    block, declared = int(entry.payload["block"]), bool(entry.payload["declared"])
    return AddedBlock(block, declared, datetime.fromisoformat(entry.at), entry.who, entry.why)


def changes_after_freezing(records: Records) -> tuple[Finding, ...]:
    """Amendments, changed lots, further blocks and retired specimens, each with who and why."""
    return tuple(
        Finding(CHANGES[entry.kind], facts={**entry.payload, "who": entry.who, "why": entry.why})
        for entry in entries(records.journal, *CHANGES)
    )


def plan_findings(records: Records) -> list[Finding]:
    """What was found about the newest block when it was planned."""
    *_, (_, newest) = by_block(records)
    return newest


def all_plan_findings(records: Records) -> tuple[Finding, ...]:
    """What was found about all blocks when they were planned, each once."""
    return each_once(finding for _, found in by_block(records) for finding in found)


def by_block(records: Records) -> Iterator[tuple[int, list[Finding]]]:
    """What was found about each block when it was planned, in the order of planning."""
    number = 1
    found: list[Finding] = []
    for entry in entries(records.journal, JournalKind.BLOCK_ADDED, JournalKind.PLAN):
        if entry.kind is JournalKind.BLOCK_ADDED:
            yield number, found
            number, found = added_block(entry).block, []
        else:
            found.append(_planned(entry))
    yield number, found


def promised(records: Records) -> tuple[tuple[int, Finding], ...]:
    """Limits of confirming coupons that were kept when they were planned, each with the number of its block."""
    return tuple(
        (block, finding)
        for block, found in by_block(records)
        for finding in found
        if finding.kind is PlanKind.CONFIRM_LIMITS
    )


def _planned(entry: Entry) -> Finding:
    """An entry of a plan as the finding it was; the prose of version 0.1.0, and a kind not known here, as written."""
    known = revived(entry.payload["finding"]) if "finding" in entry.payload else None
    return known or Finding(PlanKind.AS_WRITTEN, facts={"text": str(entry.payload["text"])})
