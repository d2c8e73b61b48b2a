"""Cumulative-logit model against R, by hand, and on tables that break common fitters."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import expit
from scipy.stats import chi2

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.ordinal import fit_ordinal, proportional_odds, regression
from trials.infer.ordinal import maximum as _ordinal_fit

REFERENCE = Path(__file__).parents[1] / "reference" / "ordinal"
# Tolerances of the reference files: R stops at a gradient of 1e-10, clmm at about six digits.
LOG_LIKELIHOOD, ESTIMATE, SE, PROFILE = 1e-6, 1e-4, 1e-4, 1e-4


def read(name):
    case = json.loads((REFERENCE / name).read_text())
    return {k: np.array(v) for k, v in case["data"]["columns"].items()}, case["expected"]


def wine():
    data, expected = read("wine.json")
    fixed = np.column_stack([data["factor_a"] == "warm", data["factor_b"] == "yes"]).astype(float)
    return data, fixed, expected


def separated():
    data, expected = read("separation.json")
    a, b = data["factor_a"], data["factor_b"]
    return data, np.column_stack([a == "a2", a == "a3", data["x1c"], b == "hi"]).astype(float), expected


def test_wine_estimates_match_r():
    data, fixed, expected = wine()
    fit = fit_ordinal(data["y"], fixed)
    assert fit.log_likelihood == pytest.approx(expected["logLik"], abs=LOG_LIKELIHOOD)
    assert fit.thresholds == pytest.approx(expected["thresholds"]["estimate"], abs=ESTIMATE)
    assert fit.coefficients == pytest.approx(expected["coefficients"]["estimate"], abs=ESTIMATE)
    se = expected["thresholds"]["se"] + expected["coefficients"]["se"]
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(se, rel=SE)
    assert list(fit.categories) == expected["categories"]
    assert fit.converged and not fit.separated and fit.group_sd == 0


def test_wine_tutorial_figures():
    data, fixed, _ = wine()
    fit = fit_ordinal(data["y"], fixed)
    # Printed to three decimals in the tutorial of the R package ordinal (from memory).
    assert np.round(fit.thresholds, 3) == pytest.approx([-1.344, 1.251, 3.467, 5.006], abs=1e-9)
    assert np.round(fit.coefficients, 3) == pytest.approx([2.503, 1.528], abs=1e-9)


def test_wine_profile_limits_match_r():
    data, fixed, expected = wine()
    fit = fit_ordinal(data["y"], fixed)
    limits = np.array([fit.profile(i) for i in range(2)])
    assert limits[:, 0] == pytest.approx(expected["coefficients"]["profile_lower95"], abs=PROFILE)
    assert limits[:, 1] == pytest.approx(expected["coefficients"]["profile_upper95"], abs=PROFILE)


def test_wine_probabilities_match_r():
    data, fixed, expected = wine()
    fit, grid = fit_ordinal(data["y"], fixed), np.array([[0, 0], [1, 0], [0, 1], [1, 1]], float)
    below = expit(fit.thresholds - (grid @ fit.coefficients)[:, None])
    got = np.diff(below, axis=1, prepend=0.0, append=1.0)
    # Probabilities are at most 0.25 times as sensitive as the estimates.
    assert got == pytest.approx(np.array(expected["predicted_probabilities"]["prob"]), abs=ESTIMATE / 4)


@pytest.mark.parametrize("name", ["wine", "separated"])
def test_likelihood_ratios_match_r(name):
    data, fixed, expected = wine() if name == "wine" else separated()
    full = fit_ordinal(data["y"], fixed).log_likelihood
    columns = (
        {"factor_a": [0], "factor_b": [1]} if name == "wine" else {"factor_a": [0, 1], "x1c": [2], "factor_b": [3]}
    )
    for row in expected["drop_one_LR"]:
        less = fit_ordinal(data["y"], np.delete(fixed, columns[row["term"]], axis=1)).log_likelihood
        assert 2 * (full - less) == pytest.approx(row["LR"], abs=2 * LOG_LIKELIHOOD)
    null = fit_ordinal(data["y"], np.zeros((len(fixed), 0)))
    assert null.log_likelihood == pytest.approx(expected["logLik_null"], abs=LOG_LIKELIHOOD)


def test_wine_proportional_odds_match_r():
    data, fixed, expected = wine()
    fit = fit_ordinal(data["y"], fixed)
    contact = proportional_odds(fit, (1,))
    assert contact.statistic == pytest.approx(expected["proportional_odds_LR"][1]["LR"], abs=2 * LOG_LIKELIHOOD)
    assert (contact.df, contact.separated) == (3, False)
    assert contact.p == pytest.approx(expected["proportional_odds_LR"][1]["p"], rel=1e-3)
    # R's wider model does not converge for temperature: it separates, and the supremum is used here.
    assert proportional_odds(fit, (0,)).separated


def test_wine_group_effect_matches_r():
    data, fixed, expected = wine()
    want = expected["clmm_nAGQ10"]
    fit = fit_ordinal(data["y"], fixed, data["unit"])
    assert fit.log_likelihood == pytest.approx(want["logLik"], abs=LOG_LIKELIHOOD)
    assert fit.thresholds == pytest.approx(want["thresholds"], abs=ESTIMATE)
    assert fit.coefficients == pytest.approx(want["beta"], abs=ESTIMATE)
    assert fit.group_sd == pytest.approx(want["sd_random"], abs=ESTIMATE)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(want["se"], rel=SE)
    for row, keep in zip(want["drop_one_LR"], (1, 0), strict=True):
        less = fit_ordinal(data["y"], fixed[:, [keep]], data["unit"])
        assert 2 * (fit.log_likelihood - less.log_likelihood) == pytest.approx(row["LR"], abs=1e-5)


def test_group_without_an_effect_is_estimated_at_zero():
    grades = [1, 2, 3, 2, 1, 3, 3, 2, 1, 1, 2, 3, 3, 3, 2, 1, 2, 2, 3, 1, 1, 2, 3, 2]
    fit = fit_ordinal(grades, np.tile([0.0, 1.0, 2.0], 8)[:, None], np.repeat(np.arange(6), 4))
    # R 4.2.2, ordinal 2022.11.16, clmm(nAGQ = 10), which stops near zero at a group sd of 3e-5.
    assert fit.thresholds == pytest.approx([-0.737253354, 0.848434120], abs=1e-5)
    assert fit.coefficients == pytest.approx([0.148265388], abs=1e-5)
    assert fit.log_likelihood == pytest.approx(-26.19197459, abs=LOG_LIKELIHOOD)
    assert fit.group_sd < 1e-4 and fit.converged


def test_separation_is_seen_and_bounded():
    data, fixed, expected = separated()
    fit = fit_ordinal(data["y"], fixed)
    want = expected["separation"]
    assert fit.separated and fit.coefficients[1] == -np.inf
    assert fit.log_likelihood == pytest.approx(want["supremum_logLik"], abs=LOG_LIKELIHOOD)
    finite = [want["finite_coefficients"][k] for k in ("factor_aa2", "x1c", "factor_bhi")]
    assert fit.coefficients[[0, 2, 3]] == pytest.approx(finite, abs=ESTIMATE)
    low, high = fit.profile(1)
    assert low == -np.inf
    assert high == pytest.approx(want["profile_upper95_of_separated_coefficient"], abs=PROFILE)
    assert fit.covariance[6 - 1, 6 - 1] == np.inf
    assert np.all(np.isfinite(fit.penalised)) and fit.penalised[1] < -2


def test_binary_grades_are_a_logistic_regression():
    # 2 x 2 table: 3 of 10 and 7 of 10; the coefficient is the log odds ratio, its variance the sum of 1/counts.
    grades = np.repeat([1, 0, 1, 0], [3, 7, 7, 3])
    fixed = np.repeat([[0.0], [1.0]], 10, axis=0)
    fit = fit_ordinal(grades, fixed)
    assert fit.coefficients[0] == pytest.approx(np.log(7 * 7 / 9), abs=1e-9)
    assert fit.covariance[1, 1] == pytest.approx(2 * (1 / 3 + 1 / 7), rel=1e-9)


def _log_odds_apart(grades, second):
    return float(fit_ordinal(grades, np.asarray(second, float)[:, None]).coefficients[0])


def test_reference_level_always_clean_sends_everything_to_infinity_but_differences_stay():
    grades = np.repeat([0, 1, 2, 0, 1, 2, 0], [10, 4, 3, 3, 3, 3, 4])
    types = np.repeat([0, 1, 2], 10)
    fit = fit_ordinal(grades, np.column_stack([types == 1, types == 2]).astype(float))
    assert list(fit.coefficients) == [np.inf, np.inf]
    again = fit_ordinal(grades, np.column_stack([types == 0, types == 2]).astype(float))
    assert again.coefficients[0] == -np.inf and np.isfinite(again.coefficients[1])
    # same model, other coding: same supremum, and the types that are not always clean keep their distance
    assert again.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-9)
    assert again.coefficients[1] == pytest.approx(_log_odds_apart(grades[10:30], types[10:30] == 2), abs=1e-7)


def test_complete_separation_reaches_likelihood_one():
    fit = fit_ordinal([0, 0, 0, 1, 1, 1], np.array([[1.0], [2], [3], [4], [5], [6]]))
    assert fit.log_likelihood == pytest.approx(0.0, abs=1e-12)
    assert fit.coefficients[0] == np.inf and np.isfinite(fit.penalised[0])
    low, high = fit.profile(0)
    assert np.isfinite(low) and high == np.inf


def test_quasi_separation_by_one_shared_point():
    # At x = 3 both grades occur, so only the slope is infinite and the supremum is that of two coin tosses.
    fit = fit_ordinal([0, 0, 0, 1, 1, 1], np.array([[1.0], [2], [3], [3], [4], [5]]))
    assert fit.coefficients[0] == np.inf
    assert fit.log_likelihood == pytest.approx(2 * np.log(0.5), abs=1e-12)


def test_a_separated_type_takes_nothing_from_what_is_known_of_the_others():
    """Grades of a type that are surely the best have chance one in the limit: the rest is the fit without them."""
    rng = np.random.default_rng(3)
    specimen = np.repeat(np.arange(18), 5)
    kind = specimen // 6
    latent = 0.8 * rng.standard_normal(18)[specimen] + 0.7 * (kind == 1) + rng.logistic(size=90)
    grades = np.where(kind == 2, 0, np.digitize(latent, [-0.5, 1.0]))
    fixed, others = np.column_stack([kind == 1, kind == 2]).astype(float), kind < 2
    whole, part = fit_ordinal(grades, fixed, specimen), fit_ordinal(grades[others], fixed[others, :1], specimen[others])
    assert whole.separated and part.group_sd > 0.5
    assert whole.group_sd == pytest.approx(part.group_sd, rel=1e-6)
    # the information is taken by differences of a gradient: 1e-5 of it
    np.testing.assert_allclose(whole.covariance[:3, :3], part.covariance, rtol=1e-5)


@pytest.mark.parametrize("with_group", [False, True])
def test_separated_type_with_specimens(with_group):
    rng = np.random.default_rng(4)
    types, specimen = np.repeat([0, 1, 2], 18), np.repeat(np.arange(9), 6)
    grades = np.clip(np.round(rng.normal(1.5, 1.0, 54) + rng.normal(0, 0.7, 9)[specimen]), 0, 4)
    grades[types == 2] = 0
    fit = fit_ordinal(grades, np.column_stack([types == 1, types == 2]).astype(float), specimen if with_group else None)
    assert fit.separated and fit.coefficients[1] == -np.inf and np.isfinite(fit.coefficients[0])
    low, high = fit.profile(1)
    assert low == -np.inf and high < 0
    assert np.all(np.isfinite(fit.penalised))


@pytest.mark.parametrize("points", [1, 2, 10])
def test_gradient_of_the_quadrature_is_exact(points):
    """With one or two points the sum depends on where the nodes lie, so their movement must be in the gradient too."""
    data, fixed, _ = wine()
    problem = fit_ordinal(data["y"], fixed, data["unit"], quadrature_points=points)._problem
    theta, sd = np.array([-1.5, 1.2, 3.6, 5.2, 2.2, 1.0]), 1.3
    slope = _ordinal_fit.integrate(problem, theta, sd).slope()
    point, numeric = np.append(theta, sd), []
    for j in range(7):
        step = 1e-5 * np.eye(7)[j]
        ahead, behind = (_ordinal_fit.integrate(problem, p[:-1], p[-1]).height for p in (point + step, point - step))
        numeric.append((ahead - behind) / 2e-5)
    assert slope == pytest.approx(numeric, abs=1e-7)


@pytest.mark.parametrize("sd", [0.3, 2.0, 6.05, 9.0])
def test_group_modes_are_where_the_slope_is_zero(sd):
    # At a large sd plain Newton swings between both sides of the mode for ever.
    upper, lower = np.repeat([-3.07, 0.4, np.inf], 4), np.repeat([-np.inf, -0.2, 2.0], 4)
    starts, sizes = np.array([0, 4, 8]), np.array([4, 4, 4])
    shift = sd * np.repeat(_ordinal_fit._modes(upper, lower, sd, starts, sizes), 4)
    slope = -sd * np.add.reduceat(expit(-(upper - shift)) - expit(lower - shift), starts) - shift[::4] / sd
    assert slope == pytest.approx(0.0, abs=1e-10)


def test_quadrature_agrees_with_direct_integration():
    grades, specimen = np.array([0, 1, 1, 0, 0, 1, 1, 1, 0, 0, 0, 1]), np.repeat([0, 1, 2], 4)
    fit = fit_ordinal(grades, np.zeros((12, 0)), specimen, quadrature_points=40)
    a, sd = fit.thresholds[0], max(fit.group_sd, 0.8)
    got = _ordinal_fit.integrate(fit._problem, np.array([a]), sd).height
    want = 0.0
    for g in range(3):
        y = grades[specimen == g]

        def inside(z, y=y):
            clean = expit(a - sd * z)
            return np.prod(np.where(y == 0, clean, 1 - clean)) * np.exp(-z * z / 2) / np.sqrt(2 * np.pi)

        want += np.log(quad(inside, -12, 12, epsabs=1e-13)[0])
    assert got == pytest.approx(want, abs=1e-9)


def test_row_order_and_scale_of_a_column_do_not_matter():
    data, fixed, _ = wine()
    order = np.random.default_rng(1).permutation(72)
    one = fit_ordinal(data["y"], fixed, data["unit"])
    two = fit_ordinal(data["y"][order] * 10, fixed[order] * [1000.0, 0.001], data["unit"][order])
    assert two.log_likelihood == pytest.approx(one.log_likelihood, abs=1e-8)
    assert two.coefficients * [1000.0, 0.001] == pytest.approx(one.coefficients, abs=1e-6)


def test_a_grade_that_never_occurs_is_left_out():
    fit = fit_ordinal([0, 0, 4, 4, 0, 4], np.array([[1.0], [2], [3], [1], [3], [2]]))
    assert list(fit.categories) == [0, 4] and len(fit.thresholds) == 1


def test_three_grades_of_two_groups_against_shares_of_their_own():
    """With a threshold of its own for each group and step the wider model gives the shares themselves."""
    counts = np.array([[10, 20, 10], [20, 6, 14]])
    y, group = (np.repeat(values, counts.ravel()) for values in ([0, 1, 2, 0, 1, 2], [0.0, 0.0, 0.0, 1.0, 1.0, 1.0]))
    fit = fit_ordinal(y, group[:, None])
    found = proportional_odds(fit)
    own = float((counts * np.log(counts / counts.sum(axis=1, keepdims=True))).sum())
    assert found.df == 1 and found.statistic == pytest.approx(2.0 * (own - fit.log_likelihood), abs=1e-6)
    assert found.p == pytest.approx(chi2.sf(found.statistic, 1), rel=1e-9) and not found.separated


def test_two_grades_have_nothing_to_check():
    fit = fit_ordinal([0, 0, 1, 1], np.array([[1.0], [2], [2], [1]]))
    with pytest.raises(NotIdentifiable, match="Only two grades"):
        proportional_odds(fit)


def test_groups_that_are_always_the_same_are_named():
    grades, specimen = np.repeat([0, 2, 0, 2, 0, 2], 6), np.repeat(np.arange(6), 6)
    fit = fit_ordinal(grades, np.repeat([[0.0], [1.0]], 18, axis=0), specimen)
    assert fit.group_sd_open and np.all(np.isfinite(fit.penalised))


COLUMN = np.array([[0.0], [1.0], [0.0], [1.0]])
REFUSED = [
    ({"grades": [1, 1, 1, 1], "fixed": COLUMN}, NotIdentifiable, "Every grade is 1"),
    ({"grades": [1, np.nan, 1, 2], "fixed": COLUMN}, NotFinite, "grade is missing"),
    ({"grades": [1, 2, 1, 2], "fixed": COLUMN + np.inf}, NotFinite, "fixed columns"),
    ({"grades": [1, 2, 1], "fixed": COLUMN}, WrongShape, "fixed columns"),
    ({"grades": [], "fixed": COLUMN}, WrongShape, "at least one row"),
    ({"grades": [1, 2, 1, 2], "fixed": np.ones((4, 1))}, NotIdentifiable, "Column 0"),
    ({"grades": [1, 2, 1, 2], "fixed": np.hstack([COLUMN, 2 * COLUMN])}, NotIdentifiable, "Column 1"),
    ({"grades": [1, 2, 1, 2], "fixed": COLUMN, "group": ["a"] * 4}, NotIdentifiable, "only one group"),
    ({"grades": [1, 2, 1, 2], "fixed": COLUMN, "group": list("abcd")}, NotIdentifiable, "holds one grade"),
    ({"grades": [1, 2, 1, 2], "fixed": COLUMN, "group": list("abab")}, NotIdentifiable, "one specimen per type"),
    ({"grades": [1, 2, 1, 2], "fixed": COLUMN, "group": list("ab")}, WrongShape, "2 labels for 4"),
    ({"grades": [1, 2, 1, 2], "fixed": COLUMN, "quadrature_points": 0}, WrongArgument, "at least one point"),
]


@pytest.mark.parametrize(("arguments", "error", "text"), REFUSED)
def test_refusals_are_named(arguments, error, text):
    with pytest.raises(error, match=text):
        fit_ordinal(**arguments)


def test_profile_refuses_what_is_not_there():
    fit = fit_ordinal([1, 2, 2, 1, 2], np.array([[0.0], [1], [0], [1], [1]]))
    with pytest.raises(WrongArgument, match="no coefficient 1"):
        fit.profile(1)
    with pytest.raises(WrongArgument, match="between 0 and 1"):
        fit.profile(0, confidence=1.0)


def test_prior_on_the_group_spread_is_half_normal():
    # the height at the penalised summit, by its parts; the prior's half-normal of sd 0.5 pulls the spread down
    data, fixed, _ = wine()
    problem = fit_ordinal(data["y"], fixed, data["unit"])._problem
    prior = replace(problem.rows, weight=0.1 * problem.rows.weight)
    start = np.array([-1.5, 1.2, 3.6, 5.2, 2.2, 1.0])
    free = _ordinal_fit.maximise(problem, start)
    found = _ordinal_fit.maximise(replace(problem, prior_rows=prior, prior_sd=0.5), start)
    plain = _ordinal_fit.integrate(problem, found.theta, found.group_sd)
    own = _ordinal_fit.plain_value(prior, found.theta)
    assert found.height == pytest.approx(plain.height - 2.0 * found.group_sd**2 + own, abs=1e-9)
    uphill = plain.slope() + np.append(_ordinal_fit.plain_slope(prior, found.theta), -4.0 * found.group_sd)
    assert uphill == pytest.approx(0.0, abs=1e-6)  # the climb stops at 1e-15 of height
    assert found.converged and 0.1 < found.group_sd < free.group_sd - 0.1


def test_a_fit_starts_from_the_overall_shares():
    data = regression._Data(np.array([0, 0, 0, 1, 2, 2]), np.zeros((6, 2)), np.ones(2), None)
    # half at most the lowest, four of six at most the middle one
    assert regression._start(data, 2) == pytest.approx([0.0, np.log(2.0), 0.0, 0.0])


def test_rows_are_put_in_the_order_of_their_groups():
    codes, fixed = np.array([0, 1, 2, 0, 1]), np.arange(5.0)[:, None]
    found = regression._sorted(codes, fixed, np.ones(1), np.array(["b", "a", "b", "a", "a"]))
    assert found.codes.tolist() == [1, 0, 1, 0, 2] and found.fixed[:, 0].tolist() == [1, 3, 4, 0, 2]
    assert found.starts.tolist() == [0, 3]
    assert regression._sorted(codes, fixed, np.ones(1), None).starts is None


@pytest.mark.parametrize(
    ("columns", "culprit"),
    [([[1.0], [1.0], [1.0], [1.0]], 0), ([[0.0, 0.0], [1.0, 2.0], [2.0, 4.0], [5.0, 10.0]], 1)],
)
def test_the_column_that_repeats_another_is_named(columns, culprit):
    with pytest.raises(NotIdentifiable, match=f"Column {culprit} "):
        fit_ordinal(np.array([0.0, 1.0, 0.0, 1.0]), np.array(columns))


def test_a_parabola_of_log_odds_by_shares_of_their_own():
    """Proportional odds hold exactly for two grades of a table; three grades whose odds differ are told apart."""
    low, high = np.repeat([0.0, 1.0, 2.0], [30, 20, 10]), np.repeat([0.0, 1.0, 2.0], [10, 20, 30])
    fixed = np.repeat([0.0, 1.0], 60)[:, None]
    alike = proportional_odds(fit_ordinal(np.concatenate([low, high]), fixed))
    # odds of the lowest 1 and 1/5, of the two lower ones 5 and 1: the same ratio of five at both steps
    assert (alike.df, alike.statistic, alike.p) == (1, pytest.approx(0.0, abs=1e-8), pytest.approx(1.0, abs=1e-3))
    apart = np.repeat([0.0, 1.0, 2.0], [30, 2, 28])
    found = proportional_odds(fit_ordinal(np.concatenate([low, apart]), fixed))
    # the wider model fits each step by itself: its height is that of the two tables of counts
    counts = np.array([[30, 20, 10], [30, 2, 28]])
    top = float(np.sum(counts * np.log(counts / 60)))
    fit = fit_ordinal(np.concatenate([low, apart]), fixed)
    assert found.statistic == pytest.approx(2 * (top - fit.log_likelihood), abs=1e-6)
    assert found.p == pytest.approx(chi2.sf(found.statistic, 1)) and not found.separated
    with pytest.raises(WrongArgument, match="from 0 to 0"):
        proportional_odds(fit, (1,))
