"""Curves of the largest deviate, and what is known of an edge from more specimens: against scipy, and by hand."""

import math

import numpy as np
import pytest
from scipy import stats

from trials.errors import NotFinite, WrongArgument
from trials.infer.chance import joint
from trials.infer.chance.joint import _spreads
from trials.infer.chance.kinds import ChanceKind
from trials.infer.chance.mean_squares import MeanSquare
from trials.infer.chance.next_edge import (
    NextEdge,
    Rule,
    _applies,
    _largest_of,
    _rests_on,
    check_rule,
    edge_chance,
    edge_draws,
    grown,
    layer_of,
    pivot_draws,
)
from trials.infer.chance.tolerance import tolerance_bound
from trials.infer.means import box

# ---- the largest of several deviates ---------------------------------------------------------------------------------

H = np.array([0.0, 0.37, 1.0, 1.96, 3.3, 7.9])


def test_one_deviate_is_the_normal_distribution():
    value, slope = box.box_curve(np.eye(1)).exceed(H)
    assert value == pytest.approx(2 * stats.norm.sf(H), abs=1e-9)
    assert slope == pytest.approx(-2 * stats.norm.pdf(H), abs=1e-6)
    beyond, _ = box.box_curve(np.eye(1)).exceed(np.array([8.0, 20.0]))
    assert np.abs(beyond).max() < 1e-12


@pytest.mark.parametrize("r", [0.5, -0.5, 0.9])
def test_two_deviates_are_the_binormal_distribution(r):
    shape = np.array([[1.0, r], [r, 1.0]])
    exact = [1 - stats.multivariate_normal(cov=shape).cdf([h, h], lower_limit=[-h, -h]) for h in H[1:5]]
    assert box.box_curve(shape).exceed(H[1:5])[0] == pytest.approx(exact, abs=1e-7)


@pytest.mark.parametrize("means", [2, 3, 5])
def test_the_range_of_several_means_is_tukeys(means):
    value, slope = box.range_curve(means).exceed(H[1:5])
    exact = stats.studentized_range.sf(H[1:5] * math.sqrt(2), means, np.inf)
    assert value == pytest.approx(exact, abs=2e-7)
    step = 1e-4
    ahead, behind = (box.range_curve(means).exceed(H[1:5] + s)[0] for s in (step, -step))
    assert slope == pytest.approx((ahead - behind) / (2 * step), abs=1e-6)


def test_loadings_are_found_where_the_correlations_have_one_factor():
    loadings = np.array([0.9, 0.6, -0.4, 0.7])
    shape = np.outer(loadings, loadings)
    np.fill_diagonal(shape, 1.0)
    found, exact = box.one_factor(shape)
    assert exact and np.outer(found, found)[~np.eye(4, dtype=bool)] == pytest.approx(shape[~np.eye(4, dtype=bool)])
    near = shape.copy()
    near[0, 1] = near[1, 0] = shape[0, 1] + 0.05
    found, exact = box.one_factor(near)
    assert not exact and np.abs(found).max() <= 0.95
    # three of them always have: r12 r13 / r23 and the like
    three = np.array([[1.0, 0.3, 0.2], [0.3, 1.0, 0.4], [0.2, 0.4, 1.0]])
    found, exact = box.one_factor(three)
    assert exact and found**2 == pytest.approx([0.3 * 0.2 / 0.4, 0.3 * 0.4 / 0.2, 0.2 * 0.4 / 0.3])


def test_four_correlations_without_a_common_factor_against_scipy():
    shape = np.array([[1.0, 0.6, 0.1, 0.2], [0.6, 1.0, 0.3, 0.1], [0.1, 0.3, 1.0, 0.5], [0.2, 0.1, 0.5, 1.0]])
    curve = box.box_curve(shape)
    for h in (1.0, 2.2):
        exact = stats.multivariate_normal(cov=shape, seed=np.random.default_rng(2)).cdf([h] * 4, lower_limit=[-h] * 4)
        # scipy integrates by lattice points, good to about 1e-5
        assert curve.exceed(np.array([h]))[0][0] == pytest.approx(1 - exact, abs=3e-5)


def test_deviates_taken_one_after_the_other():
    independent = box._conditioned(np.eye(3), np.array([0.8, 2.0]))
    assert independent == pytest.approx((1 - 2 * stats.norm.sf([0.8, 2.0])) ** 3, abs=1e-4)
    shape = np.array([[1.0, 0.6, 0.1], [0.6, 1.0, 0.3], [0.1, 0.3, 1.0]])
    exact = stats.multivariate_normal(cov=shape, seed=np.random.default_rng(1)).cdf([1.5] * 3, lower_limit=[-1.5] * 3)
    assert box._conditioned(shape, np.array([1.5]))[0] == pytest.approx(exact, abs=2e-4)


# ---- the worst of several readings -----------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [1, 2, 5])
def test_nodes_for_the_largest_of_several_readings(count):
    """Mean and square of the largest of n normal readings, by direct integration."""
    nodes, weights = _largest_of(count)
    z = np.linspace(-9, 9, 20_001)
    density = count * stats.norm.pdf(z) * stats.norm.cdf(z) ** (count - 1)
    for power in (0, 1, 2, 3):
        assert weights @ nodes**power == pytest.approx(np.trapezoid(density * z**power, z), abs=1e-6)


def test_chances_of_one_edge_by_both_quadratures():
    """Readings wider than edges and the other way round: the mean over edges of Phi^n, by many points."""
    u = stats.norm.ppf((np.arange(200_000) + 0.5) / 200_000)
    for between, reading in ((0.2, 0.5), (0.5, 0.2), (0.3, 0.3)):
        exact = float(np.mean(stats.norm.cdf((0.4 - between * u) / reading) ** 3))
        assert edge_chance(0.0, between, reading, Rule(0.4, 3)) == pytest.approx(exact, abs=1e-6)
        low = edge_chance(0.0, between, reading, Rule(-0.4, 3, at_most=False))
        assert low == pytest.approx(exact, abs=1e-6)
        mean = stats.norm.cdf(0.4 / math.sqrt(between**2 + reading**2 / 3))
        assert edge_chance(0.0, between, reading, Rule(0.4, 3, "mean")) == pytest.approx(mean)
    assert edge_chance(0.0, 0.0, 0.5, Rule(0.4, 3)) == pytest.approx(stats.norm.cdf(0.8) ** 3)
    assert edge_chance(0.0, 0.0, 0.5, Rule(0.4, 4, "mean")) == pytest.approx(stats.norm.cdf(1.6))
    mixed = edge_chance(np.zeros(2), np.array([0.2, 0.5]), np.array([0.5, 0.2]), Rule(0.4, 3))
    assert mixed == pytest.approx([edge_chance(0.0, 0.2, 0.5, Rule(0.4, 3)), edge_chance(0.0, 0.5, 0.2, Rule(0.4, 3))])


# ---- what is known of an edge ----------------------------------------------------------------------------------------

SQUARES = (
    MeanSquare("sheet", 9.0, 2.0, {"sheet": 12.0, "specimen": 3.0, "coupon of a": 1.0}),
    MeanSquare("specimen", 5.0, 6.0, {"specimen": 3.0, "coupon of a": 1.0}),
    MeanSquare("coupon of a", 1.2, 18.0, {"coupon of a": 1.0}),
)
EDGE = NextEdge(
    10.0,
    {"sheet": 1 / 3, "specimen": 1 / 4, "coupon of a": 1 / 12},
    SQUARES,
    {"sheet": "sheet", "specimen": "specimen", "coupon": "coupon of a"},
    "coupon of a",
    ("mount",),
)


def test_more_specimens_bring_degrees_of_freedom_and_a_sharper_mean():
    """From four to twelve of each of two types: 6 + 2 x 8 of specimens, three times those below; sheets as they are."""
    more = grown(EDGE, 4, 12, 2)
    assert [square.df for square in more.squares] == [2.0, 22.0, 54.0]
    assert more.mean_sizes == pytest.approx({"sheet": 1 / 3, "specimen": 1 / 12, "coupon of a": 1 / 36})
    assert grown(EDGE, 4, 4, 2) == EDGE


def test_names_of_layers_and_types():
    assert (layer_of("coupon of a"), layer_of("specimen")) == ("coupon", "specimen")
    assert _applies("specimen", "a") and _applies("specimen", None) and _applies("coupon of a", "a")
    assert not _applies("coupon of a", "b") and not _applies("coupon of a", None)


def test_a_chance_says_what_it_rests_on():
    one, several = (_rests_on(EDGE, Rule(12.0, n)) for n in (1, 3))
    assert [found.kind for found in one] == [ChanceKind.RULE, ChanceKind.NEW_EACH_TIME, ChanceKind.SPREAD_NOT_KNOWN]
    assert one[0].facts == {"judged_by": "worst", "readings": 1}
    assert one[1].facts == {"layers": ("sheet", "specimen", "coupon"), "pooled": ("sheet", "specimen")}
    assert one[2].facts == {"layers": ("mount",)} and several[0].facts["readings"] == 3
    bare = NextEdge(10.0, {}, SQUARES, {"specimen": "specimen"}, "reading")
    kinds = [found.kind for found in _rests_on(bare, Rule(12.0, 2))]
    assert kinds == [ChanceKind.RULE, ChanceKind.NEW_EACH_TIME, ChanceKind.READINGS_INDEPENDENT]
    assert len(_rests_on(bare, Rule(12.0, 1))) == 2


@pytest.mark.parametrize(
    ("rule", "confidence", "error"),
    [
        (Rule(1.0, 0), 0.95, WrongArgument),
        (Rule(1.0, 1, "median"), 0.95, WrongArgument),
        (Rule(1.0, 1), 0.0, WrongArgument),
        (Rule(1.0, 1), 1.0, WrongArgument),
        (Rule(np.nan, 1), 0.95, NotFinite),
    ],
)
def test_a_rule_that_cannot_be_judged_is_refused(rule, confidence, error):
    with pytest.raises(error):
        check_rule(EDGE, rule, confidence)
    check_rule(EDGE, Rule(1.0, 1, "mean"), 0.5)


def test_draws_of_the_mean_move_with_the_mean_squares():
    """Chi-squares at their degrees of freedom leave the estimates; the mean then moves by z standard errors."""
    chi = np.array([[2.0] * 3, [6.0] * 3, [18.0] * 3])
    mean, found = pivot_draws(EDGE, chi, np.array([-1.0, 0.0, 2.0]))
    coupon, specimen = 1.2, (5.0 - 1.2) / 3
    sheet = (9.0 - 3 * specimen - coupon) / 12
    se = math.sqrt(sheet / 3 + specimen / 4 + coupon / 12)
    assert mean == pytest.approx([10.0 + se, 10.0, 10.0 - 2 * se])
    assert found["specimen"] == pytest.approx([specimen] * 3) and found["sheet"] == pytest.approx([sheet] * 3)
    # a sheet below zero counts as none in the spread, and keeps its sign in the mean while that stays above zero
    low, cut = pivot_draws(EDGE, np.array([[4.0], [6.0], [18.0]]), np.array([1.0]))
    negative = (4.5 - 5.0) / 12
    assert cut["sheet"] == pytest.approx([0.0])
    assert low == pytest.approx([10.0 - math.sqrt(negative / 3 + specimen / 4 + coupon / 12)])


@pytest.mark.parametrize(("coverage", "confidence"), [(0.0, 0.95), (1.0, 0.95), (0.9, 0.0), (0.9, 1.0)])
def test_a_limit_for_all_or_nothing_is_refused(coverage, confidence):
    with pytest.raises(WrongArgument, match="between 0 and 1"):
        tolerance_bound(EDGE, coverage, confidence=confidence)


def test_limits_of_single_readings_and_of_means_are_quantiles_of_their_draws():
    """Upper and lower limit: the quantile over draws of mean +- z sd, with readings over their number for a mean."""
    edge = NextEdge(10.0, {"reading": 0.1}, (MeanSquare("reading", 4.0, 9.0, {"reading": 1.0}),), {}, "reading")
    mean, _, reading = edge_draws(edge, 1_024, 5)
    z = stats.norm.ppf(0.9)
    for n, kind, root in ((1, "worst", 1.0), (4, "mean", 2.0)):
        high = tolerance_bound(edge, 0.9, n, kind, confidence=0.8, draws=1_024, seed=5)
        low = tolerance_bound(edge, 0.9, n, kind, at_most=False, confidence=0.8, draws=1_024, seed=5)
        assert high == pytest.approx(np.quantile(mean + z * reading / root, 0.8))
        assert low == pytest.approx(np.quantile(mean - z * reading / root, 0.2))
    worst = tolerance_bound(edge, 0.9, 3, confidence=0.8, draws=1_024, seed=5)
    # at that limit the chance of all three has its lower bound at 0.9
    each = stats.norm.cdf((worst - mean) / reading) ** 3
    assert np.quantile(each, 0.2) == pytest.approx(0.9, abs=1e-5)


def test_spreads_of_an_edge_above_its_coupons_and_below():
    found = {
        name: np.array([1.0, 4.0]) * size for name, size in (("sheet", 2.0), ("specimen", 7.0), ("coupon of a", 1.0))
    }
    above, coupons, reading = _spreads(EDGE, found, 2)
    assert above == pytest.approx([3.0, 6.0]) and coupons == pytest.approx([1.0, 2.0])
    assert reading == pytest.approx([1.0, 2.0])
    bare = NextEdge(10.0, {}, SQUARES, {}, "coupon of a")
    assert [part.tolist() for part in _spreads(bare, {"coupon of a": np.array([4.0])}, 1)] == [[0.0], [0.0], [2.0]]


def test_joint_chances_are_those_of_the_draws_one_by_one(monkeypatch):
    """Five draws, two responses, four common points: the mean over points of the product of the readings' chances."""
    rng = np.random.default_rng(2)
    found = {name: rng.uniform(0.5, 2.0, 5) for name in ("sheet", "specimen", "coupon of a")}
    means, rules = [rng.normal(10, 1, 5), rng.normal(10, 1, 5)], (Rule(11.0, 2), Rule(9.0, 1, "mean", at_most=False))
    upper, lower = rng.normal(size=(4, 2)), rng.normal(size=(4, 2))
    whole = joint.joint_chance((EDGE, EDGE), rules, means, [found, found], upper, lower)
    for k in range(5):
        sheet, specimen, coupon = (found[name][k] for name in ("sheet", "specimen", "coupon of a"))
        shift = math.sqrt(sheet + specimen) * upper + math.sqrt(coupon) * lower
        first = stats.norm.cdf((11.0 - means[0][k] - shift[:, 0]) / math.sqrt(coupon)) ** 2
        second = stats.norm.sf((9.0 - means[1][k] - shift[:, 1]) / math.sqrt(coupon))
        assert whole[k] == pytest.approx(np.mean(first * second))
    monkeypatch.setattr(joint, "AT_ONCE", 2)
    assert joint.joint_chance((EDGE, EDGE), rules, means, [found, found], upper, lower) == pytest.approx(whole)
