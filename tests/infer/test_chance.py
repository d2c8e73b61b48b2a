"""Chances and tolerance bounds against exact answers, by hand, and on tables with little in them."""

import numpy as np
import pytest
from scipy import special
from scipy.integrate import quad
from scipy.stats import beta, chi2, norm
from scipy.stats import nct as noncentral_t

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.chance import (
    ChanceKind,
    CouponResponse,
    Rule,
    chance,
    chance_of_all,
    chance_of_grade,
    correlations,
    edge_chance,
    effect_correlation,
    estimate_chance,
    find_layers,
    find_reach,
    find_source,
    floor,
    most_by_cuts,
    next_edge,
    specimens_to_show,
    tolerance_bound,
    variances,
)
from trials.infer.chance.draws import beta_draws, chi_square_draws, chi_squares, even_normals
from trials.infer.chance.next_edge import grown
from trials.infer.ordinal import fit_ordinal


def sample(n=10):
    values = np.random.default_rng(7).normal(5.0, 2.0, n)
    return values, next_edge(find_layers(values, np.ones((n, 1)), {}), np.array([1.0]))


def nested(types=1, specimens=3, coupons=4, readings=3, seed=1):
    rng = np.random.default_rng(seed)
    specimen = np.repeat(np.arange(types * specimens), coupons * readings)
    coupon = np.repeat(np.arange(types * specimens * coupons), readings)
    values = rng.normal(0, 1.0, specimen.max() + 1)[specimen] + rng.normal(0, 0.5, coupon.max() + 1)[coupon]
    values += rng.normal(0, 0.4, len(values))
    return values, specimen // specimens, {"specimen": specimen, "coupon": coupon}


def one_type(**shape):
    values, _, groups = nested(**shape)
    return next_edge(find_layers(values, np.ones((len(values), 1)), groups), np.array([1.0]))


def test_mean_squares_of_a_balanced_trial_by_hand():
    values, _, groups = nested()
    layers = find_layers(values, np.ones((36, 1)), groups)
    cube = values.reshape(3, 4, 3)
    by_specimen, by_coupon = cube.mean(axis=(1, 2)), cube.mean(axis=2)
    want = [
        12 * np.var(by_specimen, ddof=1),
        3 * np.sum((by_coupon - by_specimen[:, None]) ** 2) / 9,
        np.sum((cube - by_coupon[:, :, None]) ** 2) / 24,
    ]
    # Exact up to rounding.
    assert [s.value for s in layers.squares] == pytest.approx(want, rel=1e-10)
    assert [s.df for s in layers.squares] == pytest.approx([2, 9, 24], rel=1e-10)
    assert layers.squares[0].sizes == pytest.approx({"specimen": 12, "coupon": 3, "reading": 1}, rel=1e-10)
    mean, sizes = layers.mean(np.array([1.0]))
    assert mean == pytest.approx(values.mean(), rel=1e-12)
    assert sizes == pytest.approx({"specimen": 1 / 3, "coupon": 1 / 12, "reading": 1 / 36}, rel=1e-10)


def test_mean_squares_hold_their_expectation_in_an_uneven_trial():
    rng = np.random.default_rng(5)
    keep = rng.random(72) < 0.7
    _, kind, groups = nested(types=2)
    groups = {name: labels[keep] for name, labels in groups.items()}
    kind = kind[keep]
    fixed = np.column_stack([kind == 0, kind == 1, rng.normal(size=keep.sum())]).astype(float)
    truth, total = {"specimen": 0.5, "coupon": 0.2, "reading": 0.1}, {}
    for _ in range(400):
        values = sum(
            rng.normal(0, np.sqrt(truth[name]), labels.max() + 1)[labels] for name, labels in groups.items()
        ) + rng.normal(0, np.sqrt(0.1), keep.sum())
        for name, value in variances(find_layers(values, fixed, groups).squares).items():
            total[name] = total.get(name, 0.0) + float(value) / 400
    # Unbiased; the specimen variance has a standard error of 0.5 * sqrt(2 / 4) / 20 = 0.018 over 400 trials.
    assert total == pytest.approx(truth, abs=0.06)


def test_spread_by_type_is_kept_apart():
    values, kind, groups = nested(types=2)
    values = np.where(kind == 1, 3 * values, values)
    fixed = (kind[:, None] == [0, 1]).astype(float)
    layers = find_layers(values, fixed, groups, kind, ("coupon", "reading"))
    alone = find_layers(values[kind == 1], np.ones((36, 1)), {k: v[kind == 1] for k, v in groups.items()})
    own = variances(layers.squares)
    single = variances(alone.squares)
    assert float(own["reading of 1"]) == pytest.approx(float(single["reading"]), rel=1e-9)
    assert float(own["coupon of 1"]) == pytest.approx(float(single["coupon"]), rel=1e-9)
    edge = next_edge(layers, np.array([0.0, 1.0]), "1")
    assert edge.reading == "reading of 1" and edge.between == {"specimen": "specimen", "coupon": "coupon of 1"}


def one_sided_factor(n, coverage):
    """Factor k so that mean + k s lies above a share of a normal population, by the noncentral t distribution."""
    return noncentral_t.ppf(0.95, n - 1, norm.ppf(coverage) * np.sqrt(n)) / np.sqrt(n)


@pytest.mark.parametrize("coverage", [0.9, 0.95, 0.99])
@pytest.mark.parametrize("at_most", [True, False])
def test_one_sample_tolerance_bound_is_the_exact_factor(coverage, at_most):
    values, edge = sample()
    bound = tolerance_bound(edge, coverage, at_most=at_most)
    factor = (bound - values.mean()) / values.std(ddof=1) * (1 if at_most else -1)
    # 16,384 even draws; the factor moves by about 0.05 % from seed to seed.
    assert factor == pytest.approx(one_sided_factor(10, coverage), rel=2e-3)


def test_one_sample_chance_bound_is_the_exact_one():
    values, edge = sample()
    limit = values.mean() + 2 * values.std(ddof=1)
    found = chance(edge, Rule(limit, 1))
    # Exact bound: the coverage whose factor is 2, by the noncentral t distribution.
    grid = np.linspace(0.5, 0.999, 5000)
    factors = noncentral_t.ppf(0.95, 9, norm.ppf(grid) * np.sqrt(10)) / np.sqrt(10)
    assert found.low == pytest.approx(float(np.interp(2.0, factors, grid)), abs=0.002)
    assert found.estimate == pytest.approx(norm.cdf(2.0), abs=1e-9)


def test_the_factor_is_the_tabled_one():
    # ISO 16269-6 style, from memory, three decimals: one-sided, n = 10, 95/95.
    assert one_sided_factor(10, 0.95) == pytest.approx(2.911, abs=6e-4)


@pytest.mark.parametrize(("between", "reading"), [(0.5, 0.1), (0.1, 0.5), (0.3, 0.31), (0.31, 0.3), (0, 1), (1, 0)])
@pytest.mark.parametrize("readings", [1, 3, 8])
def test_worst_of_n_by_direct_integration(between, reading, readings):
    def inside(b):
        room = 0.6 - between * b
        own = norm.cdf(room / reading) if reading else float(room >= 0)
        return norm.pdf(b) * own**readings

    want = quad(inside, -9, 9, points=[0.6 / between] if between and not reading else None, epsabs=1e-11, limit=300)[0]
    # Quadrature error, largest where both spreads are alike.
    assert float(edge_chance(0.0, between, reading, Rule(0.6, readings))) == pytest.approx(want, abs=5e-5)


def test_mean_rule_and_lower_limits():
    assert float(edge_chance(1.0, 0.3, 0.4, Rule(1.5, 4, "mean"))) == pytest.approx(norm.cdf(0.5 / np.hypot(0.3, 0.2)))
    upper = float(edge_chance(1.0, 0.3, 0.4, Rule(1.5, 4)))
    assert float(edge_chance(-1.0, 0.3, 0.4, Rule(-1.5, 4, at_most=False))) == pytest.approx(upper, abs=1e-12)
    assert float(edge_chance(1.0, 0.0, 0.0, Rule(1.0, 3))) == 1.0


def test_bound_lies_below_estimate_and_grows_with_specimens():
    rule = Rule(2.0, 3)
    few, many = one_type(specimens=3, seed=3), one_type(specimens=12, seed=3)
    assert chance(few, rule).low < chance(few, rule).estimate
    gap = [chance(e, rule).estimate - chance(e, rule).low for e in (few, many)]
    assert gap[1] < gap[0]


def test_chance_is_the_same_every_time():
    edge, rule = one_type(), Rule(1.5, 3)
    assert chance(edge, rule) == chance(edge, rule)


def test_words_name_rule_and_what_is_new():
    found = chance(one_type(), Rule(1.5, 3), cuts=27, lost=5)
    assert (found.cuts, found.lost) == (27, 5)
    rule, new = found.rests_on
    assert rule.kind == ChanceKind.RULE and rule.facts == {"judged_by": "worst", "readings": 3}
    layers = ("specimen", "coupon")
    assert new.kind == ChanceKind.NEW_EACH_TIME and new.facts == {"layers": layers, "pooled": layers}


def test_lost_cuts_count_as_not_meeting():
    values, edge = sample()
    sure = Rule(values.mean() + 1e6, 1)
    found = chance(edge, sure, cuts=20, lost=4)
    assert found.estimate == pytest.approx(0.8)
    # With the requirement certain, only the Jeffreys quantile is left.
    assert found.low == pytest.approx(beta.ppf(0.05, 16.5, 4.5), abs=0.002)


def test_unit_and_shift_do_not_matter():
    values, _, groups = nested()
    one = next_edge(find_layers(values, np.ones((36, 1)), groups), np.array([1.0]))
    two = next_edge(find_layers(100 + 1000 * values, np.ones((36, 1)), groups), np.array([1.0]))
    assert chance(two, Rule(1600.0, 3)).low == pytest.approx(chance(one, Rule(1.5, 3)).low, abs=1e-9)


def test_joint_chance_lies_between_its_limits_and_follows_the_correlation():
    edges = (one_type(seed=1), one_type(seed=2))
    rules = (Rule(1.3, 3), Rule(1.0, 3))

    def joint(r):
        matrix = np.array([[1.0, r], [r, 1.0]])
        return chance_of_all(edges, rules, {"specimen": matrix, "coupon": matrix}, draws=64)

    none, full, against = joint(0.0), joint(1.0), joint(-1.0)
    assert against.estimate < none.estimate < full.estimate
    for found in (none, full, against):
        assert found.least - 1e-3 <= found.estimate <= found.most + 1e-3
        assert found.low <= found.estimate
    assert none.least == max(0.0, sum(estimate_chance(e, r) for e, r in zip(edges, rules, strict=True)) - 1)


def test_uncorrelated_responses_multiply():
    edges, rules = (one_type(seed=1), one_type(seed=2)), (Rule(1.3, 3), Rule(1.0, 3))
    found = chance_of_all(edges, rules, {}, draws=64)
    want = estimate_chance(edges[0], rules[0]) * estimate_chance(edges[1], rules[1])
    # 512 even points of four dimensions.
    assert found.estimate == pytest.approx(want, abs=0.005)


def test_same_response_twice_is_no_harder_than_once():
    edge, rule, ones = one_type(), Rule(1.3, 1), np.ones((2, 2))
    found = chance_of_all((edge, edge), (rule, rule), {"specimen": ones, "coupon": ones}, draws=64)
    # One edge level and two readings of it: the worst of two readings.
    assert found.estimate == pytest.approx(estimate_chance(edge, Rule(1.3, 2)), abs=0.005)


@pytest.mark.parametrize("df", [0.6, 2.0, 9.3, 400.0])
def test_chi_square_draws_are_its_quantiles(df):
    z = np.linspace(-6.9, 6.9, 2001)
    with np.errstate(divide="ignore"):
        want = np.where(z < 0, chi2.ppf(norm.cdf(z), df), chi2.isf(norm.sf(z), df))
    # A cubic spline of the logarithm at steps of 0.05.
    assert chi_squares(df, z) == pytest.approx(want, rel=1e-7)
    drawn = chi_square_draws(df, 3, 256, 5, 1)
    assert drawn == pytest.approx(chi2.ppf(norm.cdf(even_normals(3, 256, 5)[:, 1]), df), rel=1e-7)
    assert not drawn.flags.writeable


@pytest.mark.parametrize(("above", "below"), [(16.5, 4.5), (0.5, 27.5), (27.5, 0.5)])
def test_beta_draws_are_its_quantiles(above, below):
    z = np.linspace(-6.0, 6.0, 501)
    assert beta_draws(above, below, z) == pytest.approx(beta.ppf(norm.cdf(z), above, below), abs=1e-6)


def test_bound_of_the_mean_rule_is_where_the_chance_reaches_it():
    edge = one_type(seed=4)
    for at_most in (True, False):
        limit = tolerance_bound(edge, 0.9, 4, "mean", at_most)
        # The quantile of the draws' own limits against the quantile of their chances: one of 16,384 draws apart.
        assert chance(edge, Rule(limit, 4, "mean", at_most)).low == pytest.approx(0.9, abs=1e-4)


def test_bound_of_the_worst_of_two_is_where_the_chance_reaches_it():
    edge = one_type(seed=4)
    limit = tolerance_bound(edge, 0.9, 2)
    assert chance(edge, Rule(limit, 2)).low == pytest.approx(0.9, abs=1e-4)  # one of 16,384 draws apart


def test_correlation_of_effects_is_found_at_its_level():
    rng = np.random.default_rng(11)
    specimen = np.repeat(np.arange(100), 4)
    up = rng.multivariate_normal([0, 0], [[1, 0.8], [0.8, 1]], 100)[specimen]
    low = rng.multivariate_normal([0, 0], [[1, -0.5], [-0.5, 1]], 400)
    first, second = (up + low).T
    found = effect_correlation(first, 10 * second, np.ones((400, 1)), {"specimen": specimen})
    # 100 specimens: standard errors of about 0.06 and 0.05.
    assert found["specimen"] == pytest.approx(0.8, abs=0.15)
    assert found["coupon"] == pytest.approx(-0.5, abs=0.12)
    stronger = effect_correlation(first, second, np.ones((400, 1)), {"specimen": specimen}, (0.5, 0.5))
    assert -1.0 <= stronger["coupon"] < 1.5 * found["coupon"]
    with pytest.raises(WrongShape, match="one mean per coupon"):
        effect_correlation(first[1:], second, np.ones((400, 1)), {})


def test_effects_without_a_spread_do_not_correlate():
    first, specimen = np.tile([1.0, -1.0, 0.5, -0.5], 6), np.repeat(np.arange(6), 4)
    second = first + specimen  # specimens of the first response have equal means: no variance between them
    found = effect_correlation(first, second, np.ones((24, 1)), {"specimen": specimen})
    assert found["specimen"] == 0.0 and found["coupon"] == pytest.approx(1.0)


def test_how_many_specimens_would_show_it():
    edge = one_type(seed=3)
    rule = Rule(tolerance_bound(edge, 0.97, 3, confidence=0.5), 3)
    found = chance(edge, rule)
    needed = specimens_to_show(edge, rule, 0.90, specimens=3)
    assert found.low < 0.90 < found.estimate and needed > 3
    reach = find_reach(edge, rule, found, 0.90, 3)
    assert (reach.specimens, reach.needed, reach.more_than, reach.shown) == (3, needed, None, ())
    assert specimens_to_show(edge, rule, found.estimate + 0.001, specimens=3) is None
    assert find_reach(edge, rule, found, found.low / 2, 3) is None


def test_an_estimate_below_the_target_says_what_more_specimens_would_show():
    edge = one_type(seed=3)
    rule = Rule(tolerance_bound(edge, 0.97, 3, confidence=0.5), 3)
    found = chance(edge, rule)
    reach = find_reach(edge, rule, found, 0.9999, 3)
    assert reach.needed is None and reach.more_than is None
    (twice, low_twice), (fourfold, low_fourfold) = reach.shown
    assert (twice, fourfold) == (6, 12)
    # if the estimates are the truth, more specimens lift the bound towards the estimate and never above it
    assert found.low < low_twice < low_fourfold < found.estimate


def test_a_target_that_nobody_can_buy_is_named_as_such():
    edge = one_type(seed=3)
    rule = Rule(tolerance_bound(edge, 0.97, 3, confidence=0.5), 3)
    found = chance(edge, rule)
    reach = find_reach(edge, rule, found, found.estimate - 1e-9, 3)
    assert (reach.needed, reach.more_than, reach.shown) == (None, 1_000, ())


def test_coupons_and_readings_spread_by_type_where_the_records_carry_it():
    values, kind, groups = nested(types=2)
    own = find_source(values, (kind[:, None] == [0, 1]).astype(float), groups, kind.astype(str))
    assert own.by_type and set(own.layers.reading_rows) == {"reading of 0", "reading of 1"}
    # the reading variance of type 0: within its 12 coupons of three readings
    cube = values[kind == 0].reshape(12, 3)
    square = next(s for s in own.layers.squares if s.name == "reading of 0")
    assert square.value == pytest.approx(np.sum((cube - cube.mean(axis=1, keepdims=True)) ** 2) / 24, rel=1e-10)
    edge = own.edge(np.array([1.0, 0.0]), "0", 0.3, 0.2)
    assert edge.reading == "reading of 0" and edge.between["coupon"] == "coupon of 0" and edge.mean == 0.3
    # one coupon of type 1, one reading: its own spread is unknown, so the types are pooled
    keep = (kind == 0) | (np.arange(len(values)) == 36)
    few = {layer: labels[keep] for layer, labels in groups.items()}
    pooled = find_source(values[keep], (kind[keep][:, None] == [0, 1]).astype(float), few, kind[keep].astype(str))
    assert not pooled.by_type and set(pooled.layers.reading_rows) == {"reading"}
    assert pooled.edge(np.array([1.0, 0.0]), "0", 0.3, 0.2).reading == "reading"


def test_responses_are_paired_by_their_coupons_in_any_order():
    rng = np.random.default_rng(11)
    specimen = np.repeat(np.arange(100), 4)
    coupon = np.array([f"K{i}" for i in range(400)], dtype=object)
    up = rng.multivariate_normal([0, 0], [[1, 0.8], [0.8, 1]], 100)[specimen]
    low = rng.multivariate_normal([0, 0], [[1, -0.5], [-0.5, 1]], 400)
    first, second = (up + low).T
    turned = rng.permutation(400)[:390]  # the second response misses ten coupons and comes in another order
    ones, groups = np.ones((400, 1)), {"specimen": specimen.astype(object), "coupon": coupon}
    one = CouponResponse(first, coupon, ones, groups)
    other = CouponResponse(second[turned], coupon[turned], ones[turned], {k: v[turned] for k, v in groups.items()})
    found = correlations([one, other])
    # 100 specimens: standard errors of about 0.06 and 0.05
    assert found["specimen"][1, 0] == found["specimen"][0, 1] == pytest.approx(0.8, abs=0.15)
    assert found["coupon"][1, 0] == pytest.approx(-0.5, abs=0.12)
    assert found["specimen"][0, 0] == found["coupon"][1, 1] == 1.0
    apart = CouponResponse(second, np.array([f"L{i}" for i in range(400)], dtype=object), ones, groups)
    assert np.array_equal(correlations([one, apart])["specimen"], np.eye(2))


def test_a_layer_that_adds_nothing_is_named():
    values, _, groups = nested()
    groups = {"specimen": groups["specimen"], "mount": groups["specimen"] * 10, "coupon": groups["coupon"]}
    layers = find_layers(values, np.ones((36, 1)), groups)
    assert layers.missing == ("mount",)
    rests_on = chance(next_edge(layers, np.array([1.0])), Rule(1.5, 3)).rests_on
    missing = [f.facts for f in rests_on if f.kind == ChanceKind.SPREAD_NOT_KNOWN]
    assert missing == [{"layers": ("mount",)}]
    assert ChanceKind.READINGS_INDEPENDENT not in [f.kind for f in rests_on]


def test_one_reading_per_coupon_counts_readings_as_independent():
    _, edge = sample()
    assert ChanceKind.READINGS_INDEPENDENT in [f.kind for f in chance(edge, Rule(9.0, 3)).rests_on]
    assert ChanceKind.READINGS_INDEPENDENT not in [f.kind for f in chance(edge, Rule(9.0, 1)).rests_on]


def test_one_specimen_per_type_speaks_of_these_nozzles():
    values, kind, groups = nested(types=2, specimens=1)
    layers = find_layers(values, (kind[:, None] == [0, 1]).astype(float), groups)
    edge = next_edge(layers, np.array([1.0, 0.0]))
    assert layers.missing == ("specimen",) and list(edge.between) == ["coupon"]


def test_mixed_model_mean_and_error_can_replace_least_squares():
    values, _, groups = nested()
    layers = find_layers(values, np.ones((36, 1)), groups)
    edge = next_edge(layers, np.array([1.0]), mean=0.25, se=0.5)
    found = floor(variances(layers.squares))
    assert edge.mean == 0.25
    assert sum(edge.mean_sizes[n] * float(found[n]) for n in found) == pytest.approx(0.25, rel=1e-12)


def test_no_spread_at_all_gives_certainty():
    groups = {"coupon": np.repeat([0, 1, 2], 3)}
    edge = next_edge(find_layers(np.full(9, 2.0), np.ones((9, 1)), groups), np.array([1.0]))
    assert chance(edge, Rule(3.0, 3)).low == pytest.approx(1.0, abs=1e-12)  # weights add up to one within rounding
    assert chance(edge, Rule(1.0, 3)).estimate == 0.0


def graded(seed=3):
    rng = np.random.default_rng(seed)
    types, specimen = np.repeat([0, 1, 2], 18), np.repeat(np.arange(9), 6)
    grades = np.clip(np.round(rng.normal(1.5, 1.0, 54) + rng.normal(0, 0.7, 9)[specimen]), 0, 4)
    grades[types == 2] = 0
    fixed = np.column_stack([types == 1, types == 2]).astype(float)
    return fit_ordinal(grades, fixed, specimen)


def test_chance_of_a_grade_for_a_type_always_clean():
    fit = graded()
    clean = chance_of_grade(fit, np.array([0.0, 1.0]), 1, specimens=3, df=6)
    other = chance_of_grade(fit, np.array([1.0, 0.0]), 1, specimens=3, df=6)
    # Eighteen clean coupons from three specimens do not prove certainty.
    assert 0.9 < clean.estimate < 1 and 0 < other.low < other.estimate < clean.estimate and clean.low < clean.estimate
    less = chance_of_grade(fit, np.array([0.0, 1.0]), 1, specimens=3, df=6, cuts=20, lost=2)
    assert less.estimate == pytest.approx(0.9 * clean.estimate)
    assert clean.rests_on[0].facts == {"at_most": 1.0, "new_specimen": True}
    assert (less.cuts, less.lost) == (20, 2)


def test_bound_of_a_grade_by_plain_draws():
    fit = graded()
    found = chance_of_grade(fit, np.array([1.0, 0.0]), 1, specimens=3, df=6)
    soft, rng = fit.penalised_full, np.random.default_rng(1)
    lever = np.array([0.0, 1.0] + [0.0] * (len(soft.thresholds) - 2) + [-1.0, 0.0])
    level = lever @ np.concatenate([soft.thresholds, soft.coefficients])
    # Specimen mean square: 3 specimens times the variance of the level, 9 specimens over 6 df for the types fitted.
    square = 3 * (lever @ soft.covariance @ lever)
    drawn = square * 9 / 6 * 6 / rng.chisquare(6, 20_000)
    spread = np.sqrt(np.maximum(drawn - (square - soft.group_sd**2), 0.0))
    levels = level + rng.normal(size=20_000) * np.sqrt(drawn / 3)
    edges = levels[:, None] + spread[:, None] * rng.normal(size=(20_000, 200))
    # 20,000 plain draws of 200 new specimens each.
    assert found.low == pytest.approx(float(np.quantile(np.mean(1 / (1 + np.exp(-edges)), axis=1), 0.05)), abs=0.01)


def test_chance_of_a_grade_that_says_nothing_is_refused():
    with pytest.raises(NotIdentifiable, match="Every grade is at most 4"):
        chance_of_grade(graded(), np.zeros(2), 4, 3, 6)
    with pytest.raises(NotIdentifiable, match="Every grade is above -1"):
        chance_of_grade(graded(), np.zeros(2), -1, 3, 6)
    with pytest.raises(WrongShape, match="settings have shape"):
        chance_of_grade(graded(), np.zeros(3), 1, 3, 6)
    assert chance_of_grade(graded(), np.zeros(2), 1, specimens=1, df=1).low < 0.5  # the least that can be asked
    for wrong in ({"specimens": 0}, {"df": 0}, {"confidence": 1.0}):
        with pytest.raises(WrongArgument, match="at least 1"):
            chance_of_grade(graded(), np.zeros(2), 1, **{"specimens": 3, "df": 6} | wrong)


def test_refusals_are_named():
    values, edge = sample()
    ones = np.ones((10, 1))
    with pytest.raises(WrongArgument, match="rule must be one of"):
        chance(edge, Rule(1.0, 0))
    with pytest.raises(WrongArgument, match="confidence must lie"):
        chance(edge, Rule(1.0, 1), confidence=1.0)
    with pytest.raises(NotFinite, match="limit is missing"):
        chance(edge, Rule(np.nan, 1))
    with pytest.raises(WrongArgument, match="11 lost of 10"):
        chance(edge, Rule(1.0, 1), cuts=10, lost=11)
    with pytest.raises(WrongShape, match="do not pair"):
        chance_of_all((edge,), (Rule(1.0, 1),), {})
    with pytest.raises(WrongShape, match="coupon correlation has shape"):
        chance_of_all((edge, edge), (Rule(1.0, 1),) * 2, {"coupon": np.eye(3)})
    with pytest.raises(WrongArgument, match="ones on its diagonal"):
        chance_of_all((edge, edge), (Rule(1.0, 1),) * 2, {"coupon": np.zeros((2, 2))})
    with pytest.raises(WrongArgument, match="contradict"):
        chance_of_all((edge, edge), (Rule(1.0, 1),) * 2, {"coupon": np.array([[1, 2], [2, 1.0]])})
    with pytest.raises(WrongArgument, match="Coverage"):
        tolerance_bound(edge, 1.0)
    with pytest.raises(NotFinite, match="reading or a fixed column"):
        find_layers(values * np.nan, ones, {})
    with pytest.raises(WrongShape, match="one row per reading"):
        find_layers(values, ones, {"coupon": [1, 2]})
    with pytest.raises(WrongArgument, match="'reading' is the name"):
        find_layers(values, ones, {"reading": np.arange(10)})
    with pytest.raises(WrongArgument, match="needs the type"):
        find_layers(values, ones, {}, spread_by_type=("reading",))
    with pytest.raises(NotIdentifiable, match="No repeats are left"):
        find_layers(values, ones, {"coupon": np.arange(10)})
    with pytest.raises(NotIdentifiable, match="depend on each other"):
        find_layers(values, np.ones((10, 2)), {})
    with pytest.raises(WrongArgument, match="standard error"):
        next_edge(find_layers(values, ones, {}), np.array([1.0]), se=0.0)


@pytest.mark.parametrize("readings", [2, 3, 10])
@pytest.mark.parametrize("ratio", [0.3, 1.0, 1.7])
def test_the_worst_of_some_readings_by_direct_summation(readings, ratio):
    z = np.linspace(-9.0, 9.0, 20001)
    density = np.exp(-0.5 * z**2) * special.ndtr(z) ** (readings - 1)
    room = np.linspace(-3.0, 5.0, 9)
    direct = special.ndtr(room[:, None] - ratio * z) @ (density / density.sum())
    found = edge_chance(0.0, 1.0, ratio, Rule(room, readings))
    assert found == pytest.approx(direct, abs=1e-7)  # quadrature: 16 and 48 nodes


def test_a_level_that_does_not_vary_correlates_with_nothing():
    groups = {"specimen": np.repeat(np.arange(4), 3)}
    within = np.tile([1.0, 0.0, -1.0], 4)  # specimens alike: their variance is zero
    both = within + np.repeat([0.0, 3.0, -1.0, 5.0], 3)
    found = effect_correlation(within, both, np.ones((12, 1)), groups)
    assert found == {"specimen": 0.0, "coupon": pytest.approx(1.0)}


def test_points_of_two_seeds_have_nothing_to_do_with_each_other():
    """Shuffled pairs of 1,024 are correlated by 0.03 ; as the scrambles come it is up to 0.9."""
    for dimensions, one, other in [(2, 0, 101), (2, 1_202, 2_202), (4, 1, 2), (4, 1_000, 2_000), (7, 0, 1)]:
        ours, theirs = even_normals(dimensions, 1_024, one), even_normals(dimensions, 1_024, other)
        assert np.abs(np.corrcoef(ours.T, theirs.T)[:dimensions, dimensions:]).max() < 0.13


def test_lost_cuts_and_what_is_not_known_of_their_share_lower_the_chance_of_all():
    """With one rule that never fails, the other's own chance with lost cuts: the same share, other points."""
    edge, rule = one_type(), Rule(1.6, 1)
    never = chance_of_all((edge, edge), (rule, Rule(1e3, 1)), {}, draws=4_096, cuts=20, lost=3)
    alone = chance(edge, rule, draws=4_096, cuts=20, lost=3)
    assert never.estimate == pytest.approx(alone.estimate, abs=0.003)  # 512 points of the effects
    assert never.low == pytest.approx(alone.low, abs=0.01)
    none_lost = chance_of_all((edge, edge), (rule, Rule(1e3, 1)), {}, draws=4_096, cuts=20)
    assert none_lost.low < chance_of_all((edge, edge), (rule, Rule(1e3, 1)), {}, draws=4_096).low - 0.005
    assert none_lost.low > never.low + 0.05
    assert (never.most, never.least) == pytest.approx((alone.estimate, alone.estimate), abs=1e-9)
    with pytest.raises(WrongArgument):
        chance_of_all((edge, edge), (rule, rule), {}, draws=64, cuts=2, lost=3)


def test_more_specimens_bring_more_cuts_and_the_bound_counts_those_too():
    edge = one_type(seed=3)
    rule = Rule(tolerance_bound(edge, 0.995, 3, confidence=0.5), 3)
    # nine cuts, none lost: a twentieth of the area under t^8.5 (1 - t)^-0.5, put by t = 1 - v^2 into a smooth form
    v = np.linspace(0.0, 1.0, 20_001)
    area = np.concatenate([[0.0], np.cumsum((1.0 - ((v[1:] + v[:-1]) / 2) ** 2) ** 8.5)])
    assert most_by_cuts(9, 0) == pytest.approx(1.0 - np.interp(0.95 * area[-1], area, v) ** 2, abs=1e-6)
    alone, found = chance(edge, rule), chance(edge, rule, cuts=9, lost=0)
    assert found.low < min(alone.low, most_by_cuts(9, 0))
    needed = find_reach(edge, rule, found, 0.90, 3).needed
    # as many specimens as are said to show it do, with three cuts each, and one fewer does not
    assert needed > specimens_to_show(edge, rule, 0.90, specimens=3)
    shown = [chance(grown(edge, 3, n, 1), rule, draws=4_096, cuts=3 * n, lost=0).low for n in (needed - 1, needed)]
    assert shown[0] < 0.90 <= shown[1]
    # where cuts were lost, no number of specimens lifts the estimate above their share
    lost = chance(edge, rule, cuts=9, lost=2)
    assert find_reach(edge, rule, lost, 0.90, 3).needed is None


def test_a_type_with_more_specimens_than_others_is_grown_from_its_own():
    """All types grow alike: 6 and 3 specimens are 9, 1.5 times those of the first, and become 18 as it becomes 12."""
    edge = one_type(seed=3)
    more = grown(edge, 6, 12, 1.5)
    (now, then) = (next(s for s in each.squares if s.name == "specimen").df for each in (edge, more))
    assert then == now + 9
