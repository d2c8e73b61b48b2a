"""Strata F tests: against the mixed model, against hand-worked tables, and refused where the trial is not balanced."""

import numpy as np
import pytest

from trials.errors import NotFinite, NotIdentifiable, WrongShape
from trials.infer.mixed import fit_mixed
from trials.infer.strata import strata_tests


def coded(values):
    """Sum-to-zero columns of a class."""
    levels, codes = np.unique(values, return_inverse=True)
    return np.vstack([np.eye(len(levels) - 1), -np.ones(len(levels) - 1)])[codes]


def balanced_trial(rng, sheets):
    """Four types, six specimens, two mounts, a 3 x 2 set of settings in each mount, three readings a coupon."""
    cells = np.array([(t, s, m, p, h, r) for t in range(4) for s in range(6) for m in range(2)
                      for p in range(3) for h in range(2) for r in range(3)])  # fmt: skip
    kind, specimen, mount, pressure, height, _ = cells.T
    specimen = kind * 6 + specimen
    mount = specimen * 2 + mount
    coupon = mount * 6 + pressure * 2 + height
    sheet = (specimen % 3) if sheets == "nested" else mount % 2
    groups = {"specimen": specimen, "mount": mount, "coupon": coupon}
    if sheets:
        groups["sheet"] = sheet
    terms = {"type": coded(kind), "pressure": coded(pressure), "height": (height * 2.0 - 1.0)[:, None]}
    terms["type x pressure"] = np.einsum("na,nb->nab", terms["type"], terms["pressure"]).reshape(len(cells), -1)
    spread = {"specimen": 2.0, "mount": 1.5, "coupon": 1.0, "sheet": 3.0}
    y = 30.0 + rng.normal(size=len(cells))
    for name, labels in groups.items():
        y += rng.normal(scale=spread[name], size=labels.max() + 1)[labels]
    return y, terms, groups


@pytest.mark.parametrize("sheets", ["", "nested", "crossed"])
def test_mixed_model_gives_the_strata_tests_where_every_component_is_above_zero(sheets):
    rng = np.random.default_rng(4120)
    compared = 0
    for _ in range(12):
        y, terms, groups = balanced_trial(rng, sheets)
        names = list(terms)
        fixed = np.hstack([np.ones((len(y), 1)), *terms.values()])
        owner = np.concatenate([[-1], np.repeat(np.arange(len(names)), [terms[t].shape[1] for t in names])])
        fit = fit_mixed(y, fixed, groups)
        if min(fit.variances.values()) < 1e-6:
            continue
        compared += 1
        classical = strata_tests(y, terms, groups).tests
        for i, name in enumerate(names):
            got, expected = fit.test(np.eye(len(owner))[owner == i]), classical[name]
            # equal in theory; the tolerance is what a search that stops at a flat minimum leaves
            assert got.df == expected.df
            assert abs(got.F - expected.F) <= 1e-6 * expected.F
            assert abs(got.den_df - expected.den_df) <= 1e-6 * expected.den_df
            assert got.p == pytest.approx(expected.p, rel=1e-5)
    assert compared >= 5


def test_strata_of_a_split_plot_are_named():
    y, terms, groups = balanced_trial(np.random.default_rng(3), "nested")
    tests = strata_tests(y, terms, groups).tests
    assert {name: (t.stratum, t.df, t.den_df) for name, t in tests.items()} == {
        # 24 specimens - 4 types - 2 sheets; 288 coupons - 48 mounts - 2 - 1 - 6 fixed
        "type": ("specimen", 3, 18),
        "pressure": ("coupon", 2, 231),
        "height": ("coupon", 1, 231),
        "type x pressure": ("coupon", 6, 231),
    }


def test_hand_worked_two_specimens_per_type():
    # types 10, 14 mean; specimens 9, 11 | 13, 15; readings +-1: MS type 32, specimen 4, F = 8 on 1, 2
    y = np.array([8.0, 10, 10, 12, 12, 14, 14, 16])
    specimen = np.repeat(["a", "b", "c", "d"], 2)
    found = strata_tests(y, {"type": np.repeat([-1.0, 1.0], 4)}, {"specimen": specimen})
    test = found.tests["type"]
    assert (test.df, test.den_df, test.stratum) == (1, 2, "specimen")
    assert abs(test.F - 8.0) <= 1e-11  # 32 / 4 in whole numbers
    assert [(s.name, s.df) for s in found.strata] == [("specimen", 2), ("reading", 4)]
    assert [s.mean_square for s in found.strata] == pytest.approx([4.0, 2.0], rel=1e-12)


def test_unit_of_the_response_does_not_matter():
    y, terms, groups = balanced_trial(np.random.default_rng(8), "crossed")
    um, uin = strata_tests(y, terms, groups), strata_tests(y * 39.37 + 5, terms, groups)
    for name, test in um.tests.items():
        # rounding of some hundred terms
        assert abs(uin.tests[name].F - test.F) <= 1e-9 * test.F


def without_row(y, terms, groups):
    return y[1:], {k: v[1:] for k, v in terms.items()}, {k: v[1:] for k, v in groups.items()}


def with_uneven_sheets(y, terms, groups):
    return y, terms, dict(groups, sheet=(groups["mount"] * 7 % 48 >= 16).astype(int))


def with_crooked_sheets(y, terms, groups):
    return y, terms, dict(groups, sheet=(np.arange(len(y)) // 2) % 2)


def with_covariate(y, terms, groups):
    return y, dict(terms, drift=np.arange(len(y), dtype=float)), groups


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (without_row, "readings a level, so the trial is not balanced"),
        (with_uneven_sheets, "not balanced"),
        (with_crooked_sheets, "do not cross in proportion"),
        (with_covariate, "not balanced over|spread over the strata"),
    ],
)
def test_an_unbalanced_trial_is_refused_with_the_reason(spoil, message):
    with pytest.raises(NotIdentifiable, match=message):
        strata_tests(*spoil(*balanced_trial(np.random.default_rng(1), "")))


def test_bad_input_is_named():
    y, terms, groups = balanced_trial(np.random.default_rng(1), "")
    with pytest.raises(NotFinite, match="response"):
        strata_tests(np.where(np.arange(len(y)) == 3, np.nan, y), terms, groups)
    with pytest.raises(NotFinite, match="'type'"):
        strata_tests(y, dict(terms, type=terms["type"] + np.inf), groups)
    with pytest.raises(WrongShape, match="'type'"):
        strata_tests(y, dict(terms, type=terms["type"][1:]), groups)
    with pytest.raises(NotIdentifiable, match="depend on each other"):
        strata_tests(y, dict(terms, again=terms["type"]), groups)


@pytest.mark.parametrize("sheets", ["nested", "crossed"])
def test_a_term_that_changes_inside_coupons_leaves_the_others_as_they_were(sheets):
    """Without it the coupons stand for their readings; with it every reading is a row, and the strata are the same."""
    y, terms, groups = balanced_trial(np.random.default_rng(11), sheets)
    along = np.tile([-1.0, 0.0, 1.0], len(y) // 3)
    short, long = strata_tests(y, terms, groups), strata_tests(y, {**terms, "along": along}, groups)
    for name, test in short.tests.items():
        other = long.tests[name]
        assert (test.df, test.den_df, test.stratum) == (other.df, other.den_df, other.stratum)
        # rounding of sums over some 900 readings
        assert pytest.approx(other.F, rel=1e-11) == test.F and pytest.approx(other.p, rel=1e-10) == test.p
    for left, right in zip(short.strata[:-1], long.strata[:-1], strict=True):
        assert left.name == right.name and left.df == right.df
        assert left.mean_square == pytest.approx(right.mean_square, rel=1e-11)
    deviations = y.reshape(-1, 3) - y.reshape(-1, 3).mean(axis=1, keepdims=True)
    reading = short.strata[-1]
    assert (reading.name, reading.df) == ("reading", len(y) * 2 // 3) and long.strata[-1].df == reading.df - 1
    assert reading.mean_square == pytest.approx((deviations**2).sum() / reading.df, rel=1e-11)
