"""Searches for limits, corners of a box, quadrature and strata: each piece against a function whose answer is known."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.chance.next_edge import _all_of, _step
from trials.infer.ladder import fit_ladder
from trials.infer.ladder import likelihood as ladder_likelihood
from trials.infer.ladder import regression as ladder_regression
from trials.infer.ladder.likelihood import LadderTop, _curved
from trials.infer.life.regression import _both_limits, _outward, fit_life
from trials.infer.life.weibull import _constrain, _start, cone_of
from trials.infer.life.weibull import maximise as maximise_lives
from trials.infer.means import box
from trials.infer.means.simultaneous import _chi_nodes, critical_values
from trials.infer.ordinal import fit_ordinal, maximum
from trials.infer.ordinal.regression import _inside, _limit
from trials.infer.strata import strata_tests

# ---- limits of a profile ---------------------------------------------------------------------------------------------


def parabola(value):
    """Depth v^2 / 2 under the top at zero, and its slope."""
    return value**2 / 2, value


def test_a_limit_lies_where_the_profile_has_fallen_by_the_drop():
    for drop in (0.5, 2.0, 8.0):
        assert _limit(parabola, drop, 0.0, 1.0) == pytest.approx(math.sqrt(2 * drop), abs=1e-9)
        assert _limit(parabola, drop, 0.0, -1.0) == pytest.approx(-math.sqrt(2 * drop), abs=1e-9)
    steep = lambda v: (math.expm1(v) - v, math.expm1(v))  # noqa: E731
    found = _limit(steep, 3.0, 0.0, 0.5)
    assert math.expm1(found) - found == pytest.approx(3.0, abs=1e-8)


def test_a_limit_is_found_in_few_looks():
    looks = []

    def at(value):
        looks.append(value)
        return parabola(value)

    _limit(at, 2.0, 0.0, 1.0)
    assert len(looks) <= 3  # the root of the depth is straight: one step, and the look that shows it


def test_a_profile_that_is_a_wall_is_closed_in_on():
    """Level up to 3 and far below beyond: no slope to go by, so the bracket is halved."""
    wall = lambda v: (0.0 if v < 3.0 else 50.0, 0.0)  # noqa: E731
    assert _limit(wall, 2.0, 0.0, 1.0) == pytest.approx(3.0, abs=1e-9)


def test_a_value_inside_is_looked_for_towards_infinity():
    asked = []

    def falling(value):
        asked.append(value)
        return math.exp(-value), -math.exp(-value)

    assert _inside(falling, 0.05, 0.0, (1,)) == 3.0 and asked == [0.0, 1.0, 3.0]
    assert _inside(lambda v: (math.exp(v), math.exp(v)), 0.05, 0.0, (-1,)) == -3.0
    assert _inside(lambda v: (9.0, 0.0), 0.05, 1.5, (1, -1)) == 1.5  # open on both sides: any value is inside


def test_both_limits_of_a_life():
    above = lambda v: 2.0 - (v - 1.0) ** 2 / 2  # noqa: E731
    assert _both_limits(above, 1.0, 0.7, 0.0) == pytest.approx((-1.0, 3.0), abs=1e-9)
    rising = lambda v: 1.0 - math.exp(-v)  # noqa: E731
    assert _both_limits(rising, np.inf, 1.0, -3.0) == (pytest.approx(0.0, abs=1e-9), np.inf)
    assert _both_limits(lambda v: rising(-v), -np.inf, 1.0, 3.0) == (-np.inf, pytest.approx(0.0, abs=1e-9))
    assert _outward(lambda v: 1.0, 0.0, 1.0) == np.inf and _outward(lambda v: 1.0, 0.0, -1.0) == -np.inf


# ---- starts of the searches ------------------------------------------------------------------------------------------


def test_what_is_held_stays_held_and_the_rest_is_free():
    held, free = np.array([1.0, 2.0, -1.0]), np.eye(3)
    origin, basis = _constrain(held, 4.0, free)
    assert held @ origin == pytest.approx(4.0) and basis.shape == (3, 2)
    assert held @ basis == pytest.approx([0.0, 0.0], abs=1e-12)
    part = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])  # only some directions are free
    origin, basis = _constrain(held, 4.0, part)
    assert held @ origin == pytest.approx(4.0) and basis.shape == (3, 1)
    assert np.linalg.matrix_rank(np.column_stack([part, origin, basis])) == 2


def test_lives_start_from_the_line_of_least_squares():
    rng = np.random.default_rng(5)
    fixed = np.column_stack([np.ones(20), np.arange(20) % 2])
    log_time = fixed @ [2.0, 0.5] + 0.3 * rng.standard_normal(20)
    fit = fit_life(np.exp(log_time), np.ones(20), fixed)
    z = _start(fit._lives, np.zeros((0, 3)), np.zeros(3), np.eye(3))
    line = np.linalg.lstsq(fixed, log_time, rcond=None)[0]
    spread = np.std(log_time - fixed @ line)
    assert z == pytest.approx(np.append(line, 1.0) / spread)
    held = np.array([0.0, 1.0, -0.7])
    origin, free = _constrain(held, 0.0, np.eye(3))
    assert held @ (origin + free @ _start(fit._lives, np.zeros((0, 3)), origin, free)) == pytest.approx(0.0, abs=1e-9)
    # where the line is not allowed, gamma is lifted above zero
    origin, free = _constrain(np.array([1.0, 0.0, 1.0]), -50.0, np.eye(3))
    assert (origin + free @ _start(fit._lives, np.zeros((0, 3)), origin, free))[-1] == pytest.approx(0.1)


def test_a_type_that_never_failed_opens_one_direction():
    fixed = np.column_stack([np.ones(6), np.arange(6) % 2])
    lives = fit_life(np.arange(1.0, 7.0), np.array([1, 0, 1, 0, 1, 0]), fixed)._lives
    assert cone_of(lives, None).infinite.tolist() == [0, 1]
    assert cone_of(lives, np.array([0.0, 1.0])).infinite.tolist() == [0, 0]  # held, it cannot go anywhere
    assert maximise_lives(lives).converged


# ---- chances of a box ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("d", [1, 2, 3])
def test_a_rectangle_against_independent_deviates(d):
    low, high = np.full((2, d), -0.7), np.array([[1.1] * d, [0.4] * d])
    found = box._rectangle(np.eye(d), low, high)
    each = stats.norm.cdf([1.1, 0.4]) - stats.norm.cdf(-0.7)
    assert found == pytest.approx(each**d, abs=1e-9)


def test_a_rectangle_of_correlated_deviates():
    covariance = np.array([[1.0, 0.6], [0.6, 2.0]])
    found = box._rectangle(covariance, np.array([[-0.5, -1.0]]), np.array([[1.5, 0.8]]))
    exact = stats.multivariate_normal(cov=covariance).cdf([1.5, 0.8], lower_limit=[-0.5, -1.0])
    assert found[0] == pytest.approx(exact, abs=1e-6)


def test_the_chance_of_a_box_along_a_small_change_of_one_correlation():
    """Plackett (1954): the change of the chance over a change of one correlation, by two chances of scipy."""
    start = np.array([[1.0, 0.3, 0.2], [0.3, 1.0, 0.4], [0.2, 0.4, 1.0]])
    end = start.copy()
    end[0, 1] = end[1, 0] = 0.5
    h = np.array([1.4])

    def chance(r):
        return stats.multivariate_normal(cov=r, seed=np.random.default_rng(1)).cdf([1.4] * 3, lower_limit=[-1.4] * 3)

    # scipy integrates by lattice points, good to about 1e-5
    assert box._along_path(start, end, h)[0] == pytest.approx(chance(end) - chance(start), abs=3e-5)
    tiny = start.copy()
    tiny[0, 1] = tiny[1, 0] = start[0, 1] + 2e-11
    slope = box._along_path(start, tiny, h)[0] / 2e-11
    assert slope == pytest.approx(box._corner_slope(start, 0, 1, h)[0], rel=1e-4)


@pytest.mark.parametrize("loading", [0.2, 0.95, 0.999])
def test_one_factor_curves_take_points_enough_for_steep_loadings(loading):
    """Two deviates of correlation loading^2, by scipy."""
    h = np.array([0.8, 2.1])
    found = box._one_factor_curve(np.array([loading, loading]), h)
    r = loading**2
    exact = [stats.multivariate_normal(cov=[[1, r], [r, 1]]).cdf([x, x], lower_limit=[-x, -x]) for x in h]
    assert found == pytest.approx(exact, abs=2e-6)


def test_lattice_points_are_even_and_inside():
    points = box._lattice(2)
    assert points.shape == (32749, 2) and points.min() >= 0 and points.max() <= 1
    assert points.mean(axis=0) == pytest.approx([0.5, 0.5], abs=1e-3)
    assert np.mean(points[:, 0] * points[:, 1]) == pytest.approx(0.25, abs=1e-3)


@pytest.mark.parametrize("df", [1.0, 2.5, 8.0, 60.0, np.inf])
def test_points_of_chi_hold_its_mean_and_its_square(df):
    s, weight = _chi_nodes(np.array([df]))
    square = float((weight * s**2).sum())
    assert weight.sum() == pytest.approx(1.0) and square == pytest.approx(1.0, abs=5e-7)
    if np.isfinite(df):
        mean = stats.chi(df).mean() / math.sqrt(df)
        assert float((weight * s).sum()) == pytest.approx(mean, abs=5e-7)
        fourth = float((weight * s**4).sum())
        assert fourth == pytest.approx(1 + 2 / df, rel=1e-5)


def test_common_critical_values_at_several_degrees_of_freedom():
    shape = np.array([[1.0, 0.5], [0.5, 1.0]])
    found = critical_values(shape, np.array([5.0, 20.0, 5.0]), 0.9)
    assert found[0] == found[2] > found[1]
    for df, critical in zip((5.0, 20.0), found, strict=False):
        covered = stats.multivariate_t(shape=shape, df=df, seed=1).cdf([critical] * 2, lower_limit=[-critical] * 2)
        assert covered == pytest.approx(0.9, abs=3e-4)  # by lattice points
    with pytest.raises(WrongShape, match="Student"):
        critical_values(np.eye(1), np.array([5.0]))
    with pytest.raises(WrongArgument, match="above zero"):
        critical_values(shape, np.array([5.0, 0.0]))
    with pytest.raises(NotFinite):
        critical_values(np.array([[1.0, np.nan], [np.nan, 1.0]]), np.array([5.0]))


# ---- edges -----------------------------------------------------------------------------------------------------------


def test_a_spread_of_zero_is_a_step_and_its_edge_belongs_inside():
    room = np.array([-0.1, 0.0, 0.1])
    assert _step(room, np.zeros(3)).tolist() == [0.0, 1.0, 1.0]
    assert _step(room, np.array([0.1, 0.0, 0.1])) == pytest.approx([stats.norm.cdf(-1), 1.0, stats.norm.cdf(1)])
    assert _step(np.array([0.3]), np.array([0.1])) == pytest.approx(stats.norm.cdf([3.0]))


@pytest.mark.parametrize("count", [1, 2, 5, 16, 17])
def test_all_of_so_many_readings(count):
    one = np.array([0.9, 0.5])
    assert _all_of(one, count) == pytest.approx(one**count, rel=1e-12)


# ---- curvature and information ---------------------------------------------------------------------------------------


class Rows:
    """Rows of ladders whose largest constraint in each column is one."""

    upper, lower = np.eye(2), np.zeros((2, 2))
    upper_open = lower_open = np.array([False, False])


def top_of(information):
    return LadderTop(np.zeros(2), 0.0, 0.0, np.asarray(information, dtype=float), None, True)


class Along:
    row = np.array([0.0, 2.0])


def test_flat_ground_is_seen_and_what_is_held_does_not_count():
    assert _curved(Rows, top_of(np.eye(2)), None)
    assert not _curved(Rows, top_of([[1.0, 0.0], [0.0, 0.0]]), None)
    assert _curved(Rows, top_of([[1.0, 0.0], [0.0, 0.0]]), Along)  # flat along what is held alone
    assert not _curved(Rows, top_of([[0.0, 0.0], [0.0, 1.0]]), Along)
    short = SimpleNamespace(row=np.array([0.0, 1e-3]))
    assert _curved(Rows, top_of([[1.0, 0.0], [0.0, 0.0]]), short)  # however long the row is
    assert not _curved(Rows, top_of([[1.0, 0.0], [0.0, -0.5]]), None)
    open_ends = np.array([False, False])
    small = SimpleNamespace(upper=1e-5 * np.eye(2), lower=np.zeros((2, 2)), upper_open=open_ends, lower_open=open_ends)
    assert _curved(small, top_of(1e-10 * np.eye(2)), None)  # flat is relative to the rows


def test_the_information_of_grades_is_by_differences_unless_told():
    rng = np.random.default_rng(6)
    group = np.repeat(np.arange(6), 5)
    grades = np.digitize(rng.normal(size=6)[group] + rng.logistic(size=30), [-0.5, 1.0]).astype(float)
    fit = fit_ordinal(grades, rng.normal(size=(30, 1)), group, 3)
    problem, theta = fit._problem, np.append(fit._solution.theta, fit._solution.group_sd)
    exact, rough = (maximum.maximise(problem, theta[:-1], theta[-1], informed=i) for i in (True, False))
    default = maximum.maximise(problem, theta[:-1], theta[-1])
    assert default.information == pytest.approx(exact.information, rel=1e-6)
    # three nodes held still are a rough bend
    assert np.abs(rough.information - exact.information).max() > 1e-3 * np.abs(exact.information).max()


# ---- strata ----------------------------------------------------------------------------------------------------------


def test_one_degree_of_freedom_is_enough_to_judge_by():
    """Two types, three specimens, of which a covariate takes one: the strata of two and one left, by hand."""
    y = np.array([1.0, 2.0, 4.0, 7.0, 3.0, 8.0])
    specimen = np.repeat(np.arange(3), 2)
    side = np.tile([-1.0, 1.0], 3)[:, None]
    found = strata_tests(y, {"side": side}, {"specimen": specimen})
    gaps = y[1::2] - y[::2]  # 1, 3, 5: within specimens, their mean against their spread on two degrees of freedom
    test = found.tests["side"]
    assert (test.den_df, test.F) == (2, pytest.approx(3 * gaps.mean() ** 2 / gaps.var(ddof=1)))
    two = strata_tests(y[:4], {"side": side[:4]}, {"specimen": specimen[:4]}).tests["side"]
    assert (two.den_df, two.F) == (1, pytest.approx(2 * 2.0**2 / 2.0))
    with pytest.raises(NotIdentifiable):
        strata_tests(y[:2], {"side": side[:2]}, {"specimen": np.array([0, 1])})


# ---- ladders ---------------------------------------------------------------------------------------------------------


def test_a_ladder_starts_near_its_wish_and_above_no_spread():
    free = np.eye(3)
    start = np.array([1.0, 2.0, 4.0])
    assert ladder_likelihood._inside(start, np.zeros(3), free) == pytest.approx(start)
    # from an origin that takes gamma away, only a tenth of the wish is asked for
    bare = np.array([[1.0, 0.0], [0.0, 0.0], [0.0, 1.0]])
    origin = np.array([0.0, 0.0, -50.0])
    assert (origin + bare @ ladder_likelihood._inside(start, origin, bare))[-1] == pytest.approx(4.0)
    tied = np.array([[1.0], [0.0], [-1.0]])  # the more of the first, the less of gamma
    found = tied @ ladder_likelihood._inside(np.array([5.0, 0.0, 1.0]), np.zeros(3), tied)
    assert found[-1] == pytest.approx(0.1)
    flat = np.array([[1.0], [1.0], [0.0]])  # gamma cannot be moved
    assert ladder_likelihood._inside(start, np.zeros(3), flat) == pytest.approx([1.5])
    assert ladder_likelihood._inside(start, np.zeros(3), np.zeros((3, 0))).shape == (0,)


def test_what_is_held_of_a_ladder_stays_held():
    held = ladder_likelihood.Held(np.array([1.0, 2.0, -1.0]), 4.0)
    origin, basis = ladder_likelihood._constrain(held, np.eye(3))
    assert held.row @ origin == pytest.approx(4.0) and held.row @ basis == pytest.approx([0.0, 0.0], abs=1e-12)
    away = np.array([[2.0], [-1.0], [0.0]])  # along what is held nothing is free: it is left as it is
    origin, basis = ladder_likelihood._constrain(held, away)
    assert not origin.any() and basis is away


def test_the_chance_between_two_ends_in_both_tails():
    u, low = np.array([1.0, -8.0, 9.0, 0.5, np.inf]), np.array([-1.0, -9.0, 8.0, 0.5, 2.0])
    found = ladder_likelihood.log_chance(u, low)
    exact = [
        math.log(stats.norm.cdf(1.0) - stats.norm.cdf(-1.0)),
        math.log(stats.norm.cdf(-8.0) - stats.norm.cdf(-9.0)),
        math.log(stats.norm.cdf(-8.0) - stats.norm.cdf(-9.0)),
        -math.inf,
        math.log(stats.norm.sf(2.0)),
    ]
    assert found == pytest.approx(exact, rel=1e-10)


def test_a_ladder_starts_from_the_middles_of_its_steps():
    """Two types: middles 1.25, 1.75 and 2.5 (open above), 3 (open below); steps of 0.5 where both ends are known."""
    low, high = np.array([1.0, 1.5, 2.5, np.nan]), np.array([1.5, 2.0, np.nan, 3.0])
    fixed = np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.0, 1.0]])
    middle, typical = np.array([1.25, 1.75, 2.5, 3.0]), np.array([1.5, 1.5, 2.75, 2.75])
    scale = math.hypot(np.std(middle - typical), 0.5)
    assert ladder_regression._start(low, high, fixed) == pytest.approx(np.array([1.5, 2.75, 1.0]) / scale)
    ends = ladder_regression._start(low[2:], high[2:], fixed[2:, 1:])
    # no step between two ends: a tenth of the largest value stands for one
    assert ends == pytest.approx(np.array([2.75, 1.0]) / math.hypot(0.25, 0.3))


@pytest.mark.parametrize(
    ("above", "below", "found"),
    [(4.0, 2.0, math.log(2)), (4.0, 0.0, np.inf), (0.0, 2.0, -np.inf), (-np.inf, 2.0, -np.inf), (np.inf, 2.0, np.inf)],
)
def test_log_ratios_with_open_ends(above, below, found):
    assert ladder_regression.log_ratio(above, below) == pytest.approx(found)
    with pytest.raises(NotIdentifiable, match="below zero"):
        ladder_regression.log_ratio(-1.0, 2.0)
    with pytest.raises(NotIdentifiable, match="below zero"):
        ladder_regression.log_ratio(2.0, -0.1)


def test_the_room_left_is_straight_in_a_parabola():
    assert ladder_regression._room(0.0, 4.0) == 2.0 and ladder_regression._room(4.0, 4.0) == 0.0
    assert ladder_regression._room(9.0, 4.0) == -1.0 and ladder_regression._room(-1e-12, 4.0) == 2.0


def test_both_limits_of_a_ladder_in_growing_steps():
    above = lambda v: 2.0 - abs(v - 1.0)  # noqa: E731
    assert ladder_regression.both_limits(above, 1.0, 0.3) == pytest.approx((-1.0, 3.0), abs=1e-6)
    assert ladder_regression.both_limits(above, np.nan, 0.3) == (-np.inf, np.inf)
    rising = lambda v: v - 5.0  # noqa: E731
    low, high = ladder_regression.both_limits(rising, np.inf, 1.0)
    assert low == pytest.approx(5.0, abs=1e-5) and high == np.inf
    low, high = ladder_regression.both_limits(lambda v: -5.0 - v, -np.inf, 1.0)
    assert low == -np.inf and high == pytest.approx(-5.0, abs=1e-5)
    assert ladder_regression.both_limits(lambda v: 1.0, 0.0, 1.0, 50.0) == (-np.inf, np.inf)
    # a summit so sharp that it falls at once is its own limit
    assert ladder_regression.both_limits(lambda v: 0.0 if v == 2.0 else -1.0, 2.0, 1.0) == (2.0, 2.0)
    cliff = lambda v: 1.0 if v < 30.0 else -1.0  # noqa: E731
    assert ladder_regression.both_limits(cliff, 0.0, 1.0, 20.0) == (-np.inf, np.inf)  # not looked for so far out
    assert ladder_regression.both_limits(cliff, 0.0, 1.0, 40.0)[1] == pytest.approx(30.0, abs=1e-5)


def test_a_reach_is_the_spread_or_the_narrowest_step():
    low, high = np.array([1.0, 1.5, 2.0, 2.0]), np.array([1.5, 2.0, 2.75, 3.0])
    fit = fit_ladder(low, high, np.ones((4, 1)))
    assert fit._reach(np.array([1.0])) == pytest.approx(max(fit.spread, 0.5))
    assert fit._reach(np.array([-3.0])) == pytest.approx(3 * max(fit.spread, 0.5))
    assert fit.spread == pytest.approx(math.hypot(fit.scale, fit.group_sd))
    with pytest.raises(WrongShape):
        fit.estimate(np.array([1.0, 2.0]))
    with pytest.raises(NotFinite):
        fit.estimate(np.array([np.nan]))


def test_the_height_at_a_held_value_is_that_of_the_normal_ladder():
    """One column, the typical value held: the best height over the spread alone, by many spreads."""
    low, high = np.array([1.0, 1.5, 2.0, np.nan]), np.array([1.5, 2.0, np.nan, 1.0])
    fit = fit_ladder(low, high, np.ones((4, 1)))

    def height(mean, sd):
        ends = stats.norm.cdf((np.array([high, low])[:, None, :] - mean[:, None]) / sd[:, None])
        top, bottom = np.where(np.isnan(high), 1.0, ends[0]), np.where(np.isnan(low), 0.0, ends[1])
        return np.log(top - bottom).sum(axis=1)

    sd = np.geomspace(0.3, 5.0, 4000)
    for value, deviate in ((1.2, 0.0), (2.0, 0.0), (1.0, -1.0)):
        best = height(value - deviate * sd, sd).max()
        assert fit.height_at(np.array([1.0]), value, deviate) == pytest.approx(best, abs=1e-5)
