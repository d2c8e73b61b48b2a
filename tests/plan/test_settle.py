"""How many more: critical values against printed tables, the chance against a simulation of the rule."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from tests_support import told

from trials.errors import NotFinite, WrongArgument
from trials.infer.answer import levels
from trials.plan.power import Counts, chance_right, critical_value, specimens_needed

LOG = {"specimen": 0.08**2, "coupon": 0.10**2, "reading": 0.07**2}
D = math.log(1.15)


def words(needed):
    return told([needed.finding()])[0]


@pytest.mark.parametrize(("comparisons", "df"), [(2, 5), (3, 6), (3, 8), (3, 20), (5, 10)])
def test_critical_values_cover_by_multivariate_t(comparisons, df):
    shape = 0.5 * (np.eye(comparisons) + 1.0)
    box = np.full(comparisons, critical_value(comparisons, df, 0.95))
    covered = stats.multivariate_t(shape=shape, df=df, seed=1).cdf(box, lower_limit=-box, maxpts=200_000)
    # that function integrates by lattice points, good to about 1e-4
    assert covered == pytest.approx(0.95, abs=3e-4)


def test_more_of_todays_nozzle_against_a_simulation_of_the_rule():
    # 9 of today's, 6 of each of two others, and a pair that is wider on one side
    counts, variances = Counts(3, 6, today=1.5), {"specimen": 0.05**2, "coupon": 0.06**2}
    rng, trials, near, far = np.random.default_rng(12), 40_000, 0.14, 0.16
    one = sum(variances.values())
    df = 8 + 5 + 5
    assert counts.yardstick_df == df and counts.variance(variances) == pytest.approx(one * (1 / 9 + 1 / 6))
    s = np.sqrt(one * (1 / 9 + 1 / 6) * rng.chisquare(df, trials) / df)
    for true in (near, 0.0):
        value = true + math.sqrt(one * (1 / 9 + 1 / 6)) * rng.standard_normal(trials)
        half = critical_value(2, df, 0.90, 0.4) * s
        same = (value + half < near) & (value - half > -far)
        right = (value > critical_value(2, df, 0.95, 0.4) * s) & ~same if true else same
        # three standard errors of 40,000 trials
        assert chance_right(variances, true, near, counts, wider=far) == pytest.approx(right.mean(), abs=0.0075)


@pytest.mark.parametrize("df", [3, 8, 60])
def test_one_comparison_is_student(df):
    assert critical_value(1, df, 0.95) == pytest.approx(stats.t.isf(0.025, df), rel=1e-6)


def test_chance_against_a_simulation_of_the_rule():
    counts, variances = Counts(4, 3, 1, 6), {"specimen": 0.03**2, "coupon": 0.05**2}
    rng, trials = np.random.default_rng(11), 100_000
    se, df = math.sqrt(counts.variance(variances)), counts.yardstick_df
    for true in (D, 0.0):
        estimate = true + se * rng.standard_normal(trials)
        s = se * np.sqrt(rng.chisquare(df, trials) / df)
        same = abs(estimate) + critical_value(3, df, 0.90) * s < D
        right = (estimate > critical_value(3, df, 0.95) * s) & ~same if true else same
        # five standard errors of 100,000 trials at most
        assert chance_right(variances, true, D, counts) == pytest.approx(np.mean(right), abs=0.008)


def test_fewest_specimens_are_the_fewest():
    needed = specimens_needed(LOG, D, Counts(4, 3, 1, 6, 3))
    for number, true in ((needed.at_worthwhile, D), (needed.at_zero, 0.0)):
        assert chance_right(LOG, true, D, Counts(4, number, 1, 6, 3)) >= 0.8
        assert chance_right(LOG, true, D, Counts(4, number - 1, 1, 6, 3)) < 0.8


def test_a_plan_with_as_many_as_are_looked_at_is_told_no_larger_number():
    wild = {"specimen": 0.4157**2, "coupon": 0.1**2, "reading": 0.07**2}  # 200 are short of 80 %, 201 reach it
    needed = specimens_needed(wild, D, Counts(4, 200, 1, 6, 3))
    assert needed.at_zero is None


def test_specimens_that_differ_too_much_cannot_be_mounted_away():
    needed = specimens_needed({**LOG, "mount": 0.05**2}, D, Counts(4, 3, 2, 6, 3))
    assert needed.mounts_at_worthwhile is None
    assert needed.mounts_at_zero is None and needed.mounts_known
    assert "no number of mounts of these specimens will do" in words(needed)


def test_mounts_do_where_the_mounts_are_what_differs():
    needed = specimens_needed({"specimen": 0.01**2, "mount": 0.15**2, "coupon": 0.02**2}, D, Counts(3, 4, 2, 6, 3))
    assert needed.mounts_at_worthwhile > 2
    assert "mounts of each" in words(needed)


def test_one_specimen_per_type_says_so():
    needed = specimens_needed({"mount": 0.05**2, "coupon": 0.1**2}, D, Counts(3, 1, 2, 6, 3))
    assert needed.at_worthwhile is None
    assert "With one specimen per type" in words(needed)


def test_two_specimens_per_type_can_be_added_to():
    needed = specimens_needed(LOG, D, Counts(4, 2, 1, 6, 3))
    assert needed.at_worthwhile == specimens_needed(LOG, D, Counts(4, 3, 1, 6, 3)).at_worthwhile
    assert needed.at_zero is not None and not needed.mounts_known and needed.mounts_at_zero is None


def test_enough_already_is_the_number_there_is():
    # specimens that hardly differ: three settle the answer with certainty, and none is asked for on top
    needed = specimens_needed({"specimen": 1e-8}, D, Counts(3, 3))
    assert (needed.at_worthwhile, needed.at_zero) == (3, 3)
    # at the border itself "same" is said wrongly as often as one side of its interval misses
    missed = stats.t.sf(critical_value(2, 6, 0.90), 6)
    assert needed.chance_at_worthwhile == pytest.approx(1.0 - missed, abs=1e-5)
    assert needed.chance_at_zero == pytest.approx(1.0, abs=1e-9)
    assert chance_right({}, 0.0, D, Counts(3, 3)) == 1.0 and chance_right(LOG, 0.0, D, Counts(3, 1)) == 0.0


def test_variance_and_degrees_of_freedom_by_hand():
    variances = {"specimen": 0.04, "mount": 0.02, "coupon": 0.06, "reading": 0.03}
    # 2 (0.04 / 3 + 0.02 / 6 + (0.06 + 0.03 / 3) / (6 x 5))
    assert Counts(4, 3, 2, 5, 3).variance(variances) == pytest.approx(2 * (0.04 / 3 + 0.02 / 6 + 0.07 / 30), rel=1e-12)
    # one specimen each: its spread cannot be told from the type and is no part of the difference
    assert Counts(4, 1, 2, 5, 3).variance(variances) == pytest.approx(2 * (0.02 / 2 + 0.07 / 10), rel=1e-12)
    # 4 types x 2 pieces to spare, less 2 sheets that the pieces stand on; mounts on several sheets free them
    assert (Counts(4, 3, 1, sheets=3).yardstick_df, Counts(4, 3, 2, sheets=3).yardstick_df) == (6, 8)
    assert Counts(4, 1, 3, sheets=3).yardstick_df == 4 * 2 - 2


def test_what_rests_on_coupons_brings_its_own_degrees_of_freedom():
    # 4 types x 3 specimens x 9 coupons, worth 3 at today's settings; coupon and specimen variance 1 and 0.1:
    # average 2 (0.1 / 3 + 1 / 27) = 0.14074 on 6 df, at today's 2 (0.1 / 3 + 1 / 9) = 0.28889; the rest 0.14815 on
    # 12 x 8 - 26 = 70 df; 0.28889^2 / (0.14074^2 / 6 + 0.14815^2 / 70) = 23.1
    counts = Counts(4, 3, 1, 3.0, 1, 3, coupons_cut=9.0, terms=26)
    assert counts.df({"specimen": 0.1, "coupon": 1.0}) == pytest.approx(23.1, abs=0.05)
    assert Counts(4, 3, 1, 3.0, 1, 3).df({"specimen": 0.1, "coupon": 1.0}) == 6.0


def test_stricter_levels_need_more():
    loose = specimens_needed(LOG, D, Counts(4, 3, 1, 6, 3))
    strict = specimens_needed(LOG, D, Counts(4, 3, 1, 6, 3), confidence=levels(2))
    assert strict.at_zero > loose.at_zero


@pytest.mark.parametrize(
    ("variances", "worthwhile", "error", "message"),
    [
        ({"specimen": np.nan}, D, NotFinite, "specimen is nan"),
        ({"specimen": -1.0}, D, WrongArgument, "zero or more"),
        (LOG, 0.0, WrongArgument, "above zero in the trial file"),
        (LOG, np.inf, NotFinite, "worthwhile difference is inf"),
    ],
)
def test_refusals(variances, worthwhile, error, message):
    with pytest.raises(error, match=message):
        specimens_needed(variances, worthwhile, Counts(4, 3))


def test_degrees_of_freedom_at_their_borders():
    """Where the coupons leave none, nothing varies, or no more were cut than count, all rests on the yardstick."""
    counts = Counts(4, 3, 1, 3.0, 1, 3, coupons_cut=9.0, terms=26)
    spread = {"specimen": 0.1, "coupon": 1.0}
    assert counts.df({}) == 6.0
    # 12 mounts x 8 = 96 coupons to spare: with 95 terms one is left, with 96 none
    one, average, whole = replace(counts, terms=95), 2 * (0.1 / 3 + 1 / 27), 2 * (0.1 / 3 + 1 / 9)
    assert one.df(spread) == pytest.approx(whole**2 / (average**2 / 6 + (whole - average) ** 2 / 1))
    assert replace(counts, terms=96).df(spread) == 6.0
    assert replace(counts, coupons_cut=3.0).df(spread) == 6.0
    assert Counts(2, 2, 1, 3.0, 1, 3, coupons_cut=9.0).df(spread) == 0.0  # types stand on as many sheets as they leave


def test_the_chance_of_nothing_to_judge_by_is_none():
    assert chance_right(LOG, D, D, Counts(2, 2, sheets=3)) == 0.0
    assert chance_right(LOG, D, D, Counts(2, 3, coupons=0.0)) == 0.0
    assert chance_right(LOG, D, D, Counts(2, 2)) > 0.0


def test_a_wider_side_counts_for_sameness_alone():
    counts = Counts(3, 8)
    assert chance_right(LOG, D, D, counts, wider=2 * D) == chance_right(LOG, D, D, counts)
    assert chance_right(LOG, 0.0, D, counts, wider=2 * D) > chance_right(LOG, 0.0, D, counts)
    assert chance_right(LOG, 0.0, D, counts, wider=D) == chance_right(LOG, 0.0, D, counts)


def test_what_is_needed_is_handed_on_as_facts():
    needed = specimens_needed({**LOG, "mount": 0.05**2}, D, Counts(4, 3, 2, 6, 3, today=1.0), chance=0.7)
    facts = needed.finding().facts
    assert (facts["chance"], facts["specimens"], facts["mounts"], facts["today"], facts["most"]) == (
        0.7,
        3,
        2,
        1.0,
        200,
    )
    assert (facts["specimens_at_worthwhile"], facts["specimens_at_zero"]) == (needed.at_worthwhile, needed.at_zero)
    assert facts["mounts_known"] and facts["mounts_apply"]
    assert needed.chance_at_worthwhile == chance_right({**LOG, "mount": 0.05**2}, D, D, needed.counts)
    for number in (needed.at_worthwhile, needed.at_zero):
        assert number > 3
    for number, true in ((needed.at_worthwhile, D), (needed.at_zero, 0.0)):
        at = [
            chance_right({**LOG, "mount": 0.05**2}, true, D, replace(needed.counts, specimens=n))
            for n in (number, number - 1)
        ]
        assert at[0] >= 0.7 > at[1]


def test_fewest_mounts_are_the_fewest():
    spread = {"specimen": 0.01**2, "mount": 0.15**2, "coupon": 0.02**2}
    needed = specimens_needed(spread, D, Counts(3, 4, 2, 6, 3))
    for number, true in ((needed.mounts_at_worthwhile, D), (needed.mounts_at_zero, 0.0)):
        assert chance_right(spread, true, D, Counts(3, 4, number, 6, 3)) >= 0.8
        assert chance_right(spread, true, D, Counts(3, 4, number - 1, 6, 3)) < 0.8


def test_a_number_at_the_end_of_the_search_is_found():
    """A spread for which 200 specimens are just enough, and a little more for which none will do."""
    wild = {"specimen": 0.414**2, "coupon": 0.1**2, "reading": 0.07**2}
    found = specimens_needed(wild, D, Counts(4, 150, 1, 6, 3)).at_zero
    assert 190 < found <= 200 and chance_right(wild, 0.0, D, Counts(4, found - 1, 1, 6, 3)) < 0.8
    assert specimens_needed({"specimen": 0.43**2}, D, Counts(4, 150, 1, 6, 3)).at_zero is None
