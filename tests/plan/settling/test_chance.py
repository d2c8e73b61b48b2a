"""The chance that an answer ends right: against simulated trials with the real analysis and the exact chance."""

import math

import numpy as np
import pytest
from plan.settling.scenes import problem, text_of
from scipy import stats

from trials.infer.answer import Levels
from trials.infer.means import against_reference
from trials.infer.yardstick import YardstickDesign
from trials.plan.assess.frame import build_frame
from trials.plan.choose import make_plan
from trials.plan.power import Counts, chance_right
from trials.plan.settling.as_planned import chances_of, judge_plan
from trials.plan.settling.chance import chances_right, critical_curve
from trials.plan.settling.lines import lines_of, put_in
from trials.plan.settling.problem import problem_of
from trials.plan.settling.request import Candidate, Pattern
from trials.plan.settling.strata import Precision
from trials.trial import parse

LEVELS = Levels(0.95, 0.90)


def simulated(trial, asked, level, count, seed):
    """Share of simulated trials in which each comparison is right if better, if worse and if the same, (3, J)."""
    frame = build_frame(trial, make_plan(trial))
    readings = trial.responses[asked.response].readings
    fixed, groups = frame.reading_rows(readings)
    means = np.array([frame.rows(kind, frame.compared_settings()) for kind in frame.types])
    contrasts = means[1:] - means[0]
    design, rng = YardstickDesign.build(fixed, groups, "specimen"), np.random.default_rng(seed)
    sd = {source: math.sqrt(value) for source, value in asked.variances.items()}
    places = {name: np.unique(frame.labels[name], return_inverse=True)[1] for name in ("specimen", "mount")}
    right = np.zeros((3, len(contrasts)))
    for _ in range(count):
        y = sum(sd.get(name, 0.0) * rng.standard_normal(at.max() + 1)[at] for name, at in places.items())
        y = np.repeat(y + sd["coupon"] * rng.standard_normal(len(y)), readings)
        y = y + sd.get("reading", 0.0) * rng.standard_normal(len(y))
        found = design.fit(y).estimates(contrasts)
        s = against_reference(found.values, found.covariance, found.dfs, level.difference)
        e = against_reference(found.values, found.covariance, found.dfs, level.sameness)
        for row, true in enumerate((asked.better, -asked.worse, 0.0)):
            same = (e.low + true > -asked.worse) & (e.high + true < asked.better)
            right[row] += ((s.low + true > 0) & ~same, (s.high + true < 0) & ~same, same)[row]
    return right / count


@pytest.mark.parametrize(
    ("asked", "candidate"),
    [
        ({"prices": (9, 14, 21), "factors": 2, "plan": 'compare_at = "average"'}, Candidate((6, 4, 4), 1, 4, 0, 2)),
        ({"spreads": ("2 %", "4 %", "6 %", "4 %")}, Candidate((5, 4), 2, 2, 1, 2)),
    ],
)
def test_against_the_real_analysis(asked, candidate):
    text = text_of(**asked)
    given = problem_of(parse(text))
    option = given.option(candidate)
    trial = parse(put_in(text, lines_of(given.trial, candidate)))
    rates = simulated(trial, given.question.asked[0], given.question.levels, 200, 5)
    # three standard errors of 200 trials at 80 % are 0.085; half a point more for Satterthwaite
    assert min(rates[0].min(), rates[1].min()) == pytest.approx(option.chances.different, abs=0.09)
    assert rates[2].min() == pytest.approx(option.chances.same, abs=0.09)


def test_balanced_and_averaged_is_the_exact_chance():
    variances = {"specimen": 0.05**2, "coupon": 0.08**2}
    counts = Counts(types=3, specimens=6, coupons=1.0)
    covariance = counts.variance(variances) * np.array([[[1.0, 0.5], [0.5, 1.0]]])
    known = Precision(
        covariance, covariance[:, [0, 1], [0, 1]], np.array([15.0]), np.full((1, 2), 1e6), np.array([True])
    )
    d = 0.14
    found = chances_right(known, d, d, LEVELS)
    # the same chance by 128 points of quadrature and an exact critical value, in place of 24 and an interpolated one
    assert found.same[0, 0] == pytest.approx(chance_right(variances, 0.0, d, counts), abs=2e-3)
    assert found.different[0, 0] == pytest.approx(chance_right(variances, d, d, counts), abs=2e-3)


@pytest.mark.parametrize(
    ("comparisons", "correlation", "df"), [(1, 0.5, 7.3), (2, 0.5, 15), (4, 0.35, 6.2), (2, 0.7, 200)]
)
def test_critical_values_in_the_table(comparisons, correlation, df):
    shape = correlation + (1 - correlation) * np.eye(comparisons)
    exact = against_reference(np.zeros(comparisons), shape, np.full(comparisons, float(df)), 0.95).critical[0]
    found = critical_curve(comparisons, 0.95)(np.array([correlation]), np.array([1.0 / df]))[0]
    assert found == pytest.approx(exact, rel=1e-3)  # interpolated


def test_all_right_lies_between_independence_and_the_weakest():
    chances = problem(prices=(9, 14, 21)).option(Candidate((6, 5, 5), 1, 3, 2, 2)).chances
    assert chances.different**2 < chances.all_different < chances.different
    assert chances.same**2 < chances.all_same < chances.same


def test_known_spread_gives_the_normal_chance():
    se = 0.05
    known = Precision(
        np.array([[[se**2]]]), np.array([[0.5 * se**2]]), np.array([1e6]), np.array([[1e6]]), np.array([True])
    )
    found = chances_right(known, 0.14, 0.14, LEVELS)
    over = max(1.96 * se, 0.14 - 1.645 * se)
    assert found.different[0, 0] == pytest.approx(stats.norm.cdf((0.14 - over) / se), abs=2e-3)
    assert found.same[0, 0] == pytest.approx(2 * stats.norm.cdf((0.14 - 1.645 * se) / se) - 1, abs=2e-3)


def test_more_specimens_never_lower_the_chance():
    given = problem(prices=(9, 14, 21), factors=2)
    rows = np.repeat(np.arange(3, 25)[:, None], 3, axis=1)
    from trials.plan.settling.request import Pattern

    right = given.evaluate(Pattern(1, 9, 1, 2), rows, 24)
    assert (np.diff(right.different.min(axis=1)) > -1e-6).all()
    assert (np.diff(right.same.min(axis=1)) > -1e-6).all()


def test_repeating_todays_setting_sharpens_the_comparison_there():
    # four coupons at other settings and five at today's against nine different ones: the question decides the coupons
    given = problem(prices=(9, 21), factors=2, spreads=("", "", "10 %", "7 %"))
    repeated = given.option(Candidate((3, 3), 1, 9, 5, 3)).chances.different
    crossed = given.option(Candidate((3, 3), 1, 9, 0, 3)).chances.different
    assert repeated > crossed + 0.2


def test_the_plan_as_laid_out_agrees_with_the_plan_as_searched():
    text = text_of(prices=(9, 14, 21), factors=2)
    given = problem_of(parse(text))
    candidate = Candidate((8, 6, 6), 1, 3, 1, 2)
    option = given.option(candidate)
    trial = parse(put_in(text, lines_of(given.trial, candidate)))
    plan = make_plan(trial)
    judged = judge_plan(problem_of(trial), plan)
    counted = chances_of(problem_of(trial), build_frame(trial, plan))
    assert judged.chances == option.chances
    assert judged.specimens == {"aa": 8, "bb": 6, "cc": 6}
    # counted degrees of freedom against those of the restricted likelihood
    assert counted.different == pytest.approx(option.chances.different, abs=0.03)
    assert counted.same == pytest.approx(option.chances.same, abs=0.03)
    assert judged.bill.hours == pytest.approx(option.bill.hours, rel=1e-9)
    assert judged.bill.money == pytest.approx(option.bill.money, rel=1e-3)  # gas at the mean of the settings


def test_fifteen_per_cent_is_a_pair():
    asked = problem().question.asked[0]
    assert asked.better == pytest.approx(-math.log(0.85)) and asked.worse == pytest.approx(math.log(1.15))


def test_degrees_of_freedom_do_not_depend_on_the_unit():
    pattern, variances = Pattern(2, 3, 1, 2), {"specimen": 0.0009, "mount": 0.0004, "coupon": 0.0036, "reading": 0.0025}
    strata = problem(prices=(9, 14)).strata(pattern, 6)
    sizes, sheets = np.array([[6, 5], [3, 3]]), np.array([1, 1])
    small, large = (
        strata.precision(sizes, sheets, {name: scale * value for name, value in variances.items()})
        for scale in (1.0, 400.0)
    )
    assert large.covariance == pytest.approx(400.0 * small.covariance, rel=1e-9)
    assert large.rest_df == pytest.approx(small.rest_df, rel=1e-9) and np.all(small.rest_df > 2)
    # specimens less types, sheets taken out: 11 - 2 and 6 - 2
    assert small.between_df == pytest.approx([9.0, 4.0], rel=0.05)


def test_one_degree_of_freedom_is_enough_to_judge_by():
    """Two of one type and one of the other on one sheet leave 3 - 2 degrees of freedom."""
    text = text_of(factors=0).replace("specimens = 3", "specimens = 2", 1)
    trial = parse(text.replace("specimens = 3", "specimens = 1", 1))
    frame = build_frame(trial, make_plan(trial))
    assert frame.yardstick_df == 1
    assert chances_of(problem_of(trial), frame) is not None


def by_brute_force(between, rest, df1, df2, better, worse, draws=120):
    """Chances of one comparison over a grid of quantiles of both mean squares, Student's t at each pair's own df."""
    u = (np.arange(draws) + 0.5) / draws
    b = between * stats.chi2.ppf(u, df1)[:, None] / df1
    r = rest * stats.chi2.ppf(u, df2)[None, :] / df2
    total = b + r
    df = total**2 / (b**2 / df1 + r**2 / df2)
    apart, alike = stats.t.isf(0.025, df) * np.sqrt(total), stats.t.isf(0.05, df) * np.sqrt(total)
    sd = math.sqrt(between + rest)

    different = min(np.mean(stats.norm.cdf((d - np.maximum(apart, d - alike)) / sd)) for d in (better, worse))
    within = stats.norm.cdf((better - alike) / sd) - stats.norm.cdf(-(worse - alike) / sd)
    return different, np.mean(np.maximum(within, 0.0))


@pytest.mark.parametrize(
    ("between", "rest", "df1", "df2"),
    [(0.0012, 0.0008, 5.0, 12.0), (0.0004, 0.0020, 3.0, 9.0), (0.0016, 0.0, 8.0, 4.0)],
)
@pytest.mark.parametrize(("better", "worse"), [(0.14, 0.14), (0.12, 0.17), (0.17, 0.12)])
def test_one_comparison_against_a_grid_of_all_mean_squares(between, rest, df1, df2, better, worse):
    known = Precision(
        np.array([[[between + rest]]]), np.array([[between]]), np.array([df1]), np.array([[df2]]), np.array([True])
    )
    found = chances_right(known, better, worse, LEVELS)
    different, same = by_brute_force(between, rest, df1, df2, better, worse)
    # 24 by 8 points of quadrature against 120 by 120
    assert found.different[0, 0] == pytest.approx(different, abs=4e-3)
    assert found.same[0, 0] == pytest.approx(same, abs=4e-3)


def test_all_comparisons_at_once_against_drawn_means():
    """Three comparisons that share today's mean, spreads known: by drawn estimates."""
    shared, own = 0.0010, np.array([0.0010, 0.0014, 0.0020])
    covariance = shared + np.diag(own)
    sure = np.full((1, 3), 1e6)
    known = Precision(covariance[None], np.diagonal(covariance)[None] / 2, np.array([1e6]), sure, np.array([True]))
    found = chances_right(known, 0.14, 0.14, LEVELS, together=True)
    rng = np.random.default_rng(3)
    z = rng.standard_normal((200_000, 1)) * np.sqrt(shared) + rng.standard_normal((200_000, 3)) * np.sqrt(own)
    sd = np.sqrt(np.diagonal(covariance))
    mean = np.clip((covariance / np.outer(sd, sd))[~np.eye(3, dtype=bool)].mean(), 0.05, 0.95)
    shape = mean + (1 - mean) * np.eye(3)
    apart, alike = (
        against_reference(np.zeros(3), shape, np.full(3, 1e6), level).critical[0] * sd for level in (0.95, 0.90)
    )
    better = (z + 0.14 > np.maximum(apart, 0.14 - alike)).all(axis=1).mean()
    same = ((z < 0.14 - alike) & (z > -(0.14 - alike))).all(axis=1).mean()
    # four standard errors of 200,000 draws, and critical values from a table
    assert found.all_different[0] == pytest.approx(better, abs=6e-3)
    assert found.all_same[0] == pytest.approx(same, abs=6e-3)
