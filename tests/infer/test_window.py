"""A region of settings and the band over it: hulls counted by hand, bands against known critical values."""

import numpy as np
import pytest
from scipy.stats import studentized_range, t

from trials.errors import NotIdentifiable, WrongArgument, WrongShape
from trials.infer.chance.window import inside_hull, region_band


def test_the_hull_counts_its_border_and_nothing_beyond():
    cut = np.array([[0.5, 1.0], [0.9, 1.0], [0.5, 3.0]])
    points = np.array([[0.5, 1.0], [0.7, 2.0], [0.6, 1.5], [0.8, 2.0], [0.4, 1.0], [0.9, 3.0]])
    assert inside_hull(cut, points).tolist() == [True, True, True, False, False, False]
    # the larger setting first, and one coupon twice
    cut = np.vstack([cut, cut[:1]])[:, ::-1]
    assert inside_hull(cut, points[:, ::-1]).tolist() == [True, True, True, False, False, False]


@pytest.mark.parametrize("cut", [[[0.5, 1.0]], [[0.5, 1.0], [0.7, 2.0], [0.9, 3.0]], [[0.5, 1.0], [0.9, 1.0]]])
def test_a_line_is_no_region(cut):
    with pytest.raises(NotIdentifiable, match="do not span a region"):
        inside_hull(np.array(cut), np.zeros((1, 2)))


def test_one_point_is_the_plain_interval():
    band = region_band(np.array([2.0]), np.array([[0.25]]), np.array([7.0]), draws=100_000)
    # 100,000 draws leave 0.0007 (one standard error) on a tail share of 0.05
    assert band.tail == pytest.approx(0.05, abs=0.003)
    reach = t.ppf(0.975, 7) * 0.5
    assert (band.alone_low[0], band.alone_high[0]) == pytest.approx((2.0 - reach, 2.0 + reach))
    assert band.low[0] + band.high[0] == pytest.approx(4.0) and band.high[0] == pytest.approx(2.0 + reach, abs=0.03)


def test_equal_points_count_once_and_pairs_of_three_means_as_their_range():
    same = region_band(np.zeros(3), np.ones((3, 3)), np.full(3, 9.0), draws=50_000)
    assert same.tail == pytest.approx(0.05, abs=0.005)
    pairs = np.array([[1, -1, 0], [1, 0, -1], [0, 1, -1.0]])
    band = region_band(np.zeros(3), pairs @ pairs.T, np.full(3, 9.0), draws=50_000)
    # all pairs of three means: the studentized range over sqrt 2 (Tukey 1953), times the spread sqrt 2 of a pair
    assert band.high[0] == pytest.approx(studentized_range.ppf(0.95, 3, 9), rel=0.015)


def test_the_band_is_the_same_each_time_and_wider_than_one_point():
    rng = np.random.default_rng(4)
    rows = rng.normal(size=(40, 6))
    args = rows @ np.ones(6), rows @ rows.T, np.full(40, 8.0)
    first, again = region_band(*args), region_band(*args)
    assert np.array_equal(first.low, again.low) and np.all(first.high > first.alone_high)


def test_bad_input_is_named():
    with pytest.raises(WrongShape, match="same points"):
        region_band(np.zeros(2), np.eye(3), np.ones(2))
    with pytest.raises(WrongArgument, match="needs a variance"):
        region_band(np.zeros(2), np.zeros((2, 2)), np.ones(2))
    with pytest.raises(WrongArgument, match="confidence"):
        region_band(np.zeros(2), np.eye(2), np.ones(2), confidence=1.0)
