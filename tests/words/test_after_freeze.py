"""What changed after the freeze and what a later rule says: one sentence for every kind."""

import pytest

from trials.findings import About, Finding
from trials.record_kinds import RecordKind
from trials.words.after_freeze import SENTENCES
from trials.words.findings import say

BY = {"who": "AB", "why": "agreed"}
ABOUT = About("roughness", "double", "cylindrical")
WORDS = {"kept": "better", "kept_adds": "how much is open", "kept_rule": "1", "rule": "2"}
SAID = [
    (
        Finding(RecordKind.QUESTION_AMENDED, facts={"key": "plan.looks", "old": "1", "new": "2", **BY}),
        "plan.looks: 1 -> 2 (AB: agreed)",
    ),
    (
        Finding(RecordKind.QUESTION_AMENDED, facts={"text": "As 0.1.0 wrote it.", **BY}),
        "As 0.1.0 wrote it. (AB: agreed)",
    ),
    (
        Finding(RecordKind.LOTS_CHANGED, facts={"key": "lots.a", "old": "absent", "new": "L1", "who": "", "why": ""}),
        "lots.a: absent -> L1",
    ),
    (
        Finding(RecordKind.BLOCK_ADDED, facts={"block": 2, "coupons": 1, "declared": True, "who": "", "why": "open"}),
        "block 2, 1 coupon, declared before cutting (open)",
    ),
    (
        Finding(RecordKind.KEPT_WORD_DIFFERS, ABOUT, {**WORDS, "now": "not settled", "now_adds": ""}),
        "double against cylindrical, by Rz5: kept as “better, how much is open” (rule 1); by rule 2 it would be “not "
        "settled”.",
    ),
    (
        Finding(RecordKind.KEPT_WORD_DIFFERS, ABOUT, {**WORDS, "now": "", "now_adds": ""}),
        "double against cylindrical, by Rz5: kept as “better, how much is open” (rule 1); rule 2 gives no word.",
    ),
]


@pytest.mark.parametrize(("finding", "words"), SAID, ids=[str(finding.kind) for finding, _ in SAID])
def test_sentence(finding, words):
    assert say(finding) == words


def test_every_kind_is_said():
    assert {finding.kind for finding, _ in SAID} == set(SENTENCES)
