"""Slopes and bends that every search climbs by, against differences of the height and of the slope.

A wrong bend still ends at the summit, later; these tests hold the formulas themselves.
"""

import numpy as np
import pytest

from trials.infer.ladder import fit_ladder
from trials.infer.ladder import likelihood as ladder_likelihood
from trials.infer.life import fit_life, life_ratio, weibull
from trials.infer.likelihood.climb import Summit, bend_by_differences, climb
from trials.infer.mixed import MixedDesign
from trials.infer.mixed.reml import _Search
from trials.infer.ordinal import fit_ordinal, maximum


def recorded(monkeypatch, module, run):
    """Every search that a fit starts in a module: (height, slope, bend, start)."""
    seen = []

    def noted(height, slope, bend, start, *more, **named):
        seen.append((height, slope, bend, np.asarray(start, dtype=float)))
        return climb(height, slope, bend, start, *more, **named)

    monkeypatch.setattr(module, "climb", noted)
    run()
    return seen


def by_differences(function, point, h=1e-5):
    steps = h * np.maximum(1.0, np.abs(point))
    return np.array(
        [
            (function(point + s * e) - function(point - s * e)) / (2 * s)
            for s, e in zip(steps, np.eye(len(point)), strict=True)
        ]
    )


def holds(search, moved, near):
    """Whether slope and bend are those of the height at a point beside the start."""
    height, slope, bend, start = search
    point = start + moved * np.cos(np.arange(len(start)))
    size = max(1.0, float(np.abs(bend(point)).max()))
    # differences of the height lose half of the digits, those of the slope carry the error of h squared
    assert slope(point) == pytest.approx(by_differences(height, point), abs=2e-5 * size)
    assert bend(point) == pytest.approx(by_differences(slope, point), abs=near * size)


def lives():
    rng = np.random.default_rng(3)
    kind = np.repeat([0, 1], 8)
    time = np.exp(2.0 + 0.4 * kind + 0.5 * np.log(rng.exponential(size=16)))
    failed = (np.arange(16) % 5 > 0).astype(float)
    return time, failed, kind


def test_lives_and_their_profiles(monkeypatch):
    time, failed, kind = lives()
    fixed = np.column_stack([np.ones(16), kind])
    seen = recorded(monkeypatch, weibull, lambda: fit_life(time, failed, fixed).profile_quantile(np.eye(2)[1], 0.3))
    assert len(seen) > 4
    for search in seen[:3]:
        holds(search, 0.02, 1e-6)


def test_pairs_of_lives_with_shapes_of_their_own(monkeypatch):
    time, failed, kind = lives()
    names = np.array(["a", "b"])[kind]
    seen = recorded(monkeypatch, weibull, lambda: life_ratio(time, failed, names, "b", "a", 0.2, False))
    pairs = [search for search in seen if len(search[3]) == 3]
    assert len(pairs) > 2
    for search in pairs[:2]:
        holds(search, 0.05, 1e-6)


def test_the_joint_height_of_a_pair_is_the_weibull_likelihood():
    """Density of what failed and survival of the rest, climbed by a search that knows no slopes."""
    time, failed, kind = lives()
    q, ratio = 0.2, 0.35
    fits = [fit_life(time[kind == k], failed[kind == k], np.ones((8, 1))) for k in (1, 0)]
    top = fits[0].height_beside(fits[1], q, ratio)
    w = np.log(-np.log1p(-q))

    def height(log_life, shapes):
        total = 0.0
        for k, off, shape in ((1, ratio, shapes[0]), (0, 0.0, shapes[1])):
            at = time[kind == k] / np.exp(log_life + off - w / shape)  # of the life by which the share q has failed
            ended = failed[kind == k] == 1
            density = np.log(shape / time[kind == k]) + shape * np.log(at) - at**shape
            total += density[ended].sum() - (at[~ended] ** shape).sum()
        return float(total)

    from scipy.optimize import minimize

    best = minimize(
        lambda p: -height(p[0], np.exp(p[1:])),
        [1.5, 0.5, 0.5],
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000},
    )
    assert top == pytest.approx(-best.fun, abs=1e-6)


def grades():
    rng = np.random.default_rng(3)
    group = np.repeat(np.arange(8), 5)
    x = rng.normal(size=40)
    level = 0.8 * x + 0.9 * rng.normal(size=8)[group] + rng.logistic(size=40)
    return np.digitize(level, [-1.0, 0.3, 1.4]).astype(float), x[:, None], group


def test_grades_without_and_with_specimens(monkeypatch):
    grade, fixed, group = grades()
    seen = recorded(monkeypatch, maximum, lambda: fit_ordinal(grade, fixed))
    assert len(seen) == 2  # the likelihood, and the one with prior coupons
    for search in seen:
        holds(search, 0.1, 1e-6)
    seen = recorded(monkeypatch, maximum, lambda: fit_ordinal(grade, fixed, group, 25))
    assert len(seen) == 2
    for search in seen:
        # the nodes are held still: what is left is the error of 25 points of quadrature
        holds(search, 0.1, 2e-3)


def ladders():
    rng = np.random.default_rng(3)
    mount = np.repeat(np.arange(12), 2)
    kind = (mount % 2).astype(float)
    limit = 2.5 + 0.6 * kind + 0.3 * rng.normal(size=12)[mount] + 0.2 * rng.normal(size=24)
    low = np.floor(limit / 0.25) * 0.25
    high = low + 0.25
    low[limit < 2.0], high[limit > 3.4] = np.nan, np.nan
    return low, high, np.column_stack([np.ones(24), kind]), mount


def test_ladders_without_and_with_specimens(monkeypatch):
    low, high, fixed, mount = ladders()
    seen = recorded(
        monkeypatch, ladder_likelihood, lambda: fit_ladder(low, high, fixed).limits_at_drop(np.eye(2)[1], 1.9)
    )
    assert len(seen) > 2
    for search in seen[:3]:
        holds(search, 0.02, 1e-5)
    groups = {"specimen": mount}
    seen = recorded(
        monkeypatch,
        ladder_likelihood,
        lambda: fit_ladder(low, high, fixed, groups).limits_at_drop(np.eye(2)[1], 1.9),
    )
    grouped = [search for search in seen if len(search[3]) == len(seen[-1][3])]
    for search in (seen[0], grouped[-1]):
        holds(search, 0.02, 2e-3)


def test_the_restricted_likelihood_of_nested_and_crossed_groups():
    rng = np.random.default_rng(8)
    specimen, coupon = np.repeat(np.arange(6), 8), np.repeat(np.arange(24), 2)
    sheet = rng.integers(0, 3, size=24)[coupon]
    fixed = np.column_stack([np.ones(48), specimen % 2, rng.normal(size=24)[coupon]])
    y = rng.normal(size=6)[specimen] + rng.normal(size=24)[coupon] + rng.normal(size=48)
    for groups in ({"specimen": specimen, "coupon": coupon}, {"specimen": specimen, "sheet": sheet}):
        design = MixedDesign.build(fixed, groups)
        rest, *_ = design.least_squares(y)
        search = _Search(design.layout.kernel_for(rest), design.nu, np.array([8.0, 2.0]))
        x = np.array([0.9, 0.6])

        def value(at, search=search):
            return search.at(at).value

        gradient, hessian, _ = search.model(search.at(x))
        assert gradient == pytest.approx(by_differences(value, x), rel=1e-6, abs=1e-6)
        slope = by_differences(lambda at, search=search: search.model(search.at(at))[0], x)
        assert hessian == pytest.approx(slope, rel=1e-6, abs=1e-6)


# ---- the climb itself ------------------------------------------------------------------------------------------------


def hill(z):
    return -float(np.cosh(z[0] - 1.0) + 2.0 * np.cosh(z[1]))


def hill_slope(z):
    return -np.array([np.sinh(z[0] - 1.0), 2.0 * np.sinh(z[1])])


def hill_bend(z):
    return -np.diag([np.cosh(z[0] - 1.0), 2.0 * np.cosh(z[1])])


def test_a_climb_ends_at_the_summit_in_few_steps():
    steps = []

    def bend(z):
        steps.append(z.copy())
        return hill_bend(z)

    top = climb(hill, hill_slope, bend, np.array([3.0, -2.0]))
    assert isinstance(top, Summit) and top.converged
    assert top.point == pytest.approx([1.0, 0.0], abs=1e-12) and top.height == pytest.approx(-3.0)
    assert top.information == pytest.approx(np.diag([1.0, 2.0]))
    assert len(steps) <= 9  # Newton doubles the digits: from two units away six steps and the last look


def test_a_climb_that_may_not_go_on_says_so():
    short = climb(hill, hill_slope, hill_bend, np.array([3.0, -2.0]), steps=1)
    assert not short.converged and short.height > hill(np.array([3.0, -2.0]))


def test_a_climb_turns_where_the_hill_curves_up():
    """A cosine from beside its foot: Newton's own step would lead down to it."""
    top = climb(lambda z: float(np.cos(z[0])), lambda z: -np.sin(z), lambda z: -np.cos(z)[:, None], np.array([2.5]))
    assert top.converged and abs(np.sin(top.point[0])) < 1e-7 and top.height == pytest.approx(1.0)


def test_bends_by_differences_of_the_slope():
    point = np.array([1.7, -0.4])
    assert bend_by_differences(hill_slope)(point) == pytest.approx(hill_bend(point), abs=1e-8)
    far = np.array([1.7e4])  # steps grow with the point
    assert bend_by_differences(lambda z: z**2)(far)[0, 0] == pytest.approx(2 * 1.7e4, rel=1e-9)


def test_a_parameter_without_any_curvature_is_stepped_along_its_slope():
    """Level ground in one direction: no number overflows, and the other parameter ends at its summit."""
    top = climb(
        lambda z: float(-((z[0] - 1.0) ** 2) - np.maximum(z[1], 0.0)),
        lambda z: np.array([-2.0 * (z[0] - 1.0), -1.0 if z[1] > 0 else 0.0]),
        lambda z: np.diag([-2.0, 0.0]),
        np.array([4.0, 0.3]),
    )
    assert top.point[0] == pytest.approx(1.0) and top.point[1] <= 1e-6 and np.isfinite(top.height)
