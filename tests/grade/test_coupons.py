"""From readings to one row per coupon."""

import numpy as np
import pandas as pd
import pytest

from trials.errors import InputError, NotFinite
from trials.findings import About, Amount, Finding
from trials.grade.conformity import Uncertainty
from trials.grade.coupons import GRADE_COLUMNS, grade_coupons, grade_edge
from trials.grade.dross import SCALE, check_grades
from trials.grade.kinds import GradeKind as K
from trials.grade.reasons import counted
from trials.trial import Requirement

ASKED = Requirement(squareness_range=2, roughness_range=2, dross_grade=1)
# limits at 6 mm: u 0.192 mm, Rz5 44.8 um


def wide(**columns):
    return pd.DataFrame(columns)


def told(reasons):
    """Kinds with the item they are about, as `over_the_limit squareness`."""
    return [f"{reason.kind} {reason.about.response}".strip() for reason in reasons]


def three(coupon, u, rz5, dross=0.0):
    """Three readings of one coupon; the worst come last."""
    return wide(
        coupon=[coupon] * 3, u_mm=[0.05, 0.06, u], rz5_um=[20.0, 21.0, rz5], dross_grade=[dross, np.nan, np.nan]
    )


OVER_U, OVER_RZ5, NEAR_U = "over_the_limit squareness", "over_the_limit roughness", "too_near_the_limit squareness"


@pytest.mark.parametrize(
    ("u", "rz5", "dross", "doubt", "meets", "reasons"),
    [
        (0.192, 44.8, 1, {}, "yes", ["all_inside"]),
        (0.193, 30.0, 1, {}, "no", [OVER_U]),
        (0.19, 45.0, 1, {}, "no", [OVER_RZ5]),
        (0.1, 30.0, 2, {}, "no", ["over_the_limit dross"]),
        (0.19, 30.0, 0, {"u_mm": 0.02}, "undecided", [NEAR_U]),
        (0.19, 50.0, 0, {"u_mm": 0.02}, "no", [NEAR_U, OVER_RZ5]),
        (2.0, 30.0, 0, {}, "no", ["worse_than_the_last_range squareness", OVER_U]),
        (0.1, 200.0, 0, {}, "no", ["worse_than_the_last_range roughness", OVER_RZ5]),
        (np.nan, 30.0, 0, {}, "yes", ["few_readings squareness"]),
        (0.1, np.nan, 0, {}, "yes", ["all_inside"]),  # one reading of Rz5 is usual
        (0.1, 30.0, np.nan, {}, "undecided", ["not_measured dross"]),
    ],
)
def test_one_coupon(u, rz5, dross, doubt, meets, reasons):
    row = grade_coupons(three("K", u, rz5, dross), ASKED, 6.0, uncertainty=doubt).iloc[0]
    assert row["meets"] == meets
    assert told(row["reasons"]) == reasons


def test_reasons_carry_the_figures_they_rest_on():
    row = grade_coupons(wide(coupon=["K"], u_mm=[9.0], rz5_um=[900.0]), ASKED, 40.0).iloc[0]
    facts = {f"{r.kind} {r.about.response}".strip(): dict(r.facts) for r in row["reasons"]}
    assert facts["thickness_out_of_scope"] == {"low": Amount(0.5, "mm"), "high": Amount(32.0, "mm")}
    assert facts["worse_than_the_last_range squareness"] == {"last": 5}
    assert facts["worse_than_the_last_range roughness"] == {"last": 4}
    assert facts["few_readings squareness"] == {"usual": 3}


def test_missing_required_response_is_undecided():
    row = grade_coupons(wide(coupon=["K"], u_mm=[0.1]), ASKED, 6.0).iloc[0]
    assert (row["meets"], row["roughness_range"], row["designation"].code) == ("undecided", -1, "ISO 9013-200")
    assert told(row["reasons"]) == ["not_measured roughness", "not_measured dross", "few_readings squareness"]


def test_outcomes():
    marks = ["A", "B", "C", "D", "E", "F"]
    readings = pd.concat([three(mark, 0.1, 30.0) for mark in "ABCDF"])
    cuts = wide(coupon=["A", "B", "C", "D", "F"], outcome=["cut", "not_severed", "aborted", "scrapped", "not_cut"])
    table = grade_coupons(readings, ASKED, 6.0, cuts=cuts, coupons=marks).set_index("coupon")
    assert table["meets"].tolist() == ["yes", "no", "no", "undecided", "undecided", "undecided"]
    assert [told(reasons) for reasons in table["reasons"]] == [
        ["all_inside"],
        ["not_severed"],
        ["aborted"],
        ["scrapped"],
        ["not_cut_yet"],
        ["not_cut"],
    ]
    for column in ("squareness_range", "roughness_range"):
        assert table[column].tolist() == [2, -1, -1, -1, -1, -1]
    found = table["designation"].tolist()
    assert found[0].code == "ISO 9013-220"
    assert [(one.code, told(one.lacking)) for one in found[1:]] == [("", ["no_edge"])] * 5
    assert table["dross_grade"].isna().tolist() == [False, True, True, True, True, True]


def test_without_a_requirement_nothing_is_met_or_missed():
    cuts = wide(coupon=["A", "B"], outcome=["cut", "aborted"])
    table = grade_coupons(three("A", 0.1, 30.0), None, 6.0, cuts=cuts)
    assert table["meets"].tolist() == ["undecided", "undecided"]
    assert [told(reasons) for reasons in table["reasons"]] == [["no_requirement"], ["aborted"]]


def test_a_reading_of_nothing_is_the_best_there_is():
    row = grade_coupons(wide(coupon=["K"] * 3, u_mm=0.0, rz5_um=0.0, dross_grade=0), ASKED, 6.0).iloc[0]
    assert (row["squareness_range"], row["roughness_range"], row["meets"]) == (1, 1, "yes")


def test_each_item_is_judged_only_where_it_is_required():
    readings = wide(coupon=["K"] * 3, u_mm=9.0, rz5_um=900.0, dross_grade=4)
    for asked, reason in (
        (Requirement(squareness_range=5), OVER_U),
        (Requirement(roughness_range=4), OVER_RZ5),
        (Requirement(dross_grade=3), "over_the_limit dross"),
    ):
        row = grade_coupons(readings, asked, 6.0).iloc[0]
        assert row["meets"] == "no"
        assert [told_ for told_ in told(row["reasons"]) if told_.startswith("over")] == [reason]


def test_the_worst_reading_is_judged_with_the_whole_repeatability():
    """One reading: nothing averages out, however many were taken. Limit 0.192, U 0.02: the guard band is 0.016449."""
    doubt = {"u_mm": Uncertainty(0.02, repeatability_sd=0.01)}
    for worst, meets in ((0.1755, "yes"), (0.1756, "undecided"), (0.2084, "undecided"), (0.2085, "no")):
        readings = wide(coupon=["K"] * 9, u_mm=[0.01] * 8 + [worst], rz5_um=30.0, dross_grade=0)
        assert grade_coupons(readings, ASKED, 6.0, uncertainty=doubt).iloc[0]["meets"] == meets, worst


def test_the_mean_is_judged_with_the_repeatability_over_the_number_of_readings():
    """U 0.02 with 0.008 of it, four readings: u_c = sqrt(0.006^2 + 0.008^2 / 4) = 0.0072111, guard band 0.011861."""
    doubt = {"u_mm": Uncertainty(0.02, repeatability_sd=0.008)}
    for mean, meets in ((0.1801, "yes"), (0.1802, "undecided"), (0.2038, "undecided"), (0.2039, "no")):
        away = np.array([-0.03, -0.01, 0.01, 0.03])
        readings = wide(coupon=["K"] * 4, u_mm=mean + away, rz5_um=30.0, dross_grade=0)
        row = grade_coupons(readings, ASKED, 6.0, judged_by="mean", uncertainty=doubt).iloc[0]
        assert (round(row["u_mm"], 9), row["meets"]) == (mean, meets)


def test_each_item_has_its_own_uncertainty_and_count():
    """Rz5 limit 44.8, U 4: one reading leaves 3.2897; the u readings beside it, nine, must not count for it."""
    doubt = {"rz5_um": Uncertainty(4.0, repeatability_sd=2.0)}
    rz5 = [41.6] + [np.nan] * 8
    readings = wide(coupon=["K"] * 9, u_mm=0.1, rz5_um=rz5, dross_grade=0)
    row = grade_coupons(readings, ASKED, 6.0, judged_by="mean", uncertainty=doubt).iloc[0]
    assert (row["meets"], row["n_u"], row["n_rz5"]) == ("undecided", 9, 1)
    more = grade_coupons(readings.assign(rz5_um=41.6), ASKED, 6.0, judged_by="mean", uncertainty=doubt).iloc[0]
    assert more["meets"] == "yes"


def test_confidence_and_rule_reach_the_decision():
    doubt = {"u_mm": 0.02}
    edge = three("K", 0.178, 30.0)  # 0.014 below the limit: 1.4 standard uncertainties
    assert grade_coupons(edge, ASKED, 6.0, uncertainty=doubt).iloc[0]["meets"] == "undecided"
    assert grade_coupons(edge, ASKED, 6.0, uncertainty=doubt, confidence=0.9).iloc[0]["meets"] == "yes"
    above = three("K", 0.193, 30.0)
    assert grade_coupons(above, ASKED, 6.0, uncertainty=doubt).iloc[0]["meets"] == "undecided"
    assert grade_coupons(above, ASKED, 6.0, uncertainty=doubt, rule="simple acceptance").iloc[0]["meets"] == "no"


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
    assert told(row["reasons"]) == ["few_readings squareness", "no_requirement"]


def test_thickness_by_coupon_in_the_readings_and_out_of_scope():
    readings = wide(coupon=["A", "B", "C"], thickness_mm=[6.0, 40.0, np.nan], u_mm=[0.1, 0.1, 0.1])
    table = grade_coupons(readings, Requirement(squareness_range=2)).set_index("coupon")
    assert table["squareness_range"].tolist() == [2, 1, -1]
    assert table.loc["B", "designation"].code == ""
    assert told(table.loc["B", "designation"].lacking) == ["thickness_out_of_scope"]
    assert [told(reasons) for reasons in table["reasons"]] == [
        ["few_readings squareness"],
        ["thickness_out_of_scope", "few_readings squareness"],
        ["no_thickness", "few_readings squareness"],
    ]
    assert table["meets"].tolist() == ["yes", "yes", "undecided"]


def test_nothing_measured_yet():
    nothing = wide(coupon=[], response=[], value=[], repeat=[])
    assert grade_coupons(nothing, ASKED, 6.0).shape == (0, len(GRADE_COLUMNS))
    table = grade_coupons(nothing, ASKED, 6.0, cuts=wide(coupon=["A"], outcome=["cut"]), coupons=["A", "B"])
    assert table["meets"].tolist() == ["undecided", "undecided"]
    missing = ["not_measured squareness", "not_measured roughness", "not_measured dross"]
    assert [told(reasons) for reasons in table["reasons"]] == [missing, ["not_cut_yet"]]


def test_a_designation_says_why_there_is_none():
    """Every outcome and kind of missing reading, with the thickness inside the scope (6 mm) and outside (40 mm)."""
    readings = three("K", 0.1, 30.0)
    cuts = pd.DataFrame({"coupon": ["K", "E", "N"], "outcome": ["cut", "cut", "not_severed"]})
    for thickness, whole in ((6.0, ("ISO 9013-220", [])), (40.0, ("", ["thickness_out_of_scope"]))):
        rows = grade_coupons(readings, ASKED, thickness, cuts=cuts).set_index("coupon")["designation"]
        found = {mark: (each.code, told(each.lacking)) for mark, each in rows.items()}
        assert found == {"K": whole, "E": ("", ["nothing_graded"]), "N": ("", ["no_edge"])}


def test_one_edge_by_its_figures():
    found = grade_edge(6.0, u_mm=0.12, rz5_um=31.0)
    assert (found.squareness_range, found.roughness_range, found.designation.code) == (2, 2, "ISO 9013-220")
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
            lambda: grade_coupons(wide(coupon=["K", "L", "M"], rz5_um=[0.5, -2.0, 4.0]), ASKED, 6.0),
            InputError,
            "column rz5_um: negative value of coupon L; found -2.0",
        ),
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
            "unknown outcome of coupon K; found 'lost'; allowed: cut, not_severed, aborted, scrapped, not_cut",
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
    with pytest.raises(InputError, match="found 5.0; allowed: 0 no dross, 1 loose beads"):
        check_grades([5])


def test_equal_sets_of_reasons_are_counted_the_most_frequent_first():
    over, near = Finding(K.OVER_LIMIT, About(response="roughness")), Finding(K.NEAR_LIMIT, About(response="roughness"))
    elsewhere = Finding(K.OVER_LIMIT, About(response="squareness"))
    sets = [(over,), (near, over), (elsewhere,), (near, over), (elsewhere,), (near, over)]
    assert counted(sets) == [((near, over), 3), ((elsewhere,), 2), ((over,), 1)]


@pytest.mark.parametrize(
    ("values", "beyond", "judged_by", "answer"),
    [
        ([40.0, 100.0], ["", "above"], "worst", "no"),  # the bound itself is over the limit of 49.6 um at 12 mm
        ([40.0, 45.0], ["", "above"], "worst", "undecided"),  # it may be anything above 45
        ([40.0, 2.0], ["", "below"], "worst", "yes"),  # not the worst, so it decides nothing
        ([60.0, 2.0], ["", "below"], "worst", "no"),
        ([60.0, 55.0], ["below", ""], "worst", "undecided"),
        ([60.0, 42.0], ["", "below"], "mean", "undecided"),  # no worst, but it may bring the mean down
        ([48.0, 60.0], ["", "below"], "mean", "undecided"),
        ([48.0, 42.0], ["", "below"], "mean", "yes"),
        ([48.0, 60.0], ["", ""], "mean", "no"),
    ],
)
def test_a_bound_of_the_instrument_leaves_open_what_it_could_turn(values, beyond, judged_by, answer):
    readings = pd.DataFrame({"coupon": ["K"] * 2, "rz5_um": values, "beyond": beyond})
    graded = grade_coupons(readings, Requirement(roughness_range=2), 12.0, judged_by=judged_by).iloc[0]
    assert graded["meets"] == answer
    kinds = [reason.kind for reason in graded["reasons"]]
    assert (K.BEYOND_RANGE in kinds) == (answer == "undecided") and K.NEAR_LIMIT not in kinds
