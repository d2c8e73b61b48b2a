"""Spreads that a pilot leaves open: solved by hand, evenly drawn, and what they ask for by looking at each."""

from dataclasses import replace

import numpy as np
import pytest
from plan.settling.scenes import problem
from scipy import stats

from trials.infer.chance import MeanSquare
from trials.plan.kinds import PlanKind
from trials.plan.settling.open_spreads import MOST, OpenSpreads, _needed, open_spreads, range_of
from trials.plan.settling.request import Candidate

COUPON = MeanSquare("coupon", 1.5, 12.0, {"coupon": 1.0})
SPECIMEN = MeanSquare("specimen", 6.0, 4.0, {"specimen": 3.0, "coupon": 1.0})


def test_variances_are_solved_from_the_mean_squares():
    found = open_spreads((SPECIMEN, COUPON), "pilot")
    # 6 = 3 specimen + coupon, 1.5 = coupon
    assert found.point == pytest.approx({"specimen": 1.5, "coupon": 1.5})
    assert (found.df, found.source, len(found.drawn)) == (4.0, "pilot", 32)


def test_draws_cover_each_chi_square_evenly():
    drawn = open_spreads((SPECIMEN, COUPON), "pilot", 16).drawn
    coupon = np.array([one["coupon"] for one in drawn])
    places = stats.chi2.cdf(12.0 * 1.5 / coupon, 12.0)
    assert sorted(np.floor(16 * places).astype(int)) == list(range(16))
    specimen = np.array([one["specimen"] for one in drawn])
    above = specimen > 0
    places = stats.chi2.cdf(4.0 * 6.0 / (3.0 * specimen + coupon)[above], 4.0)
    slices = np.floor(16 * places).astype(int)
    assert above.sum() > 10 and len(set(slices)) == above.sum()


def test_a_negative_variance_is_zero_and_a_sheet_is_left_out():
    low = replace(SPECIMEN, value=1.0)
    sheet = MeanSquare("sheet", 9.0, 2.0, {"sheet": 4.0, "coupon": 1.0})
    found = open_spreads((sheet, low, COUPON), "pilot", 8)
    assert found.point == pytest.approx({"specimen": 0.0, "coupon": 1.5})
    assert all(set(one) == {"specimen", "coupon"} and min(one.values()) >= 0.0 for one in found.drawn)
    assert found.df == 4.0


def test_degrees_of_freedom_are_those_of_mounts_or_else_of_the_last_layer():
    mount = MeanSquare("mount", 6.0, 5.0, {"mount": 3.0, "coupon": 1.0})
    assert open_spreads((mount, COUPON), "pilot", 2).df == 5.0
    assert open_spreads((COUPON,), "pilot", 2).df == 12.0


def test_coupons_without_any_spread_get_a_trace_of_one():
    """Nothing could be planned with none: a millionth of the largest variance, or 1e-12 where all are zero."""
    flat = replace(COUPON, value=0.0)
    for value, trace in ((6.0, None), (0.0, 1e-12)):
        drawn = open_spreads((replace(SPECIMEN, value=value), flat), "pilot", 2).drawn
        for one in drawn:
            assert one["coupon"] == pytest.approx(trace or 1e-6 * one["specimen"], rel=1e-12)
    still = MeanSquare("reading", 2.0, 9.0, {"reading": 1.0})
    both = open_spreads((MeanSquare("coupon", 2.0, 3.0, {"coupon": 2.0, "reading": 1.0}), still), "pilot", 4).drawn
    assert any(one["coupon"] == 0.0 for one in both)  # readings spread, so nothing is added


@pytest.fixture(scope="module")
def given():
    return problem(prices=(9, 14))


SETS = tuple(
    {"specimen": (0.03 * k) ** 2, "mount": (0.02 * k) ** 2, "coupon": (0.05 * k) ** 2} for k in (0.8, 1.0, 1.3, 6.0)
)
PLAN = Candidate((5, 5), 1, 3, 1, 2)


def weaker(given, variances, specimens):
    """The lower of both chances of the weakest comparison, with so many specimens of each type."""
    asked = (replace(given.question.asked[0], variances=variances),)
    alone = replace(given, question=replace(given.question, asked=asked))
    chances = alone.option(replace(PLAN, specimens=(specimens, specimens)), MOST).chances
    return min(chances.different, chances.same)


def test_the_range_is_that_of_each_set_by_itself(given):
    option = given.option(PLAN)
    found = range_of(given, option, "roughness", OpenSpreads(SETS[0], SETS, 4.0, "pilot"), 0.8)
    each = [weaker(given, one, 5) for one in SETS]
    assert (found.kind, found.about.response) == (PlanKind.SPREADS_OPEN, "roughness")
    assert found.facts["mean"] == pytest.approx(np.mean(each))
    # of four in order the quantiles 0.1 and 0.9 lie 0.3 and 2.7 steps from the lowest
    low = sorted(each)
    assert found.facts["low"] == pytest.approx(low[0] + 0.3 * (low[1] - low[0]))
    assert found.facts["high"] == pytest.approx(low[2] + 0.7 * (low[3] - low[2]))
    fewest = next(n for n in range(2, MOST + 1) if weaker(given, SETS[0], n) >= 0.8)
    assert (found.facts["fewest"], found.facts["most"]) == (fewest, None)  # six times the spread needs more than 60
    assert (found.facts["asked"], found.facts["limit"], found.facts["df"]) == (0.8, 60, 4.0)


def test_the_most_is_the_need_of_the_worst_of_nine_in_ten(given):
    option, three = given.option(PLAN), SETS[:3]
    found = range_of(given, option, "roughness", OpenSpreads(SETS[0], three, 4.0, "pilot"), 0.8)
    needs = [next(n for n in range(2, MOST + 1) if weaker(given, one, n) >= 0.8) for one in three]
    assert needs == sorted(needs) and needs[0] < needs[2]
    assert (found.facts["fewest"], found.facts["most"]) == (needs[0], needs[2])


def test_a_need_may_be_as_few_as_two(given):
    assert _needed(given, PLAN, 1e-9) == 2
