"""The invented ladder beside the truth that made it: the first page answers its own question."""

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from trials import steps
from trials.decide.kinds import StudyKind
from trials.decide.ladder import LadderKind
from trials.next_command import Command
from trials.report.first_page import nozzle_table
from trials.store import intake, records
from trials.store.records.folder import read_trial
from trials.words.decision import decision_rows
from trials.words.findings import say
from trials.words.first_page import answer_box
from trials.words.study import answer_sentence, basis_words

HOME = Path(__file__).parent.parent / "example_data" / "oxygen_4mm"
MOMENT = datetime(2026, 1, 12, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def folder(example):
    return example("oxygen_4mm")


@pytest.fixture(scope="module")
def study(folder):
    return steps.fit(folder)


@pytest.fixture(scope="module")
def truth():
    return json.loads((HOME / "truth.json").read_text(encoding="utf-8"))["types"]


def test_speeds_and_ratios_hold_the_truth(study, truth):
    for each in study.ladder.types:
        true = truth[each.nozzle]
        assert each.low <= true["typical_m_min"] <= each.high
        # a bound at 95 % may fail once in twenty; in these committed data none does
        assert 2.5 < each.clean_95_low <= true["clean_95_m_min"]
    assert {c.nozzle for c in study.ladder.comparisons} == {"shower", "long_cone"}
    for c in study.ladder.comparisons:
        assert c.kind == "ratio" and c.low <= truth[c.nozzle]["ratio_to_today"] <= c.high
        assert c.answer in (truth[c.nozzle]["true_answer"], "not settled")
    assert next(c.answer for c in study.ladder.comparisons if c.nozzle == "shower") == "better"


def test_the_sentence_and_the_next_step_are_about_speed(study):
    assert "shower is better than today's cylindrical" in answer_sentence(study)
    assert "clean up to" in answer_sentence(study) and "m/min" in answer_sentence(study)
    assert [row.answers[0].response for row in study.nozzles if not row.today] == ["clean_speed"] * 2
    first = study.next_steps[0].finding
    assert first.kind == LadderKind.CONSIDER and "95 % of its mounts cut clean up to at least" in say(first)


def test_the_first_page_says_what_most_mounts_keep_clean_and_counts_no_failed_edges(folder, study, truth):
    table = nozzle_table(study, read_trial(folder)[0], None)
    assert table["nozzle_head"] == [
        "Nozzle type",
        "Half clean up to, m/min",
        "Cut, of those tried",
        "Price, EUR",
        "Answer",
    ]
    assert not table["nozzle_bars"] and "Of 100 edges" not in table["table_note"]
    gain = dict(decision_rows(study))["Gain"]
    safe = {each.nozzle: f"{each.clean_95_low:.2f}" for each in study.ladder.types}
    assert gain == (
        f"95 % of the mounts stay clean up to {safe['shower']} m/min at least, with Cylindrical up to "
        f"{safe['cylindrical']} m/min."
    )
    typical = {each.nozzle: f"{each.typical:.2f}" for each in study.ladder.types}
    box = str(answer_box(study))
    assert f"up to {safe['shower']} m/min: at least 95 % of its mounts stay clean" in box
    assert (
        f"Half its mounts stay clean up to {typical['shower']} m/min, with Cylindrical up to {typical['cylindrical']} "
        "m/min: +"
    ) in box


def test_steps_left_by_the_stop_rule_are_not_missing(folder, study):
    found = steps.status(folder)
    assert found.open == () and found.next.command == Command("verdict", (str(folder),))
    assert all(step.command != "cut" for step in study.next_steps)
    table = steps.evidence(steps.load(folder)).coupons
    counts = table["outcome"].value_counts()
    assert counts["not_cut"] == 162 - len((HOME / "cuts.csv").read_text().splitlines()) + 1
    assert "not cut yet" not in counts
    # a coupon is left only above the last that was cut of its mount
    for _, rows in table.groupby("mount"):
        done = rows["outcome"] != "not_cut"
        assert rows.loc[done, "speed_m_min"].max() < rows.loc[~done, "speed_m_min"].min() or done.all()


def test_a_mount_not_begun_is_still_to_be_cut(tmp_path):
    (tmp_path / "trial.toml").write_bytes((HOME / "trial.toml").read_bytes())
    steps.freeze(tmp_path, steps.propose(read_trial(tmp_path)[0]), MOMENT)
    lines = (HOME / "cuts.csv").read_text().splitlines()
    first = lines[1].split(",")[2]
    begun = [lines[0], *(line for line in lines[1:] if line.split(",")[2] == first)]
    (tmp_path / "cuts.csv").write_text("\n".join(begun) + "\n")
    records.record_cuts(tmp_path, intake.read_cuts(tmp_path / "cuts.csv", steps.load(tmp_path)), None, None, at=MOMENT)
    found = steps.status(tmp_path)
    assert found.open[0].facts["coupons"] == 162 - 9 and found.next.command.name == "cut"
    assert found.next.instead is None  # nothing offers to record steps that were not cut as cut


def test_machine_readable_keys(study):
    ladder = steps.plain(study)["ladder"]
    assert {"nozzle", "typical", "low", "high", "clean_95", "clean_95_low"} <= set(ladder["types"][0])
    keys = {"nozzle", "against", "settings", "kind", "value", "low", "high", "p", "answer", "answer_adds"}
    assert keys <= set(ladder["comparisons"][0]) and isinstance(ladder["comparisons"][0]["settings"], str)
    assert ladder["sentence"] in steps.plain(study)["sentence"]


def test_the_verdict_is_written(folder, tmp_path):
    copy = shutil.copytree(folder, tmp_path / "trial")
    assert steps.verdict(copy, at=MOMENT).path.read_bytes().startswith(b"%PDF")


def test_no_chance_at_one_speed_stands_beside_the_speeds_that_mounts_keep_clean(study):
    """95 % of the mounts are clean beyond 3.4 m/min; a curve over cuts that end at the first unclean one said 86 %."""
    assert study.chances == () and study.fewer == ()
    assert LadderKind.NO_CHANCE_AT_ONE_STEP in [finding.kind for finding in study.ladder.said]


def test_odds_are_not_told_where_the_types_do_not_shift_all_grades_alike(study):
    (dross,) = study.results
    kinds = [finding.kind for finding in dross.said]
    assert StudyKind.GRADES_NOT_ALIKE in kinds and StudyKind.GRADE_ODDS not in kinds


def test_more_degrees_of_freedom_than_specimens_are_explained(study):
    (dross,) = study.results
    assert dross.rests_on.df > dross.rests_on.n == 18
    assert "18 specimens on one sheet, and in part the coupons inside them; " in basis_words(dross)
