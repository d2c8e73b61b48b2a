"""Chances over many settings are those at one; bounds hold at all of them together; what follows from a picked best."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import beta, chi2, norm, t

from trials.errors import NotIdentifiable, WrongShape
from trials.infer.chance import Rule, chance, chance_of_all, chance_of_grade, find_source, surface
from trials.infer.chance.confirm import mean_of_new
from trials.infer.chance.surface import EdgeMap, chance_surface, grade_surface, lowest_together
from trials.infer.chance.window import alike_best, optimism
from trials.infer.chance.worst import room_of_worst, worst_within
from trials.infer.ordinal import fit_ordinal
from trials.infer.yardstick import YardstickDesign


@pytest.fixture(scope="module")
def trial():
    """Two types, 5 specimens each, 3 settings, 2 coupons, 2 readings; a slope along the setting."""
    rng = np.random.default_rng(5)
    rows = [(k, s, x, c) for k in (0, 1) for s in range(5) for x in (-1.0, 0.0, 1.0) for c in (0, 1) for _ in (0, 1)]
    kind, piece, x, coupon = (np.array(column) for column in zip(*rows, strict=True))
    specimen = np.array([f"{k}{s}" for k, s, *_ in rows], object)
    mark = np.array([f"{k}{s}{a}{c}" for k, s, a, c in rows], object)
    own = dict(zip(dict.fromkeys(specimen), rng.normal(0, 0.10, 10), strict=True))
    cut = dict(zip(dict.fromkeys(mark), rng.normal(0, 0.06, 60), strict=True))
    y = 3.0 + 0.1 * x + 0.08 * x**2 - 0.1 * kind + [own[s] + cut[c] for s, c in zip(specimen, mark, strict=True)]
    fixed = np.column_stack([np.ones(len(y)), kind - 0.5, x, x**2])
    types = np.where(kind == 0, "a", "b").astype(object)
    return y + rng.normal(0, 0.05, len(y)), fixed, {"specimen": specimen, "coupon": mark}, types


ROWS = np.array([[1.0, -0.5, x, x**2] for x in (-1.0, -0.5, 0.0, 0.5, 1.0)])
ERRORS = np.array([0.05, 0.045, 0.044, 0.045, 0.05])


def edge_map(trial, limit=3.35):
    source = find_source(*trial)
    means = ROWS @ source.layers.ordinary
    first = source.edge(ROWS[0], "a", float(means[0]), float(ERRORS[0]))
    return source, EdgeMap(first, source.layers, ROWS, means, ERRORS, Rule(limit, 2))


def test_at_one_setting_the_surface_is_the_chance(trial):
    source, whole = edge_map(trial)
    for i, row in enumerate(ROWS):
        at = EdgeMap(whole.first, whole.layers, ROWS[[i]], whole.means[[i]], ERRORS[[i]], whole.rule)
        alone = chance(source.edge(row, "a", float(whole.means[i]), float(ERRORS[i])), whole.rule)
        found = chance_surface([at], {}, draws=8_192)
        assert found.estimate[0] == pytest.approx(alone.estimate, abs=1e-6)
        # both bounds are quantiles of drawn chances; 8,192 draws leave 0.005 on the steepest of these
        assert found.low[0] == pytest.approx(alone.low, abs=0.012)


def test_bounds_of_all_settings_together_lie_below_those_of_one(trial):
    _, whole = edge_map(trial)
    found = chance_surface([whole], {}, draws=4_096)
    singles = [
        chance_surface(
            [EdgeMap(whole.first, whole.layers, ROWS[[i]], whole.means[[i]], ERRORS[[i]], whole.rule)], {}, draws=4_096
        ).low[0]
        for i in range(len(ROWS))
    ]
    assert np.all(found.low <= np.array(singles) + 0.005) and found.low[0] < singles[0] - 0.01
    assert np.all(found.low < found.estimate)


def test_two_responses_together_are_those_of_chance_of_all(trial):
    source, whole = edge_map(trial)
    other = EdgeMap(whole.first, whole.layers, ROWS, whole.means, ERRORS, Rule(3.45, 2))
    together = {level: np.array([[1.0, 0.4], [0.4, 1.0]]) for level in ("specimen", "coupon")}
    found = chance_surface([whole, other], together)
    edge = source.edge(ROWS[2], "a", float(whole.means[2]), float(ERRORS[2]))
    alone = chance_of_all((edge, edge), (whole.rule, other.rule), together)
    assert found.estimate[2] == pytest.approx(alone.estimate, abs=0.005)  # the same points, up to their number
    assert found.low[2] < alone.low + 0.02 and found.low[2] > alone.low - 0.15


def test_lost_cuts_count_and_bad_input_is_named(trial):
    _, whole = edge_map(trial)
    free, lost = chance_surface([whole], {}), chance_surface([whole], {}, cuts=20, lost=4)
    np.testing.assert_allclose(lost.estimate, free.estimate * 0.8, rtol=1e-12)
    assert np.all(lost.low < 0.8 * free.estimate)
    with pytest.raises(WrongShape):
        chance_surface([whole], {}, cuts=2, lost=3)
    with pytest.raises(WrongShape):
        chance_surface([], {})


def test_grades_over_settings_are_those_of_one(trial):
    y, fixed, groups, _ = trial
    grades = np.clip(np.round((y - 2.9) * 5), 0, 2)
    fit = fit_ordinal(grades, fixed[:, 1:], groups["specimen"])
    rows = ROWS[:, 1:]
    found = grade_surface(fit, rows, 1, specimens=5, df=8.0)
    for i, row in enumerate(rows):
        alone = chance_of_grade(fit, row, 1, specimens=5, df=8.0)
        assert found.estimate[i] == pytest.approx(alone.estimate, abs=1e-4)
        assert alone.low - 0.12 < found.low[i] < alone.low + 0.02


def test_a_share_of_whole_draws_lies_above_the_limits():
    rng = np.random.default_rng(2)
    draws = rng.normal(size=(6, 5_000)).cumsum(axis=0)
    low = lowest_together(draws, 0.95)
    inside = np.mean(np.all(draws >= low[:, None], axis=0))
    assert inside == pytest.approx(0.95, abs=0.003)  # of the draws themselves, up to one rank
    assert lowest_together(draws[:1], 0.9)[0] == pytest.approx(np.quantile(draws[0], 0.1), rel=1e-12)
    same = np.tile(draws[:1], (4, 1))
    np.testing.assert_allclose(lowest_together(same, 0.95), np.quantile(draws[0], 0.05), atol=0.01)


@pytest.mark.parametrize("readings", [2, 5])
@pytest.mark.parametrize(("between", "reading"), [(0.3, 0.28), (1.0, 0.02), (0.02, 1.0)])
def test_the_worst_of_several_readings_is_looked_up(readings, between, reading):
    for room in (-0.5, 0.3, 1.2):
        exact = quad(
            lambda x, room=room: norm.pdf(x) * norm.cdf((room - between * x) / reading) ** readings,
            -9,
            9,
            epsabs=1e-11,
            limit=400,
            points=[room / between] if abs(room / between) < 9 else None,
        )[0]
        found = worst_within(np.array([room]), np.array([between]), np.array([reading]), readings)
        assert found[0] == pytest.approx(exact, abs=1e-6)  # what the table is made for


def test_points_alike_the_best_by_the_studentized_range():
    # three independent means: all pairs by Tukey, 3.9489 at 9 df (Harter 1960), over sqrt 2 for one pair
    reach = 3.9489
    values = np.array([0.0, reach * 0.97, reach * 1.03])
    assert alike_best(values, np.eye(3), 9.0, 0, draws=32_768).tolist() == [True, True, False]
    with pytest.raises(WrongShape):
        alike_best(values, np.eye(2), 9.0, 0)


def test_optimism_of_equal_points_is_the_mean_of_their_lowest():
    # the lowest of three standard normals is 3 / (2 sqrt pi) below zero on average
    assert optimism(np.zeros(3), np.eye(3), draws=16_384) == pytest.approx(1.5 / np.sqrt(np.pi), abs=0.01)
    assert optimism(np.array([0.0, 50.0]), np.eye(2)) == pytest.approx(0.0, abs=0.01)


def test_the_mean_of_new_coupons_of_one_sample_is_student_t():
    """One reading a coupon, nothing above it: mean of m new against n old, t with n - 1 degrees of freedom."""
    rng = np.random.default_rng(3)
    y = rng.normal(2.0, 0.4, 12)
    source = find_source(y, np.ones((12, 1)), {}, np.full(12, "a", object))
    edge = source.edge(np.ones(1), "a", float(y.mean()), float(y.std(ddof=1) / np.sqrt(12)))
    low, high = mean_of_new(edge, {"reading": 4}, confidence=0.95)
    reach = t.ppf(0.975, 11) * y.std(ddof=1) * np.sqrt(1 / 12 + 1 / 4)
    assert (low, high) == pytest.approx((y.mean() - reach, y.mean() + reach), abs=0.01 * reach)
    moved = mean_of_new(edge, {"reading": 4}, 0.1)
    assert moved == pytest.approx((low + 0.1, high + 0.1))
    with pytest.raises(WrongShape):
        mean_of_new(edge, {"coupon": 3})


@pytest.mark.parametrize("mounted", [True, False])
def test_the_same_specimens_drop_out_of_new_coupons_where_mounts_have_a_spread_of_their_own(mounted):
    """Eight specimens spread by 1 and mounts by 0.05: new mounts of the same ones lie within the mounts' spread."""
    rng = np.random.default_rng(7)
    specimen, mount = np.repeat(np.arange(8), 6), np.repeat(np.arange(24), 2)
    y = rng.normal(0, 1.0, 8)[specimen] + rng.normal(0, 0.05, 24)[mount] + rng.normal(0, 0.05, 48)
    groups = {"specimen": specimen, "mount": mount} if mounted else {"specimen": specimen}
    edge = find_source(y, np.ones((48, 1)), groups, np.full(48, "a", object)).edge(np.ones(1), "a", 0.0, 0.4)

    def width(specimens):
        low, high = mean_of_new(edge, {"specimen": specimens, "mount": 8, "reading": 16})
        return high - low

    if mounted:
        assert width(1) == width(50) < 0.2
    else:
        assert width(1) > 1.5 * width(50) > 0.5


def test_many_contrasts_are_each_estimated_as_alone(trial):
    y, fixed, groups, types = trial
    judged = YardstickDesign.build(fixed, groups, "specimen", types).fit(y)
    many = judged.estimates(ROWS)
    for i, row in enumerate(ROWS):
        one = judged.estimate(row)
        assert (many.values[i], many.dfs[i]) == pytest.approx((one.value, one.df), rel=1e-9)
        assert many.covariance[i, i] == pytest.approx(one.se**2, rel=1e-9)
    with pytest.raises(WrongShape):
        judged.estimates(np.zeros((1, 4)))


def test_lost_cuts_alone_are_a_share_with_its_own_limits(trial):
    # an edge that meets the rule whatever it is leaves the share of cuts not lost: 16 of 20 with half a cut on either
    # side, Beta(16.5, 4.5), whose 5 % point is the bound; 4,096 even draws leave under 1e-3
    _, whole = edge_map(trial, limit=100.0)
    found = chance_surface([whole], {}, draws=4_096, cuts=20, lost=4)
    np.testing.assert_allclose(found.estimate, 0.8, rtol=1e-12)
    np.testing.assert_allclose(found.low, beta.ppf(0.05, 16.5, 4.5), atol=1e-3)
    every = chance_surface([whole], {}, draws=4_096, cuts=20, lost=0)
    np.testing.assert_allclose(every.low, beta.ppf(0.05, 20.5, 0.5), atol=1e-3)


def test_lost_cuts_of_a_sure_grade_are_a_share_with_its_own_limits(trial):
    y, fixed, groups, _ = trial
    fit = fit_ordinal(np.clip(np.round((y - 2.9) * 5), 0, 2), fixed[:, 1:])
    sure = replace(fit.penalised_full, thresholds=np.array([50.0, 60.0]), coefficients=np.zeros(3), group_sd=0.0)
    sure = replace(fit, penalised_full=replace(sure, covariance=1e-6 * np.eye(5)))
    found = grade_surface(sure, ROWS[:, 1:], 1, specimens=5, df=8.0, draws=4_096, cuts=20, lost=4)
    np.testing.assert_allclose(found.estimate, 0.8, rtol=1e-12)
    np.testing.assert_allclose(found.low, beta.ppf(0.05, 16.5, 4.5), atol=1e-3)  # as above


def test_the_lowest_grade_and_one_specimen_can_be_asked_for(trial):
    y, fixed, groups, _ = trial
    fit = fit_ordinal(np.clip(np.round((y - 2.9) * 5), 0, 2), fixed[:, 1:])
    sure = replace(fit.penalised_full, thresholds=np.array([0.0, 60.0]), coefficients=np.zeros(3), group_sd=0.0)
    sure = replace(fit, penalised_full=replace(sure, covariance=1e-12 * np.eye(5)))
    found = grade_surface(sure, ROWS[:, 1:], 0, specimens=1, df=1.0)
    np.testing.assert_allclose(found.estimate, 0.5, rtol=1e-12)  # a threshold at zero: even odds
    with pytest.raises(NotIdentifiable, match="one side of 2"):
        grade_surface(sure, ROWS[:, 1:], 2, specimens=1, df=1.0)
    for wrong in ({"specimens": 0, "df": 1.0}, {"specimens": 1, "df": 0.5}):
        with pytest.raises(WrongShape, match="do not fit the model"):
            grade_surface(sure, ROWS[:, 1:], 0, **wrong)


def one_uncertain_threshold(trial, grouped):
    """A fit whose first threshold alone is uncertain, with a variance of 0.5, and that no setting moves."""
    y, fixed, groups, _ = trial
    fit = fit_ordinal(np.clip(np.round((y - 2.9) * 5), 0, 2), fixed[:, 1:], groups["specimen"] if grouped else None)
    soft = replace(fit.penalised_full, thresholds=np.array([1.0, 60.0]), coefficients=np.zeros(3), group_sd=1.0)
    return replace(fit, penalised_full=replace(soft, covariance=np.diag([0.5, 0, 0, 0, 0])))


def test_lost_cuts_have_draws_of_their_own(trial, monkeypatch):
    # every other draw at its middle, so that the bound is the chance times the 5 % point of Beta(16.5, 4.5)
    points = np.zeros((999, 3))
    points[:, 1] = norm.ppf((np.arange(999) + 0.5) / 999)
    monkeypatch.setattr(surface, "even_normals", lambda dimensions, count, seed: points[:, :dimensions])
    plain, lost = (
        grade_surface(one_uncertain_threshold(trial, False), ROWS[:1, 1:], 0, specimens=4, df=20.0, **cuts)
        for cuts in ({}, {"cuts": 20, "lost": 4})
    )
    chance = 1 / (1 + np.exp(-1.0))  # no groups: no spread is drawn
    assert plain.low[0] == pytest.approx(min(chance, plain.estimate[0]), rel=1e-9)
    assert lost.low[0] == pytest.approx(chance * beta.ppf(0.05, 16.5, 4.5), abs=1e-3)  # ranks of 999 draws


@pytest.mark.parametrize(("df", "wider"), [(5.0, 2.0), (20.0, 1.0)])
def test_a_spread_between_few_specimens_is_drawn_wider(trial, monkeypatch, df, wider):
    # all draws at their middle; 4 specimens of a mean with variance 0.5 make 2, of which 1 is the specimens' own; the
    # 2 is drawn as df over the median of chi-square, and wider by the 10 groups over df where df are fewer
    monkeypatch.setattr(surface, "even_normals", lambda dimensions, count, seed: np.zeros((64, dimensions)))
    found = grade_surface(one_uncertain_threshold(trial, True), ROWS[:1, 1:], 0, specimens=4, df=df)
    spread = np.sqrt(2.0 * wider * df / chi2.median(df) - 1.0)
    expected = quad(lambda z: norm.pdf(z) / (1 + np.exp(spread * z - 1.0)), -9, 9, epsabs=1e-12)[0]
    assert found.low[0] == pytest.approx(expected, abs=1e-5)  # 20 nodes over the specimens


def test_errors_at_the_estimated_variances_are_the_standard_errors(trial):
    """Draws of the error of each mean, with every variance held where it is estimated, have its standard error."""
    _, whole = edge_map(trial)
    basis, known = surface._basis(ROWS), surface.floor(surface.variances(whole.first.squares))
    z = surface.even_normals(basis.shape[1], 4_096, 3).T
    held = {name: np.full(z.shape[1], value) for name, value in known.items()}
    errors = surface._errors(whole, basis, held, z)
    assert errors.std(axis=1) == pytest.approx(ERRORS, rel=0.01)
    assert np.abs(errors.mean(axis=1)).max() < 0.001
    # four times the variances double the errors; without any there are none, and the standard errors stay out of it
    wide = surface._errors(whole, basis, {name: 4 * value for name, value in held.items()}, z)
    assert wide == pytest.approx(2 * errors)
    none = {name: 0 * value for name, value in held.items()}
    assert not surface._errors(whole, basis, none, z).any()


def test_loadings_of_the_means_give_their_variance(trial):
    """Variance of the mean at a setting: the sum over effects of the squared loading, by least squares itself."""
    _, whole = edge_map(trial)
    _, fixed, groups, _ = trial
    weights = ROWS @ np.linalg.pinv(fixed)
    found = surface._loadings(whole)
    squares = {
        name: sum((part**2).sum(axis=1) for key, part in found.items() if key.startswith(name)) for name in groups
    }
    for name, labels in groups.items():
        codes = np.unique(labels.astype(str), return_inverse=True)[1]
        effects = np.array([np.bincount(codes, row) for row in weights])
        assert squares[name] == pytest.approx((effects**2).sum(axis=1))
    readings = sum((part**2).sum(axis=1) for key, part in found.items() if key.startswith("reading"))
    assert readings == pytest.approx((weights**2).sum(axis=1))


@pytest.mark.parametrize("readings", [2, 3, 50])
def test_the_room_of_the_worst_is_its_chance_turned_round(readings):
    """By hand: without spread between edges each reading keeps to share^(1/n); without that of readings all are one."""
    reading, between = np.array([1.0, 2.0, 0.5, 0.0]), np.array([0.0, 1.0, 3.0, 1.5])
    for share in (0.5, 0.9, 0.99):
        room = room_of_worst(share, between, reading, readings)
        # the room is right to 1e-5 of the sd, the density at most 0.4 an sd for one reading, steeper for more
        assert worst_within(room, between, reading, readings) == pytest.approx(share, abs=1e-5)
        assert room[0] == pytest.approx(norm.ppf(share ** (1 / readings)), abs=2e-5)
        assert room[3] == pytest.approx(1.5 * norm.ppf(share), abs=3e-5)
