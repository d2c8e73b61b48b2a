"""Agreement of inspectors on grades."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trials.bench.agreement import agree_on_grades, fleiss_kappa, intraclass_correlation, weighted_kappa
from trials.bench.kinds import BenchKind as K
from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.findings import Finding

COUNTS = pd.read_csv(Path(__file__).parents[1] / "reference" / "bench" / "kappa_3x3.csv").iloc[:, 1:].to_numpy()


def columns_of(counts):
    one, two = np.indices(counts.shape)
    return np.repeat(one.ravel(), counts.ravel()), np.repeat(two.ravel(), counts.ravel())


@pytest.mark.parametrize(
    ("weights", "printed"),
    # kappa, its error, the error under chance, z: printed to four decimals by an independent program
    [("none", (0.4842, 0.1380, 0.1484, 3.2626)), ("linear", (0.4701, 0.1457, 0.1426, 3.2971))],
)
def test_kappa_to_the_printed_digits(weights, printed):
    found = weighted_kappa(*columns_of(COUNTS), weights=weights)
    assert tuple(round(v, 4) for v in (found.value, found.se, found.se_chance, found.z)) == printed
    if weights == "none":
        assert (round(found.low, 4), round(found.high, 4)) == (0.2137, 0.7547)
    assert found.coupons == 19


def test_kappa_is_the_same_from_either_side_and_one_for_equal_columns():
    one, two = columns_of(COUNTS)
    assert weighted_kappa(two, one).value == pytest.approx(weighted_kappa(one, two).value, rel=1e-12)
    same = weighted_kappa(one, one)
    assert (same.value, same.se, same.low) == pytest.approx((1.0, 0.0, 1.0), abs=1e-7)


def test_fleiss_by_hand():
    """Three coupons, two inspectors, grades 0 0, 1 1, 0 1: P = 2/3, chance 1/2, kappa 1/3."""
    assert fleiss_kappa([[0, 0], [1, 1], [0, 1]]) == pytest.approx(1 / 3, rel=1e-12)


def test_icc_by_hand():
    """Mean squares 4 between three coupons, 1.5 between two inspectors, 0 left: 4 / (4 + 2 x 1.5 / 3) = 0.8."""
    found = intraclass_correlation([[0, 1], [2, 3], [2, 3]])
    by_coupon, by_inspector = 2 * np.var([0.5, 2.5, 2.5], ddof=1), 3 * np.var([4 / 3, 7 / 3], ddof=1)
    assert found.value == pytest.approx(by_coupon / (by_coupon + 2 * by_inspector / 3), rel=1e-9)


def graded(rng, slip):
    """Thirty coupons graded twice by two inspectors who slip by one grade with a probability."""
    true = np.tile(np.arange(5), 6)
    coupon, inspector, repeat = (part.ravel() for part in np.meshgrid(np.arange(30), ["A", "B"], [0, 1], indexing="ij"))
    moved = true[coupon] + rng.choice([-1, 0, 1], size=len(coupon), p=[slip / 2, 1 - slip, slip / 2])
    return coupon, inspector, np.clip(moved, 0, 4), repeat


def test_inspectors_who_agree_and_who_do_not():
    sharp = agree_on_grades(*graded(np.random.default_rng(1), 0.0))
    assert (sharp.same, sharp.within_one, sharp.grade_sd) == (1.0, 1.0, 0.0)
    assert sharp.between["A", "B"].value == pytest.approx(1.0, rel=1e-12)
    assert sharp.fleiss == pytest.approx(1.0, rel=1e-12)
    assert sharp.findings == (
        Finding(K.PAIRS_AGREE, facts={"same": 1.0, "within_one": 1.0}),
        Finding(K.SEES_GRADE, facts={"worthwhile": 1.0}),
    )
    dull = agree_on_grades(*graded(np.random.default_rng(1), 0.6))
    assert set(dull.within) == {"A", "B"}
    assert dull.between["A", "B"].value < 0.9
    assert dull.icc.low < dull.icc.value < dull.icc.high
    assert dull.findings[0].facts == {"same": dull.same, "within_one": dull.within_one}
    # 2 (2 x 0.75 / 1)^2 is a little over 4
    assert dull.findings[1] == Finding(K.GRADE_NEEDS_COUPONS, facts={"worthwhile": 1.0, "coupons": 5})


def test_coupons_that_are_all_alike_leave_kappa_open():
    found = agree_on_grades([1, 1, 2, 2], ["A", "B", "A", "B"], [0, 0, 0, 0])
    assert (found.between, found.fleiss, found.icc, found.same) == ({}, None, None, 1.0)


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: weighted_kappa([1, 2], [1]), WrongShape, "2 grades against 1"),
        (lambda: weighted_kappa([1, np.nan], [1, 2]), NotFinite, "Grade 2 is not a number"),
        (lambda: weighted_kappa([1, 1.5], [1, 2]), WrongArgument, "not a whole number"),
        (lambda: weighted_kappa([1, 1], [1, 1]), NotIdentifiable, "same grade from both"),
        (lambda: weighted_kappa([], []), WrongShape, "one column"),
        (lambda: fleiss_kappa([[1, 2]]), WrongShape, "two coupons and two inspectors"),
        (lambda: fleiss_kappa([[1, 1], [1, 1]]), NotIdentifiable, "Every grade is the same"),
        (lambda: intraclass_correlation([[1, np.nan], [1, 1]]), NotFinite, "not a number"),
        (lambda: agree_on_grades([1, 2], ["A", "A"], [0, 1]), NotIdentifiable, "No coupon was graded twice"),
        (lambda: agree_on_grades([1], ["A", "A"], [0, 1]), WrongShape, "differ in length"),
    ],
)
def test_bad_input(call, error, message):
    with pytest.raises(error, match=message):
        call()
