"""What the journal keeps about plans and blocks comes back as values."""

import json
from datetime import date
from types import SimpleNamespace

import pandas as pd
from tests_support import told

from trials.findings import About, Finding, Weight
from trials.plan.kinds import PlanKind
from trials.record_kinds import RecordKind as K
from trials.steps.journal import added_blocks, all_plan_findings, by_block, changes_after_freezing, plan_findings
from trials.store.records.kept_findings import as_plain


def line(number, kind, why="", **payload):
    text = json.dumps(payload)
    return {"id": number, "at": "2026-03-02T08:00:00+00:00", "who": "AB", "kind": kind, "payload": text, "why": why}


def said(number, words):
    """A plan entry as version 0.1.0 left it: prose alone."""
    return line(number, "plan", text=words)


KEPT = Finding(PlanKind.ONE_SPECIMEN, About(nozzle="double"), {"n": 1}, Weight.LOOK_AT)
RECORDS = SimpleNamespace(
    journal=pd.DataFrame(
        [
            line(1, "frozen", coupons=2, mounts=1, sheets=1),
            said(2, "First."),
            said(3, "Both."),
            line(4, "readings recorded", readings=6, coupons=2),
            line(5, "block added", "not settled", block=2, coupons=4, declared=False),
            line(6, "plan", finding=as_plain(KEPT), text="What it says is not read."),
            said(7, "Both."),
            line(8, "lots changed", key="lots.double", old="absent", new='["L1"]'),
            line(9, "amended", "no sheet", key="plan.sheets", old="3", new="2"),
            line(10, "block added", block=13, coupons=1, declared=True),
            line(11, "plan", finding={**as_plain(KEPT), "kind": "of a later version"}, text="Third."),
        ]
    )
)


def test_added_blocks_as_values():
    first, second = added_blocks(RECORDS)
    assert (first.block, first.declared, first.who, first.why) == (2, False, "AB", "not settled")
    assert (second.block, second.declared, second.at.date()) == (13, True, date(2026, 3, 2))


def written(words):
    return Finding(PlanKind.AS_WRITTEN, facts={"text": words})


def test_what_was_found_belongs_to_the_block_it_follows():
    assert list(by_block(RECORDS)) == [
        (1, [written("First."), written("Both.")]),
        (2, [KEPT, written("Both.")]),
        (13, [written("Third.")]),
    ]
    assert plan_findings(RECORDS) == [written("Third.")]
    assert all_plan_findings(RECORDS) == (written("First."), written("Both."), KEPT, written("Third."))


def test_changes_after_freezing_with_who_and_why():
    found = changes_after_freezing(RECORDS)
    assert [f.kind for f in found] == [K.BLOCK_ADDED, K.LOTS_CHANGED, K.QUESTION_AMENDED, K.BLOCK_ADDED]
    assert told(found) == [
        "block 2, 4 coupons, not declared before cutting (AB: not settled)",
        'lots.double: absent -> ["L1"] (AB)',
        "plan.sheets: 3 -> 2 (AB: no sheet)",
        "block 13, 1 coupon, declared before cutting (AB)",
    ]
