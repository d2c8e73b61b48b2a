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
    (
        Finding(
            RecordKind.READING_WAS_CORRECTED,
            facts={"coupon": "A", "reading": 1, "repeat": 0, "field": "u_mm", "old": 0.2, "new": 0.3, **BY},
        ),
        "After a verdict was read: coupon A, reading 1, u: 0.2 mm -> 0.3 mm (AB: agreed)",
    ),
    (
        Finding(RecordKind.SPECIMEN_RETIRED, facts={"specimen": "D2", "nozzle": "double", **BY}),
        "specimen D2 (double) retired (AB: agreed)",
    ),
    *(
        (
            Finding(kind, facts={"of": of, "mark": "M1", "column": "note", "old": "", "new": "hung", **BY}),
            f"After a verdict was read: {of} M1, note: empty -> hung (AB: agreed)",
        )
        for of, kind in (
            ("coupon", RecordKind.CUT_WAS_CORRECTED),
            ("mount", RecordKind.MOUNT_WAS_CORRECTED),
            ("sheet", RecordKind.SHEET_WAS_CORRECTED),
        )
    ),
    (
        Finding(
            RecordKind.SLIP_WAS_CONFIRMED,
            facts={"coupon": "A", "reading": 1, "field": "rz5_um", "value": 310.0, **BY},
        ),
        "After a verdict was read: coupon A, reading 1, Rz5 310 µm (AB: agreed)",
    ),
]


@pytest.mark.parametrize(("finding", "words"), SAID, ids=[str(finding.kind) for finding, _ in SAID])
def test_sentence(finding, words):
    assert say(finding) == words


def test_every_kind_is_said():
    assert {finding.kind for finding, _ in SAID} == set(SENTENCES)
