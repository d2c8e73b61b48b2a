"""Settings by hand: rounding towards the allowed side, codes, corners, what limits leave out."""

import pytest

from trials.findings import Amount
from trials.plan.kinds import PlanKind
from trials.plan.settings import (
    _corner_points,
    _rounded_inside,
    _three_digits,
    allowed_settings,
    coded,
    left_out,
    limit_corners,
    repeat_setting,
    setting_formula,
)
from trials.trial import Limit, parse

FILE = """
[trial]
title = "t"
question = "q"
[application]
material = "S235"
thickness_mm = 8.0
[[nozzles]]
type = "single"
specimens = 2
today = true
[[nozzles]]
type = "double"
specimens = 2
[factors.pressure]
unit = "bar"
levels = [0.5, 0.7, 0.9]
today = {today}
[factors.standoff]
unit = "mm"
levels = [0.6, 1.0, 1.4]
today = 1.4
[factors.lens]
levels = ["new", "old"]
[factors.focus]
unit = "mm"
levels = [4.0]
[plan]
limits = [{limits}]
[responses.roughness]
primary = true
worthwhile = "15 %"
"""


def trial_with(limits="", today=0.9):
    return parse(FILE.format(limits=limits, today=today))


@pytest.mark.parametrize(
    ("value", "down", "up"),
    [
        (0.45678, 0.456, 0.457),
        (1234.5, 1230.0, 1240.0),
        (-0.45678, -0.457, -0.456),
        (0.5, 0.5, 0.5),
        (10.0, 10.0, 10.0),
        (0.3 - 1e-13, 0.3, 0.3),  # rounding of the computer, not of the setting
        (0.0, 0.0, 0.0),
    ],
)
def test_three_digits_towards_either_side(value, down, up):
    assert (_three_digits(value, -1), _three_digits(value, 1)) == (down, up)


def test_codes_run_from_minus_one_to_one():
    trial = trial_with()
    middle = {"pressure": 0.7, "standoff": 0.6, "lens": "new", "focus": 4.0}
    assert coded(trial, middle) == pytest.approx({"pressure": 0.0, "standoff": -1.0, "lens": 0.0, "focus": 0.0})
    other = {"pressure": 0.8, "standoff": 1.4, "lens": "old", "focus": 4.0}
    assert coded(trial, other) == pytest.approx({"pressure": 0.5, "standoff": 1.0, "lens": 1.0, "focus": 0.0})


def test_repeats_lie_nearest_over_all_factors_together():
    """Today 0.9 bar and 1.4 mm is not allowed: a step of pressure and one of standoff are both half of the span."""
    both = "product_at_most = 0.95"  # 0.9 x 1.4 = 1.26 and 0.7 x 1.4 = 0.98 are not, 0.9 x 1.0 is
    trial = trial_with(f'{{ factors = ["pressure", "standoff"], {both} }}')
    assert repeat_setting(trial, "single") == ({"pressure": 0.9, "standoff": 1.0, "lens": "new", "focus": 4.0}, False)
    low = trial_with('{ factors = ["pressure", "standoff"], product_at_most = 0.72 }')
    # 0.5 x 1.4 = 0.70 lies 2 from today, 0.7 x 1.0 = 0.70 lies sqrt(2) and keeps both factors near
    assert repeat_setting(low, "single")[0] == {"pressure": 0.7, "standoff": 1.0, "lens": "new", "focus": 4.0}


def test_what_a_limit_leaves_out_is_counted_by_type_and_limit():
    trial = trial_with('{ nozzle = "double", factor = "pressure", at_most = 0.7 }')
    (found,) = left_out(trial)
    assert (found.kind, found.about.nozzle) == (PlanKind.SETTINGS_LEFT_OUT, "double")
    # one of three pressures in 3 x 3 x 2 crossings
    assert (found.facts["count"], found.facts["of"]) == (6, 18)
    assert found.facts["settings"] == ((("pressure", Amount(0.9, "bar")),),)
    assert (found.facts["at_most"], found.facts["limit_nozzle"]) == (0.7, "double")
    assert len(allowed_settings(trial, "double")) == 12 and len(allowed_settings(trial, "single")) == 18


def test_a_corner_lies_on_the_limit_and_within_the_levels():
    """Product at most 0.8: on each line the factor is moved to the limit; 0.8 / 0.5 = 1.6 lies beyond the levels."""
    limit = Limit(factors=("pressure", "standoff"), product_at_most=0.8)
    numbers = {"pressure": (0.5, 0.7, 0.9), "standoff": (0.6, 1.0, 1.4)}
    found = {(round(p["pressure"], 6), round(p["standoff"], 6)) for p in _corner_points(numbers, "single", [limit])}
    by_hand = {(0.8, 1.0), (0.9, 0.888889), (0.571429, 1.4), (0.7, 1.142857)}
    assert found == by_hand


def test_a_corner_on_the_end_of_the_levels_counts():
    """0.84 / 1.4 = 0.6 is the lowest pressure here: a point on the edge of what is planned is one of it."""
    limit = Limit(factors=("pressure", "standoff"), product_at_most=0.84)
    numbers = {"pressure": (0.6, 0.9), "standoff": (1.0, 1.4)}
    found = {(round(p["pressure"], 6), round(p["standoff"], 6)) for p in _corner_points(numbers, "single", [limit])}
    assert found == {(0.84, 1.0), (0.6, 1.4)}


def test_two_limits_meet_in_a_corner():
    """At most 0.8 bar and a product of at most 0.96: they cross at 0.8 bar and 1.2 mm."""
    limits = [Limit(factor="pressure", at_most=0.8), Limit(factors=("pressure", "standoff"), product_at_most=0.96)]
    numbers = {"pressure": (0.5, 0.9), "standoff": (0.6, 1.4)}
    found = {(round(p["pressure"], 6), round(p["standoff"], 6)) for p in _corner_points(numbers, "single", limits)}
    assert (0.8, 1.2) in found and (0.685714, 1.4) in found and (0.8, 0.6) in found
    assert all(p * s <= 0.96 + 1e-6 and p <= 0.8 for p, s in found)


def test_corners_are_rounded_inwards_once_for_each_word():
    trial = trial_with('{ factors = ["pressure", "standoff"], product_at_most = 0.8 }')
    found = limit_corners(trial, "single")
    points = {(s["pressure"], s["standoff"]) for s in found}
    assert points == {(0.8, 1.0), (0.9, 0.888), (0.571, 1.4), (0.7, 1.14)}
    assert len(found) == 8 and {s["lens"] for s in found} == {"new", "old"}
    assert limit_corners(trial_with(), "single") == []
    other = trial_with('{ nozzle = "double", factor = "pressure", at_most = 0.8 }')
    assert limit_corners(other, "single") == [] and {s["pressure"] for s in limit_corners(other, "double")} == {0.8}


def test_a_setting_in_signs():
    trial = trial_with()
    assert setting_formula(trial, {"pressure": 0.7, "lens": "new"}) == "pressure 0.7 bar, lens new"


def test_a_value_is_rounded_to_within_the_levels():
    """0.50049 is the lowest level: the point just above it goes up to 0.501, not down to 0.5."""
    trial = parse(FILE.format(limits="", today=0.9).replace("levels = [0.5, 0.7, 0.9]", "levels = [0.50049, 0.7, 0.9]"))
    words = {"lens": "new"}
    point = {"pressure": 0.500495, "standoff": 1.0, "focus": 4.0}
    assert _rounded_inside(trial, "single", point, words)["pressure"] == 0.501
    assert _rounded_inside(trial, "single", point | {"pressure": 0.61234}, words)["pressure"] == 0.612
