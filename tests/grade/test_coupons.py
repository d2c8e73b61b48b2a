"""From readings to one row per coupon."""

import numpy as np
import pandas as pd
import pytest

from trials.errors import InputError, NotFinite
from trials.grade.conformity import Uncertainty
from trials.grade.coupons import GRADE_COLUMNS, grade_coupons, grade_edge
from trials.grade.dross import SCALE, check_grades
from trials.grade.reasons import FINE
from trials.trial import Requirement

ASKED = Requirement(squareness_range=2, roughness_range=2, dross_grade=1)
# limits at 6 mm: u 0.192 mm, Rz5 44.8 um


def wide(**columns):
    return pd.DataFrame(columns)


def three(coupon, u, rz5, dross=0.0):
    """Three readings of one coupon; the worst come last."""
    return wide(
        coupon=[coupon] * 3, u_mm=[0.05, 0.06, u], rz5_um=[20.0, 21.0, rz5], dross_grade=[dross, np.nan, np.nan]
    )


@pytest.mark.parametrize(
    ("u", "rz5", "dross", "doubt", "meets", "why"),
    [
        (0.192, 44.8, 1, {}, "yes", FINE),
        (0.193, 30.0, 1, {}, "no", "u over the limit"),
        (0.19, 45.0, 1, {}, "no", "Rz5 over the limit"),
        (0.1, 30.0, 2, {}, "no", "dross over the limit"),
        (0.19, 30.0, 0, {"u_mm": 0.02}, "undecided", "u too near the limit for the uncertainty of the bench"),
        (0.19, 50.0, 0, {"u_mm": 0.02}, "no", "Rz5 over the limit; .*u too near|u too near.*Rz5 over the limit"),
        (2.0, 30.0, 0, {}, "no", "u worse than range 5; u over the limit"),
        (np.nan, 30.0, 0, {}, "yes", "fewer readings of u than the usual 3"),
        (0.1, 30.0, np.nan, {}, "undecided", "dross not graded"),
    ],
)
def test_one_coupon(u, rz5, dross, doubt, meets, why):
    row = grade_coupons(three("K", u, rz5, dross), ASKED, 6.0, uncertainty=doubt).iloc[0]
    assert row["meets"] == meets
    assert pd.Series([row["why"]]).str.contains(why).all(), row["why"]


def test_missing_required_response_is_undecided():
    row = grade_coupons(wide(coupon=["K"], u_mm=[0.1]), ASKED, 6.0).iloc[0]
    assert (row["meets"], row["roughness_range"], row["designation"]) == ("undecided", -1, "ISO 9013-200")
    assert row["why"] == "Rz5 not measured; dross not graded; fewer readings of u than the usual 3"


def test_outcomes():
    readings = pd.concat([three("A", 0.1, 30.0), three("D", 0.1, 30.0)])
    cuts = wide(coupon=["A", "B", "C", "D"], outcome=["cut", "not_severed", "aborted", "scrapped"])
    table = grade_coupons(readings, ASKED, 6.0, cuts=cuts, coupons=["A", "B", "C", "D", "E"]).set_index("coupon")
    assert table["meets"].tolist() == ["yes", "no", "no", "undecided", "undecided"]
    assert table["why"].tolist() == [FINE, "not severed", "cut aborted", "scrapped, not graded", "not cut yet"]
    assert table["squareness_range"].tolist() == [2, -1, -1, -1, -1]
    assert table["designation"].tolist()[1:] == ["none: no edge to grade"] * 4
    assert table["dross_grade"].isna().tolist() == [False, True, True, True, True]


def test_worst_and_mean_reading_with_the_repeatability_part_divided():
    readings = wide(coupon=["K"] * 4, u_mm=[0.17, 0.18, 0.19, 0.2], rz5_um=30.0, dross_grade=0)
    doubt = {"u_mm": Uncertainty(0.02, repeatability_sd=0.01)}
    by_worst = grade_coupons(readings, ASKED, 6.0, uncertainty=doubt).iloc[0]
    by_mean = grade_coupons(readings, ASKED, 6.0, judged_by="mean", uncertainty=doubt).iloc[0]
    assert (by_worst["u_mm"], by_worst["meets"]) == (0.2, "undecided")
    # mean 0.185 against 0.192: the guard band is 1.645 x 0.01 / 2 = 0.0082, so it stays undecided; with 9 readings not
    assert (round(by_mean["u_mm"], 9), by_mean["meets"]) == (0.185, "undecided")
    more = wide(coupon=["K"] * 9, u_mm=[0.185] * 9, rz5_um=30.0, dross_grade=0)
    assert grade_coupons(more, ASKED, 6.0, judged_by="mean", uncertainty=doubt).iloc[0]["meets"] == "yes"
    assert grade_coupons(more, ASKED, 6.0, uncertainty=doubt).iloc[0]["meets"] == "undecided"


def test_simple_acceptance_leaves_nothing_open():
    row = grade_coupons(three("K", 0.19, 44.0), ASKED, 6.0, rule="simple acceptance", uncertainty={"u_mm": 0.02})
    assert row["meets"].tolist() == ["yes"]


def test_long_and_wide_tables_in_any_order_agree():
    rng = np.random.default_rng(5)
    n = 60
    table = wide(
        coupon=np.repeat([f"K{i}" for i in range(20)], 3),
        u_mm=rng.gamma(4, 0.05, n),
        rz5_um=rng.gamma(9, 4, n),
        dross_grade=rng.integers(0, 5, n).astype(float),
    )
    thickness = {f"K{i}": [3.0, 6.0, 12.0, 20.0][i % 4] for i in range(20)}
    expected = grade_coupons(table, ASKED, thickness)
    long = table.melt("coupon", var_name="response")
    long["response"] = long["response"].replace({"u_mm": "squareness"})
    shuffled = table.sample(frac=1.0, random_state=2)
    for other in (long, shuffled):
        found = grade_coupons(other, ASKED, pd.Series(thickness), coupons=expected["coupon"].tolist())
        pd.testing.assert_frame_equal(found, expected)
    assert tuple(expected.columns) == GRADE_COLUMNS


def test_repeats_of_the_measurement_study_are_left_out():
    readings = wide(coupon=["K"] * 2, repeat=[np.nan, 1], u_mm=[0.05, 5.0])
    row = grade_coupons(readings, None, 6.0).iloc[0]
    assert (row["n_u"], row["squareness_range"], row["meets"]) == (1, 1, "undecided")
    assert "no requirement stated" in row["why"]


def test_thickness_by_coupon_in_the_readings_and_out_of_scope():
    readings = wide(coupon=["A", "B", "C"], thickness_mm=[6.0, 40.0, np.nan], u_mm=[0.1, 0.1, 0.1])
    table = grade_coupons(readings, Requirement(squareness_range=2)).set_index("coupon")
    assert table["squareness_range"].tolist() == [2, 1, -1]
    assert table.loc["B", "designation"] == "none: thickness outside 0.5 to 32 mm"
    assert "thickness outside 0.5 to 32 mm, graded by the same formulas" in table.loc["B", "why"]
    assert table["meets"].tolist() == ["yes", "yes", "undecided"]
    assert "no thickness given" in table.loc["C", "why"]


def test_nothing_measured_yet():
    nothing = wide(coupon=[], response=[], value=[], repeat=[])
    assert grade_coupons(nothing, ASKED, 6.0).shape == (0, len(GRADE_COLUMNS))
    table = grade_coupons(nothing, ASKED, 6.0, cuts=wide(coupon=["A"], outcome=["cut"]), coupons=["A", "B"])
    assert table["meets"].tolist() == ["undecided", "undecided"]
    assert table["why"].tolist() == ["u not measured; Rz5 not measured; dross not graded", "not cut yet"]


def test_one_edge_by_its_figures():
    found = grade_edge(6.0, u_mm=0.12, rz5_um=31.0)
    assert (found.squareness_range, found.roughness_range, found.designation) == (2, 2, "ISO 9013-220")
    assert grade_edge(6.0, 0.12, 31.0, 1, ASKED).meets == "yes"
    assert grade_edge(6.0, 0.12, 31.0, requirement=ASKED).meets == "undecided"


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: grade_coupons(wide(u_mm=[0.1]), ASKED, 6.0), InputError, "column coupon: no column with the coupon"),
        (lambda: grade_coupons(wide(coupon=["K"]), ASKED, 6.0), InputError, "nothing to grade"),
        (lambda: grade_coupons(wide(coupon=["K", None], u_mm=0.1), ASKED, 6.0), InputError, "reading without coupon"),
        (lambda: grade_coupons(wide(coupon=["K"], u_mm=[-0.1]), ASKED, 6.0), InputError, "negative value of coupon K"),
        (
            lambda: grade_coupons(wide(coupon=["K"], u_mm=[np.inf]), ASKED, 6.0),
            NotFinite,
            "u_mm of coupon K is infinite",
        ),
        (
            lambda: grade_coupons(wide(coupon=["K", "L"], u_mm=["0.1", "0,1"]), ASKED, 6.0),
            InputError,
            "column u_mm: not a number on coupon L; found '0,1'",
        ),
        (lambda: grade_coupons(wide(coupon=["K"], dross_grade=[1.5]), ASKED, 6.0), InputError, "not a dross grade"),
        (lambda: grade_coupons(three("K", 0.1, 30.0), ASKED, 6.0, judged_by="best"), InputError, "found 'best'"),
        (
            lambda: grade_coupons(
                three("K", 0.1, 30.0), ASKED, 6.0, cuts=wide(coupon=["K", "K"], outcome=["cut", "cut"])
            ),
            InputError,
            "a coupon was cut twice; found 'K'",
        ),
        (
            lambda: grade_coupons(three("K", 0.1, 30.0), ASKED, 6.0, cuts=wide(coupon=["K"], outcome=["lost"])),
            InputError,
            "unknown outcome of coupon K; found 'lost'; allowed: cut, not_severed, aborted, scrapped",
        ),
        (
            lambda: grade_coupons(wide(coupon=["K", "K"], u_mm=0.1, thickness_mm=[6.0, 8.0]), ASKED),
            InputError,
            "coupon K has two thicknesses",
        ),
    ],
)
def test_bad_tables_give_one_named_line(call, error, message):
    with pytest.raises(error, match=message) as caught:
        call()
    assert "\n" not in str(caught.value)


def test_dross_scale_is_five_steps_in_order():
    assert [step.grade for step in SCALE] == [0, 1, 2, 3, 4]
    assert check_grades([0, 4, np.nan]).tolist()[:2] == [0.0, 4.0]
    with pytest.raises(NotFinite, match="dross grade is infinite"):
        check_grades([np.inf])
    with pytest.raises(InputError, match="found 5.0; allowed: 0 none, 1 loose beads"):
        check_grades([5])
