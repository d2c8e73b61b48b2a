"""A budget of coupons: what the variance ratios behind the choice are made of."""

import math

import pandas as pd
import pytest

from trials.errors import InputError
from trials.plan.methods.budget import _ratios, candidates, coupon_variance
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
