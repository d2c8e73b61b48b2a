"""What the journal keeps about plans and blocks comes back as values."""

from datetime import date
from types import SimpleNamespace

import pandas as pd
import pytest
from tests_support import told

from trials.steps.journal import added_block, added_blocks, all_plan_findings, by_block, plan_findings


def line(kind, what, why=""):
    return {"at": "2026-03-02T08:00:00+00:00", "who": "AB", "kind": kind, "what": what, "why": why}


RECORDS = SimpleNamespace(
    journal=pd.DataFrame(
        [
            line("frozen", "2 coupons, 1 mounts, 1 sheets"),
            line("plan", "First."),
            line("plan", "Both."),
            line("readings recorded", "6 readings of 2 coupons"),
            line("block added", "block 2, 4 coupons, not declared before cutting", "not settled"),
            line("plan", "Second."),
            line("plan", "Both."),
            line("block added", "block 13, 4 coupons, declared before cutting"),
            line("plan", "Third."),
        ]
    )
)


@pytest.mark.parametrize(
    ("what", "block", "declared"),
    [
        ("block 2, 4 coupons, not declared before cutting", 2, False),
        ("block 13, 1 coupons, declared before cutting", 13, True),
    ],
)
def test_an_added_block_by_its_line(what, block, declared):
    found = added_block(line("block added", what, "not settled"))
    assert (found.block, found.declared, found.who, found.why) == (block, declared, "AB", "not settled")
    assert found.at.date() == date(2026, 3, 2)


def test_what_was_found_belongs_to_the_block_it_follows():
    assert [(number, told(found)) for number, found in by_block(RECORDS)] == [
        (1, ["First.", "Both."]),
        (2, ["Second.", "Both."]),
        (13, ["Third."]),
    ]
    assert told(plan_findings(RECORDS)) == ["Third."]
    assert told(all_plan_findings(RECORDS)) == ["First.", "Both.", "Second.", "Third."]
    assert [added.block for added in added_blocks(RECORDS)] == [2, 13]
