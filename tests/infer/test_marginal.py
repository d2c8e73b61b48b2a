"""Means of types and their differences in a balanced trial, by the classical formulas of its strata."""

import numpy as np
import pytest
from scipy import stats

from trials.infer.means.marginal import differences, means, pairwise, type_rows
from trials.infer.mixed import fit_mixed
from trials.infer.model import Axis, build_model
from trials.infer.yardstick import YardstickDesign

TYPES, SPECIMENS, COUPONS = 3, 4, 5
KIND = np.repeat(np.arange(TYPES), SPECIMENS * COUPONS)
PIECE = np.repeat(np.arange(TYPES * SPECIMENS), COUPONS)
NAMES = np.array(["a", "b", "c"], dtype=object)
NOZZLE, PRESSURE = Axis("nozzle", ("a", "b", "c")), Axis("pressure", (0.5, 0.9))


@pytest.fixture(scope="module")
def trial():
    """Readings of three types with four specimens each, specimens well apart; the classical mean squares beside."""
    rng = np.random.default_rng(5)
    y = np.array([10.0, 12.0, 15.0])[KIND] + 2.0 * rng.standard_normal(12)[PIECE] + rng.standard_normal(len(KIND))
    model = build_model([NOZZLE], {"nozzle": NAMES[KIND]}, "nozzle")
    fixed, groups = model.matrix({"nozzle": NAMES[KIND]}), {"specimen": PIECE}
    return y, model, fixed, groups


@pytest.fixture(scope="module")
def piece_means(trial):
    return trial[0].reshape(TYPES, SPECIMENS, COUPONS).mean(axis=2)


def within(piece_means):
    """Variance of specimen means within types, on 9 degrees of freedom."""
    return float(np.sum((piece_means - piece_means.mean(axis=1, keepdims=True)) ** 2) / 9)


def test_means_are_those_of_the_types_with_students_interval(trial, piece_means):
    y, model, fixed, groups = trial
    rows = type_rows(model, "nozzle", ("a", "b", "c"), [{}])
    found = means(fit_mixed(y, fixed, groups), rows, 0.9)
    half = stats.t.isf(0.05, 9) * np.sqrt(within(piece_means) / SPECIMENS)
    for one, mean in zip(found, piece_means.mean(axis=1), strict=True):
        assert (one.value, one.low, one.high, one.df) == pytest.approx((mean, mean - half, mean + half, 9.0))
        assert one.p is None


def test_differences_from_the_reference_hold_together(trial, piece_means):
    """Dunnett's t: correlation one half, 9 degrees of freedom."""
    y, model, fixed, groups = trial
    judged = YardstickDesign.build(fixed, groups).fit(y)
    rows = type_rows(model, "nozzle", ("a", "b", "c"), [{}])
    found = differences(judged, rows, 1, 0.95)
    middle = piece_means.mean(axis=1)
    se = np.sqrt(2 * within(piece_means) / SPECIMENS)
    by_scipy = stats.dunnett(piece_means[0], piece_means[2], control=piece_means[1], rng=np.random.default_rng(1))
    limits = by_scipy.confidence_interval(0.95)
    for i, (one, other) in enumerate(zip(found, (0, 2), strict=True)):
        assert (one.value, one.df) == pytest.approx((middle[other] - middle[1], 9.0))
        # scipy integrates by random points: three digits
        assert one.low == pytest.approx(limits.low[i], abs=5e-3 * se)
        assert one.high == pytest.approx(limits.high[i], abs=5e-3 * se)
        assert one.p == pytest.approx(by_scipy.pvalue[i], abs=1e-3)


def test_all_pairs_are_tukeys(trial, piece_means):
    y, model, fixed, groups = trial
    judged = YardstickDesign.build(fixed, groups).fit(y)
    rows = type_rows(model, "nozzle", ("a", "b", "c"), [{}])
    found = pairwise(judged, rows, 0.9)
    assert set(found) == {(1, 0), (2, 0), (2, 1)}
    middle, se = piece_means.mean(axis=1), np.sqrt(2 * within(piece_means) / SPECIMENS)
    critical = stats.studentized_range.ppf(0.9, 3, 9) / np.sqrt(2)
    for (i, j), one in found.items():
        assert one.value == pytest.approx(middle[i] - middle[j])
        assert one.high - one.value == pytest.approx(critical * se, rel=1e-5)
        assert one.p == pytest.approx(stats.studentized_range.sf(abs(one.value) / se * np.sqrt(2), 3, 9), abs=1e-5)


def test_rows_average_over_the_settings():
    points = [(n, p) for n in "abc" for p in (0.5, 0.9)] * 2
    settings = {
        "nozzle": np.array([n for n, _ in points], dtype=object),
        "pressure": np.array([p for _, p in points]),
    }
    model = build_model([NOZZLE, PRESSURE], settings, "nozzle")
    low, high, both = (
        type_rows(model, "nozzle", ("a", "c"), [{"pressure": p} for p in at]) for at in ([0.5], [0.9], [0.5, 0.9])
    )
    assert both == pytest.approx((low + high) / 2) and both.shape == (2, model.matrix(settings).shape[1])
    assert low == pytest.approx(model.matrix({"nozzle": ["a", "c"], "pressure": [0.5, 0.5]}))
    alone = type_rows(build_model([], {"": np.zeros(4)}, None), None, ("a",), [{}])
    assert alone.tolist() == [[1.0]]  # nothing varies: the one mean
