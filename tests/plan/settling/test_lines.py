"""Lines put into a trial file: exactly these, every other byte as it was."""

import tomllib

import pytest
from tests_support import TRIAL_TEXT

from trials.errors import InputError
from trials.plan.settling.lines import Line, as_text, lines_of, put_in
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
