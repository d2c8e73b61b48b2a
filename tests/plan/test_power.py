"""Power of balanced plans: published-style figures, limits and refusals."""

import numpy as np
import pytest

from trials.errors import NotFinite, NotIdentifiable, WrongArgument
from trials.plan.power import (
    Balanced,
    Part,
    Pattern,
    chance_f,
    curve,
    detectable_balanced,
    next_steps,
    pattern_means,
)
from trials.words.plan_chances import next_hour_words

ONE_SHEET = Balanced(types=4, specimens=3, coupons=6, readings=6)
UM = {"specimen": 4.0, "coupon": 3.0, "reading": 2.0}


@pytest.mark.parametrize(
    ("layout", "pattern", "printed", "tolerance"),
    [
        # printed to 0.1 % or 1 %: half a unit of the last digit
        (ONE_SHEET, Pattern.LEAST_FAVOURABLE, 0.311, 5e-4),
        (ONE_SHEET, Pattern.TYPICAL, 0.57, 5e-3),
        (Balanced(4, 3, coupons=6, readings=60), Pattern.LEAST_FAVOURABLE, 0.312, 5e-4),
        (Balanced(4, 6, coupons=3, readings=6), Pattern.LEAST_FAVOURABLE, 0.67, 5e-3),
        (Balanced(4, 3, coupons=6, readings=6, sheets=3), Pattern.LEAST_FAVOURABLE, 0.27, 5e-3),
    ],
)
def test_eight_um_are_seen_with_the_printed_chance(layout, pattern, printed, tolerance):
    low, high = (detectable_balanced(layout, UM, pattern, printed + way * tolerance) for way in (-1, 1))
    assert low <= 8.0 <= high


def test_noncentrality_by_hand():
    # two of four means at +-4: sum of squares 32; variance of a mean 16/3 + 9/18 + 4/108 = 5.87037; 32/5.87037 = 5.4511
    assert np.sum((8.0 * pattern_means(4)) ** 2) == pytest.approx(32.0, rel=1e-12)
    assert ONE_SHEET.variance_of_mean(UM) == pytest.approx(16 / 3 + 9 / 18 + 4 / 108, rel=1e-12)


@pytest.mark.parametrize(
    ("layout", "df"),
    [
        (ONE_SHEET, 8),
        (Balanced(4, 3, sheets=3), 6),
        (Balanced(4, 3, mounts=2, sheets=2), 8),
        (Balanced(2, 1, mounts=4), 6),
    ],
)
def test_degrees_of_freedom(layout, df):
    assert layout.df == df


@pytest.mark.parametrize("pattern", [Pattern.LEAST_FAVOURABLE, Pattern.TYPICAL])
def test_detectable_is_where_the_chance_is_eighty_percent(pattern):
    found = detectable_balanced(ONE_SHEET, UM, pattern)
    noncentrality = np.sum((found * pattern_means(4, pattern)) ** 2) / ONE_SHEET.variance_of_mean(UM)
    assert chance_f(noncentrality, 3, ONE_SHEET.df) == pytest.approx(0.8, abs=1e-8)


def test_no_difference_is_found_as_often_as_the_level_says():
    assert chance_f(0.0, 3, ONE_SHEET.df) == pytest.approx(0.05, abs=1e-12)


def test_without_any_spread_nothing_is_too_small_to_see():
    assert detectable_balanced(ONE_SHEET, {}) == 0.0


def test_detectable_scales_with_the_unit():
    doubled = {source: 2.0 * sd for source, sd in UM.items()}
    assert detectable_balanced(ONE_SHEET, doubled) == pytest.approx(2.0 * detectable_balanced(ONE_SHEET, UM), rel=1e-9)


def test_curve_falls_with_every_count_and_holds_the_plan():
    table = curve(ONE_SHEET, UM)
    for _, rows in table.groupby("varied"):
        assert rows["planned"].sum() == 1
        assert np.all(np.diff(rows.sort_values("count")["detectable"]) < 0)
    shared = table[table["varied"] == Part.SPREAD_OUT]
    assert set(shared["coupons"]) == {ONE_SHEET.n_coupons}


def test_the_next_hour_pays_in_specimens_not_readings():
    steps = next_steps(ONE_SHEET, UM)
    assert steps[0].more is Part.SPECIMENS and steps[-1].more is Part.READINGS
    said = next_hour_words(steps)
    assert said.startswith("The next hour pays best in more specimens: one more specimen of each")
    # every way to spend it is named
    ways = ("specimen of each type", "mount of each specimen", "coupon in each mount", "reading on each coupon")
    assert all(f"one more {way} (" in said for way in ways)


def test_with_one_specimen_the_mounts_are_the_yardstick():
    layout = Balanced(2, 1, mounts=4, coupons=5)
    # the specimen spread plays no part: these two nozzles, not these two types
    assert layout.variance_of_mean({"specimen": 9.0, "mount": 2.0, "coupon": 1.0}) == pytest.approx(4 / 4 + 1 / 20)


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: detectable_balanced(Balanced(2, 1), UM), NotIdentifiable, "add specimens or mounts"),
        (lambda: detectable_balanced(ONE_SHEET, {"specimen": np.nan}), NotFinite, "spread of specimen"),
        (lambda: detectable_balanced(ONE_SHEET, {"coupon": -1.0}), WrongArgument, "zero or more"),
        (lambda: detectable_balanced(ONE_SHEET, {"day": 1.0}), WrongArgument, "'day' is unknown"),
        (lambda: detectable_balanced(ONE_SHEET, UM, "spread out"), WrongArgument, "pattern 'spread out' is unknown"),
        (lambda: detectable_balanced(ONE_SHEET, UM, chance=0.01), WrongArgument, "level < chance < 1"),
        (lambda: Balanced(1, 3), WrongArgument, "types is 1"),
        (lambda: Balanced(4, 2.5), WrongArgument, "specimens is 2.5"),
    ],
)
def test_refusals(call, error, message):
    with pytest.raises(error, match=message):
        call()
