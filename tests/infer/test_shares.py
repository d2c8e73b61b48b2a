"""Shares of coupons by specimen: worked by hand, floored by counting, and honest in simulated trials."""

import numpy as np
import pytest
from scipy import stats

from trials.errors import NotIdentifiable, WrongShape
from trials.infer.means import share_differences

TYPES = np.array(["a", "a", "a", "b", "b", "b"], dtype=object)
TRIED = np.full(6, 10.0)
EXACT = 1e-12  # sums of a few doubles


def test_two_types_are_students_t_on_specimen_shares():
    met = np.array([5.0, 3.0, 4.0, 9.0, 7.0, 8.0])
    found = share_differences(met, TRIED, TYPES, "a")
    known = stats.ttest_ind(met[3:] / 10, met[:3] / 10).confidence_interval(0.95)  # pooled spread, 4 df
    limits = found.at(0.95)
    assert (found.types, found.df) == (("b",), 4) and found.values[0] == pytest.approx(0.4, rel=EXACT)
    # counting alone would give 0.025 and 0.018; the pooled 0.01 lies below, so the floor sets the variance
    floor = [(12.5 / 31) * (18.5 / 31) / 10, (24.5 / 31) * (6.5 / 31) / 10]
    assert found.covariance[0, 0] == pytest.approx(sum(floor) / 3, rel=EXACT)
    assert limits.low[0] < known.low and limits.high[0] > known.high


def test_specimens_that_differ_more_than_counting_set_the_spread():
    met = np.array([0.0, 5.0, 10.0, 1.0, 9.0, 8.0])
    limits = share_differences(met, TRIED, TYPES, "a").at(0.95)
    known = stats.ttest_ind(met[3:] / 10, met[:3] / 10).confidence_interval(0.95)
    assert (limits.low[0], limits.high[0]) == pytest.approx((known.low, known.high), rel=1e-9)  # both by quadrature


def test_alike_specimens_are_not_sure_without_end():
    met = np.array([0.0, 0.0, 0.0, 10.0, 10.0, 10.0])
    limits = share_differences(met, TRIED, TYPES, "a").at(0.95)
    assert 0.5 < limits.low[0] < 1.0 < limits.high[0]


def test_no_difference_is_seldom_found():
    rng, wrong, trials = np.random.default_rng(3), 0, 400
    types = np.repeat(np.array(["a", "b", "c"], dtype=object), 3)
    for _ in range(trials):
        share = 1.0 / (1.0 + np.exp(-(1.0 + rng.normal(0.0, 1.0, 9))))
        limits = share_differences(rng.binomial(9, share).astype(float), np.full(9, 9.0), types, "a").at(0.95)
        wrong += bool(((limits.low > 0) | (limits.high < 0)).any())
    assert 0 < wrong <= 0.05 * trials + 3 * np.sqrt(0.05 * 0.95 * trials)  # three simulation errors


def test_what_cannot_be_compared_is_named():
    with pytest.raises(NotIdentifiable, match="one specimen"):
        share_differences(np.array([1.0, 2.0]), np.full(2, 3.0), np.array(["a", "b"], dtype=object), "a")
    with pytest.raises(WrongShape, match="no more that met"):
        share_differences(np.full(6, 11.0), TRIED, TYPES, "a")
    with pytest.raises(WrongShape, match="'z'"):
        share_differences(np.full(6, 1.0), TRIED, TYPES, "z")
    with pytest.raises(WrongShape, match="one figure for each"):
        share_differences(np.full(5, 1.0), TRIED, TYPES, "a")


def test_three_types_share_the_reference_and_the_spread():
    """Shares 0.1, 0.5, 0.9 | 0.5, 0.5 | 0.2, 1.0, 0.6: squares 0.32 + 0 + 0.32 on 5 degrees of freedom."""
    met, types = np.array([1.0, 5, 9, 5, 5, 2, 10, 6]), np.array([*"aaabbccc"], dtype=object)
    found = share_differences(met, np.full(8, 10.0), types, "b")
    assert (found.types, found.df) == (("a", "c"), 5)
    assert found.values == pytest.approx([0.0, 0.1], abs=EXACT)
    # 0.128 each specimen, above what counting gives (0.025 at most); the reference has two of them
    expected = 0.128 * np.array([[1 / 3 + 1 / 2, 1 / 2], [1 / 2, 1 / 3 + 1 / 2]])
    assert found.covariance == pytest.approx(expected, rel=EXACT)


def test_counting_goes_by_the_coupons_of_each_specimen():
    """All of 4 and of 12 met in one type, none in the other: half a coupon on each side of 16, mean of 1/4 and 1/12."""
    found = share_differences(
        np.array([4.0, 12, 0, 0]), np.array([4.0, 12, 8, 8]), np.array([*"aabb"], dtype=object), "a"
    )
    high, low = (16.5 / 17) * (0.5 / 17) * (1 / 4 + 1 / 12) / 2, (0.5 / 17) * (16.5 / 17) / 8
    assert found.covariance[0, 0] == pytest.approx(high / 2 + low / 2, rel=EXACT)


@pytest.mark.parametrize(
    ("met", "tried"), [([-1.0, 1, 1, 1], [3.0] * 4), ([0.0, 1, 1, 1], [0.0, 3, 3, 3]), ([4.0, 1, 1, 1], [3.0] * 4)]
)
def test_counts_that_cannot_be_are_refused(met, tried):
    types = np.array([*"aabb"], dtype=object)
    with pytest.raises(WrongShape, match="no more that met"):
        share_differences(np.array(met), np.array(tried), types, "a")


def test_one_type_or_one_specimen_of_each_cannot_be_compared():
    with pytest.raises(NotIdentifiable):
        share_differences(np.array([1.0, 2.0]), np.full(2, 3.0), np.array(["a", "a"], dtype=object), "a")
    # one specimen more than types is enough, and none or all of its coupons may have met
    found = share_differences(np.array([3.0, 0.0, 1.0]), np.full(3, 3.0), np.array([*"aab"], dtype=object), "b")
    assert found.df == 1
