"""Lines put into a trial file: exactly these, every other byte as it was."""

import tomllib

import pytest
from tests_support import TRIAL_TEXT

from trials.errors import InputError
from trials.plan.settling.lines import Line, as_text, lines_of, more_marks, put_in
from trials.plan.settling.request import Candidate
from trials.trial import parse

PLAN = Candidate((5, 2), 1, 3, 1, 2, 1)


def test_the_file_makes_the_plan():
    changed = put_in(TRIAL_TEXT, lines_of(parse(TRIAL_TEXT), PLAN))
    trial = parse(changed)
    assert [len(nozzle.specimens) for nozzle in trial.nozzles] == [5, 2]
    assert trial.nozzles[0].specimens == ("C1", "C2", "C3", "C4", "C5")
    assert (trial.plan.coupons_per_mount, trial.plan.repeats, trial.plan.sheets) == (3, 1, 1)
    assert trial.responses["roughness"].readings == 2
    assert lines_of(trial, PLAN) == ()


def test_every_other_line_stays():
    lines = lines_of(parse(TRIAL_TEXT), PLAN)
    keys = {line.key for line in lines}
    kept = [row for row in TRIAL_TEXT.splitlines(keepends=True) if row.split("=")[0].strip() not in keys]
    changed = put_in(TRIAL_TEXT, lines).splitlines(keepends=True)
    assert [row for row in changed if row.split("=")[0].strip() not in keys] == kept


def test_comments_line_ends_and_long_values():
    text = (
        "[plan]\r\nsheets = 3   # as many as there are\r\nlimits = [\r\n  1,\r\n]\r\n\r\n"
        '[[nozzles]]\r\ntype = "a#b"\r\nspecimens = [\r\n  "A1",  # one\r\n  "A2",\r\n]\r\nprice = 2'
    )
    lines = (Line("plan", "sheets", 1), Line("plan", "repeats", 2), Line("nozzles", "specimens", ["A1"], "a#b"))
    changed = put_in(text, lines)
    assert "sheets = 1   # as many as there are\r\n" in changed and "\n" not in changed.replace("\r\n", "")
    assert tomllib.loads(changed)["nozzles"][0] == {"type": "a#b", "specimens": ["A1"], "price": 2}
    assert changed.endswith("price = 2")


def test_a_table_that_is_missing_is_added():
    assert put_in("[trial]\nx = 1", (Line("plan", "sheets", 2),)) == "[trial]\nx = 1\n\n[plan]\nsheets = 2\n"


def test_a_header_that_ends_the_file_gets_its_line_below():
    assert put_in("[trial]\nx = 1\n[plan]", (Line("plan", "sheets", 2),)) == "[trial]\nx = 1\n[plan]\nsheets = 2\n"


@pytest.mark.parametrize("text", ['nozzles = [{ type = "a", specimens = ["A1"] }]\n', "plan.sheets = 3\n[plan.more]\n"])
def test_a_file_that_is_laid_out_otherwise_is_left_alone(text):
    line = Line("nozzles", "specimens", ["A1", "A2"], "a") if "nozzles" in text else Line("plan", "sheets", 1)
    with pytest.raises(InputError, match="by hand"):
        put_in(text, (line,))


def test_lines_as_text_stand_under_their_headers():
    shown = as_text((Line("nozzles", "specimens", ["A1"], "a"), Line("plan", "sheets", 1), Line("plan", "repeats", 2)))
    assert shown == '[[nozzles]]\ntype = "a"\nspecimens = ["A1"]\n\n[plan]\nsheets = 1\nrepeats = 2\n'


def test_further_marks_go_on_or_are_drawn_by_the_type():
    assert more_marks("double", ["D1", "D2"], 2, {"D1", "D2", "D3"}) == ["D4", "D5"]
    assert more_marks("double", ["D1"], 0, {"D1"}) == [] and more_marks("double", ["D1"], -1, set()) == []
    drawn = more_marks("double", ["7"], 2, {"7"})  # a number alone is no beginning
    assert len(set(drawn)) == 2 and all(mark[0].upper() == "D" for mark in drawn)
    assert more_marks("double", [], 1, {drawn[0]}) != [drawn[0]]


def test_lots_and_readings_follow_the_plan():
    text = TRIAL_TEXT.replace(
        'specimens = ["C1", "C2", "C3"]', 'specimens = ["C1", "C2", "C3"]\nlots = ["L1", "L1", "L2"]'
    )
    fewer = Candidate((2, 3), 1, 3, 1, 4, 3)
    found = {(line.table, line.key, line.nozzle): line.value for line in lines_of(parse(text), fewer)}
    assert found["nozzles", "lots", "cylindrical"] == ["L1", "L1"]
    assert ("nozzles", "specimens", "double") not in found
    assert found["responses.roughness", "readings", ""] == 4
    # squareness is no primary: it keeps its three where the plan takes more, and follows where it takes fewer
    assert ("responses.squareness", "readings", "") not in found
    two = {
        line.table: line.value
        for line in lines_of(parse(text), Candidate((3, 3), 1, 3, 1, 2, 3))
        if line.key == "readings"
    }
    assert two == {"responses.roughness": 2, "responses.squareness": 2}
    assert as_text(()) == ""
    kept = lines_of(parse(text), Candidate((3, 3), 1, 3, 1, 3, 3))
    assert not [line for line in kept if line.table == "nozzles"]


def test_only_the_named_block_is_changed():
    text = (
        '[[nozzles]]\ntype = "a"\nprice = 1\n\n[[nozzles]]\ntype = "b"  # the other\nprice = 2\n\n[plan]\nprice = 3\n'
    )
    changed = put_in(text, (Line("nozzles", "price", 9, "b"), Line("plan", "price", 8)))
    assert changed == text.replace("price = 2", "price = 9").replace("price = 3", "price = 8")
    added = put_in(text, (Line("nozzles", "lots", ["L1"], "b"),))
    assert added == text.replace('[[nozzles]]\ntype = "b"', '[[nozzles]]\nlots = ["L1"]\ntype = "b"')


def test_a_sign_of_a_comment_inside_quotes_is_none():
    text = "[plan]\n  note = 'a # b'   # so it is\nx = 'it#s'\n"
    changed = put_in(text, (Line("plan", "note", "c"), Line("plan", "x", 1)))
    assert changed == '[plan]\n  note = "c"       # so it is\nx = 1\n'


def test_a_value_that_ends_the_file_stays_without_a_line_end():
    assert put_in("[plan]\nx = 1", (Line("plan", "x", 2),)) == "[plan]\nx = 2"
    assert put_in("", (Line("plan", "x", 2),)) == "\n[plan]\nx = 2\n"
    several = "[plan]\nx = [\n  1,\n]"
    assert put_in(several, (Line("plan", "x", 2),)) == "[plan]\nx = 2"


def test_a_key_of_the_next_table_is_not_taken_for_ones_own():
    text = "[plan]\nsheets = 3\n[other]\nrepeats = 9\n"
    changed = put_in(text, (Line("plan", "repeats", 2),))
    assert tomllib.loads(changed) == {"plan": {"repeats": 2, "sheets": 3}, "other": {"repeats": 9}}
