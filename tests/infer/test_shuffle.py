"""Shuffle test by listing, by hand and on ties; limits for a share against printed figures."""

from itertools import permutations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.chance import lowest_share
from trials.infer.checks import shuffle_test

SHOES = Path(__file__).parents[1] / "reference" / "shuffle" / "bhh_shoes_paired.csv"


@pytest.mark.parametrize("own", [None, lambda v, t: abs(v[t == "A"].mean() - v[t == "B"].mean())])
def test_shoes_of_ten_boys(own):
    table = pd.read_csv(SHOES)
    values = np.concatenate([table["matA"], table["matB"]])
    found = shuffle_test(values, np.repeat(["A", "B"], 10), np.tile(table["boy"], 2), own)
    # Book: 14 of the 1,024 arrangements are at least as extreme, ties included.
    assert (found.arrangements, found.listed) == (1024, True)
    assert found.p == 14 / 1024
    assert found.smallest_p == 2 / 1024
    assert found.out_of_reach == (0.001,)


def test_f_is_the_analysis_of_variance_f():
    values = np.array([3.0, 4.0, 5.0, 7.0, 8.0, 6.5])
    found = shuffle_test(values, ["a", "a", "a", "b", "b", "b"])
    within = np.var(values[:3], ddof=1) + np.var(values[3:], ddof=1)
    assert found.statistic == pytest.approx((values[:3].mean() - values[3:].mean()) ** 2 * 3 / within, rel=1e-12)
    assert found.p == 2 / 20 and found.out_of_reach == (0.05, 0.01, 0.001)
    assert max(found.out_of_reach) == 0.05


def test_listing_agrees_with_every_permutation():
    values, types = np.array([1.0, 4.0, 2.0, 8.0, 5.0]), np.array(["a", "b", "a", "c", "c"])
    found = shuffle_test(values, types)

    def between(labels):
        return sum(values[labels == t].sum() ** 2 / np.sum(labels == t) for t in "abc")

    every = {tuple(p) for p in permutations(types)}
    scores = np.array([between(np.array(p)) for p in every])
    assert found.arrangements == len(every) == 30
    assert found.p == np.mean(scores >= between(types) - 1e-9)


def test_uneven_blocks_adjust_for_the_block():
    # Type b sits mostly on the worse sheet; within sheets nothing differs.
    values = np.array([1.0, 1.0, 1.0, 5.0, 5.0, 5.0])
    types, sheets = list("aabbba"), [1, 1, 1, 2, 2, 2]
    found = shuffle_test(values, types, sheets)
    assert found.arrangements == 9 and found.p == 1.0 and found.smallest_p == 1.0


def test_all_ties_can_show_nothing():
    found = shuffle_test(np.zeros(12), np.repeat(list("ABCD"), 3), np.tile([1, 2, 3], 4))
    assert found.p == 1.0 and found.smallest_p == 1.0
    assert found.out_of_reach == (0.05, 0.01, 0.001)


def test_one_type_always_clean_is_as_extreme_as_can_be():
    values = np.array([0.0, 0, 0, 2.1, 2.2, 2.3])
    found = shuffle_test(values, np.repeat(["clean", "other"], 3))
    assert found.p == found.smallest_p == 2 / 20


def test_perfect_fits_tie_whatever_the_rounding():
    values = np.array([0.1, 0.1, 0.1, 0.7, 0.7, 0.7]) + 0.3
    found = shuffle_test(values, np.repeat(["a", "b"], 3))
    assert found.p == 2 / 20


def test_many_arrangements_are_drawn_and_repeat_with_the_seed():
    values, types = np.random.default_rng(1).normal(size=12), np.repeat(list("ABCD"), 3)
    one, two = shuffle_test(values, types), shuffle_test(values, types)
    assert one == two and not one.listed and one.arrangements == 369_600
    assert not one.listed and 0 < one.smallest_p < 1e-4


def test_drawn_p_is_uniform_when_nothing_differs():
    rng = np.random.default_rng(9)
    p = [shuffle_test(rng.normal(size=9), np.repeat(list("ABC"), 3)).p for _ in range(200)]
    # 1,680 arrangements; mean 0.5 with a standard error of 0.020, share under 0.1 with one of 0.021.
    assert np.mean(p) == pytest.approx(0.5, abs=0.06)
    assert np.mean(np.array(p) <= 0.1) == pytest.approx(0.1, abs=0.06)


def test_refusals_are_named():
    with pytest.raises(NotIdentifiable, match="one nozzle type only"):
        shuffle_test([1.0, 2.0], ["a", "a"])
    with pytest.raises(NotIdentifiable, match="No sheet holds two types"):
        shuffle_test([1.0, 2.0], ["a", "b"], [1, 2])
    with pytest.raises(NotFinite, match="no finite value"):
        shuffle_test([1.0, np.nan], ["a", "b"])
    with pytest.raises(NotFinite, match="statistic is NaN"):
        shuffle_test([1.0, 2.0], ["a", "b"], statistic=lambda v, t: np.nan)
    with pytest.raises(WrongShape, match="one row per unit"):
        shuffle_test([1.0, 2.0], ["a"])


def test_printed_limit_of_a_share():
    # NIST/SEMATECH e-Handbook 7.2.4.1, to the digits printed there: 4 of 20, exact, both sides at 90 %.
    assert lowest_share(4, 20) == pytest.approx(0.071354, abs=1.02e-6)
    assert 1 - lowest_share(16, 20) == pytest.approx(0.401029, abs=1.02e-6)


def test_none_says_nothing_and_all_of_twelve_has_a_closed_form():
    assert lowest_share(0, 12) == 0.0
    assert lowest_share(12, 12) == pytest.approx(0.05 ** (1 / 12), rel=1e-12)


def test_the_lowest_share_is_that_at_which_so_many_still_have_a_chance():
    # n of n: the share whose n-th power is 5 %; 1 of 2: 1 - (1 - p)^2 = 0.1; none: nothing is known
    assert lowest_share(3, 3) == pytest.approx(0.05 ** (1 / 3), rel=1e-9)
    assert lowest_share(1, 2, 0.9) == pytest.approx(1.0 - np.sqrt(0.9), rel=1e-9)
    assert lowest_share(1, 1, 0.9) == pytest.approx(0.1, rel=1e-9) and lowest_share(0, 12) == 0.0
    for count, total, confidence in ((0, 0, 0.95), (-1, 3, 0.95), (4, 3, 0.95), (1, 3, 0.0), (1, 3, 1.0)):
        with pytest.raises(WrongArgument, match="is no share"):
            lowest_share(count, total, confidence)


@pytest.mark.parametrize("scale", [1e-9, 1.0, 1e9])
def test_perfect_fits_tie_in_any_unit(scale):
    """Two of twenty arrangements divide the units without any rest; rounding puts neither before the other."""
    found = shuffle_test(scale * np.array([0.1, 0.1, 0.1, 0.3, 0.3, 0.3]), np.array(list("aaabbb")))
    assert (found.p, found.smallest_p, found.arrangements) == (0.1, 0.1, 20)
    # the F value is cut off where a share of 1e-9 is left: 4 degrees of freedom, one between
    assert found.statistic == pytest.approx(4e9, rel=1e-3)
    rough = shuffle_test(scale * np.array([0.1, 0.2, 0.1, 0.3, 0.4, 0.3]), np.array(list("aaabbb")))
    # means 2/15 and 1/3: between 0.06, within 0.04 / 3, on one and four degrees of freedom
    assert rough.statistic == pytest.approx(0.06 / (0.04 / 3 / 4), rel=1e-6) and rough.p == 0.1


@pytest.mark.parametrize(("units", "draws"), [(200, 20_000), (400, 10_000), (1_600, 4_000)])
def test_many_units_are_shuffled_less_often(units, draws):
    types = np.tile(["a", "b"], units // 2)
    found = shuffle_test(np.random.default_rng(1).standard_normal(units), types)
    assert not found.listed and found.smallest_p == 1 / (draws + 1)
