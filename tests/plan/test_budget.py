"""A budget of coupons: what the variance ratios behind the choice are made of."""

import math

import numpy as np
import pandas as pd
import pytest

from trials.errors import Infeasible, InputError
from trials.plan.choose import make_plan
from trials.plan.kinds import PlanKind
from trials.plan.methods.budget import _ratios, _shares, candidates, coupon_variance
from trials.plan.settings import repeat_setting
from trials.trial import parse

MOUNTS = pd.DataFrame(
    [("M01", "S1", "single", "C1"), ("M02", "S2", "single", "C2"), ("M03", "S1", "double", "D1")],
    columns=["mount", "sheet", "nozzle", "specimen"],
)
FILE = """
[trial]
title = "t"
question = "q"
[application]
material = "S235"
thickness_mm = 8.0
[[nozzles]]
type = "single"
specimens = ["C1", "C2"]
today = true
[[nozzles]]
type = "double"
specimens = ["D1"]
[factors.pressure]
levels = [0.5, 0.7, 0.9]
[plan]
method = "optimal"
coupons = 12
curves = "{curves}"
[responses.roughness]
primary = true
readings = {readings}
worthwhile = "15 %"
[responses.roughness.expected]
level = 30.0
{expected}
"""


def trial_with(expected, readings=4, curves="by type"):
    return parse(FILE.format(expected=expected, readings=readings, curves=curves))


def log(percent):
    return math.log1p(percent / 100.0) ** 2


def test_a_coupon_varies_by_itself_and_by_its_readings():
    assert coupon_variance({"coupon": 9.0, "reading": 8.0, "mount": 100.0}, 4) == 9.0 + 8.0 / 4
    assert coupon_variance({"reading": 8.0}, 2) == 4.0
    assert coupon_variance({"coupon": 9.0}, 4) == 9.0


def test_ratios_are_variances_over_that_of_a_coupons_mean():
    spreads = 'specimen = "8 %"\nmount = "5 %"\nsheet = "4 %"\ncoupon = "10 %"\nreading = "20 %"'
    ratios, assumed = _ratios(trial_with(spreads), MOUNTS)
    coupon = log(10) + log(20) / 4
    assert assumed == []
    assert ratios == pytest.approx({"mount": log(5) / coupon, "specimen": log(8) / coupon, "sheet": log(4) / coupon})


def test_readings_alone_are_a_coupons_spread():
    ratios, assumed = _ratios(trial_with('mount = "5 %"\nreading = "20 %"', readings=2), MOUNTS)
    assert ratios["mount"] == pytest.approx(log(5) / (log(20) / 2))
    # nothing is stated of specimen and sheet: counted as large as a coupon
    assert (ratios["specimen"], ratios["sheet"]) == (1.0, 1.0)
    assert assumed[0].facts == {"unknown": ("specimen", "sheet"), "assumed": ("specimen", "sheet")}


def test_without_a_coupon_spread_everything_is_assumed():
    ratios, assumed = _ratios(trial_with('mount = "5 %"'), MOUNTS)
    assert set(ratios.values()) == {1.0}
    assert assumed[0].facts["unknown"] == ("mount", "specimen", "sheet", "coupon")


def test_a_spread_that_cannot_be_read_is_one_line():
    with pytest.raises(InputError, match="responses.roughness.expected.mount"):
        _ratios(trial_with('mount = "wide"'), MOUNTS)


@pytest.mark.parametrize(("curves", "own"), [("by type", True), ("common", False)])
def test_common_curves_ask_for_one_square(curves, own):
    found = candidates(trial_with('coupon = "10 %"', curves=curves), 12)
    names = [term.name for term in found.model.terms]
    assert ("nozzle x pressure squared" in names) is own and "pressure squared" in names
    assert found.rows.shape[1] == (6 if own else 5)


def test_one_specimen_or_one_sheet_has_no_spread_of_its_own():
    spreads = 'specimen = "8 %"\nmount = "5 %"\nsheet = "4 %"\ncoupon = "10 %"'
    for alone, others in (("specimen", {"mount", "sheet"}), ("sheet", {"mount", "specimen"})):
        ratios, assumed = _ratios(trial_with(spreads), MOUNTS.assign(**{alone: "X1"}))
        assert set(ratios) == others and assumed == []


def test_repeats_lie_nearest_to_todays_setting_where_that_is_not_allowed():
    text = FILE.format(expected="", readings=4, curves="by type")
    text = text.replace("levels = [0.5, 0.7, 0.9]", "levels = [0.5, 0.6, 0.7, 0.8, 0.9]\ntoday = 0.9")
    limits = 'limits = [{ nozzle = "double", factor = "pressure", at_most = 0.85 }]\n'
    asked = parse(text.replace("[plan]\n", f"[plan]\n{limits}"))
    assert repeat_setting(asked, "single") == ({"pressure": 0.9}, True)
    assert repeat_setting(asked, "double") == ({"pressure": 0.8}, False)


def planned(plan):
    spreads = 'coupon = "10 %"\nspecimen = "8 %"\nmount = "5 %"'
    text = FILE.format(expected=spreads, readings=4, curves="by type")
    return make_plan(parse(text.replace("coupons = 12\n", f"seed = 3\n{plan}")))


def of_kind(plan, kind):
    return [found for found in plan.found if found.kind is kind]


@pytest.mark.parametrize(("coupons", "shares"), [(12, [4, 4, 4]), (13, [4, 4, 5]), (14, [4, 5, 5]), (3, [1, 1, 1])])
def test_coupons_are_shared_out_within_one(coupons, shares):
    text = FILE.format(expected="", readings=4, curves="common").replace("coupons = 12", f"coupons = {coupons}")
    found = _shares(parse(text), MOUNTS, np.random.default_rng(1))
    assert sorted(found) == shares
    # the odd ones go round the types: of two, one to each
    if coupons == 14:
        assert found[2] == 5 and sorted(found[:2]) == [4, 5]


def test_a_budget_below_one_coupon_a_mount_is_refused():
    text = FILE.format(expected="", readings=4, curves="common").replace("coupons = 12", "coupons = 5\nrepeats = 1")
    with pytest.raises(Infeasible, match="set it to 6 or more"):
        _shares(parse(text), MOUNTS, np.random.default_rng(1))
    assert (
        _shares(parse(text.replace("coupons = 5", "coupons = 6")), MOUNTS, np.random.default_rng(1)).tolist() == [1] * 3
    )
    with pytest.raises(Infeasible, match="spends a budget"):
        _shares(parse(text.replace("coupons = 5\n", "")), MOUNTS, np.random.default_rng(1))


def test_repeats_stand_at_todays_setting_beside_the_chosen():
    plan = planned("coupons = 15\nrepeats = 2\n")
    sizes = plan.coupons.groupby("mount").size()
    assert sorted(sizes) == [5, 5, 5]
    today = plan.coupons[plan.coupons["pressure"] == 0.7].groupby("mount").size()
    assert (today >= 2).all() and len(today) == 3
    assert of_kind(plan, PlanKind.NO_TRUE_REPEATS) == []


def test_what_a_budget_chose_for_is_said():
    plan = planned("coupons = 12\n")
    (chosen,) = of_kind(plan, PlanKind.CHOSEN_FOR)
    assert (chosen.facts["aim"], chosen.facts["coefficients"]) == ("effects", 6)
    assert chosen.facts["terms"][:2] == ("nozzle", "pressure") and len(chosen.facts["terms"]) == 5
    (unequal,) = of_kind(plan, PlanKind.UNEQUAL_COUPONS)
    assert dict(unequal.facts["coupons"]) == {"single": 8, "double": 4}
    few = planned("coupons = 4\n")
    (dropped,) = of_kind(few, PlanKind.TERMS_NOT_CARRIED)
    # four coupons leave one over beside three columns: the constant, the nozzle and the pressure
    assert set(dropped.facts["terms"]) == {"pressure squared", "nozzle x pressure", "nozzle x pressure squared"}


def test_equal_coupons_and_settings_between_the_levels_are_told():
    text = FILE.replace('specimens = ["D1"]', 'specimens = ["D1", "D2"]').format(
        expected='coupon = "10 %"', readings=4, curves="common"
    )
    limits = 'limits = [{ nozzle = "double", factor = "pressure", at_most = 0.8 }]\n'
    plan = make_plan(parse(text.replace("[plan]\n", f"[plan]\nseed = 3\n{limits}")))
    assert of_kind(plan, PlanKind.UNEQUAL_COUPONS) == []
    between = {p for p in plan.coupons["pressure"] if p not in (0.5, 0.7, 0.9)}
    assert between == {0.8}
    (said,) = of_kind(plan, PlanKind.BETWEEN_LEVELS)
    assert said.facts == {"settings": 1}


def test_progress_of_a_budget_is_told_in_hundredths():
    told = []
    text = FILE.format(expected='coupon = "10 %"', readings=4, curves="common")
    make_plan(parse(text), lambda *at: told.append(at))
    assert told[-1] == (100, 100) and all(0 <= done <= 100 == of for done, of in told)
