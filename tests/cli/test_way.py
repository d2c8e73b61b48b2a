"""The way of a trial through the commands: each works, each names the next step, nothing is lost."""

import json
import re
from contextlib import redirect_stdout
from io import StringIO

import pytest

from trials.cli.main import app, run


def test_status_names_the_next_command_after_every_step(trials, small):
    assert "Next: trials plan" in trials("status", small("new")).out
    frozen = small("frozen")
    assert "Next: trials sheet" in trials("status", frozen).out
    assert trials("sheet", frozen).code == 0
    assert "run-workbook.xlsx`" in re.sub(r"\s+", " ", trials("status", frozen).out)
    cut = small("cut")
    assert "Next: trials record" in trials("status", cut).out
    measured = small("measured")
    assert "Next: trials verdict" in trials("status", measured).out
    assert trials("verdict", measured).code == 0
    assert "verdict.pdf" in trials("status", measured).out.split("Next:")[1]


def test_plan_freezes_once(trials, small):
    folder = small("new")
    shown = trials("plan", folder, "--show")
    assert shown.code == 0 and not (folder / "trial.db").exists()
    assert "18 coupons" in shown.out
    assert trials("plan", folder).code == 0
    again = trials("plan", folder)
    assert again.code == 2 and "frozen already" in again.err


def test_papers_of_the_cutting_day(trials, small):
    folder = small("frozen")
    said = trials("sheet", folder)
    papers = folder / "papers"
    assert said.code == 0 and f"For the bench: {papers / 'bench'}" in " ".join(said.out.split())
    assert {"run-sheet.pdf", "run-workbook.xlsx", "repeat-labels.pdf"} <= {path.name for path in papers.iterdir()}
    bench = {path.name for path in (papers / "bench").iterdir()}
    assert {"bench-card.pdf", "labels.pdf", "bench-workbook.xlsx", "repeats-workbook.xlsx"} <= bench


def filled(source, target, outcomes):
    """The run workbook as an operator hands it back: outcomes, one changed setting, one mount not centred."""
    import xlsxwriter
    from python_calamine import CalamineWorkbook

    book = CalamineWorkbook.from_path(source)
    with xlsxwriter.Workbook(target) as out:
        for name in book.sheet_names:
            rows = book.get_sheet_by_name(name).to_python()
            if name == "cuts":
                place = rows[0].index("outcome")
                for i, row in enumerate(rows[1:]):
                    row[place] = outcomes.get(i, "cut")
                rows[5][rows[0].index("changed_setting")] = "pressure_bar=0.6"
            if name == "mounts":
                rows[1][rows[0].index("centring_checked")] = "no"
            page = out.add_worksheet(name)
            for i, row in enumerate(rows):
                page.write_row(i, 0, row)


def test_the_filled_workbook_comes_back(trials, small, tmp_path):
    folder = small("frozen")
    trials("sheet", folder)
    blank = trials("cut", folder, folder / "papers" / "run-workbook.xlsx")
    assert blank.code == 0 and "18 rows have no outcome yet" in blank.out and "fill in" in blank.out
    filled(folder / "papers" / "run-workbook.xlsx", tmp_path / "back.xlsx", {2: "not_severed", 9: "scrapped"})
    done = trials("cut", folder, tmp_path / "back.xlsx", "--who", "AB")
    assert done.code == 0 and "18 cuts recorded" in done.out, done.out + done.err
    from trials.steps import load
    from trials.store.records.as_cut import departures
    from trials.words.findings import say

    said = " ".join(map(say, departures(load(folder))))
    for words in ("was not severed", "was scrapped", "was cut with pressure 0.6 bar", "was not centred"):
        assert words in said
    again = trials("cut", folder, tmp_path / "back.xlsx")
    assert again.code == 0 and "0 cuts recorded, 18 on record already" in again.out


@pytest.fixture(scope="module")
def fitted(states):
    """What `trials fit --json` prints of the measured trial."""
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(StringIO()) as out:
        patch.setattr("sys.argv", ["trials", "fit", str(states / "measured"), "--json"])
        with pytest.raises(SystemExit):
            run()
    return json.loads(out.getvalue())


def test_fit_as_json_has_the_documented_keys(fitted):
    result = fitted["results"][0]
    for key in ("response", "scale", "unit", "n_readings", "n_coupons", "rests_on", "terms", "spread", "means"):
        assert key in result
    assert set(result["terms"][0]) >= {"term", "df", "den_df", "F", "p"}
    assert set(result["spread"][0]) >= {"source", "sd", "share"}
    assert set(result["means"][0]) >= {"nozzle", "settings", "mean", "low", "high"}
    comparison = result["comparisons"][0]
    keys = {"nozzle", "against", "settings", "kind", "value", "low", "high", "p", "answer", "answer_adds"}
    assert set(comparison) >= keys
    assert comparison["kind"] == "ratio" and comparison["answer"] in ("better", "not settled")
    assert result["rests_on"] == "6 specimens on 3 sheets; 2 degrees of freedom"


def test_balanced_terms_equal_the_classical_strata(fitted):
    result = fitted["results"][0]
    if min(s["sd"] for s in result["spread"]) > 1e-6:
        for term in result["terms"]:  # a balanced trial gives exactly the strata tests
            assert term["F"] == pytest.approx(term["F_classical"], rel=1e-6)


def test_grade_as_json(trials, at):
    rows = json.loads(trials("grade", at("measured"), "--json").out)["coupons"]
    assert len(rows) == 54
    assert set(rows[0]) >= {"roughness_range", "squareness_range", "dross_grade", "designation", "meets", "why"}
    assert {row["meets"] for row in rows} <= {"yes", "no", "undecided"}


def test_grade_of_one_edge(trials):
    done = trials("grade", "--u", 0.12, "--rz5", 31, "--thickness", 6, "--json")
    found = json.loads(done.out)
    assert (found["squareness_range"], found["roughness_range"]) == (2, 2)
    assert found["designation"] == "ISO 9013-220"


def test_verdict_is_remade_byte_for_byte(trials, small, tmp_path):
    folder = small("measured")
    first = trials("verdict", folder)
    assert first.code == 0, first.err
    before = (folder / "verdict.pdf").read_bytes()
    assert trials("verdict", folder, "--out", tmp_path / "again.pdf").code == 0
    assert (tmp_path / "again.pdf").read_bytes() == before


BY = ("--reading", "1", "--who", "AB", "--why", "read again")


def first_coupon(trials, folder):
    return json.loads(trials("grade", folder, "--json").out)["coupons"][0]["coupon"]


def verdict_of(trials, folder):
    found = json.loads(trials("verdict", folder, "--json").out)
    return found["look"], found["study"]


def test_a_correction_is_no_further_look_and_is_printed(trials, small):
    from trials.store.records import kept_looks

    folder = small("measured")
    trials("verdict", folder)
    paper = (folder / "verdict.pdf").read_bytes()
    assert trials("correct", folder, first_coupon(trials, folder), "rz5_um", "33.3", *BY).code == 0
    assert json.loads(trials("status", folder, "--json").out)["next"]["command"]["name"] == "verdict"
    look, study = verdict_of(trials, folder)
    assert (look, study["exploratory"]) == (1, False)
    (kept,) = kept_looks(folder)
    # the first paper stays as it was kept; what is printed now is that of the corrected records
    assert kept.paper == paper and (folder / "verdict.pdf").read_bytes() != paper
    (said,) = [found for found in study["departures"] if found["kind"] == "reading_was_corrected"]
    assert said["facts"]["new"] == 33.3 and said["facts"]["who"] == "AB"


def test_a_withdrawn_reading_is_a_further_look_and_exploratory(trials, small):
    from trials.store.records import kept_looks

    folder = small("measured")
    trials("verdict", folder)
    assert trials("correct", folder, first_coupon(trials, folder), "rz5_um", "--withdraw", *BY).code == 0
    look, study = verdict_of(trials, folder)
    assert (look, study["exploratory"]) == (2, True)
    assert len(kept_looks(folder)) == 2


@pytest.mark.parametrize(("value", "look"), [("33.3", 1), ("--withdraw", 2)])
def test_while_a_reading_is_open_a_verdict_is_provisional_and_uses_no_look(trials, small, value, look):
    from trials.store.records import kept_looks

    folder = small("measured")
    coupon = first_coupon(trials, folder)
    assert trials("correct", folder, coupon, "rz5_um", "333", *BY).code == 0
    for _ in range(2):
        seen, study = verdict_of(trials, folder)
        assert (seen, study["provisional"], study["exploratory"]) == (1, True, False)
        assert (folder / "verdict.pdf").is_file() and kept_looks(folder) == ()
    # read right, the question is the same; taken back after words were read, it is another one
    assert trials("correct", folder, coupon, "rz5_um", value, *BY).code == 0
    seen, study = verdict_of(trials, folder)
    assert (seen, study["provisional"], study["exploratory"]) == (look, False, look > 1)
    assert [kept.look for kept in kept_looks(folder)] == [look]


def test_amendment_is_needed_kept_and_printed(trials, small):
    folder = small("measured")
    file = folder / "trial.toml"
    file.write_text(file.read_text().replace('"15 %"', '"10 %"'), encoding="utf-8")
    refused = trials("fit", folder)
    assert refused.code == 2 and "trials amend" in refused.err and "worthwhile" in refused.err
    assert trials("amend", folder, "--who", "AB", "--why", "customer asked").code == 0
    assert trials("fit", folder).code == 0


def test_a_correction_keeps_the_old_row(trials, small):
    from trials.steps import load

    folder = small("measured")
    before = load(folder)
    row = before.readings[before.readings["field"] == "rz5_um"].iloc[0]
    words = ("--reading", row["reading"], "--who", "AB", "--why", "decimal point")
    assert trials("correct", folder, row["coupon"], "rz5_um", "30.1", *words).code == 0
    after = load(folder)
    assert len(after.all_readings) == len(before.all_readings) + 1
    assert len(after.readings) == len(before.readings)


def test_help_of_every_command_holds_an_example(trials):
    listed = trials("--help").out.split("--help")[1]
    names = re.findall(r"^  (\w[\w-]*)  ", listed, flags=re.M)
    assert len(names) == len(app.registered_commands)
    assert {"new", "plan", "sheet", "cut", "record", "correct", "amend", "adopt", "grade", "fit", "verdict"} <= set(
        names
    )
    for name in names:
        assert "Example:" in trials(name, "--help").out, name


def test_fit_answers_on_one_screen_and_prints_the_rest_on_request(trials, at):
    folder = at("measured")
    lines = trials("fit", folder).out.splitlines()
    assert len(lines) <= 40 and max(map(len, lines)) <= 80 + len(str(folder)), lines
    assert any(line.startswith("How sure") for line in lines)
    full = trials("fit", folder, "--full").out
    assert len(full.splitlines()) > len(lines) and "Spread of one reading" in full and "den df" not in full
