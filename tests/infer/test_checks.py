"""Checks of data and model against printed examples and against known disturbances."""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trials.errors import WrongArgument
from trials.infer import checks
from trials.infer.answer import answer
from trials.infer.checks import far, residuals
from trials.infer.checks.levels import Levels
from trials.infer.means import marginal
from trials.infer.mixed import fit_mixed
from trials.worthwhile import Margins

MIXED = Path(__file__).parent.parent / "reference" / "mixed"


def test_power_profile_of_the_ceramic_strength_example():
    # NIST e-Handbook 5.4.7.1: optimum printed as 0.2; 0.27 when recomputed in R 4.2.2 (maximum likelihood, 11 terms)
    data = pd.read_csv(MIXED / "nist_ceramic_2p5.csv")
    words = ["speed", "rate", "grit", "direction", "batch", "speed:rate", "speed:grit", "speed:direction"]
    words += ["rate:direction", "speed:rate:direction", "grit:direction"]
    columns = [np.prod([data[f].to_numpy(float) for f in w.split(":")], axis=0) for w in words]
    fixed = np.column_stack([np.ones(32), *columns])
    values = data["strength"].to_numpy(float)
    found = checks.box_cox(values, fixed, {}, np.round(np.arange(-1, 1.51, 0.05), 10))
    assert found.best == pytest.approx(0.2, abs=0.1)  # as printed
    assert found.low < 0.2 < found.high < 1.0  # the handbook's conclusion: transform
    # the scaled transform at 0.2: printed residual standard deviation 13.81065, half a unit of its last digit
    scaled = residuals._power(values, 0.2, float(np.exp(np.mean(np.log(values)))))
    fit = fit_mixed(scaled, fixed, {})
    assert math.sqrt(fit.variances["reading"]) == pytest.approx(13.81065, abs=5e-6)


def test_power_profile_needs_values_above_zero():
    with pytest.raises(WrongArgument, match="above zero"):
        checks.box_cox(np.array([0.0, 1.0, 2.0]), np.ones((3, 1)), {})


def test_equivalence_of_two_groups_by_the_interval():
    # clinic data, first variable, margin 0.6: pooled two one-sided tests p = 0.04827315101 (R package equivalence,
    # figures as printed in the tests of a BSD-licensed statistics library)
    one = [2.84, 2.51, 2.41, 2.95, 3.14, 3.79, 4.14, 3.85, 3.02, 3.45, 5.37, 3.81, 4.19, 3.16, 3.84]
    two = [2.6, 2.82, 2.18, 3.46, 4.01, 3.04, 3.47, 4.06, 2.91, 3.59, 4.51, 3.16, 3.86, 3.31, 3.02]
    group = np.repeat([1.0, 0.0], 15)
    fit = fit_mixed(np.array(one + two), np.column_stack([np.ones(30), group]), {})
    narrow, wide = fit.estimate(np.array([0.0, 1.0]), 0.90), fit.estimate(np.array([0.0, 1.0]), 0.95)
    p = max(stats.t.sf((0.6 + s * narrow.value) / narrow.se, narrow.df) for s in (-1, 1))
    assert p == pytest.approx(0.04827315101, abs=1e-10)
    intervals = (wide.low, wide.high), (narrow.low, narrow.high)
    assert answer(*intervals, Margins(0.6, 0.6)) == ("same for practical purposes", None)
    assert answer(*intervals, Margins(0.59, 0.59))[0] == "not settled"


def nested(seed=0, specimens=4, coupons=6, readings=3):
    """Response, fixed part, groups and coupon labels of an invented nested trial of two types."""
    rng = np.random.default_rng(seed)
    kind = np.repeat([0, 1], specimens * coupons * readings)
    specimen = np.repeat(np.arange(2 * specimens), coupons * readings)
    coupon = np.repeat(np.arange(2 * specimens * coupons), readings)
    y = rng.normal(0, 0.05, specimen.max() + 1)[specimen] + rng.normal(0, 0.1, coupon.max() + 1)[coupon]
    y = y + rng.normal(0, 0.04, len(y))
    fixed = np.column_stack([np.ones(len(y)), np.where(kind == 0, 1.0, -1.0)])
    return y, fixed, {"specimen": specimen, "coupon": coupon}, coupon


def test_slope_finds_a_drift_and_keeps_its_size():
    y, fixed, groups, coupon = nested()
    order = np.random.default_rng(1).permutation(coupon.max() + 1)[coupon].astype(float)
    found = checks.slope(y + 0.02 * order, fixed, groups, order)
    assert found.low < 0.02 < found.high and found.p < 1e-6
    assert checks.slope(y, fixed, groups, fixed[:, 1]) is None  # a column that is in the model already adds nothing


def test_slope_is_judged_by_coupons_not_by_readings():
    # an order that changes between coupons only: with 300 null trials the rate at 5 % stays below 0.09 (4 standard
    # errors above 0.05), while the same test on readings alone is wrong in far more
    hits = naive = 0
    for seed in range(300):
        y, fixed, groups, coupon = nested(seed, specimens=2, coupons=4)
        order = np.random.default_rng(seed).permutation(coupon.max() + 1)[coupon].astype(float)
        hits += checks.slope(y, fixed, groups, order).p < 0.05
        naive += checks.slope(y, fixed, {}, order).p < 0.05
    assert hits / 300 < 0.10 < naive / 300


def test_lack_of_fit_sees_a_setting_off_the_curve():
    y, fixed, groups, coupon = nested(coupons=9)
    cell = (coupon % 9)[:, None]
    line = (cell - 4.0) / 4.0
    model = np.hstack([fixed, line])
    labels = np.array([f"{c}" for c in cell[:, 0]])
    assert checks.lack_of_fit(y, model, groups, labels).p > 0.01
    bent = y + 0.5 * (cell[:, 0] == 3)
    assert checks.lack_of_fit(bent, model, groups, labels).p < 1e-6
    assert checks.lack_of_fit(y, np.eye(9)[cell[:, 0]], groups, labels) is None  # nothing is left to add


def test_far_reading_needs_a_majority():
    values = np.array([1.0, 1.01, 0.99, 1.0, 1.02, 3.0, 1.0, 0.98, 1.01])
    coupon = np.array(list("aaabbbccc"))
    assert checks.far_readings(values, coupon).tolist() == [False] * 5 + [True] + [False] * 3
    assert not checks.far_readings(np.array([1.0, 9.0]), np.array(["a", "a"])).any()
    assert not checks.far_readings(np.ones(6), np.array(list("aaabbb"))).any()


def test_two_readings_far_apart_are_both_named():
    gaps = np.array([0.02, -0.03, 0.01, 0.03, -0.02, 0.9])
    values = np.concatenate([np.stack([np.zeros(6), gaps], axis=1).ravel(), [5.0, 0.0, 0.1, 9.0]])
    coupon = np.array([*np.repeat(list("abcdef"), 2), "three", "three", "three", "one"])
    # the median gap is 0.025 (five standard deviations: 0.19); coupons with one or three readings are no pairs
    assert checks.far_pairs(values, coupon).nonzero()[0].tolist() == [10, 11]
    mixed = np.random.default_rng(3).permutation(len(values))
    assert sorted(mixed[checks.far_pairs(values[mixed], coupon[mixed])]) == [10, 11]
    assert not checks.far_pairs(np.array([1.0, 1.0, 2.0]), np.array(["a", "a", "b"])).any()


def test_within_spread_is_corrected_and_floored():
    # mean of log chi-square/v is digamma(v/2) - log(v/2) (Bartlett and Kendall 1946): the corrected logs average to
    # log sigma^2; 4,000 coupons of 3 readings give a standard error of 0.018, taken four times
    rng = np.random.default_rng(3)
    coupon = np.repeat(np.arange(4000), 3)
    _, logs = checks.log_variance_within(rng.normal(0, 0.2, 12000), coupon, 1e-6)
    assert logs.mean() == pytest.approx(math.log(0.04), abs=0.075)
    _, flat = checks.log_variance_within(np.zeros(6), np.array([0, 0, 0, 1, 1, 1]), 0.12)
    assert np.isfinite(flat).all()


def test_side_shift_is_found_in_one_mount_only():
    rng = np.random.default_rng(5)
    mount = np.repeat(np.arange(6), 8 * 4)
    coupon = np.repeat(np.arange(48), 4)
    side = np.tile(["left", "right"], 96).astype(object)
    residuals = rng.normal(0, 0.05, 192) + rng.normal(0, 0.1, 48)[coupon]
    residuals[(mount == 2) & (side == "right")] += 0.15
    found = {s.mount: s for s in checks.side_shifts(residuals, mount, coupon, side)}
    assert found[2].p < 0.001 and found[2].high_side == "right"
    assert found[2].difference == pytest.approx(0.15, abs=0.05)  # standard error 0.0125
    assert min(s.p for m, s in found.items() if m != 2) > 0.01
    assert checks.side_shifts(residuals, mount, coupon, np.array([""] * 192, dtype=object)) == ()


def test_a_mount_of_three_coupons_is_judged_beside_like_mounts():
    mount, coupon = np.repeat(np.arange(8), 3), np.arange(24)
    side = np.tile(["left", "near", "right"], 8).astype(object)
    residuals = np.tile([0.0, 0.01, -0.01], 8).astype(float)
    residuals[:3] = [0.15, 0.0, 0.0]
    found = {s.mount: s for s in checks.side_shifts(residuals, mount, coupon, side)}
    # seven mounts give squares 7 x 0.0002 on 14 df (0.0001 each), the first one 0.015 on 2: F 75, taken eight times
    assert found[0].p == pytest.approx(8 * stats.f.sf(75.0, 2, 14), rel=1e-9)
    assert (found[0].high_side, found[0].difference) == ("left", pytest.approx(0.15))
    assert min(s.p for m, s in found.items() if m) > 0.5
    # three mounts of its own kind carry no test: 2 x 2 df, and those of another kind do not count
    kinds = np.where(mount < 3, "a", "b")
    assert {s.mount for s in checks.side_shifts(residuals, mount, coupon, side, kinds)} == {3, 4, 5, 6, 7}
    alone = np.where(side == "left", "", side)
    assert 0 in {s.mount for s in checks.side_shifts(residuals, mount, coupon, alone)}
    assert checks.side_shifts(residuals, mount, coupon, np.full(24, "left", dtype=object)) == ()


def test_residual_shape_and_far_coupons():
    rng = np.random.default_rng(2)
    assert checks.residual_shape(rng.normal(size=200)).p > 0.01
    skewed = checks.residual_shape(rng.exponential(size=200))
    assert skewed.p < 1e-6 and skewed.skewness > 1
    assert checks.residual_shape(np.zeros(50)) is None and checks.residual_shape(np.arange(5.0)) is None
    values = np.append(rng.normal(size=60), 12.0)
    assert checks.far_coupons(values).nonzero()[0].tolist() == [60]
    assert not checks.far_coupons(np.zeros(5)).any()


@pytest.mark.parametrize("n", range(2, 9))
def test_the_median_of_the_others_is_that_of_what_is_left(n):
    values = np.random.default_rng(n).permutation(np.append(np.arange(n - 1.0) ** 2, 1.0))  # one value twice
    left = [np.median(np.delete(values, i)) for i in range(n)]
    assert far.medians_of_others(values) == pytest.approx(left, rel=1e-15)


def test_the_powers_inside_the_profile_interval_by_least_squares():
    values = np.random.default_rng(2).lognormal(0.0, 0.5, 40)
    powers = np.round(np.arange(-1.5, 1.51, 0.02), 10)
    middle = stats.gmean(values)
    scaled = [middle * np.log(values) if p == 0 else (values**p - 1) / (p * middle ** (p - 1)) for p in powers]
    # with a mean alone -2 log restricted likelihood is (n - 1) log of the sum of squares, but for a constant
    criterion = np.array([39 * np.log(np.var(z)) for z in scaled])
    inside = powers[criterion <= criterion.min() + 3.841459]  # 95 % of chi-square on one degree of freedom, tables
    found = checks.box_cox(values, np.ones((40, 1)), {}, powers)
    assert (found.best, found.low, found.high) == (powers[criterion.argmin()], inside.min(), inside.max())
    assert -1.5 < found.low < found.best < found.high < 1.5


@pytest.mark.parametrize("rough", ["left", "right"])
def test_a_side_shift_is_the_higher_side_less_the_lower(rough):
    coupon, side = np.repeat(["A", "B", "C", "D"], 2), np.tile(["left", "right"], 4)
    values = np.where(side == rough, 0.3, 0.1) + np.array([0.0, 0.01, 0.02, 0.0, 0.01, 0.0, 0.0, 0.02])
    (found,) = checks.side_shifts(values, np.repeat("M1", 8), coupon, side)
    sides = {name: values[side == name].mean() for name in ("left", "right")}
    assert found.high_side == rough and found.low_side != rough
    assert found.difference == pytest.approx(max(sides.values()) - min(sides.values()), rel=1e-9)


def test_an_interval_of_means_is_at_95_per_cent_unless_told():
    rng = np.random.default_rng(4)
    fit = fit_mixed(rng.normal(size=12), np.ones((12, 1)), {"coupon": np.repeat(np.arange(4), 3)})
    (found,), one = marginal.means(fit, np.ones((1, 1))), fit.estimate(np.ones(1), 0.95)
    assert (found.value, found.low, found.high, found.df) == (one.value, one.low, one.high, one.df)


def test_within_spread_of_two_and_three_readings_by_hand():
    # coupons of two, one and three readings: variances 2 and 3 with 1 and 2 degrees of freedom, the lone reading
    # tells nothing; digamma(1/2) = -euler - 2 log 2, digamma(1) = -euler
    values, coupon = np.array([1.0, 3.0, 2.0, 5.0, 5.0, 8.0]), np.array(list("aabccc"))
    first, logs = checks.log_variance_within(values, coupon, 0.0)
    assert first.tolist() == [0, 3]
    expected = [math.log(2) + np.euler_gamma + math.log(2), math.log(3) + np.euler_gamma]
    assert logs == pytest.approx(expected, abs=1e-12)
    # two equal readings: a step of 0.6 leaves a variance of 0.36 / 12
    _, floored = checks.log_variance_within(np.array([4.0, 4.0]), np.array(["a", "a"]), 0.6)
    assert floored == pytest.approx([math.log(0.03) + np.euler_gamma + math.log(2)], abs=1e-12)


def test_shape_of_eight_residuals_by_hand():
    # seven at -1 and one at 7: moments 7, 42 and 301 (8 x 7 = 7 + 49, 8 x 42 = 343 - 7, 8 x 301 = 2401 + 7)
    lone = np.array([-1.0] * 7 + [7.0])
    found = checks.residual_shape(lone + 2.0)  # about their mean
    assert (found.skewness, found.excess) == pytest.approx((42 / 7**1.5, 301 / 49 - 3), rel=1e-12)
    assert checks.residual_shape(lone[1:]) is None  # seven are too few


def test_a_small_power_is_not_a_logarithm():
    values = np.array([1.0, math.e, math.e**2])  # geometric mean e: (v^p - 1) / (p e^(p - 1))
    by_hand = [0.0, (math.e**0.05 - 1) / (0.05 * math.e**-0.95), (math.e**0.1 - 1) / (0.05 * math.e**-0.95)]
    assert residuals._power(values, 0.05, math.e) == pytest.approx(by_hand, rel=1e-12)
    assert residuals._power(values, 0.0, math.e) == pytest.approx([0.0, math.e, 2 * math.e], rel=1e-12)


def test_levels_are_those_of_the_labels_as_text():
    labels = np.array(["b", "a", "10", 2, "a", "2", "b"], dtype=object)
    found = Levels.of(labels)
    _, first, place, counts = np.unique(labels.astype(str), return_index=True, return_inverse=True, return_counts=True)
    assert found.first.tolist() == first.tolist() and found.place.tolist() == place.tolist()
    assert found.counts.tolist() == counts.tolist()


def test_coupon_residuals_are_those_beside_a_column_for_each_specimen():
    rng = np.random.default_rng(5)
    specimen, coupon = np.repeat(np.arange(6), 8), np.repeat(np.arange(24), 2)
    marks = np.array([f"{number:02}" for number in coupon], dtype=object)
    fixed = np.column_stack([np.ones(48), specimen % 2, rng.normal(size=24)[coupon]])
    values = rng.normal(size=48)
    first, found = residuals.coupon_residuals(values, fixed, marks, specimen)
    design = np.hstack([fixed, np.eye(6)[specimen]])[first]
    means = values.reshape(-1, 2).mean(axis=1)
    whole = means - design @ np.linalg.lstsq(design, means, rcond=None)[0]
    np.testing.assert_allclose(found, whole, atol=1e-12)  # the same projection, rounded otherwise
