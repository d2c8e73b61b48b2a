"""The paper of the plan: what it says, from the real planner and the real assessment."""

import re
from datetime import date
from pathlib import Path

import pytest

from trials.plan.assess import assess
from trials.plan.assess.prediction_map import prediction_map
from trials.plan.choose import make_plan
from trials.report.plan_paper import PlanPaper, plan_data, plan_pdf
from trials.trial import parse

DAY = date(2026, 3, 2)
DESIGNS = Path(__file__).parents[2] / "designs"


def planned(text):
    """Trial, plan, assessment and map of a trial file."""
    trial = parse(text)
    plan = make_plan(trial)
    found = assess(trial, plan)
    known = found.prediction["response"].unique() if len(found.prediction) else []
    map_ = prediction_map(trial, plan, known[0], trial.today.type) if len(known) else None
    return trial, plan, found, map_


def data_of(text):
    """Sections of the paper by title."""
    trial, plan, found, map_ = planned(text)
    data = plan_data(PlanPaper(trial, plan, found, map_), DAY)
    return {part["title"]: part["blocks"] for part in data["sections"]}


@pytest.fixture
def design():
    return lambda name: (DESIGNS / f"{name}.toml").read_text(encoding="utf-8")


def tables(blocks):
    return [block for block in blocks if block["kind"] == "table"]


def lists(blocks):
    return " ".join(line for block in blocks if block["kind"] == "list" for line in block["items"])


def test_the_question_stands_with_what_can_be_seen_and_where_the_hour_pays(trial_text):
    found = data_of(trial_text)
    (seen,) = tables(found["What this plan can show"])
    # 6 specimens of 2 types on 3 sheets: 1 and 6 - 2 - 2 = 2 degrees of freedom
    assert seen["rows"][0][0] == "nozzle types, averaged over the settings" and seen["rows"][0][3] == "1, 2"
    assert "ends right with a chance of" in lists(found["What this plan can show"])
    curve = found["Mean height of profile Rz5: detectable difference against counts"]
    assert [block["kind"] for block in curve] == ["figure", "table", "text"]
    assert "next hour pays" in curve[2]["items"][0]
    assert {row[0] for row in curve[1]["rows"]} >= {"specimens", "mounts", "coupons", "readings"}
    # the plan itself stands in brackets, once for each part that is varied
    assert all(sum(cell.startswith("[") for cell in row[1:]) == 1 for row in curve[1]["rows"])
    assert "How well settings are predicted" in found and "Work and material" in found


def test_style_and_orifice_confounded_is_said_once(trial_text):
    first, second = trial_text.split("orifice_mm = 1.4", 1)
    found = data_of(f"{first}orifice_mm = 1.4{second.replace('orifice_mm = 1.4', 'orifice_mm = 1.7')}")
    line = "Every double-wall nozzle here has the larger orifice: wall and orifice cannot be told apart."
    assert lists(found["What this plan cannot show"]).count(line) == 1
    assert line not in lists(found["How the plan was made"])


def test_a_fraction_names_its_aliases_where_it_cannot_show_them(design):
    found = data_of(design("six-settings").replace('method = "screening"', 'method = "fraction"'))
    cannot = lists(found["What this plan cannot show"])
    assert re.search(r"[Pp]ressure x \w+ cannot be told apart from", cannot)
    assert "cannot be told apart from" not in lists(found["How the plan was made"])


def test_the_map_leaves_out_what_a_limit_forbids(trial_text):
    limited = trial_text.replace("[plan]\n", '[plan]\nlimits = [{ factor = "pressure", at_most = 0.8 }]\n')
    trial, plan, _, map_ = planned(limited)
    forbidden = map_.x > 0.8 + 1e-9
    assert bool(forbidden.any()) and all(map_.errors[:, ~forbidden].ravel() > 0)
    assert all(value != value for value in map_.errors[:, forbidden].ravel())


def test_the_map_equals_the_assessment_at_the_levels(trial_text):
    trial, plan, found, map_ = planned(trial_text)
    own = found.prediction[
        (found.prediction["response"] == "roughness") & (found.prediction["nozzle"] == "cylindrical")
    ]
    corner = own[(own["pressure_bar"] == 0.5) & (own["standoff_mm"] == 0.6)]["se"].item()
    assert map_.errors[0, 0] == pytest.approx(corner, rel=1e-9)


@pytest.mark.parametrize("name", ["nozzle-life", "check-the-bench"])
def test_a_plan_without_expected_spreads_still_has_its_paper(design, name):
    trial, plan, found, map_ = planned(design(name))
    assert map_ is None
    assert plan_pdf(PlanPaper(trial, plan, found, map_), DAY).startswith(b"%PDF")


def test_the_same_plan_gives_the_same_bytes(trial_text):
    trial, plan, found, map_ = planned(trial_text)
    made = [plan_pdf(PlanPaper(trial, plan, found, map_), DAY) for _ in range(2)]
    assert made[0] == made[1]
