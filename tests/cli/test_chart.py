"""The shop's chart on the command line: cells, marks, what to stock, files."""

import csv
import io
import json

import pytest
from shop import BETTER, STEEL_4, STEEL_12, make_shop, make_trial


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    return make_shop(tmp_path_factory.mktemp("shop"))


@pytest.fixture
def found(trials, shop):
    return json.loads(trials("chart", *shop, "--json").out)


def row(found, folder):
    return next(one for one in found["rows"] if one["folder"].endswith(folder))


def cell(found, folder, nozzle):
    return row(found, folder)["cells"][found["types"].index(nozzle)]


def test_jobs_stand_thinnest_first_and_trials_of_one_job_side_by_side(found):
    assert [one["thickness_mm"] for one in found["rows"]] == [6.0, 4.0, 12.0, 12.0]  # by material, then thickness
    assert [one["folder"].rsplit("/", 1)[1] for one in found["rows"]][2:] == ["steel-12", "steel-12-again"]
    assert [one["day"] for one in found["rows"]][2:] == ["2026-03-02", "2025-09-01"]
    assert "chart_not_pooled" in [one["kind"] for one in found["said"]]


def test_a_cell_holds_the_word_and_the_gain_and_is_blank_where_nobody_looked(found):
    double = cell(found, "steel-12", "double")
    assert (double["said"][0]["answer"], double["said"][0]["value"], double["serves"]) == ("better", 0.67, True)
    assert cell(found, "steel-12", "plain")["today"] is True and cell(found, "steel-12", "plain")["serves"] is True
    assert cell(found, "steel-12", "wide") is None
    assert cell(found, "steel-12", "conical")["serves"] is False


def test_another_machine_and_an_old_calibration_are_marked(trials, shop, found):
    assert found["machine"] == "M1"
    assert row(found, "stainless-6")["marks"] == ["another machine"] and row(found, "steel-4")["marks"] == []
    other = json.loads(trials("chart", *shop, "--machine", "m2", "--json").out)
    assert row(other, "stainless-6")["marks"] == [] and row(other, "steel-4")["marks"] == ["another machine"]


def test_measured_before_the_last_calibration(tmp_path):
    from trials.steps.chart import chart
    from trials.steps.instrument import Instrument, enter_instrument
    from trials.store.records import load, record_as_planned, record_readings

    first, second = (make_trial(tmp_path, name, STEEL_12, {"double": (BETTER, 0.7)}) for name in ("old", "new"))
    for folder, day in ((first, "2026-01-10"), (second, "2026-02-20")):
        record_as_planned(folder)
        reading = {"coupon": load(folder).coupons["coupon"].iloc[0], "reading": 1, "field": "rz5_um", "value": 30.0}
        import pandas as pd

        record_readings(folder, pd.DataFrame([reading | {"instrument": "T7", "measured_on": day}]))
    enter_instrument(second, Instrument("T7", "2026-02-01", "", {}, ""), "AB")
    marks = {one.seen.folder: [mark.value for mark in one.marks] for one in chart([first, second]).rows}
    assert marks == {str(first): ["before calibration"], str(second): []}


def test_the_shortest_list_serves_every_job_and_says_what_leaving_out_costs(found):
    # by the newest word double serves all three jobs; plain, today's, only two
    assert found["stock"]["nozzles"] == ["double"] and found["stock"]["price"] == 24.0
    assert [loss["now"] for loss in found["stock"]["left_out"][0]["losses"]] == ["", "", ""]
    assert any("1 nozzle type serves every job: double." in line for line in found["sentences"])
    # the two trials of 12 mm disagree on double: said
    disagree = [one for one in found["said"] if one["kind"] == "chart_trials_disagree"]
    assert [one["about"]["nozzle"] for one in disagree] == ["double"]


def test_a_folder_without_a_verdict_is_said(trials, shop, found):
    (one,) = [each for each in found["said"] if each["kind"] == "chart_no_verdict"]
    assert one["facts"]["folder"].endswith("not-yet")
    alone = trials("chart", shop[-1])
    assert alone.code == 2 and "no folder holds a kept verdict" in alone.err and "trials verdict" in alone.err


def test_names_that_may_be_one_type_are_asked_about(tmp_path):
    from shop import FORMS

    from trials.steps.chart import chart

    forms = FORMS | {"Double": FORMS["double"], "plain": ("conical", "single", 2.0, 9.0)}
    first = make_trial(tmp_path, "a", STEEL_12, {"double": (BETTER, 0.7)})
    second = make_trial(tmp_path, "b", STEEL_4, {"Double": (BETTER, 0.7)}, forms=forms)
    said = {one.kind.value: one for one in chart([first, second]).said}
    assert said["chart_spelled_twice"].about.nozzles == ("double", "Double")
    assert said["chart_two_forms"].about.nozzle == "plain"


def test_files_and_screen(trials, shop, tmp_path):
    done = trials("chart", *shop, "--out", tmp_path / "chart.pdf")
    assert done.code == 0 and "not settled" in done.out and "Next:" in done.out
    assert (tmp_path / "chart.pdf").read_bytes().startswith(b"%PDF")
    assert trials("chart", *shop, "--out", tmp_path / "chart.csv").code == 0
    rows = list(csv.DictReader(io.StringIO((tmp_path / "chart.csv").read_text(encoding="utf-8"))))
    assert len(rows) == 12 and {one["nozzle"] for one in rows if one["today"] == "yes"} == {"plain", "conical"}
    assert next(one["value"] for one in rows if one["answer"] == "better") == "0.8"


def test_nonsense_in_place_of_every_sentence_changes_no_value(shop):
    from words.nonsense import NONSENSE, without_prose

    from trials.steps.chart import chart, chart_json
    from trials.words.language import speaking

    plain = chart_json(chart(shop))
    with speaking(NONSENSE):
        other = chart_json(chart(shop))
    assert plain["sentences"] != other["sentences"] and plain["stock"] == other["stock"]
    assert without_prose(plain["rows"]) == without_prose(other["rows"])
    assert [one["kind"] for one in plain["said"]] == [one["kind"] for one in other["said"]]


BAD = [
    (lambda shop, tmp: (shop[0], shop[0]), "is named twice"),
    (lambda shop, tmp: (tmp,), "not a trial folder"),
    (lambda shop, tmp: (shop[0], "--out", tmp / "chart.doc"), "not a name for the chart"),
    (lambda shop, tmp: (), "Missing argument"),
]


@pytest.mark.parametrize(("words", "line"), BAD, ids=[line for _, line in BAD])
def test_a_bad_chart_is_one_line(trials, shop, tmp_path, words, line):
    done = trials("chart", *words(shop, tmp_path))
    assert done.code == 2 and line in done.err and done.err.count("\n") == 1 and done.out == ""
    assert not list(tmp_path.iterdir())
