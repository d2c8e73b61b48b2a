"""The yardstick: classical in balanced trials whatever the spreads, checked by hand, by strata and by least squares."""

import numpy as np
import pytest
import statsmodels.api as sm

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.mixed import fit_mixed, kenward_roger
from trials.infer.strata import strata_tests
from trials.infer.yardstick import YardstickDesign, estimate_between, judge

SAME = 1e-6  # what the design asks of F and degrees of freedom in balanced data


def coded(values):
    """Sum-to-zero columns of a class."""
    levels, codes = np.unique(values, return_inverse=True)
    return np.vstack([np.eye(len(levels) - 1), -np.ones(len(levels) - 1)])[codes]


class Trial:
    """Types with their numbers of specimens, mounts, four settings and readings; sheets hold types in proportion."""

    def __init__(self, specimens, sheets=1, mounts=1, readings=2, settings=4, keep=None):
        lines = [
            (t, j % sheets, f"{t}.{j}", f"{t}.{j}.{m}", f"{t}.{j}.{m}.{s}", s)
            for t, pieces in enumerate(specimens)
            for j in range(pieces)
            for m in range(mounts)
            for s in range(settings)
        ]
        if keep is not None:
            lines = [line for line, stays in zip(lines, keep(len(lines)), strict=True) if stays]
        self.kind, self.sheet, self.specimen, self.mount, self.coupon, self.setting = (
            np.repeat(np.array(column), readings) for column in zip(*lines, strict=True)
        )
        self.terms = {"type": coded(self.kind), "setting": coded(self.setting)}
        product = np.einsum("na,nb->nab", self.terms["type"], self.terms["setting"])
        self.terms["type x setting"] = product.reshape(len(self.kind), -1)
        self.fixed = np.hstack([np.ones((len(self.kind), 1)), *self.terms.values()])
        self.contrast = np.eye(self.fixed.shape[1])[1 : len(specimens)]
        self.groups = {"specimen": self.specimen, "coupon": self.coupon}
        if mounts > 1:
            self.groups["mount"] = self.mount
        if sheets > 1:
            self.groups["sheet"] = self.sheet

    def response(self, rng, specimen, sheet=0.5):
        y = 3.0 + rng.normal(size=len(self.kind))
        for name, labels in self.groups.items():
            _, codes = np.unique(labels, return_inverse=True)
            spread = {"specimen": specimen, "sheet": sheet, "mount": 0.5 * specimen}.get(name, 1.0)
            y += spread * rng.normal(size=codes.max() + 1)[codes]
        return y


BALANCED = {
    "one sheet": {"specimens": (3, 3, 3, 3)},
    "three sheets": {"specimens": (3, 3, 3, 3), "sheets": 3},
    "two sheets, several mounts": {"specimens": (4, 4, 4), "sheets": 2, "mounts": 2},
    "unequal numbers of specimens": {"specimens": (2, 4, 3, 3)},
    "unequal numbers on two sheets": {"specimens": (2, 6, 4), "sheets": 2},
}


@pytest.mark.parametrize("name", BALANCED)
@pytest.mark.parametrize("specimen", [0.0, 0.3, 100.0])
def test_balanced_trials_give_the_classical_stratum_test(name, specimen):
    rng = np.random.default_rng(51)
    trial = Trial(**BALANCED[name])
    at_zero = 0
    for _ in range(8):
        y = trial.response(rng, specimen)
        expected = strata_tests(y, trial.terms, trial.groups).tests["type"]
        found = judge(y, trial.fixed, trial.groups, trial.contrast)
        assert expected.stratum == "specimen"
        assert found.df == expected.df
        assert abs(found.F - expected.F) <= SAME * expected.F
        assert abs(found.den_df - expected.den_df) <= SAME * expected.den_df
        assert abs(found.p - expected.p) <= 1e-5 * expected.p
        at_zero += fit_mixed(y, trial.fixed, trial.groups).variances["specimen"] < 1e-9
    if specimen == 0.0:
        assert at_zero > 0  # the case that the bound at zero spoils is among them


@pytest.mark.parametrize(("sheets", "left"), [(1, 8), (3, 6)])
def test_twelve_specimens_leave_eight_degrees_of_freedom_on_one_sheet_and_six_on_three(sheets, left):
    trial = Trial((3, 3, 3, 3), sheets=sheets)
    for sheet in (0.0, 3.0):  # the same whether sheets come out as alike or not
        y = trial.response(np.random.default_rng(7), 0.0, sheet)
        assert abs(judge(y, trial.fixed, trial.groups, trial.contrast).den_df - left) <= SAME


@pytest.mark.parametrize("sheet", [0.0, 1.0])
def test_sheets_as_fixed_columns_give_what_sheets_as_a_grouping_give(sheet):
    """With losses too, and whether or not sheets differ: one rule."""
    trial = Trial((3, 3, 3, 3), sheets=3, keep=lambda n: np.arange(n) % 7 != 3)
    y = trial.response(np.random.default_rng(8), 0.4, sheet)
    grouped = judge(y, trial.fixed, trial.groups, trial.contrast)
    columns = coded(trial.sheet)
    apart = {name: labels for name, labels in trial.groups.items() if name != "sheet"}
    contrast = np.hstack([trial.contrast, np.zeros((3, 2))])
    fixed = judge(y, np.hstack([trial.fixed, columns]), apart, contrast)
    assert abs(grouped.F - fixed.F) <= 1e-9 * fixed.F  # the same columns in another basis
    assert abs(grouped.den_df - fixed.den_df) <= 1e-9 * fixed.den_df


def test_hand_worked_specimens_that_differ_less_than_readings():
    # means 10, 10, 12, 12 -> specimens equal within types would give no spread; 9.9, 10.1 | 11.9, 12.1 do:
    # MS type 4 * 2 * (2 / 2)^2 ... = 8 * 1 = 8 on 1; MS specimen 4 * 0.1^2 * 2 / 2 = 0.04; F = 8 / 0.04 = 200 on 1, 2
    # MS reading = 8 * 1 / 4 = 2, fifty times the specimens': the variance of specimens is estimated below zero
    y = np.array([8.9, 10.9, 9.1, 11.1, 10.9, 12.9, 11.1, 13.1])
    specimen = np.repeat(["a", "b", "c", "d"], 2)
    fixed = np.column_stack([np.ones(8), np.repeat([-1.0, 1.0], 4)])
    found = judge(y, fixed, {"specimen": specimen}, np.array([[0.0, 1.0]]))
    assert found.df == 1
    assert pytest.approx(200.0, rel=1e-9) == found.F  # whole figures, rounding only
    assert found.den_df == pytest.approx(2.0, rel=1e-9)
    estimate = estimate_between(y, fixed, {"specimen": specimen}, np.array([0.0, 2.0]))
    # difference of two means of two specimens: variance 0.04 / 4 * 2 = 0.02
    assert estimate.value == pytest.approx(2.0, rel=1e-12)
    assert estimate.se == pytest.approx(np.sqrt(0.02), rel=1e-9)
    assert estimate.low == pytest.approx(2.0 - 4.302652729911275 * np.sqrt(0.02), rel=1e-9)  # t, 2 df, 0.975


def test_a_mean_at_one_setting_takes_its_part_of_each_stratum():
    """Balanced split plot, contrast of two types at one of four settings: Satterthwaite worked out by hand."""
    trial = Trial((3, 3), readings=1)
    del trial.groups["coupon"]  # one reading per coupon: specimens and what is left
    rng = np.random.default_rng(12)
    y = trial.response(rng, 0.8)
    strata = {s.name: s for s in strata_tests(y, trial.terms, trial.groups).strata}
    between, inside = strata["specimen"], strata["reading"]
    # var(y at one setting, mean of 3 specimens) = (s2_specimen + s2_coupon) / 3, twice; specimen MS = 4 s2_s + s2_c
    parts = np.array([between.mean_square / 4.0, inside.mean_square * 3.0 / 4.0]) * 2.0 / 3.0
    df = parts.sum() ** 2 / (parts[0] ** 2 / between.df + parts[1] ** 2 / inside.df)
    row = np.zeros(trial.fixed.shape[1])
    at = trial.setting == 0
    row += trial.fixed[at & (trial.kind == 0)][0] - trial.fixed[at & (trial.kind == 1)][0]
    found = estimate_between(y, trial.fixed, trial.groups, row)
    assert between.mean_square > inside.mean_square
    expected = y[at & (trial.kind == 0)].mean() - y[at & (trial.kind == 1)].mean()
    assert found.value == pytest.approx(expected, rel=1e-10)
    assert found.se == pytest.approx(np.sqrt(parts.sum()), rel=1e-6)  # as far as the search settles
    assert found.df == pytest.approx(df, rel=1e-6)


def test_one_contrast_is_tested_as_it_is_estimated():
    trial = Trial((2, 4, 3), keep=lambda n: np.arange(n) % 7 != 3)
    y = trial.response(np.random.default_rng(5), 0.5)
    test = judge(y, trial.fixed, trial.groups, trial.contrast[:1])
    estimate = estimate_between(y, trial.fixed, trial.groups, trial.contrast[0])
    assert pytest.approx((estimate.value / estimate.se) ** 2, rel=1e-10) == test.F
    assert test.den_df == pytest.approx(estimate.df, rel=1e-10)
    assert test.p == pytest.approx(estimate.p, rel=1e-8)


def test_losses_give_nearly_the_analysis_of_least_squares_specimen_means():
    """One coupon lost of forty: weighted least squares on specimen means by statsmodels, weights by the fit."""
    trial = Trial((3, 4, 3), readings=1, keep=lambda n: np.arange(n) != 5)
    del trial.groups["coupon"]
    fixed, contrast = trial.fixed[:, :6], np.eye(6)[1:3]  # settings alike for all types
    y = trial.response(np.random.default_rng(3), 2.0)
    names, codes = np.unique(trial.specimen, return_inverse=True)
    member = np.eye(len(names))[codes]
    both = sm.OLS(y, np.hstack([member, coded(trial.setting)])).fit()
    means = both.params[: len(names)]
    kind = np.array([trial.kind[codes == i][0] for i in range(len(names))])
    model = sm.OLS(means, np.column_stack([np.ones(len(names)), coded(kind)])).fit()
    expected = model.f_test(np.eye(3)[1:])
    found = judge(y, fixed, trial.groups, contrast)
    # specimens differ twice as much as coupons, so one coupon in forty moves weights by about a hundredth
    assert pytest.approx(float(expected.fvalue), rel=0.03) == found.F
    assert found.den_df == pytest.approx(expected.df_denom, rel=0.01)


def unbalanced():
    trial = Trial((2, 4, 3), sheets=2, mounts=2, keep=lambda n: np.random.default_rng(9).random(n) > 0.2)
    return trial, trial.response(np.random.default_rng(10), 0.2)


def test_an_unbalanced_contrast_has_its_free_variance_and_half_of_the_adjustment():
    """Written out: Rao (1971) at the fitted weights, half of Kenward and Roger (1997, eq. 3), and their df for one row.

    With V the fitted covariance, G_i its parts and P the projection, the free variances solve tr(P G_i P G_j) s_j =
    y' P G_i P y; W is twice the inverse of those traces; the adjustment is 2 Phi (sum W_ij (Q_ij - P_i Phi P_j)) Phi.
    """
    trial = Trial((2, 4, 3), keep=lambda n: np.random.default_rng(9).random(n) > 0.2)
    y = trial.response(np.random.default_rng(10), 1.0)
    groups = {"specimen": trial.specimen}
    fit = YardstickDesign.build(trial.fixed, groups).fit(y).fit
    parts = [np.equal.outer(trial.specimen, trial.specimen).astype(float), np.eye(len(y))]
    v = fit.variances["specimen"] * parts[0] + fit.variances["reading"] * parts[1]
    inverse = np.linalg.inv(v)
    own = inverse @ trial.fixed
    phi = np.linalg.inv(trial.fixed.T @ own)
    p = inverse - own @ phi @ own.T
    traces = np.array([[np.trace(p @ a @ p @ b) for b in parts] for a in parts])
    free, w = np.linalg.solve(traces, [y @ p @ a @ p @ y for a in parts]), 2.0 * np.linalg.inv(traces)
    first = [-own.T @ a @ own for a in parts]
    inner = sum(
        w[i, j] * (own.T @ parts[i] @ inverse @ parts[j] @ own - first[i] @ phi @ first[j])
        for i in (0, 1)
        for j in (0, 1)
    )
    for row in (*trial.contrast, trial.contrast[0] + trial.contrast[1]):
        at = phi @ row
        plain = sum(size * (at @ own.T @ a @ own @ at) for size, a in zip(free, parts, strict=True))
        adjustment = 2.0 * at @ inner @ at
        assert abs(adjustment) > 1e-4 * plain  # far above what the figures are compared to
        each = np.array([at @ one @ at for one in first])
        found = estimate_between(y, trial.fixed, groups, row)
        assert found.se**2 == pytest.approx(plain + 0.5 * adjustment, rel=1e-6)  # as far as the search settles
        assert found.df == pytest.approx(2.0 * (row @ at) ** 2 / (each @ w @ each), rel=1e-6)
        both = YardstickDesign.build(trial.fixed, groups).fit(y).estimates(np.array([row, trial.contrast[0]]))
        assert both.covariance[0, 0] == pytest.approx(found.se**2, rel=1e-9)


def test_coding_of_the_fixed_columns_does_not_matter():
    trial, y = unbalanced()
    turn = np.random.default_rng(2).normal(size=(trial.fixed.shape[1],) * 2)
    expected = judge(y, trial.fixed, trial.groups, trial.contrast)
    found = judge(y, trial.fixed @ turn, trial.groups, trial.contrast @ turn)
    assert pytest.approx(expected.F, rel=1e-7) == found.F  # a random turn of 12 columns costs some digits
    assert found.den_df == pytest.approx(expected.den_df, rel=1e-7)
    rows = trial.contrast[::-1] * np.array([[2.0], [-3.0]])
    again = judge(y, trial.fixed, trial.groups, np.vstack([rows, rows.sum(axis=0)]))
    assert (again.df, again.F) == (expected.df, pytest.approx(expected.F, rel=1e-9))


def test_order_of_rows_names_and_unit_of_the_response_do_not_matter():
    trial, y = unbalanced()
    expected = judge(y, trial.fixed, trial.groups, trial.contrast)
    order = np.random.default_rng(4).permutation(len(y))
    renamed = {name: np.array([f"x{v}"[::-1] for v in labels[order]]) for name, labels in trial.groups.items()}
    found = judge(7.0 + 39.37 * y[order], trial.fixed[order], renamed, trial.contrast)
    assert pytest.approx(expected.F, rel=1e-7) == found.F  # as far as the search settles
    assert found.den_df == pytest.approx(expected.den_df, rel=1e-7)


def test_no_specimen_spread_does_not_lengthen_the_yardstick():
    """Kenward-Roger holds the spread at zero and pools; the yardstick is the specimens' own mean square."""
    trial, rng = Trial((3, 3, 3, 3)), np.random.default_rng(20)
    shorter = 0
    for _ in range(20):
        y = trial.response(rng, 0.0)
        pooled, own = fit_mixed(y, trial.fixed, trial.groups), judge(y, trial.fixed, trial.groups, trial.contrast)
        if pooled.variances["specimen"] < 1e-9:
            assert own.F > pooled.test(trial.contrast).F
            shorter += 1
    assert shorter > 3


def test_several_estimates_at_once_agree_with_each_alone():
    trial, y = unbalanced()
    rows = np.vstack([trial.contrast, trial.contrast[0] - trial.contrast[1]])
    fit = YardstickDesign.build(trial.fixed, trial.groups).fit(y)
    found = fit.estimates(rows)
    for i, row in enumerate(rows):
        alone = estimate_between(y, trial.fixed, trial.groups, row)
        assert found.values[i] == pytest.approx(alone.value, rel=1e-12)
        assert np.sqrt(found.covariance[i, i]) == pytest.approx(alone.se, rel=1e-12)
        assert found.dfs[i] == pytest.approx(alone.df, rel=1e-12)
    none = fit.estimates(rows[:0])
    assert (none.values.shape, none.covariance.shape, none.dfs.shape) == ((0,), (0, 0), (0,))
    balanced = Trial((3, 3, 3))
    y = balanced.response(np.random.default_rng(1), 0.0)
    pair = np.array([balanced.contrast[0] * 2 + balanced.contrast[1], balanced.contrast[0] - balanced.contrast[1]])
    both = YardstickDesign.build(balanced.fixed, balanced.groups).fit(y).estimates(pair).covariance
    # types 0 against 2 and 0 against 1 share type 0: correlation one half where all have three specimens
    assert both[0, 1] / np.sqrt(both[0, 0] * both[1, 1]) == pytest.approx(0.5, abs=1e-9)


def test_units_without_a_grouping_inside_and_readings_as_unit():
    # types 1, 3 | 5, 7 as plain readings: MS type 16, MS reading 2, F = 8 on 1, 2
    y, fixed = np.array([1.0, 3.0, 5.0, 7.0]), np.column_stack([np.ones(4), [-1.0, -1.0, 1.0, 1.0]])
    found = judge(y, fixed, {}, np.array([[0.0, 1.0]]), unit="reading")
    assert (found.df, found.den_df) == (1, pytest.approx(2.0, rel=1e-12))
    assert pytest.approx(8.0, rel=1e-12) == found.F


def test_a_sheet_that_would_take_the_types_along_counts_against_them():
    """Two sheets per type: types are judged by sheets, on 6 - 3 = 3 degrees of freedom, not by specimens within."""
    trial = Trial((4, 4, 4))
    sheet = np.array([f"{k}{s.split('.')[1] in '01'}" for k, s in zip(trial.kind, trial.specimen, strict=True)])
    y = trial.response(np.random.default_rng(6), 0.3) + 3.0 * coded(sheet)[:, 0]
    groups = trial.groups | {"sheet": sheet}
    found = judge(y, trial.fixed, groups, trial.contrast)
    expected = strata_tests(y, trial.terms, groups).tests["type"]
    assert (expected.stratum, expected.den_df) == ("sheet", 3)
    assert pytest.approx(expected.F, rel=1e-6) == found.F
    assert found.den_df == pytest.approx(3.0, rel=1e-6)


def wild_first(seed, ratio=3.0):
    """A trial whose first type spreads more, in coupons and readings."""
    trial, rng = Trial((3, 3, 3), readings=3), np.random.default_rng(seed)
    scale = np.where(trial.kind == 0, ratio, 1.0)
    return trial, scale * trial.response(rng, 0.0)


def test_spread_by_type_gives_each_type_its_own():
    trial, y = wild_first(30)
    wild, calm = trial.contrast[0] - trial.contrast[1], trial.contrast[0] + 2 * trial.contrast[1]
    pooled = [estimate_between(y, trial.fixed, trial.groups, row).se for row in (wild, calm)]
    own = [estimate_between(y, trial.fixed, trial.groups, row, types=trial.kind).se for row in (wild, calm)]
    # variances 9 + 1 against 1 + 1 without specimen spread: 2.2 times as long; without types as long as each other
    assert 1.5 < own[0] / own[1] < 3.0
    assert pooled[0] == pytest.approx(pooled[1], rel=1e-9)


def test_spread_by_type_gives_the_restricted_likelihood_its_maximum():
    trial, y = wild_first(31)
    fit = YardstickDesign.build(trial.fixed, trial.groups, types=trial.kind).fit(y).fit
    names = ["specimen", *(f"{level} of {t}" for level in ("coupon", "reading") for t in range(3))]
    assert list(fit.variances) == names
    assert fit.converged
    best = dense_criterion(trial, y, fit.variances)
    assert fit.reml_criterion == pytest.approx(best + 0.0, abs=1e-8)
    for name, value in fit.variances.items():
        for step in (0.9, 1.1):
            moved = dict(fit.variances) | {name: value * step if value > 0 else 0.01}
            assert dense_criterion(trial, y, moved) > best


def dense_criterion(trial, y, variances):
    """-2 log restricted likelihood from the covariance matrix written out (Patterson and Thompson 1971)."""
    same = {name: np.equal.outer(labels, labels) for name, labels in trial.groups.items()}
    v = variances["specimen"] * same["specimen"].astype(float)
    for t in range(3):
        own = np.outer(trial.kind == t, trial.kind == t)
        v += variances[f"coupon of {t}"] * (same["coupon"] & own)
        v += variances[f"reading of {t}"] * np.diag(trial.kind == t)
    inverse = np.linalg.inv(v)
    left = trial.fixed.T @ inverse @ trial.fixed
    rest = y - trial.fixed @ np.linalg.solve(left, trial.fixed.T @ inverse @ y)
    size = np.linalg.slogdet(v)[1] + np.linalg.slogdet(left)[1] + rest @ inverse @ rest
    return size + (len(y) - trial.fixed.shape[1]) * np.log(2.0 * np.pi)


def test_spread_by_type_where_settings_change_inside_the_lowest_group():
    """Without coupons, fixed columns change inside specimens: the same criterion from the matrix written out."""
    trial, y = wild_first(32)
    groups = {"specimen": trial.specimen}
    fit = YardstickDesign.build(trial.fixed, groups, types=trial.kind).fit(y).fit
    variances = dict(fit.variances) | {f"coupon of {t}": 0.0 for t in range(3)}
    assert fit.reml_criterion == pytest.approx(dense_criterion(trial, y, variances), abs=1e-8)


def test_equal_spreads_by_type_stay_close_to_one_spread():
    trial = Trial((4, 4, 4), readings=4, settings=9)
    y = trial.response(np.random.default_rng(40), 1.0)
    one = judge(y, trial.fixed, trial.groups, trial.contrast)
    own = judge(y, trial.fixed, trial.groups, trial.contrast, types=trial.kind)
    assert pytest.approx(one.F, rel=0.1) == own.F  # 96 coupons a type show that they spread alike
    assert own.den_df == pytest.approx(9.0, rel=0.1)


def spoiled(value):
    trial = Trial((2, 2))
    y = trial.response(np.random.default_rng(0), 1.0)
    y[3] = value
    return trial, y


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_numbers_that_are_none_are_named(value):
    trial, y = spoiled(value)
    with pytest.raises(NotFinite, match="row 4"):
        judge(y, trial.fixed, trial.groups, trial.contrast)
    trial, y = spoiled(1.0)
    fixed = trial.fixed.copy()
    fixed[2, 1] = value
    with pytest.raises(NotFinite, match="fixed column 2 holds no finite number at row 3"):
        judge(y, fixed, trial.groups, trial.contrast)
    with pytest.raises(NotFinite, match="contrast"):
        estimate_between(y, trial.fixed, trial.groups, np.where(trial.contrast[0] == 0, 0.0, value))
    missing = trial.groups | {"specimen": np.array([None, *trial.specimen[1:]], dtype=object)}
    with pytest.raises(NotFinite, match="'specimen' has no label at row 1"):
        judge(y, trial.fixed, missing, trial.contrast)
    with pytest.raises(NotFinite, match="types has no label at row 1"):
        estimate_between(y, trial.fixed, trial.groups, trial.contrast[0], types=[None, *trial.kind[1:]])


def test_arrays_that_do_not_fit_are_named():
    trial, y = spoiled(1.0)
    with pytest.raises(WrongArgument, match="unit 'mount' is not among the groupings"):
        judge(y, trial.fixed, trial.groups, trial.contrast, unit="mount")
    with pytest.raises(WrongShape, match="contrast has shape"):
        judge(y, trial.fixed, trial.groups, trial.contrast[:, 1:])
    with pytest.raises(WrongShape, match="contrast has shape"):
        estimate_between(y, trial.fixed, trial.groups, trial.contrast)
    with pytest.raises(WrongArgument, match="all zero"):
        estimate_between(y, trial.fixed, trial.groups, 0.0 * trial.contrast[0])
    with pytest.raises(WrongShape, match="response has shape"):
        judge(y[1:], trial.fixed, trial.groups, trial.contrast)
    with pytest.raises(WrongArgument, match="confidence"):
        estimate_between(y, trial.fixed, trial.groups, trial.contrast[0], confidence=95.0)
    with pytest.raises(WrongShape, match="types has shape"):
        estimate_between(y, trial.fixed, trial.groups, trial.contrast[0], types=trial.kind[1:])
    with pytest.raises(WrongArgument, match="a coupon holds rows of two types"):
        estimate_between(y, trial.fixed, trial.groups, trial.contrast[0], types=np.arange(len(y)) // 3)


def test_a_unit_that_cannot_be_seen_is_named():
    trial, y = spoiled(1.0)
    with pytest.raises(NotIdentifiable, match="'specimen' is spanned by the fixed columns"):
        judge(y, trial.fixed, trial.groups | {"specimen": trial.kind}, trial.contrast)
    with pytest.raises(NotIdentifiable, match="'sheet' has one level only"):
        judge(y, trial.fixed, trial.groups | {"sheet": np.zeros(len(y))}, trial.contrast)


def test_the_denominator_of_two_degrees_of_freedom_is_finite():
    """F on 2 and 2 degrees of freedom: A1 = 4 and A2 = 2 give v1 = 1 - A2 / q = 0 in Kenward and Roger (1997), by hand.

    g = 0, B = 4, c2 = 1/4, c3 = 1/2, so v1 = 0, v2 = -1 and, with their ratio taken as 1, 4 + 4 v2 / (1 - v2) = 2.
    """
    assert kenward_roger._paper_df(2, 4.0, 2.0) == (2.0, 1.0)


def test_the_denominator_of_four_degrees_of_freedom_is_finite():
    """4 types x 2 specimens on one sheet: exactly 4 degrees of freedom make v2 of Kenward and Roger (1997) zero."""
    trial, rng = Trial((2, 2, 2, 2)), np.random.default_rng(1)
    for _ in range(60):
        y = trial.response(rng, 3.0)
        found = fit_mixed(y, trial.fixed, trial.groups).test(trial.contrast)
        assert found.den_df == pytest.approx(4.0, rel=1e-6)
        assert 0.0 <= found.p <= 1.0
