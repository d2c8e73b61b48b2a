"""What an extension brings, reckoned by hand."""

import pandas as pd
import pytest
from tests_support import SMALL_TEXT

from trials.plan.assess.gain import gain_of_axial_points, gain_of_confirmation, gain_of_repeats, mean_variance
from trials.plan.kinds import PlanKind
from trials.trial import parse


def coupons(*rows):
    """Coupons as (nozzle, specimen, mount, pressure)."""
    return pd.DataFrame(rows, columns=["nozzle", "specimen", "mount", "pressure_bar"])


ONE = [("cylindrical", "C1", "M1", 0.7), ("cylindrical", "C2", "M2", 0.7)]
OTHER = [("double", f"D{i}", f"N{i}", 0.7) for i in (1, 2, 3)]


def test_the_variance_of_a_mean_is_that_of_its_specimens_mounts_and_coupons():
    spreads = {"specimen": 0.2, "mount": 0.1, "coupon": 0.3, "reading": 0.4}
    # two specimens, two mounts, two coupons of four readings each
    assert mean_variance(coupons(*ONE), spreads, 4) == pytest.approx((0.02 + 0.005 + (0.09 + 0.04) / 2, 0.02))
    # of one specimen the statement is about that piece
    assert mean_variance(coupons(*ONE[:1]), spreads, 4) == pytest.approx((0.01 + 0.09 + 0.04, 0.0))


def test_repeats_sharpen_the_mean_of_their_own_type():
    """Both mounts of one type are cut once more: its coupons double, its specimens stay; the other type gets none."""
    (found,) = gain_of_repeats(parse(SMALL_TEXT), coupons(*ONE, *OTHER), coupons(*ONE))
    piece, coupon = 0.08**2 / 2, 0.10**2 + 0.07**2 / 3
    now = piece + coupon / 4
    (fall,) = found.facts["falls"]
    # spreads in per cent stand on the log scale to a few parts in a thousand
    assert fall == ("cylindrical", pytest.approx(1 - (now / (piece + coupon / 2)) ** 0.5, rel=0.01))
    assert found.facts["specimens_share"] == pytest.approx(piece / now, rel=0.01)


def test_a_third_setting_bends_a_line_and_more_of_them_sharpen_it():
    trial = parse(SMALL_TEXT)
    two = coupons(("double", "D1", "N1", 0.5), ("double", "D1", "N1", 0.9))
    three = coupons(("double", "D1", "N1", 0.7))
    assert [f.kind for f in gain_of_axial_points(trial, two, three)] == [PlanKind.GAIN_CURVATURE_NEW]
    again = gain_of_axial_points(trial, pd.concat([two, three]), three)
    assert [f.kind for f in again] == [PlanKind.GAIN_CURVATURE_SHARPER]
    assert gain_of_axial_points(trial, two, two) == []


def test_a_confirmation_is_worth_its_fewest_coupons():
    (found,) = gain_of_confirmation(coupons(*ONE, *OTHER))
    # all of two met: 0.05 ** (1 / 2)
    assert found.facts == {"coupons": 2, "chance": pytest.approx(0.05**0.5)}
