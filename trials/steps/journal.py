"""What the journal keeps about plans and blocks, read and written here alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from trials.findings import Finding, each_once
from trials.store.records.records import Records

ADDED = "block added"
"""Kind of the journal's line for a further block."""
PLAN = "plan"
"""Kind of a line with what was found about a plan or a block."""


@dataclass(frozen=True)
class AddedBlock:
    """A further block as the journal knows it."""

    block: int
    declared: bool
    at: datetime
    who: str
    why: str


def as_kept(found: Iterable[Finding]) -> list[str]:
    """Findings as the journal keeps them, one line each."""
    return sentences(found)


def sentences(found: Iterable[Finding]) -> list[str]:
    """Findings in words, in their order."""
    from trials.words.findings import say

    return [say(finding) for finding in found]


def rows_of(records: Records) -> list[dict[str, Any]]:
    """Lines of the journal in their order."""
    return [{str(key): value for key, value in row.items()} for row in records.journal.to_dict("records")]


def added_blocks(records: Records) -> list[AddedBlock]:
    """Further blocks in the order in which they were added."""
    return [added_block(row) for row in rows_of(records) if row["kind"] == ADDED]


def added_block(row: Mapping[str, Any]) -> AddedBlock:
    """A line of kind `ADDED` as values."""
    number, declared = _payload(row)
    moment = datetime.fromisoformat(str(row["at"]))
    return AddedBlock(number, declared, moment, str(row["who"]), str(row["why"]))


def _payload(row: Mapping[str, Any]) -> tuple[int, bool]:
    """Number of an added block, and whether it was declared before cutting."""
    words = str(row["what"])
    return int(words.removeprefix("block ").split(",")[0]), "not declared" not in words


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
    for row in rows_of(records):
        if row["kind"] == ADDED:
            yield number, found
            number, found = added_block(row).block, []
        elif row["kind"] == PLAN:
            found.append(_finding(row))
    yield number, found


def _finding(row: Mapping[str, Any]) -> Finding:
    """A line of kind `PLAN` as a finding."""
    from trials.plan.kinds import PlanKind

    return Finding(PlanKind.AS_WRITTEN, facts={"text": str(row["what"])})
