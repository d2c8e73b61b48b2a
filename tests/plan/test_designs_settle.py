"""The ready-made trials answer their own question: at least 80 % at their own spreads, at most three working days."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from trials.plan.assess import assess
from trials.plan.assess.effort import effort
from trials.plan.assess.frame import build_frame
from trials.plan.assess.questions import Asks
from trials.plan.choose import make_plan
from trials.plan.settling.as_planned import judge_plan
from trials.plan.settling.problem import problem_of
from trials.trial import parse, worthwhile_on_scale
from trials.words.plan_chances import settled_words

EXAMPLES = Path(__file__).parents[2] / "example_data"
ASKED, HOURS = 0.8, 24.0


@pytest.fixture(scope="module")
def planned(ready_made):
    """Trial, plan and assessment by name, each made once."""

    @cache
    def get(name):
        trial, plan = ready_made(name)
        return trial, plan, assess(trial, plan)

    return get


NAMES = ("compare-nozzles", "one-sheet", "six-settings", "operating-window", "fastest-clean-cut", "nozzle-life")


@pytest.mark.parametrize("name", NAMES)
def test_three_working_days_are_enough(planned, name):
    work = planned(name)[2].effort
    assert (work.machine_minutes + work.bench_minutes) / 60.0 <= HOURS


@pytest.mark.parametrize("name", ["compare-nozzles", "one-sheet"])
def test_types_of_edges_are_settled_rightly_both_ways(planned, name):
    trial, plan, _ = planned(name)
    chances = judge_plan(problem_of(trial), plan).chances
    assert min(chances.different, chances.same) >= ASKED


@pytest.mark.parametrize("name", ["oxygen_12mm", "nitrogen_6mm"])
def test_the_example_trials_settle_in_three_working_days(name):
    trial = parse((EXAMPLES / name / "trial.toml").read_text(encoding="utf-8"), name)
    plan = make_plan(trial)
    chances = judge_plan(problem_of(trial), plan).chances
    assert min(chances.different, chances.same) >= ASKED
    work = effort(trial, plan)
    assert (work.machine_minutes + work.bench_minutes) / 60.0 <= HOURS


def test_each_of_six_settings_is_seen_if_it_matters(planned):
    lines = [line for line in planned("six-settings")[2].detectable if line.subject.asks is Asks.FACTOR]
    assert len(lines) == 6 and min(line.chance_at_worthwhile for line in lines) >= ASKED


def test_the_edge_is_known_all_over_the_window(planned):
    trial, plan, found = planned("operating-window")
    wide = stats.t.ppf(0.975, build_frame(trial, plan).yardstick_df) * found.prediction["se"].to_numpy()
    # the half-width of the 95 % interval of a typical edge is no more than what matters in four fifths of the box
    assert len(wide) == 2 * 27
    assert np.mean(wide <= worthwhile_on_scale(trial, "roughness")) >= ASKED


@pytest.mark.parametrize(("name", "of"), [("fastest-clean-cut", "clean_speed"), ("nozzle-life", "life")])
def test_speeds_and_lives_are_settled_rightly_both_ways(planned, name, of):
    needed = planned(name)[2].settle[of]
    assert min(needed.chance_at_worthwhile, needed.chance_at_zero) >= ASKED
    # a piece has one life, but a ladder can be cut in a further mount
    assert ("mount" in settled_words(of, needed)) == (of == "clean_speed")
