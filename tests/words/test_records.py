"""Sentences about records: one for every kind, singular and plural, and nothing that depends on the language."""

import pytest

from trials.findings import About, Amount, Finding
from trials.next_command import Before, Blank, Command, Next
from trials.record_kinds import JournalKind, RecordKind, Step, Where
from trials.words import language, records
from trials.words.findings import say

ONE, TWO = About(coupons=("K7T",), response="Rz5"), About(coupons=("K7T", "B2M"), response="Rz5")
MOUNT = About(mount="M2", nozzle="double")
SAID = [
    (
        Finding(RecordKind.COUPON_LOST, About(coupons=("K7T",), nozzle="double"), {"outcome": "aborted", "note": ""}),
        "Coupon K7T (double) was aborted.",
    ),
    (Finding(RecordKind.COUPONS_NOT_CUT, ONE), "Coupon K7T was not cut."),
    (Finding(RecordKind.COUPONS_NOT_CUT, TWO), "Coupons K7T, B2M were not cut."),
    (Finding(RecordKind.ANOTHER_ORDER, ONE), "Coupon K7T was cut in another order than planned."),
    (
        Finding(RecordKind.CHANGED_SETTING, ONE, {"column": "pressure_bar", "now": 0.6, "was": None}),
        "Coupon K7T was cut with pressure 0.6 bar, planned empty.",
    ),
    (
        Finding(RecordKind.OUTSIDE_USED, ONE, {"column": "pressure_bar", "now": 1.0, "low": 0.5, "high": 0.9}),
        "Coupon K7T lies outside the plan (pressure 1 bar, planned 0.5 bar to 0.9 bar), by no more than half the "
        "planned span: used.",
    ),
    (
        Finding(RecordKind.OUTSIDE_LEFT_OUT, ONE, {"column": "standoff_mm", "now": 3.0, "low": 0.6, "high": 1.4}),
        "Coupon K7T lies far outside the plan (standoff 3 mm, planned 0.6 mm to 1.4 mm), by more than half the planned "
        "span: graded, but left out of means, comparisons and chances.",
    ),
    (
        Finding(RecordKind.COUPONS_MOVED, TWO, {"what": "sheet", "now": "S2", "was": "S1"}),
        "Coupons K7T, B2M were cut on sheet S2, planned on S1.",
    ),
    (
        Finding(RecordKind.MOUNT_ADDED, MOUNT, {"fitted": "double D1"}),
        "Mount M2 was added: double D1 was fitted again.",
    ),
    (
        Finding(RecordKind.MOUNT_HELD_OTHER, MOUNT, {"fitted": "double D1", "was": "double D2"}),
        "Mount M2 held double D1, planned double D2.",
    ),
    (
        Finding(RecordKind.MOUNT_ON_OTHER_SHEET, MOUNT, {"now": "S2", "was": "S1"}),
        "Mount M2 was on sheet S2, planned S1.",
    ),
    (
        Finding(RecordKind.WINDOW_CHANGED, MOUNT, {"fitted": "double D1"}),
        "The protective window was changed during mount M2 (double D1).",
    ),
    (Finding(RecordKind.NOT_CENTRED, MOUNT, {"fitted": "double D1"}), "Mount M2 (double D1) was not centred."),
    (
        Finding(RecordKind.NOT_CALIBRATED, MOUNT, {"fitted": "double D1"}),
        "Mount M2 (double D1) was not calibrated for height.",
    ),
    (Finding(RecordKind.SHEET_ADDED, facts={"sheet": "S9"}), "Sheet S9 was added."),
    (Finding(RecordKind.NO_READING, TWO), "No reading of Rz5 on K7T, B2M."),
    (Finding(RecordKind.FEWER_READINGS, ONE, {"wanted": 3}), "Fewer than the planned 3 readings of Rz5 on K7T."),
    (
        Finding(
            RecordKind.SLIP,
            ONE,
            {"reading": 2, "value": Amount(3.1, "um"), "median": Amount(31.0, "um"), "where": Where.COUPON.value},
        ),
        "coupon K7T, reading 2: Rz5 3.1 µm is 0.1 of the median 31 µm of the other readings of its coupon; a slip of "
        "the pen or a wrong unit?",
    ),
    (
        Finding(RecordKind.INSTRUMENT_UNKNOWN, facts={"instrument": "stylus 4", "values": 1}),
        "Instrument stylus 4 measured 1 value and is not in the register.",
    ),
    (
        Finding(RecordKind.CALIBRATION_OPEN, facts={"instrument": "stylus 4", "values": 2, "last": "2026-03-03"}),
        "Instrument stylus 4 measured 2 values on days that no calibration on record covers, the last on 2026-03-03.",
    ),
    (Finding(RecordKind.COUPONS_OPEN, facts={"coupons": 1}), "1 coupon is not recorded as cut."),
    (Finding(RecordKind.WITHOUT_READINGS, TWO), "2 cut coupons have no readings: K7T, B2M."),
    (Finding(RecordKind.CUTS_KNOWN, facts={"rows": 1}), "1 cut record was already there and equal; ignored."),
    (Finding(RecordKind.READINGS_KNOWN, facts={"rows": 2}), "2 readings were already there and equal; ignored."),
    (
        Finding(
            RecordKind.CORRECTION_STANDS,
            facts={
                **{"mark": "K7T", "reading": 2, "repeat": 0, "column": "rz5_um", "found": 352.0, "kept": 35.2},
                **{"file": "r.csv", "row": 7},
            },
        ),
        "K7T, reading 2: rz5_um 352 was corrected to 35.2 since, and that stands; mend the cell (row 7 of r.csv).",
    ),
    (
        Finding(
            RecordKind.WITHDRAWAL_STANDS,
            facts={
                **{"mark": "K7T", "reading": 2, "repeat": 1, "column": "rz5_um", "found": 35.0, "kept": None},
                **{"file": "r.csv", "row": 7},
            },
        ),
        "K7T, reading 2, repeat 1: rz5_um 35 was withdrawn since, and that stands; empty the cell (row 7 of r.csv).",
    ),
    (Finding(RecordKind.EQUAL_CELLS, facts={"cells": 1}), "1 cell repeats an equal one above; ignored."),
    (
        Finding(RecordKind.COLUMNS_LEFT_OUT, facts={"columns": ("weather", "shift")}),
        "Columns left out: weather, shift.",
    ),
    (Finding(RecordKind.ROWS_WITHOUT_OUTCOME, facts={"rows": 1}), "1 row has no outcome yet; left out."),
    (Finding(RecordKind.PLANNED_ORDER_TAKEN), "No column cut_order: the planned order was taken."),
    (Finding(RecordKind.READ_AS_LATIN, facts={"file": "t.csv"}), "t.csv: not UTF-8; read as Windows-1252 (Latin-1)."),
    (
        Finding(RecordKind.READINGS_OPEN, About(response="Rz5"), {"open": 1, "wanted": 9}),
        "Rz5: 1 reading of 9 is open.",
    ),
    (
        Finding(RecordKind.READINGS_OPEN, About(response="Rz5"), {"open": 2, "wanted": 9}),
        "Rz5: 2 readings of 9 are open.",
    ),
    (
        Finding(RecordKind.REPEATS_OPEN, About(response="Rz5"), {"open": 3, "wanted": 3}),
        "Rz5: 3 repeats of 3 are open.",
    ),
    (
        Finding(RecordKind.NOT_MEASURABLE, TWO, {"reason": "dross over the whole edge"}),
        "Rz5 could not be measured on K7T, B2M: dross over the whole edge.",
    ),
    (
        Finding(RecordKind.TITLES_PASSED_OVER, facts={"file": "t.csv", "rows": 2, "row": 4}),
        "t.csv: the header was found in row 4; what stands above was passed over.",
    ),
    (
        Finding(RecordKind.SHEET_RENAMED, facts={"sheet": "Monday", "wanted": "readings"}),
        "No sheet readings: taken from the sheet Monday, the only one with its columns.",
    ),
    (
        Finding(RecordKind.NAMES_TAKEN_AS, facts={"column": "instrument", "found": "Stylus 4", "kept": "stylus 4"}),
        "instrument Stylus 4 is taken as stylus 4, which differs only in case or spaces.",
    ),
    (
        Finding(RecordKind.READING_UNPLANNED, TWO, {"reading": 9, "wanted": 3}),
        "Reading 9 of Rz5 on K7T, B2M, where the plan asks for 3: a slip of the number?",
    ),
    (
        Finding(RecordKind.DATED_LATER, facts={"rows": 1, "last": "2062-03-04"}),
        "1 row is dated after the day of its entry, 2062-03-04; correct the date.",
    ),
    (
        Finding(RecordKind.DATED_LATER, facts={"rows": 2, "last": "2062-03-04"}),
        "2 rows are dated after the day of their entry, the last 2062-03-04; correct the dates.",
    ),
    (
        Finding(RecordKind.SIDE_UNKNOWN, ONE, {"side": "lefft", "known": ("left", "right")}),
        "Side lefft on K7T is none of left, right: differences between sides are looked for by these words.",
    ),
    (
        Finding(RecordKind.NOTED_GOOD, facts={"notes": 2, "ended": "taken off good"}),
        "2 notes say still good: kept as taken off good in the column ended.",
    ),
    (Finding(RecordKind.ORDER_NOT_RANDOM), "Adopted table: the order of cutting is not known to be random."),
    (
        Finding(RecordKind.WORTHWHILE_ASSUMED, facts={"share": Amount(15.0, "%")}),
        "No worthwhile difference was given: 15 % is taken until `trials amend` says otherwise.",
    ),
]


@pytest.mark.parametrize(("finding", "sentence"), SAID, ids=[finding.kind.value for finding, _ in SAID])
def test_each_finding_is_said(finding, sentence):
    assert say(finding) == sentence


def test_every_kind_has_an_example_above():
    assert {finding.kind for finding, _ in SAID} == set(records.SENTENCES)


ENTRIES = [
    (JournalKind.FROZEN, {"coupons": 8, "mounts": 4, "sheets": 1}, "8 coupons, 4 mounts, 1 sheet"),
    (JournalKind.PLAN, {"text": "As the planner said."}, "As the planner said."),
    (JournalKind.AMENDED, {"key": "plan.seed", "old": "1", "new": "2"}, "plan.seed: 1 -> 2"),
    (JournalKind.LOTS, {"key": "lots.double", "old": "absent", "new": '["L1"]'}, 'lots.double: absent -> ["L1"]'),
    (
        JournalKind.BLOCK_ADDED,
        {"block": 2, "coupons": 1, "declared": False},
        "block 2, 1 coupon, not declared before cutting",
    ),
    (JournalKind.REPEAT_MARKS, {"coupons": 11}, "second marks for 11 coupons that are measured again"),
    (JournalKind.CUTS_RECORDED, {"coupons": 8, "details": 0, "as_planned": True}, "8 coupons, as planned"),
    (JournalKind.READINGS_RECORDED, {"readings": 1, "coupons": 1}, "1 reading of 1 coupon"),
    (
        JournalKind.READING_CORRECTED,
        {"coupon": "A", "reading": 1, "repeat": 2, "field": "u_mm", "old": 0.2, "new": None},
        "coupon A, reading 1, repeat 2, u: 0.2 mm -> withdrawn",
    ),
    (
        JournalKind.CUT_CORRECTED,
        {"of": "coupon", "mark": "A", "column": "note", "old": "", "new": "hung"},
        "coupon A, note: empty -> hung",
    ),
    (
        JournalKind.MOUNT_CORRECTED,
        {"of": "mount", "mark": "M1", "column": "order", "old": 1, "new": 2},
        "mount M1, order: 1 -> 2",
    ),
    (
        JournalKind.SHEET_CORRECTED,
        {"of": "sheet", "mark": "S1", "column": "heat_lot", "old": "H1", "new": "H2"},
        "sheet S1, heat lot: H1 -> H2",
    ),
    (
        JournalKind.SLIP_CONFIRMED,
        {"coupon": "A", "reading": 1, "field": "rz5_um", "value": 310.0},
        "coupon A, reading 1, Rz5 310 µm",
    ),
    (
        JournalKind.INSTRUMENT,
        {
            "instrument": "stylus 4",
            "calibrated_on": "",
            "due_on": "2027-01-10",
            "uncertainty": {"u_mm": 0.01},
            "note": "",
        },
        "stylus 4: no calibration stated, due 2027-01-10, U of u 0.01 mm (k = 2).",
    ),
    (JournalKind.RETIRED, {"specimen": "D1", "nozzle": "double"}, "specimen D1 (double) retired"),
    (JournalKind.ADOPTED, {"file": "t.csv", "rows": 1, "coupons": 1}, "t.csv: 1 row, 1 coupon"),
    (JournalKind.VERDICT, {"look": 1}, "look 1 kept"),
    (JournalKind.PROVISIONAL, {"fingerprint": "ab12"}, "verdict read while a reading was open"),
]


@pytest.mark.parametrize(("kind", "payload", "sentence"), ENTRIES, ids=[kind.value for kind, *_ in ENTRIES])
def test_each_journal_entry_is_said(kind, payload, sentence):
    assert records.entry(kind, payload) == sentence


def test_every_kind_of_entry_has_an_example_above():
    assert {kind for kind, *_ in ENTRIES} == set(JournalKind)


def test_of_many_marks_the_first_eight_are_named():
    marks = tuple(f"K{i}" for i in range(11))
    assert records.marks(marks[:8]) == "K0, K1, K2, K3, K4, K5, K6, K7"
    assert records.marks(marks) == "K0, K1, K2, K3, K4, K5, K6, K7 and 3 more"


@pytest.mark.parametrize(
    ("step", "facts", "note"),
    [
        (Step.PLAN, {"frozen_on": ""}, "not frozen yet"),
        (Step.PLAN, {"frozen_on": "2026-03-02"}, "frozen 2026-03-02"),
        (Step.CUT, {}, ""),
        (Step.CUT, {"not_severed": 1, "scrapped": 2}, "1 not severed, 2 scrapped"),
        (Step.MEASURED, {"values": 1}, "1 value"),
        (Step.VERDICT, {"up_to_date": None}, "none yet"),
        (Step.VERDICT, {"up_to_date": True}, "up to date"),
        (Step.VERDICT, {"up_to_date": False}, "records changed since"),
    ],
)
def test_notes_of_steps(step, facts, note):
    assert records.step_note(step, facts) == note


CUT = Command("cut", ("my trial", Blank.FILE))


@pytest.mark.parametrize(
    ("following", "words"),
    [
        (Next(Command("verdict", ("a",))), "trials verdict a"),
        (Next(CUT, before=Before.CUT), "cut the coupons, then `trials cut 'my trial' FILE`"),
        (Next(CUT, before=Before.MEASURE), "measure at the bench, then `trials cut 'my trial' FILE`"),
        (
            Next(CUT, instead=Command("cut", ("a", "--as-planned"))),
            "trials cut 'my trial' FILE, or `trials cut a --as-planned`",
        ),
        (Next(Command("fit", ("a",)), open="a/verdict.pdf"), "open a/verdict.pdf; `trials fit a` shows the numbers"),
        (
            Next(CUT, before=Before.LOOK, coupon="K7T", instead=Command("correct", ("a", "--as-read"))),
            "look at coupon K7T again, then `trials cut 'my trial' FILE`, or `trials correct a --as-read` if it is "
            "right as it is",
        ),
    ],
)
def test_what_comes_next_in_words(following, words):
    assert records.next_words(following) == words


def test_another_language_reaches_every_sentence():
    other = language.Language("xx", lambda template: f"xx {template}", lambda one, many, n: f"xx {many}")
    with language.speaking(other):
        assert all(say(finding).startswith("xx ") for finding, _ in SAID)
