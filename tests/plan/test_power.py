"""Power of balanced plans: published-style figures, limits and refusals."""

import numpy as np
import pytest

from trials.errors import NotFinite, NotIdentifiable, WrongArgument
from trials.plan.power import (
    Balanced,
    Counts,
    Minutes,
    Part,
    Pattern,
    Simulation,
    chance_f,
    curve,
    detectable_balanced,
    next_steps,
    pattern_means,
)
from trials.plan.settling.request import Candidate, Goal, If
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


def test_one_more_of_each_by_hand():
    """Minutes of what is added alone; the fall of what is detectable, over hours of that work."""
    plan, minutes = Balanced(types=2, specimens=3, mounts=1, coupons=4, readings=2), Minutes(10.0, 3.0, 5.0)
    assert minutes.of(plan) == 6 * 10 + 24 * (3 + 2 * 5)
    found = {step.more: step for step in next_steps(plan, UM, minutes)}
    added = {
        Part.SPECIMENS: 2 * 10 + 8 * 13,
        Part.MOUNTS: 6 * 10 + 24 * 13,
        Part.COUPONS: 6 * 13,
        Part.READINGS: 24 * 5,
    }
    assert {part: step.minutes for part, step in found.items()} == added
    now = detectable_balanced(plan, UM)
    more = {
        Part.SPECIMENS: Balanced(2, 4, 1, 4, 2),
        Part.MOUNTS: Balanced(2, 3, 2, 4, 2),
        Part.COUPONS: Balanced(2, 3, 1, 5, 2),
        Part.READINGS: Balanced(2, 3, 1, 4, 3),
    }
    for part, step in found.items():
        after = detectable_balanced(more[part], UM)
        assert (step.detectable, step.less) == pytest.approx((after, 1 - after / now))
        assert step.gain_per_hour == pytest.approx((1 - after / now) / (added[part] / 60))
    gains = [step.gain_per_hour for step in next_steps(plan, UM, minutes)]
    assert gains == sorted(gains, reverse=True)
    assert all(step.less == 0.0 for step in next_steps(plan, {}, minutes))  # no spread: nothing is gained


def test_a_curve_holds_each_plan_with_its_own_numbers():
    plan = Balanced(types=2, specimens=3, mounts=1, coupons=4, readings=2)
    table = curve(plan, UM)
    for part, count, changed in (
        (Part.SPECIMENS, 8, Balanced(2, 8, 1, 4, 2)),
        (Part.COUPONS, 16, Balanced(2, 3, 1, 16, 2)),
        (Part.SPREAD_OUT, 12, Balanced(2, 12, 1, 1, 2)),
        (Part.SPREAD_OUT, 6, Balanced(2, 6, 1, 2, 2)),
    ):
        (row,) = table[(table["varied"] == part.value) & (table["count"] == count)].to_dict("records")
        assert row["detectable"] == pytest.approx(detectable_balanced(changed, UM))
        assert (row["coupons"], row["readings"], row["df"]) == (changed.n_coupons, 2 * changed.n_coupons, changed.df)
    # the plan itself stands on each line once, and counts that leave nothing to test by on none
    assert table.groupby("varied")["planned"].sum().to_dict() == dict.fromkeys(table["varied"].unique(), 1)
    assert 1 not in set(table[table["varied"] == Part.SPECIMENS.value]["count"]) and table["df"].min() >= 1
    spread = table[table["varied"] == Part.SPREAD_OUT.value]["count"].tolist()
    assert spread == [2, 3, 4, 6, 12]  # what divides twelve coupons of a type, less one specimen
    drawn = table[table["varied"] == Part.MOUNTS.value]["count"].tolist()
    assert drawn == [1, 2, 3, 4, 6, 8, 12, 16]
    on_two = curve(Balanced(2, 4, 1, 3, 1, sheets=2), UM)
    assert on_two[on_two["varied"] == Part.SPREAD_OUT.value]["count"].tolist() == [2, 4, 6, 12]  # whole sheets


@pytest.mark.parametrize("plan", [Balanced(2, 2), Balanced(2, 1, mounts=2), Balanced(3, 2, sheets=3)])
def test_one_degree_of_freedom_is_the_least(plan):
    if plan.types == 3:
        assert plan.df == 1
    assert detectable_balanced(plan, UM) > 0
    with pytest.raises(NotIdentifiable):
        detectable_balanced(Balanced(2, 2, sheets=3), UM)


def test_the_chance_of_the_f_test_at_any_level():
    """Noncentral F by scipy's own distribution."""
    from scipy import stats

    from trials.plan.power.balanced import noncentrality_needed

    for nc, df, den, alpha in ((3.0, 2, 9.0, 0.05), (8.0, 1, 4.5, 0.01)):
        by_scipy = stats.ncf.sf(stats.f.isf(alpha, df, den), df, den, nc)
        assert chance_f(nc, df, den, alpha) == pytest.approx(by_scipy, rel=1e-8)
    assert chance_f(0.0, 3, 7.0, 0.02) == 0.02
    low = noncentrality_needed(2, 9.0, 0.06, 0.05)
    assert 0 < low < 1 and stats.ncf.sf(stats.f.isf(0.05, 2, 9.0), 2, 9.0, low) == pytest.approx(0.06, abs=1e-7)
    needed = noncentrality_needed(2, 9.0, 0.9, 0.01)
    assert stats.ncf.sf(stats.f.isf(0.01, 2, 9.0), 2, 9.0, needed) == pytest.approx(0.9, abs=1e-7)


@pytest.mark.parametrize("counts", [{"sheets": 0}, {"mounts": 0}, {"coupons": 0}, {"readings": 0}, {"specimens": 0}])
def test_a_count_below_one_is_refused(counts):
    with pytest.raises(WrongArgument, match=next(iter(counts))):
        Balanced(**({"types": 2, "specimens": 3} | counts))
    Balanced(2, 1, 1, 1, 1, 1)


def test_what_is_not_said_counts_once():
    """One mount of a specimen, one coupon, one reading, one sheet; trials tested at 5 %."""
    assert Balanced(2, 3) == Balanced(2, 3, mounts=1, coupons=1, readings=1, sheets=1)
    assert Counts(2, 3) == Counts(2, 3, 1, 1.0, 1, 1, None, 0, 1.0)
    assert Candidate((3, 3)) == Candidate((3, 3), 1, 1, 0, 1, 1)
    assert (Simulation().trials, Simulation().alpha, Minutes()) == (4000, 0.05, Minutes(12.0, 3.0, 4.0))
    assert Goal() == Goal(0.8, If.BOTH, False, None, None)
