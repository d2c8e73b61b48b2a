"""Weibull regression against R and a printed example, and on lives that break common fitters."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import weibull_min
from statsmodels.duration.survfunc import SurvfuncRight

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.life import bound_without_failures, check_shape, fit_life, life_ratio, survival_table
from trials.infer.life.regression import CHARACTERISTIC

REFERENCE = Path(__file__).parents[1] / "reference" / "life"
# Tolerances of the reference file: R iterates to a relative change of 1e-13.
LOG_LIKELIHOOD, ESTIMATE, SE, PROFILE = 1e-7, 1e-6, 1e-5, 1e-5


@pytest.fixture(scope="module")
def motors():
    case = json.loads((REFERENCE / "imotor.json").read_text())
    data = {k: np.array(v, float) for k, v in case["data"]["columns"].items()}
    fixed = np.column_stack([np.ones(40), data["x"]])
    return data, fixed, fit_life(data["t"], data["event"], fixed), case["expected"]


def test_motor_estimates_match_r(motors):
    data, fixed, fit, want = motors
    assert fit.log_likelihood == pytest.approx(want["logLik"], abs=LOG_LIKELIHOOD)
    assert fit.scale == pytest.approx(want["scale"], rel=ESTIMATE)
    assert fit.shape == pytest.approx(want["shape"], rel=ESTIMATE)
    assert fit.coefficients == pytest.approx(want["coefficients"]["estimate"], rel=ESTIMATE)
    se = np.sqrt(np.diag(fit.covariance))
    assert se == pytest.approx(want["coefficients"]["se"] + [want["se_log_scale"]], rel=SE)
    limits = np.exp(-np.log(fit.scale) + np.array([-1, 1]) * 1.959963984540054 * se[2])
    assert limits == pytest.approx(want["shape_wald95"], rel=SE)
    assert (fit.failures, fit.converged, fit.separated) == (want["events"], True, False)
    null = fit_life(data["t"], data["event"], fixed[:, :1])
    assert null.log_likelihood == pytest.approx(want["logLik_null"], abs=LOG_LIKELIHOOD)
    ratio = 2 * (fit.log_likelihood - null.log_likelihood)
    assert ratio == pytest.approx(want["drop_one_LR"][0]["LR"], abs=2 * LOG_LIKELIHOOD)


def test_motor_profile_matches_r(motors):
    _, _, fit, want = motors
    low, high = np.exp(fit.profile(1))
    assert low == pytest.approx(want["ratios"][0]["profile_lower95"], rel=PROFILE)
    assert high == pytest.approx(want["ratios"][0]["profile_upper95"], rel=PROFILE)
    assert np.exp(fit.coefficients[1]) == pytest.approx(want["ratios"][0]["ratio_of_characteristic_life"], rel=PROFILE)


def test_motor_predictions_match_r(motors):
    _, _, fit, want = motors
    table = want["predictions"]
    for x, lives, errors in zip(table["grid"]["x"], table["log_time"], table["se_log_time"], strict=True):
        for quantile, life, se in zip(table["quantile_p"], lives, errors, strict=True):
            got = fit.log_life(np.array([1.0, x]), quantile)
            assert got[0] == pytest.approx(life, rel=ESTIMATE)
            assert got[1] == pytest.approx(se, rel=SE)


def test_printed_example_with_censoring():
    table = pd.read_csv(REFERENCE / "nist_weibull_censored.csv")
    fit = fit_life(table["hours"], table["failed"], np.ones((20, 1)))
    # Printed to the digits given (e-Handbook 8.4.1.2); the tolerance is one unit of the last digit.
    assert np.exp(fit.coefficients[0]) == pytest.approx(606.528, abs=0.01)
    assert fit.shape == pytest.approx(1.7208, abs=1e-4)
    assert fit.log_likelihood == pytest.approx(-75.135, abs=1e-3)


def two_groups(censor_second):
    time = np.array([31.0, 44, 58, 63, 75, 80, 96, 120, 120, 120, 120, 120, 120, 120, 120, 120])
    failed = np.ones(16)
    if censor_second:
        failed[8:] = 0
    else:
        time[8:] = time[:8] * 2.5
    return time, failed, np.column_stack([np.ones(16), np.arange(16) >= 8]).astype(float)


def test_group_that_never_failed_gets_a_lower_bound():
    time, failed, fixed = two_groups(True)
    fit = fit_life(time, failed, fixed)
    assert fit.separated and fit.coefficients[1] == np.inf and np.isfinite(fit.coefficients[0])
    # In the limit the second group says nothing about the first.
    alone = fit_life(time[:8], failed[:8], np.ones((8, 1)))
    assert fit.log_likelihood == pytest.approx(alone.log_likelihood, abs=1e-9)
    assert fit.scale == pytest.approx(alone.scale, rel=1e-8)
    low, high = fit.profile(1)
    assert 0 < low < 3 and high == np.inf
    assert fit.covariance[1, 1] == np.inf
    assert fit.log_life(np.array([1.0, 1.0])) == (np.inf, np.inf)
    # The bound is where twice the fall of the profile is the chi-square point: check from the other side by a grid.
    drops = [fit.log_likelihood - profile_at(time, failed, fixed, v) for v in (low, low - 0.05, low + 0.05)]
    assert drops[0] == pytest.approx(3.841458820694124 / 2, abs=1e-6)
    assert drops[1] > drops[0] > drops[2]


def profile_at(time, failed, fixed, value):
    """Profile of the second coefficient: its effect taken out of the times, Jacobian put back."""
    shift = value * fixed[:, 1]
    held = fit_life(time / np.exp(shift), failed, fixed[:, :1])
    return held.log_likelihood - float(np.sum(shift[failed == 1]))


def test_reference_group_that_never_failed():
    time, failed, fixed = two_groups(True)
    one = fit_life(time, failed, fixed)
    two = fit_life(time, failed, np.column_stack([np.ones(16), 1 - fixed[:, 1]]))
    assert list(two.coefficients) == [np.inf, -np.inf]
    assert two.profile(1)[1] == pytest.approx(-one.profile(1)[0], abs=1e-7)
    assert two.profile_quantile(np.array([1.0, 1.0])) == pytest.approx(one.profile(0), abs=1e-6)


def test_scaled_copy_of_a_group_gives_the_exact_ratio():
    time, failed, fixed = two_groups(False)
    fit = fit_life(time, failed, fixed)
    assert fit.coefficients[1] == pytest.approx(np.log(2.5), abs=1e-8)
    low, high = fit.profile(1)
    assert low + high == pytest.approx(2 * np.log(2.5), abs=1e-6)


def test_unit_of_time_shifts_only_the_level(motors):
    data, fixed, fit, _ = motors
    again = fit_life(data["t"] / 1000, data["event"], fixed * [1.0, 1000.0])
    assert again.coefficients[0] == pytest.approx(fit.coefficients[0] - np.log(1000), abs=1e-8)
    assert again.coefficients[1] * 1000 == pytest.approx(fit.coefficients[1], rel=1e-8)
    assert again.scale == pytest.approx(fit.scale, rel=1e-8)


def test_complete_sample_agrees_with_scipy():
    time = weibull_min.rvs(1.8, scale=40.0, size=60, random_state=np.random.default_rng(3))
    fit = fit_life(time, np.ones(60), np.ones((60, 1)))
    shape, _, scale = weibull_min.fit(time, floc=0)
    # scipy's simplex search stops near 1e-5.
    assert fit.shape == pytest.approx(shape, rel=1e-4)
    assert np.exp(fit.coefficients[0]) == pytest.approx(scale, rel=1e-4)


ONE = np.ones((3, 1))
REFUSED = [
    (([1.0, 2, 3], [0, 0, 0], ONE), NotIdentifiable, "Nothing failed"),
    (([5.0, 5, 5], [1, 1, 1], ONE), NotIdentifiable, "shape has no finite estimate"),
    (([5.0, 4, 3], [1, 0, 0], ONE), NotIdentifiable, "shape has no finite estimate"),
    (([1.0, 2, 3], [1, 1, 0], np.ones((3, 2))), NotIdentifiable, "depend on each other"),
    (([1.0, 2, 3], [1, 1, 0], np.ones((3, 0))), NotIdentifiable, "there is none"),
    (([1.0, 0, 3], [1, 1, 0], ONE), WrongArgument, "above zero"),
    (([1.0, 2, 3], [1, 2, 0], ONE), WrongArgument, "1 .failed. or 0"),
    (([1.0, 2], [1, 1, 0], ONE), WrongShape, "one row per life"),
    (([1.0, np.nan, 3], [1, 1, 0], ONE), NotFinite, "missing or infinite"),
    (([1.0, 2, np.inf], [1, 1, 0], ONE), NotFinite, "missing or infinite"),
]


@pytest.mark.parametrize(("arguments", "error", "text"), REFUSED)
def test_refusals_are_named(arguments, error, text):
    with pytest.raises(error, match=text):
        fit_life(*arguments)


def test_one_failure_is_enough_when_others_outlast_it():
    fit = fit_life([5.0, 7, 3], [1, 0, 0], ONE)
    low, high = fit.profile(0)
    assert fit.failures == 1 and low < fit.coefficients[0] < high


def plated(censor=140.0):
    rng = np.random.default_rng(2)
    life = np.concatenate([rng.weibull(2, 8) * 100, rng.weibull(2, 8) * 150])
    return np.minimum(life, censor), (life < censor).astype(float), np.repeat(["plain", "plated"], 8)


def test_ratio_is_the_coefficient_of_the_regression():
    time, failed, types = plated()
    found = life_ratio(time, failed, types, "plated", "plain")
    fit = fit_life(time, failed, np.column_stack([np.ones(16), types == "plated"]).astype(float))
    assert np.log(found.ratio) == pytest.approx(fit.coefficients[1], abs=1e-8)
    # Twelve failures of two types: the fall allowed is 6 log(1 + t**2 / 10), t = 2.228139 on 10 df.
    fall = 6 * np.log1p(2.2281388519649385**2 / 10)
    low, high = fit.limits_at_drop(np.array([0.0, 1.0]), CHARACTERISTIC, fall)
    assert np.log([found.low, found.high]) == pytest.approx([low, high], abs=1e-7)
    assert found.low < np.exp(fit.profile(1)[0]) and found.high > np.exp(fit.profile(1)[1])
    # The p-value crosses 5 % where a limit touches one.
    edge = life_ratio(np.where(types == "plated", time / found.low, time), failed, types, "plated", "plain")
    assert edge.low == pytest.approx(1.0, abs=1e-7) and edge.p == pytest.approx(0.05, abs=1e-7)
    back = life_ratio(time, failed, types, "plain", "plated")
    assert back.low == pytest.approx(1 / found.high, rel=1e-6)
    assert len(found.shapes) == 1


def best_shape(time, failed, own, log_life):
    """Largest log-likelihood of one type over the Weibull shape, the life of which a tenth fails held."""

    def short(shape):
        scale = np.exp(log_life) / (-np.log(0.9)) ** (1 / shape)
        lives = weibull_min(shape, scale=scale)
        return -np.where(failed[own] == 1, lives.logpdf(time[own]), lives.logsf(time[own])).sum()

    return -minimize_scalar(short, bounds=(0.2, 20.0), method="bounded").fun


def test_ratio_with_shapes_of_their_own():
    time, failed, types = plated()
    found = life_ratio(time, failed, types, "plated", "plain", 0.1, common_shape=False)
    one = np.array([1.0])
    each = {t: fit_life(time[types == t], failed[types == t], np.ones((8, 1))) for t in ("plain", "plated")}
    want = each["plated"].log_life(one, 0.1)[0] - each["plain"].log_life(one, 0.1)[0]
    assert np.log(found.ratio) == pytest.approx(want, abs=1e-9)
    assert found.low < found.ratio < found.high
    # At the limit the best pair of lives with that ratio lies 6 log(1 + t**2 / 10) under the top: looked up on a grid.
    lives = each["plain"].log_life(one, 0.1)[0] + np.linspace(-0.6, 0.3, 46)
    heights = [
        best_shape(time, failed, types == "plated", v + np.log(found.low))
        + best_shape(time, failed, types == "plain", v)
        for v in lives
    ]
    top = sum(f.log_likelihood for f in each.values())
    # The grid of 0.02 misses the summit by under 0.002.
    assert top - max(heights) == pytest.approx(6 * np.log1p(2.2281388519649385**2 / 10), abs=2e-3)


def test_shape_check_is_the_likelihood_ratio():
    time, failed, types = plated()
    found = check_shape(time, failed, types)
    each = [fit_life(time[types == t], failed[types == t], np.ones((8, 1))) for t in ("plain", "plated")]
    common = fit_life(time, failed, np.column_stack([np.ones(16), types == "plated"]).astype(float))
    assert found.statistic == pytest.approx(2 * (sum(f.log_likelihood for f in each) - common.log_likelihood), abs=1e-9)
    assert found.df == 1 and 0 < found.p < 1
    assert found.shapes["plain"] == pytest.approx(each[0].shape, rel=1e-9)


def test_type_that_never_failed_has_a_bound_on_one_side():
    time, failed, types = plated()
    failed[types == "plated"] = 0
    found = life_ratio(time, failed, types, "plated", "plain")
    assert found.ratio == np.inf and 1 < found.low < np.inf and found.high == np.inf
    back = life_ratio(time, failed, types, "plain", "plated")
    assert (back.ratio, back.low) == (0.0, 0.0) and back.high == pytest.approx(1 / found.low, rel=1e-6)


def test_comparisons_that_cannot_be_made():
    time, failed, types = plated()
    with pytest.raises(WrongArgument, match="the types are plain, plated"):
        life_ratio(time, failed, types, "gold", "plain")
    with pytest.raises(NotIdentifiable, match="Neither 'plated' nor 'plain' failed"):
        life_ratio(time, np.zeros(16), types, "plated", "plain")
    failed[types == "plated"] = 0
    with pytest.raises(NotIdentifiable, match="no shape of its own"):
        life_ratio(time, failed, types, "plated", "plain", common_shape=False)
    with pytest.raises(NotIdentifiable, match="Fewer than two types"):
        check_shape(time, failed, types)


def test_bound_when_nothing_failed():
    # Exponential: total time on test / -log(0.05); with shape 2 the squares add.
    assert bound_without_failures([10.0, 20.0, 30.0], 1.0) == pytest.approx(60 / np.log(20), rel=1e-12)
    assert bound_without_failures([3.0, 4.0], 2.0) == pytest.approx(5 / np.sqrt(np.log(20)), rel=1e-12)
    with pytest.raises(WrongArgument, match="above zero"):
        bound_without_failures([0.0, 1.0], 1.0)
    with pytest.raises(NotFinite, match="missing or infinite"):
        bound_without_failures([np.nan, 1.0], 1.0)


def test_product_limit_by_hand():
    table = survival_table([1.0, 2, 2, 3, 4, 5], [1, 1, 0, 1, 0, 1])
    # 5/6; then 4/5 of it (the life censored at 2 still at risk); then 2/3 of it; then nothing.
    assert table.share == pytest.approx([5 / 6, 2 / 3, 4 / 9, 0.0], rel=1e-12)
    assert list(table.at_risk) == [6, 5, 3, 1] and list(table.failed) == [1, 1, 1, 1]
    assert np.all((table.low <= table.share) & (table.share <= table.high))
    assert len(survival_table([1.0, 2.0], [0, 0]).time) == 0


# R 4.2.2, survival 3.5.3: survreg with and without strata(type); survfit(conf.type = "log-log").
BENCH = np.array([31, 44, 58, 63, 75, 80, 96, 120, 50, 61, 70, 88, 110, 120, 120, 120.0])
BENCH_FAILED, BENCH_TYPE = np.array([1] * 7 + [0] + [1] * 5 + [0] * 3), np.repeat(["a", "b"], 8)


def test_shape_check_and_product_limit_match_r():
    found = check_shape(BENCH, BENCH_FAILED, BENCH_TYPE)
    # survreg stops at a relative change of 1e-9.
    assert found.statistic == pytest.approx(0.006158460277, abs=1e-8)
    assert found.shapes == pytest.approx({"a": 2.509460057, "b": 2.609117003}, rel=1e-7)
    table = survival_table(BENCH, BENCH_FAILED)
    # Printed to eight digits.
    some = [0, 2, 8, 11]
    assert table.share[some] == pytest.approx([0.9375, 0.8125, 0.4375, 0.25], abs=1e-8)
    assert table.low[some] == pytest.approx([0.632345442, 0.524604311, 0.198117175, 0.077537105], abs=1e-8)
    assert table.high[some] == pytest.approx([0.99095314, 0.93535226, 0.65564368, 0.47161656], abs=1e-8)


def test_product_limit_agrees_with_statsmodels():
    time = np.round(np.random.default_rng(8).exponential(10, 60)) + 1
    failed = (np.random.default_rng(9).random(60) < 0.6).astype(float)
    other = SurvfuncRight(time, failed)
    table = survival_table(time, failed)
    assert table.share == pytest.approx(np.asarray(other.surv_prob), abs=1e-12)
    assert list(table.at_risk) == list(other.n_risk)
    with pytest.raises(WrongShape, match="one row per life"):
        survival_table([1.0], [1, 0])
    with pytest.raises(WrongArgument, match="confidence"):
        survival_table([1.0], [1], confidence=0.0)


def test_the_profile_of_the_log_scale_lies_the_drop_under_the_top(motors):
    """Held at a limit, the best likelihood over the coefficients is chi-square / 2 lower; by a search of its own."""
    from scipy.optimize import minimize

    data, fixed, fit, _ = motors
    time, failed = np.log(np.asarray(data["t"], float)), np.asarray(data["event"]) == 1

    def height(beta, log_scale):
        z = (time - fixed @ beta) / np.exp(log_scale)
        return float(np.sum((z - log_scale - time)[failed]) - np.exp(z).sum())

    low, high = fit.profile(2)
    for limit in (low, high):
        best = minimize(
            lambda b, at=limit: -height(b, at),
            fit.coefficients,
            method="Nelder-Mead",
            options={"xatol": 1e-8, "fatol": 1e-10},
        )
        assert fit.log_likelihood + best.fun == pytest.approx(0.5 * 3.841458820694124, abs=1e-4)
    assert low < np.log(fit.scale) < high
    for wrong in (-1, 3):
        with pytest.raises(WrongArgument, match="no coefficient"):
            fit.profile(wrong)


@pytest.mark.parametrize(
    ("row", "quantile", "error"),
    [
        ([1.0], 0.5, WrongShape),
        ([1.0, np.nan], 0.5, NotFinite),
        ([1.0, 0.0], 0.0, WrongArgument),
        ([1.0, 0.0], 1.0, WrongArgument),
    ],
)
def test_a_life_that_cannot_be_asked_for_is_refused(motors, row, quantile, error):
    with pytest.raises(error):
        motors[2].log_life(np.array(row), quantile)


@pytest.mark.parametrize("confidence", [0.0, 1.0])
def test_a_confidence_of_all_or_nothing_is_refused(motors, confidence):
    with pytest.raises(WrongArgument, match="between 0 and 1"):
        motors[2].profile(1, confidence)
