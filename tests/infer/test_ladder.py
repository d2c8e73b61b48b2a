"""Interval-censored ladders against R, closed forms and hand counts; limits against exact normal ones."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize
from scipy.stats import nct, norm, t

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.ladder import compare_ladders, fit_ladder, likelihood
from trials.infer.ladder.likelihood import Ladders, LadderTop, Nodes
from trials.infer.likelihood.recession import nothing_separates
from trials.infer.means import against_reference

CASE = json.loads((Path(__file__).parents[1] / "reference/ladder/l1_ladder.json").read_text("utf-8"))
NAN = np.nan


def ends(values):
    return np.array([NAN if v is None else v for v in values], float)


LOW, HIGH = ends(CASE["low"]), ends(CASE["high"])
KIND = np.array(CASE["type"])
FIXED = np.column_stack([np.ones(24), KIND == 1, KIND == 2]).astype(float)
CELLS = (KIND[:, None] == np.arange(3)).astype(float)
PAIRS = np.arange(24) // 2
NAMES = np.array(["plain", "double", "shower"])


def test_equals_survreg():
    # tolerances of the reference: 1e-5 and 1e-6; it prints ten figures
    fit = fit_ladder(LOW, HIGH, FIXED)
    assert fit.coefficients == pytest.approx(CASE["coefficients"], abs=1e-5)
    assert fit.scale == pytest.approx(CASE["scale"], abs=1e-5)
    assert fit.log_likelihood == pytest.approx(CASE["log_likelihood"], abs=1e-6)
    # coefficients, then log scale
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(CASE["se"], abs=1e-5)
    assert fit.converged and not fit.separated and not fit.scale_zero
    assert (fit.between, fit.above, fit.below) == (17, 6, 1)


def test_order_coding_and_unit_do_not_matter():
    fit = fit_ladder(LOW, HIGH, FIXED)
    turned = np.random.default_rng(1).permutation(24)
    other = fit_ladder(1000 * LOW[turned] - 500, 1000 * HIGH[turned] - 500, CELLS[turned])
    assert other.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-8)
    assert other.scale == pytest.approx(1000 * fit.scale, rel=1e-7)
    means = fit.coefficients[0] + np.array([0.0, *fit.coefficients[1:]])
    assert other.coefficients == pytest.approx(1000 * means - 500, rel=1e-7)


def test_narrow_steps_give_the_normal_sample():
    y = np.array([3.1, 3.9, 4.4, 5.2, 4.0])
    fit = fit_ladder(y - 5e-5, y + 5e-5, np.ones((5, 1)))
    # steps of 1e-4 shift the estimates by their square over the variance
    assert fit.coefficients[0] == pytest.approx(y.mean(), abs=1e-7)
    assert fit.scale == pytest.approx(y.std(), abs=1e-7)


def test_a_type_clean_to_the_last_step():
    low, high = LOW.copy(), HIGH.copy()
    low[KIND == 1], high[KIND == 1] = 5.0, NAN
    fit = fit_ladder(low, high, FIXED)
    assert fit.separated and not fit.scale_zero
    assert fit.coefficients[1] == np.inf
    rest = fit_ladder(low[KIND != 1], high[KIND != 1], FIXED[KIND != 1][:, [0, 2]])
    assert fit.coefficients[[0, 2]] == pytest.approx(rest.coefficients, abs=1e-7)
    assert fit.log_likelihood == pytest.approx(rest.log_likelihood, abs=1e-9)
    assert fit.covariance[1, 1] == np.inf and np.isnan(fit.covariance[0, 1])
    assert fit.covariance[np.ix_([0, 2], [0, 2])] == pytest.approx(rest.covariance[:2, :2], rel=1e-6)
    bottom, top = fit.limits_at_drop(np.array([0.0, 1.0, 0.0]), 1.92)
    assert 0.3 < bottom < 1.0 and top == np.inf
    assert fit.log_likelihood - fit.height_at(np.array([0.0, 1.0, 0.0]), bottom) == pytest.approx(1.92, abs=1e-4)
    assert fit.estimate(np.array([0.0, -1.0, 1.0])) == -np.inf


def test_a_type_never_clean():
    low, high = LOW.copy(), HIGH.copy()
    low[KIND == 2], high[KIND == 2] = NAN, 3.0
    assert fit_ladder(low, high, FIXED).coefficients[2] == -np.inf


def test_all_mounts_in_one_step():
    fit = fit_ladder([4.0, 4.0, 4.0], [4.25, 4.25, 4.5], np.ones((3, 1)))
    assert (fit.scale, fit.scale_zero, fit.separated, fit.log_likelihood) == (0.0, True, False, 0.0)
    # the largest product of distances to the walls at 4 (three times), 4.25 (twice) and 4.5, by its slope
    at = fit.coefficients[0]
    assert 3 / (at - 4) - 2 / (4.25 - at) - 1 / (4.5 - at) == pytest.approx(0.0, abs=1e-5)
    assert np.all(np.isinf(np.diag(fit.covariance)))


def test_neighbouring_steps_put_the_limit_on_their_border():
    # two mounts under 4.25 and one above: 2 log(2/3) + log(1/3) as the scale goes to zero
    fit = fit_ladder([4.0, 4.0, 4.25], [4.25, 4.25, 4.5], np.ones((3, 1)))
    assert fit.scale_zero and fit.scale == 0.0
    assert fit.coefficients[0] == pytest.approx(4.25, abs=1e-9)
    assert fit.log_likelihood == pytest.approx(2 * np.log(2 / 3) + np.log(1 / 3), abs=1e-9)


def test_nothing_but_open_ends():
    fit = fit_ladder([5.0, 5.0, NAN, NAN], [NAN, NAN, 3.0, 3.0], CELLS[[0, 1, 8, 9]][:, :2])
    assert list(fit.coefficients) == [np.inf, -np.inf]
    assert fit.separated and fit.scale_zero and fit.scale == 0.0 and fit.log_likelihood == 0.0
    with pytest.raises(NotIdentifiable, match="contradict"):
        fit_ladder([5.0, NAN], [NAN, 3.0], np.ones((2, 1)))


def test_profile_limits_of_a_complete_sample():
    # narrow steps: the profile of a normal mean is n/2 log(1 + t^2 / (n - 1))
    y = np.array([3.1, 3.9, 4.4, 5.2, 4.0, 4.6])
    fit = fit_ladder(y - 1e-4, y + 1e-4, np.ones((6, 1)))
    reach = t.ppf(0.975, 5)
    low, high = fit.limits_at_drop(np.array([1.0]), 3 * np.log1p(reach**2 / 5))
    half = reach * y.std(ddof=1) / np.sqrt(6)
    assert (low, high) == pytest.approx((y.mean() - half, y.mean() + half), abs=1e-5)


def test_group_effect_by_direct_integration():
    fit = fit_ladder(LOW, HIGH, FIXED, {"specimen": PAIRS})
    total = 0.0
    for g in range(12):
        rows = np.flatnonzero(g == PAIRS)

        def inner(b, rows=rows):
            middle = FIXED[rows] @ fit.coefficients + b
            upper = norm.cdf(np.where(np.isnan(HIGH[rows]), np.inf, HIGH[rows]), middle, fit.scale)
            lower = norm.cdf(np.where(np.isnan(LOW[rows]), -np.inf, LOW[rows]), middle, fit.scale)
            return norm.pdf(b, 0, fit.group_sd) * np.prod(upper - lower)

        total += np.log(quad(inner, -9 * fit.group_sd, 9 * fit.group_sd, epsabs=0, epsrel=1e-10, limit=200)[0])
    assert fit.log_likelihood == pytest.approx(total, abs=1e-7)
    assert fit.log_likelihood > fit_ladder(LOW, HIGH, FIXED).log_likelihood
    assert 0 < fit.group_sd < fit.scale and fit.converged and not fit.group_sd_open


def test_group_effect_is_at_its_summit():
    rows = Ladders(
        np.column_stack([-FIXED, np.nan_to_num(HIGH)]),
        np.column_stack([-FIXED, np.nan_to_num(LOW)]),
        np.isnan(HIGH),
        np.isnan(LOW),
    )
    starts = np.arange(0, 24, 2)
    fit = fit_ladder(LOW, HIGH, FIXED, {"specimen": PAIRS})
    at = np.array([*fit.coefficients / fit.scale, 1 / fit.scale, fit.group_sd / fit.scale])
    assert Nodes(rows, starts, at[:-1], at[-1]).slope() == pytest.approx(np.zeros(5), abs=1e-6)
    away = at * 1.07

    def by_differences(function, h=1e-5):
        steps = h * np.eye(5)
        return np.array([(function(away + e) - function(away - e)) / (2 * h) for e in steps])

    here = Nodes(rows, starts, away[:-1], away[-1])
    # central differences are good to about 1e-9 of values near 100
    assert here.slope() == pytest.approx(by_differences(lambda y: Nodes(rows, starts, y[:-1], y[-1]).height), abs=1e-6)
    assert here.bend() == pytest.approx(by_differences(lambda y: Nodes(rows, starts, y[:-1], y[-1]).slope()), abs=1e-5)


def test_profile_of_a_share_of_mounts_with_groups_by_another_climber():
    fit = fit_ladder(LOW, HIGH, CELLS, {"specimen": PAIRS})
    rows = Ladders(
        np.column_stack([-CELLS, np.nan_to_num(HIGH)]),
        np.column_stack([-CELLS, np.nan_to_num(LOW)]),
        np.isnan(HIGH),
        np.isnan(LOW),
    )
    first, z = np.array([1.0, 0.0, 0.0]), norm.ppf(0.05)
    value = fit.estimate(first, z)
    assert fit.height_at(first, value, z) == pytest.approx(fit.log_likelihood, abs=1e-8)

    def fallen(free):
        scale, sd = np.exp(free[2:])
        means = np.array([value - 0.8 - z * np.hypot(scale, sd), free[0], free[1]])
        return -Nodes(rows, np.arange(0, 24, 2), np.array([*means / scale, 1 / scale]), sd / scale).height

    start = np.array([5.0, 3.5, np.log(fit.scale), np.log(fit.scale)])
    found = minimize(fallen, start, method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-10, "maxiter": 4000})
    # a search without slopes, to about 1e-8
    assert fit.height_at(first, value - 0.8, z) == pytest.approx(-found.fun, abs=1e-6)


@pytest.mark.parametrize(
    ("groups", "said"),
    [
        ({"specimen": np.arange(24)}, "'specimen' has one row per level"),
        ({"specimen": np.zeros(24)}, "'specimen' has one level only"),
        ({"specimen": KIND}, "'specimen' apart"),
    ],
)
def test_groups_that_tell_nothing_are_named(groups, said):
    with pytest.raises(NotIdentifiable, match=said):
        fit_ladder(LOW, HIGH, FIXED, groups)


@pytest.mark.parametrize(
    ("change", "error", "said"),
    [
        (lambda low, high, x: (np.where(np.arange(24) == 3, np.inf, low), high, x), NotFinite, "infinite"),
        (lambda low, high, x: (low, high, np.where(x == 1, NAN, x)), NotFinite, "missing"),
        (lambda low, high, x: (np.full(24, NAN), np.full(24, NAN), x), NotFinite, "row 1 has neither"),
        (lambda low, high, x: (high, low, x), WrongArgument, "row 1 .* not below"),
        (lambda low, high, x: (low[:5], high, x), WrongShape, "one row per mount"),
        (lambda low, high, x: (low, high, np.column_stack([x, x[:, 0]])), NotIdentifiable, "depend on each other"),
    ],
)
def test_bad_input_is_named(change, error, said):
    with pytest.raises(error, match=said):
        fit_ladder(*change(LOW, HIGH, FIXED))


def test_more_than_one_grouping_is_refused():
    with pytest.raises(WrongArgument, match="one grouping"):
        fit_ladder(LOW, HIGH, FIXED, {"specimen": PAIRS, "sheet": np.arange(24) % 3})


def narrow(groups, seed=4):
    """Complete normal data of types with several mounts, as steps of 2e-4; and their exact figures."""
    rng = np.random.default_rng(seed)
    y = np.concatenate([rng.normal(4.0 + k, 0.5, n) for k, n in enumerate(groups)])
    kinds = np.repeat(["a", "b", "c"][: len(groups)], groups)
    means = np.array([y[kinds == k].mean() for k in "abc"[: len(groups)]])
    df = len(y) - len(groups)
    sd = np.sqrt(sum(((y[kinds == k] - m) ** 2).sum() for k, m in zip("abc", means, strict=False)) / df)
    return y - 1e-4, y + 1e-4, kinds, means, sd, df


def test_limits_are_the_exact_ones_on_complete_data():
    counts = np.array([5, 4, 7])
    low, high, kinds, means, sd, df = narrow(counts)
    found = compare_ladders(low, high, kinds, "a")
    covariance = sd**2 * (np.diag(1 / counts[1:]) + 1 / counts[0])
    exact = against_reference(means[1:] - means[0], covariance, np.full(2, float(df)))
    same = against_reference(means[1:] - means[0], covariance, np.full(2, float(df)), 0.90)
    # steps of 2e-4 leave an error of about 1e-6
    assert [c.low for c in found.comparisons] == pytest.approx(exact.low, abs=1e-5)
    assert [c.high for c in found.comparisons] == pytest.approx(exact.high, abs=1e-5)
    assert [c.same_low for c in found.comparisons] == pytest.approx(same.low, abs=1e-5)
    assert [c.p for c in found.comparisons] == pytest.approx(exact.p, rel=1e-3)
    half = t.ppf(0.975, df) * sd / np.sqrt(counts)
    assert [k.low for k in found.types] == pytest.approx(means - half, abs=1e-5)
    z = norm.ppf(0.95)
    factor = nct.ppf(0.95, df, z * np.sqrt(counts)) / np.sqrt(counts)
    assert [k.clean_95_low for k in found.types] == pytest.approx(means - factor * sd, abs=1e-5)
    assert (found.unit, found.units, found.df, found.pooled) == ("specimen", 16, 13, False)


def test_ratios_and_differences_say_the_same():
    plain = compare_ladders(LOW, HIGH, NAMES[KIND], "plain")
    ratio = compare_ladders(LOW, HIGH, NAMES[KIND], "plain", kind="ratio")
    typical = {k.name: k.typical for k in ratio.types}
    for one, other in zip(plain.comparisons, ratio.comparisons, strict=True):
        assert other.value == pytest.approx(typical[one.name] / typical["plain"], rel=1e-9)
        assert other.p == pytest.approx(one.p, rel=1e-9)
        assert (one.low > 0, one.high < 0) == (other.low > 1, other.high < 1)
        assert other.low < other.same_low < other.value < other.same_high < other.high


def test_against_the_other_type_the_signs_turn():
    one = compare_ladders(LOW[KIND < 2], HIGH[KIND < 2], NAMES[KIND[KIND < 2]], "plain").comparisons[0]
    other = compare_ladders(LOW[KIND < 2], HIGH[KIND < 2], NAMES[KIND[KIND < 2]], "double").comparisons[0]
    assert (one.low, one.high) == pytest.approx((-other.high, -other.low), abs=1e-6)
    assert one.p == pytest.approx(other.p, rel=1e-6)


def test_types_that_never_ended_inside_the_ladder():
    low, high = LOW.copy(), HIGH.copy()
    low[KIND < 2], high[KIND < 2] = 5.0, NAN
    found = compare_ladders(low, high, NAMES[KIND], "plain")
    double, shower = found.comparisons
    assert np.isnan(double.value) and (double.low, double.high) == (-np.inf, np.inf)
    assert double.p == pytest.approx(1.0, abs=1e-9)
    assert shower.value == -np.inf and shower.low == -np.inf and -2.5 < shower.high < -1.0
    plain = found.types[0]
    assert plain.typical == np.inf and plain.clean_95 == np.inf
    assert 5.0 < plain.low < np.inf and 4.0 < plain.clean_95_low < plain.low
    assert (plain.mounts, plain.above, plain.below) == (8, 8, 0)


def test_specimens_are_the_yardstick():
    rng = np.random.default_rng(3)
    marks = np.repeat(np.arange(8), 3)
    kinds = np.repeat(["a", "b"], 12)
    y = 6.0 + rng.normal(0, 1.0, 8)[marks] + rng.normal(0, 0.2, 24)
    low = np.floor(4 * y) / 4
    judged = compare_ladders(low, low + 0.25, kinds, "a", marks)
    assert (judged.unit, judged.units, judged.df, judged.pooled) == ("specimen", 8, 6, False)
    assert judged.fit.group_sd > 2 * judged.fit.scale
    alone = compare_ladders(low, low + 0.25, kinds, "a")
    width = [c.comparisons[0].high - c.comparisons[0].low for c in (judged, alone)]
    # mounts that hardly differ inside a specimen count once: sqrt(3) wider, times t at 6 over t at 22 df, 2.05
    assert width[0] / width[1] == pytest.approx(2.05, rel=0.12)
    means = np.array([y[marks == g].mean() for g in range(8)])
    sd = np.sqrt((means[:4].var(ddof=1) + means[4:].var(ddof=1)) / 2)
    # the classical test on specimen means; steps of 0.25 blur it
    assert width[0] == pytest.approx(2 * t.ppf(0.975, 6) * sd / np.sqrt(2), rel=0.05)


def test_one_specimen_per_type_is_judged_by_mounts():
    found = compare_ladders(LOW, HIGH, NAMES[KIND], "plain", KIND)
    assert (found.unit, found.units, found.fit.group_sd) == ("mount", 24, 0.0)
    assert [k.specimens for k in found.types] == [1, 1, 1]


@pytest.mark.parametrize(
    ("given", "error", "said"),
    [
        ({"reference": "other"}, WrongArgument, "No mount of 'other'"),
        ({"confidence": 1.0}, WrongArgument, "between 0 and 1"),
        ({"low": LOW - 5, "high": HIGH - 5, "kind": "ratio"}, WrongArgument, "above zero"),
        ({"low": LOW - np.nanmin(LOW), "high": HIGH - np.nanmin(LOW), "kind": "ratio"}, WrongArgument, "above zero"),
        ({"types": NAMES}, WrongShape, "one type"),
    ],
)
def test_bad_comparisons_are_named(given, error, said):
    asked = {"low": LOW, "high": HIGH, "types": NAMES[KIND], "reference": "plain"} | given
    with pytest.raises(error, match=said):
        compare_ladders(**asked)


def test_too_little_to_judge_by():
    with pytest.raises(NotIdentifiable, match="One mount per type"):
        compare_ladders(np.array([4.0, 5.0]), np.array([4.5, 5.5]), np.array(["a", "b"]), "a")
    with pytest.raises(NotIdentifiable, match="both a clean and an unclean"):
        compare_ladders(np.full(4, 4.0), np.full(4, NAN), np.array(["a", "a", "b", "b"]), "a")


@pytest.mark.parametrize("mounts", [3, 6])
def test_intervals_hold_with_a_third_censored(mounts):
    """A small simulation: the usual cut of the likelihood holds in about 88 and 92 %."""
    rng, kinds = np.random.default_rng(7), np.repeat(["a", "b"], mounts)
    steps = np.arange(-20, 1) * 0.5 + norm.isf(1 / 3)
    held = []
    for _ in range(150):
        at = np.searchsorted(steps, rng.normal(size=2 * mounts))
        low = np.where(at == 0, NAN, steps[np.maximum(at - 1, 0)])
        high = np.where(at == len(steps), NAN, steps[np.minimum(at, len(steps) - 1)])
        if np.isnan(low + high).all():
            continue
        fit = fit_ladder(low, high, (kinds[:, None] == ["a", "b"]).astype(float))
        fall = fit.log_likelihood - fit.height_at(np.array([-1.0, 1.0]), 0.0)
        df = 2 * mounts - 2
        held.append(fall <= mounts * np.log1p(t.ppf(0.975, df) ** 2 / df))
    # two simulation errors of 150 trials around 95 %
    assert np.mean(held) == pytest.approx(0.95, abs=0.036)


def test_covariance_with_groups_is_that_of_a_balanced_layout():
    # steps too narrow to matter: by hand, with a groups of n and lambda = sigma^2 + n tau^2, the mean has variance
    # lambda / (a n) and log sigma, told by the a (n - 1) differences inside groups, 1 / (2 a (n - 1))
    y = np.array([[3.0, 3.4, 3.2], [4.1, 4.6, 4.2], [5.0, 4.7, 4.8], [3.9, 3.6, 4.2]])
    a, n = y.shape
    inside = ((y - y.mean(axis=1, keepdims=True)) ** 2).sum() / (a * (n - 1))
    between = n * ((y.mean(axis=1) - y.mean()) ** 2).sum() / a
    fit = fit_ladder(y.ravel() - 5e-5, y.ravel() + 5e-5, np.ones((a * n, 1)), {"specimen": np.repeat(np.arange(a), n)})
    # steps of 1e-4 against a scale of 0.25: under 1e-7 of it, its square enters the variances
    assert (fit.scale, fit.group_sd) == pytest.approx((inside**0.5, ((between - inside) / n) ** 0.5), rel=1e-5)
    assert np.diag(fit.covariance) == pytest.approx([between / (a * n), 1 / (2 * a * (n - 1))], rel=1e-5)


@pytest.mark.parametrize(
    ("ended", "taken"),
    [
        # (height, at a summit) of the first climb and of those from 0.3, 1, 3 and 10; how many are made, which counts
        ([(-5.0, True), (-4.0, True)], (1, -5.0)),  # a summit is enough
        ([(-5.0, False), (-6.0, True), (-4.0, True)], (2, -6.0)),  # a summit counts, though it is lower
        ([(-5.0, False), (-4.0, False), (-6.0, False), (-4.5, False), (-4.2, False)], (5, -4.0)),  # else the highest
    ],
)
def test_climbs_are_repeated_until_one_ends_at_a_summit(monkeypatch, ended, taken):
    asked = []

    def climb(ladders, cone, start, held, rho):
        height, converged = ended[len(asked)]
        asked.append(rho)
        return LadderTop(np.ones(2), rho, height, np.eye(3), cone, converged)

    monkeypatch.setattr(likelihood, "_climb", climb)
    rows = Ladders(np.ones((2, 2)), np.ones((2, 2)), np.zeros(2, bool), np.zeros(2, bool), np.array([0, 1]))
    found = likelihood._best_climb(rows, nothing_separates(4, 2), np.ones(2), None, 0.7)
    assert (len(asked), found.height) == taken
    assert asked == [0.7, 0.3, 1.0, 3.0, 10.0][: len(asked)]
