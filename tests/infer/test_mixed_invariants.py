"""What must not move a mixed fit (row order, names, units, coding), what must, and what it refuses."""

import numpy as np
import pytest
from scipy import stats

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.mixed import MixedDesign, fit_mixed
from trials.infer.mixed.by_type import TypedDesign
from trials.infer.mixed.groupings import Grouping
from trials.infer.mixed.kernel import _random_columns

# Two searches that start from the same cross-products in another order stop within rounding of the same flat minimum.
SAME = 1e-7


def trial(seed=11, crossed=True, vary_inside=False, inspectors=0):
    """Unbalanced readings in coupons in mounts in specimens of four types, on three sheets, by several inspectors."""
    rng = np.random.default_rng(seed)
    specimen = np.repeat(np.arange(12), 2 * 5)
    mount = np.repeat(np.arange(24), 5)
    pressure = rng.choice([-1.0, 0.0, 1.0], size=120)
    sheet = rng.integers(0, 3, size=120) if crossed else specimen % 3
    keep = np.repeat(np.arange(120), rng.integers(1, 5, size=120))
    kind = np.vstack([np.eye(3), -np.ones(3)])[specimen % 4]
    fixed = np.column_stack([np.ones(120), kind, pressure, pressure**2])[keep]
    groups = {"specimen": specimen[keep], "mount": mount[keep], "coupon": keep, "sheet": sheet[keep]}
    y = 3.4 + fixed[:, 1:] @ np.array([0.2, -0.1, 0.05, 0.1, -0.2])
    for name, sd in {"specimen": 0.10, "mount": 0.08, "coupon": 0.12, "sheet": 0.06}.items():
        y += rng.normal(scale=sd, size=groups[name].max() + 1)[groups[name]]
    if vary_inside:
        fixed = np.column_stack([fixed, rng.normal(size=len(keep))])
    if inspectors:
        groups["inspector"] = rng.integers(0, inspectors, size=len(keep))
        y += rng.normal(scale=0.1, size=inspectors)[groups["inspector"]]
    return y + rng.normal(scale=0.1, size=len(y)), fixed, groups


def agree(a, b, coefficients=True):
    for name, value in a.variances.items():
        assert b.variances[name] == pytest.approx(value, abs=SAME * sum(a.variances.values()))
    if coefficients:
        se = np.sqrt(np.diagonal(a.covariance))
        assert np.abs((a.coefficients - b.coefficients) / se).max() < SAME
        assert np.abs((a.covariance - b.covariance) / np.outer(se, se)).max() < SAME
    for rows in (np.eye(a.coefficients.size)[1:4], np.eye(a.coefficients.size)[[4]]):
        one, two = a.test(rows), b.test(rows)
        assert (two.df, two.F, two.den_df, two.p) == pytest.approx((one.df, one.F, one.den_df, one.p), rel=10 * SAME)


@pytest.mark.parametrize("crossed", [True, False])
def test_row_order_and_labels_do_not_matter(crossed):
    y, fixed, groups = trial(crossed=crossed)
    first = fit_mixed(y, fixed, groups)
    order = np.random.default_rng(5).permutation(len(y))
    renamed = {k: np.array([f"{k} no. {97 * v % 1009}" for v in labels])[order] for k, labels in groups.items()}
    again = fit_mixed(y[order], fixed[order], dict(reversed(renamed.items())))
    agree(first, again)
    assert again.reml_criterion == pytest.approx(first.reml_criterion, abs=1e-9)


def test_change_of_unit_scales_as_it_should():
    y, fixed, groups = trial()
    c = 39.37007874  # um to microinch
    um, uin = fit_mixed(y, fixed, groups), fit_mixed(c * y, fixed, groups)
    assert uin.coefficients == pytest.approx(c * um.coefficients, rel=1e-7, abs=1e-9)
    for name, value in um.variances.items():
        assert uin.variances[name] == pytest.approx(c**2 * value, rel=1e-6, abs=1e-9)
    nu = len(y) - fixed.shape[1]
    assert uin.reml_criterion == pytest.approx(um.reml_criterion + 2 * nu * np.log(c), abs=1e-8)
    agree(um, fit_mixed(y + 1e6, fixed, groups), coefficients=False)  # the zero of the scale is free as well


def test_other_coding_of_the_same_columns():
    y, fixed, groups = trial()
    turn = np.random.default_rng(2).normal(size=(6, 6)) @ np.diag([1.0, 10, 100, 0.1, 1, 1])
    plain, turned = fit_mixed(y, fixed, groups), fit_mixed(y, fixed @ turn, groups)
    change = 2 * np.linalg.slogdet(turn)[1]
    assert turned.reml_criterion == pytest.approx(plain.reml_criterion + change, abs=1e-8)
    rows = np.eye(6)[1:4]
    one, two = plain.test(rows), turned.test(rows @ turn)
    assert two.df == one.df
    assert (two.F, two.den_df, two.p) == pytest.approx((one.F, one.den_df, one.p), rel=1e-6)


def test_a_raw_quadratic_far_from_zero_keeps_its_digits():
    y, fixed, groups = trial()
    pressure = 1000.0 + fixed[:, 4]
    raw = np.column_stack([fixed[:, :4], pressure, pressure**2])
    plain, far = fit_mixed(y, fixed, groups), fit_mixed(y, raw, groups)
    one, two = plain.test(np.eye(6)[[1, 2, 3, 5]]), far.test(np.eye(6)[[1, 2, 3, 5]])
    # the columns hold the curvature to 1e-6 of their length, so ten digits are left of it
    assert (two.df, two.den_df) == (one.df, pytest.approx(one.den_df, rel=1e-7))
    assert abs(two.F - one.F) <= 1e-7 * one.F
    at = np.array([1.0, 0, 0, 0, 1001.0, 1001.0**2])
    left, right = plain.estimate(np.array([1.0, 0, 0, 0, 1, 1])), far.estimate(at)
    assert (right.value, right.se, right.df) == pytest.approx((left.value, left.se, left.df), rel=1e-6)


def test_rows_of_very_different_size_count_alike():
    y, fixed, groups = trial()
    fit = fit_mixed(y, fixed, groups)
    rows = np.eye(6)[1:4]
    one, two = fit.test(rows), fit.test(rows * np.array([[1e-9], [1.0], [1e7]]))
    assert (two.df, two.F) == (3, pytest.approx(one.F, rel=1e-9))


def test_doubling_every_reading_keeps_the_estimates_of_a_fixed_effect_and_halves_the_reading_variance_share():
    # Each coupon's two readings appear twice: means stay, so do coefficients where coupons are balanced.
    rng = np.random.default_rng(4)
    coupon, specimen = np.repeat(np.arange(24), 2), np.repeat(np.arange(8), 6)
    fixed = np.column_stack([np.ones(48), np.repeat([1.0, -1.0], 24)])
    y = rng.normal(size=8)[specimen] + rng.normal(size=24)[coupon] + rng.normal(size=48)
    once = fit_mixed(y, fixed, {"specimen": specimen, "coupon": coupon})
    twice = fit_mixed(np.tile(y, 2), np.tile(fixed, (2, 1)), {k: np.tile(v, 2) for k, v in
                      {"specimen": specimen, "coupon": coupon}.items()})  # fmt: skip
    assert twice.coefficients == pytest.approx(once.coefficients, rel=1e-9)
    # within sums of squares double while their degrees of freedom go from 24 to 72
    assert twice.variances["reading"] == pytest.approx(once.variances["reading"] * 2 * 24 / 72, rel=1e-6)
    one, two = once.test(np.eye(2)[1:]), twice.test(np.eye(2)[1:])
    assert (two.F, two.den_df) == pytest.approx((one.F, one.den_df), rel=1e-6)  # specimens are the yardstick still


@pytest.mark.parametrize("inspectors", [0, 5])
@pytest.mark.parametrize("vary_inside", [False, True])
@pytest.mark.parametrize("crossed", [True, False])
@pytest.mark.parametrize(("collapse", "dense"), [(False, True), (True, False), (False, False)])
def test_every_path_gives_the_same_fit(crossed, vary_inside, inspectors, collapse, dense):
    y, fixed, groups = trial(crossed=crossed, vary_inside=vary_inside, inspectors=inspectors)
    plain = MixedDesign.build(fixed, groups, dense=True).fit(y)
    other = MixedDesign.build(fixed, groups, collapse=collapse, dense=dense).fit(y)
    assert other.coefficients == pytest.approx(plain.coefficients, rel=1e-8, abs=1e-9)
    assert np.abs(other.covariance / plain.covariance - 1).max() < 1e-6  # some covariances are near zero
    assert np.diagonal(other.covariance) == pytest.approx(np.diagonal(plain.covariance), rel=1e-8)
    assert list(other.variances.values()) == pytest.approx(list(plain.variances.values()), rel=1e-8, abs=1e-9)
    assert other.reml_criterion == pytest.approx(plain.reml_criterion, abs=1e-8)
    one, two = plain.test(np.eye(fixed.shape[1])[1:4]), other.test(np.eye(fixed.shape[1])[1:4])
    assert (two.F, two.den_df) == pytest.approx((one.F, one.den_df), rel=1e-8)


@pytest.mark.parametrize("inspectors", [0, 4])
def test_criterion_and_covariance_against_the_definition(inspectors):
    """-2 log restricted likelihood and (X'V^-1X)^-1 from an (n, n) matrix, which only a small case can afford."""
    y, fixed, groups = trial(seed=3, vary_inside=inspectors > 0, inspectors=inspectors)
    fit = fit_mixed(y, fixed, groups)
    v = fit.variances["reading"] * np.eye(len(y))
    for name, labels in groups.items():
        v += fit.variances[name] * (labels[:, None] == labels)
    inverse = np.linalg.inv(v)
    inner = fixed.T @ inverse @ fixed
    beta = np.linalg.solve(inner, fixed.T @ inverse @ y)
    rest = y - fixed @ beta
    nu = len(y) - fixed.shape[1]
    expected = np.linalg.slogdet(v)[1] + np.linalg.slogdet(inner)[1] + rest @ inverse @ rest + nu * np.log(2 * np.pi)
    assert fit.reml_criterion == pytest.approx(expected, abs=1e-8)
    assert fit.coefficients == pytest.approx(beta, rel=1e-9)
    assert fit.covariance_unadjusted == pytest.approx(np.linalg.inv(inner), rel=1e-7, abs=1e-12)


def test_minimum_is_lower_than_its_neighbours_also_at_zero():
    rng = np.random.default_rng(0)
    zeros = 0
    specimen, coupon = np.repeat(np.arange(6), 6), np.repeat(np.arange(18), 2)
    fixed = np.column_stack([np.ones(36), np.repeat([1.0, -1.0], 18)])
    design = MixedDesign.build(fixed, {"specimen": specimen, "coupon": coupon})
    for _ in range(30):
        fit = design.fit(rng.normal(size=18)[coupon] * 0.3 + rng.normal(size=36))
        assert fit.converged
        zeros += min(fit.variances.values()) == 0
        assert np.isfinite(fit.test(np.eye(2)[1:]).p)
    assert zeros >= 8  # with no specimen variance about half the estimates are zero


def test_zero_variance_stays_in_the_adjustment():
    y, fixed, groups = trial(seed=22)
    rng = np.random.default_rng(1)
    for _ in range(40):
        y = rng.normal(size=len(y))
        fit = fit_mixed(y, fixed, {"specimen": groups["specimen"]})
        if fit.variances["specimen"] == 0:
            break
    assert fit.variances["specimen"] == 0
    # without it the nozzle test would have the residual's degrees of freedom, some 280; with it those of 12 specimens
    assert fit.test(np.eye(6)[1:4]).den_df < 20


def test_without_groupings_it_is_ordinary_least_squares():
    y, fixed, _ = trial(seed=6)
    fit = fit_mixed(y, fixed, {})
    nu = len(y) - 6
    solved, rss, _, _ = np.linalg.lstsq(fixed, y, rcond=None)
    assert fit.coefficients == pytest.approx(solved, rel=1e-11)
    assert fit.variances == {"reading": pytest.approx(float(rss[0]) / nu, rel=1e-12)}
    t = fit.estimate(np.array([0, 0, 0, 0, 1.0, 0]), confidence=0.9)
    assert t.df == nu
    assert t.high - t.value == pytest.approx(stats.t.ppf(0.95, nu) * t.se, rel=1e-9)
    assert t.p == pytest.approx(2 * stats.t.sf(abs(t.value) / t.se, nu), rel=1e-9)


def test_dependent_contrast_rows_are_reduced():
    y, fixed, groups = trial()
    fit = fit_mixed(y, fixed, groups)
    rows = np.eye(6)[1:4]
    plain = fit.test(rows)
    doubled = fit.test(np.vstack([rows, rows[0] - 2 * rows[2], 0 * rows[0]]))
    assert doubled.df == 3
    assert (doubled.F, doubled.den_df) == pytest.approx((plain.F, plain.den_df), rel=1e-9)
    one, t = fit.test(np.eye(6)[[4]]), fit.estimate(np.eye(6)[4])
    assert (one.F, one.den_df, one.p) == pytest.approx(((t.value / t.se) ** 2, t.df, t.p), rel=1e-9)


def test_single_readings_and_lone_coupons_are_fine():
    y, fixed, groups = trial()
    keep = np.r_[0, 3:40, 45:150]
    fit = fit_mixed(y[keep], fixed[keep], {k: v[keep] for k, v in groups.items()})
    assert np.isfinite([fit.test(np.eye(6)[1:4]).p, fit.reml_criterion]).all()


def spoiled(**changes):
    y, fixed, groups = trial()
    for key, make in changes.items():
        if key == "response":
            y = make(y, fixed, groups)
        elif key == "fixed":
            fixed = make(fixed)
        else:
            groups = dict(groups, **{key: make(groups)})
    return y, fixed, groups


def by_type(groups):
    return groups["specimen"] % 4


@pytest.mark.parametrize(
    ("changes", "error", "message"),
    [
        ({"lot": lambda g: np.zeros(len(g["coupon"]))}, NotIdentifiable, "'lot' has one level only"),
        ({"place": lambda g: np.arange(len(g["coupon"]))}, NotIdentifiable, "'place' has one row per level"),
        ({"plate": lambda g: g["sheet"] * 7}, NotIdentifiable, "'plate' splits the readings exactly as 'sheet'"),
        ({"type": by_type}, NotIdentifiable, "'type' is spanned by the fixed columns"),
        ({"reading": lambda g: g["sheet"]}, WrongArgument, "'reading' names the spread between readings"),
        ({"lot": lambda g: g["sheet"][1:]}, WrongShape, "'lot' has shape"),
        ({"lot": lambda g: np.where(g["sheet"] > 0, g["sheet"], np.nan)}, NotFinite, "'lot' has no label at row"),
        (
            {"fixed": lambda x: np.column_stack([x, x[:, 1] - x[:, 4]])},
            NotIdentifiable,
            "fixed column 7 .* combination",
        ),
        (
            {"fixed": lambda x: np.column_stack([x[:, :2], 0 * x[:, 0]])},
            NotIdentifiable,
            "fixed column 3 .*combination",
        ),
        (
            {"fixed": lambda x: np.where(np.arange(x.size).reshape(x.shape) == 34, np.inf, x)},
            NotFinite,
            "fixed column 5 .* at row 6",
        ),
        ({"fixed": lambda x: x[1:]}, WrongShape, "do not fit together"),
        ({"fixed": lambda x: x[:, 0]}, WrongShape, "do not fit together"),
        ({"fixed": lambda x: x[:, :0]}, WrongShape, "k of 1 or more"),
        ({"response": lambda y, x, g: np.where(np.arange(len(y)) == 9, np.nan, y)}, NotFinite, "at row 10"),
        ({"response": lambda y, x, g: [*y[:-1], "lost"]}, NotFinite, "response holds something that is not a number"),
        ({"response": lambda y, x, g: x @ np.arange(6.0)}, NotIdentifiable, "reproduce every reading exactly"),
        ({"response": lambda y, x, g: 0 * y + 31.0}, NotIdentifiable, "reproduce every reading exactly"),
        ({"response": lambda y, x, g: np.sin(g["coupon"])}, NotIdentifiable, "never differ"),
    ],
)
def test_what_cannot_be_answered_is_refused_by_name(changes, error, message):
    with pytest.raises(error, match=message):
        fit_mixed(*spoiled(**changes))


def test_one_specimen_per_type_cannot_carry_a_specimen_variance():
    kind = np.repeat(np.arange(3), 8)
    fixed = np.column_stack([np.ones(24), kind == 0, kind == 1]).astype(float)
    with pytest.raises(NotIdentifiable, match="'specimen' is spanned by the fixed columns"):
        fit_mixed(
            np.arange(24.0) ** 0.5, fixed, {"specimen": np.array(list("abc"))[kind], "coupon": np.arange(24) // 2}
        )


def test_two_groupings_alike_after_the_fixed_terms():
    # lots differ from sheets by whole types only, and types are fixed: their variances are one
    kind, half = np.repeat([0, 1], 12), np.tile(np.repeat([0, 1], 6), 2)
    sheet = kind * 2 + half
    lot = np.where(kind == 0, half, 5 + half)
    coupon = np.arange(24) // 2
    with pytest.raises(NotIdentifiable, match="splits the readings exactly as"):
        fit_mixed(
            np.sqrt(np.arange(24.0)), np.column_stack([np.ones(24), kind]), {"sheet": sheet, "lot": lot, "c": coupon}
        )
    day = half  # one day per half of either type: with types fixed, a sheet is a day but for sign
    fixed = np.column_stack([np.ones(24), kind, half == kind]).astype(float)
    with pytest.raises(NotIdentifiable, match="cannot be told apart|spanned by the fixed"):
        fit_mixed(np.sqrt(np.arange(24.0)), fixed, {"sheet": sheet, "day": day, "coupon": coupon})


@pytest.mark.parametrize(
    ("contrast", "error", "message"),
    [
        (np.zeros((2, 6)), WrongArgument, "every row of the contrast is zero"),
        (np.ones(6), WrongShape, r"expected \(q, k\)"),
        (np.ones((1, 5)), WrongShape, "k = 6"),
        (np.full((1, 6), np.nan), NotFinite, "contrast"),
    ],
)
def test_contrasts_are_checked(contrast, error, message):
    fit = fit_mixed(*trial())
    with pytest.raises(error, match=message):
        fit.test(contrast)


def test_estimates_are_checked():
    fit = fit_mixed(*trial())
    with pytest.raises(WrongArgument, match="confidence is 95"):
        fit.estimate(np.ones(6), confidence=95)
    with pytest.raises(WrongArgument, match="all zero"):
        fit.estimate(np.zeros(6))


@pytest.mark.parametrize(
    ("types", "error", "message"),
    [
        (["a", "a", "b", None, "b", None], NotFinite, "types has no label at row 4"),
        (["a", "a", "b", "b", "b"], WrongShape, r"types has shape \(5,\), expected \(6,\)"),
    ],
)
def test_a_missing_type_is_named_by_its_row(types, error, message):
    with pytest.raises(error, match=message):
        TypedDesign.build(np.ones((6, 1)), {"specimen": np.repeat([0, 1, 2], 2)}, np.array(types, object), ["specimen"])


def test_levels_have_one_column_each():
    # three sheets and two days, coupons carried apart: five columns, the sheets' before the days', none left empty
    coded = [Grouping("sheet", np.array([0, 1, 2, 0]), 3), Grouping("coupon", np.arange(4), 4)]
    coded.append(Grouping("day", np.array([1, 1, 0, 0]), 2))
    blocks, columns = _random_columns(coded, 1, 4)
    assert blocks == (slice(0, 3), None, slice(3, 5))
    expected = [[1, 0, 0, 0, 1], [0, 1, 0, 0, 1], [0, 0, 1, 1, 0], [1, 0, 0, 1, 0]]
    np.testing.assert_array_equal(columns.toarray(), expected)
