"""Each check by itself: the numbers it gives back, when it stays silent, and what it says where it cannot be made."""

import math

import numpy as np
import pytest
from tests_support import TRIAL_TEXT

from trials.decide import checking
from trials.decide.kinds import StudyKind
from trials.decide.prepare import prepare
from trials.decide.response import fit_response, study_response
from trials.findings import Amount, Weight
from trials.infer.answer import levels
from trials.infer.checks import BoxCox
from trials.trial import parse

EXACT = 1e-6  # a shift along a column of the model moves its coefficient alone; the optimiser stops at 1e-10


def study(table, allowed):
    trial = parse(TRIAL_TEXT)
    kinds = dict.fromkeys(("cylindrical", "double"), allowed)
    return study_response(trial, fit_response(trial, "roughness", table), kinds, levels(1))


def ready_of(trial, table, name="roughness"):
    """The response made ready, and its fit."""
    ready = prepare(trial, name, table)
    return ready, ready.design.fit(ready.y)


def log_of(amount):
    """The change on the log scale behind an amount in per cent."""
    return math.log1p(amount.value / 100.0)


@pytest.mark.parametrize("seed", range(3))
def test_two_coupons_per_mount_get_an_answer(make_table, seed):
    settings = [(0.7, 1.0), (0.9, 1.4)]
    result = study(make_table(effect=(0.0, -0.5), settings=settings, seed=seed), settings)
    assert result.comparisons
    not_made = {c.facts["check"]: c for c in result.checks if c.kind == StudyKind.CHECK_NOT_MADE}
    # two coupons of a mount lie equally far on both sides of its level
    assert "never differ" in not_made[StudyKind.SPREAD_BETWEEN_COUPONS].facts["problem"]
    assert not_made[StudyKind.SPREAD_BETWEEN_COUPONS].weight == Weight.PLAIN


def test_a_change_is_read_in_per_cent_or_in_the_unit(trial, make_table):
    rough, _ = ready_of(trial, make_table())
    assert checking.change(math.log(1.25), rough) == Amount(pytest.approx(25.0), "%")
    u, _ = ready_of(trial, make_table(), "squareness")
    assert checking.change(0.04, u) == Amount(0.04, "mm")


@pytest.mark.parametrize("slope", [0.004, -0.002])
def test_drift_is_the_change_over_all_cuts(trial, make_table, slope):
    plain = make_table()
    before = checking.drift(*ready_of(trial, plain))
    after = checking.drift(*ready_of(trial, plain.assign(value=plain["value"] * np.exp(slope * plain["cut_order"]))))
    # 54 cuts, so 53 steps from the first to the last
    for end in ("value", "low", "high"):
        assert log_of(after.facts[end]) - log_of(before.facts[end]) == pytest.approx(53 * slope, abs=EXACT)
    assert before.facts["low"].value < before.facts["value"].value < before.facts["high"].value
    # a change of 10 % or more is far beyond its error of some 3 %: looked at, unlike what chance makes
    assert after.facts["p"] < 0.01 and after.weight == Weight.LOOK_AT
    assert before.facts["p"] > 0.01 and before.weight == Weight.NOTHING_FOUND
    assert after.kind == StudyKind.DRIFT and checking.drift(*ready_of(trial, plain.drop(columns="cut_order"))) is None
    unknown = plain.assign(cut_order=plain["cut_order"].where(plain["coupon"] != plain["coupon"].iloc[0]))
    assert checking.drift(*ready_of(trial, unknown)) is None and checking.wear(*ready_of(trial, unknown)) is None


def test_wear_is_the_change_over_ten_coupons_of_a_mount(trial, make_table):
    plain = make_table()
    place = plain.drop_duplicates("coupon").set_index("coupon").groupby("mount")["cut_order"].rank()
    before = checking.wear(*ready_of(trial, plain))
    worn = plain.assign(value=plain["value"] * np.exp(0.02 * plain["coupon"].map(place)))
    after = checking.wear(*ready_of(trial, worn))
    assert log_of(after.facts["value"]) - log_of(before.facts["value"]) == pytest.approx(0.2, abs=EXACT)
    assert after.facts["p"] < before.facts["p"]
    assert checking.wear(*ready_of(trial, plain.drop(columns="mount"))) is None


def test_a_drift_of_the_bench_is_the_change_over_the_order_of_measuring(trial, make_table):
    plain = make_table()
    marks = sorted(set(plain["coupon"]))
    turn = np.random.default_rng(8).permutation(len(marks)) + 1.0
    measured = plain.assign(measured_order=plain["coupon"].map(dict(zip(marks, turn, strict=True))))
    before = checking.bench_drift(*ready_of(trial, measured))
    drifting = measured.assign(value=measured["value"] * np.exp(0.01 * measured["measured_order"]))
    after = checking.bench_drift(*ready_of(trial, drifting))
    # 54 coupons, so 53 steps from the first to the last
    for end in ("value", "low", "high"):
        assert log_of(after.facts[end]) - log_of(before.facts[end]) == pytest.approx(53 * 0.01, abs=EXACT)
    assert after.kind == StudyKind.DRIFT_AT_THE_BENCH
    assert (before.weight, after.weight) == (Weight.NOTHING_FOUND, Weight.LOOK_AT)


def test_nothing_is_said_of_the_bench_where_its_order_is_not_known(trial, make_table):
    plain = make_table()
    assert checking.bench_drift(*ready_of(trial, plain)) is None
    order = plain["cut_order"].astype(float)
    few = plain.assign(measured_order=order.where(plain.index % 3 > 0))
    assert checking.bench_drift(*ready_of(trial, few)) is None  # a third of the readings have no place
    most = plain.assign(measured_order=order.where(plain.index % 10 > 0))
    assert checking.bench_drift(*ready_of(trial, most)).kind == StudyKind.DRIFT_AT_THE_BENCH


def test_a_trend_that_may_be_a_thousandfold_is_not_known(trial, make_table):
    # coupons that differ by e^9 leave a trend open by far more than a thousandfold
    table = make_table(spread=(0.3, 0.5, 0.0, 9.0, 0.04))
    assert checking.drift(*ready_of(trial, table)).kind == StudyKind.TREND_NOT_KNOWN
    assert checking.drift(*ready_of(trial, make_table())).kind == StudyKind.DRIFT


def test_spread_along_an_edge_is_a_ratio_of_standard_deviations(trial, make_table):
    table = make_table(readings=3, spread=(0.02, 0.05, 0.0, 0.04, 0.0))
    # the same three deviations on every edge, twice as wide for one type: every coupon gives the ratio 2 exactly
    wide = np.where(table["nozzle"] == "double", 0.10, 0.05)
    jitter = 1.0 + 0.2 * np.sin(table.groupby("coupon", sort=False).ngroup() % 9)
    table["value"] *= np.exp(wide * jitter * (table["reading"] - 2))
    found = checking.spread_within(*ready_of(trial, table))
    assert found.weight == Weight.LOOK_AT and found.facts["p"] < 0.001
    assert (found.about.nozzle, found.about.against) == ("double", "cylindrical")
    # both types carry the same nine sizes, so the means of their logs differ by log 2 up to the least squares itself
    assert found.facts["ratio"] == pytest.approx(2.0, rel=1e-6)
    assert found.facts["low"] * found.facts["high"] == pytest.approx(4.0, rel=1e-6)  # even about it on the log scale
    turned = table.assign(nozzle=table["nozzle"].map({"double": "cylindrical", "cylindrical": "double"}))
    turned["specimen"] = turned["nozzle"].str[0] + turned["specimen"].str[1:]
    other = checking.spread_within(*ready_of(trial, turned))
    assert (other.about.nozzle, other.facts["ratio"]) == ("cylindrical", pytest.approx(2.0, rel=1e-6))


def test_spread_between_coupons_is_a_ratio_too(trial, make_table):
    table = make_table(readings=2, spread=(0.02, 0.05, 0.0, 0.03, 0.01), seed=5)
    ready, fit = ready_of(trial, table)
    first, residuals = checking._coupon_residuals(ready)
    found = checking.spread_between(ready, fit)
    logs = {t: np.log(abs(residuals[ready.table["nozzle"].to_numpy()[first] == t])).mean() for t in ready.types}
    by_hand = math.exp(logs[found.about.nozzle] - logs[found.about.against])
    assert found.facts["ratio"] == pytest.approx(by_hand, rel=1e-3)  # residuals near nothing are floored
    assert found.facts["ratio"] > 1 and found.facts["low"] < found.facts["ratio"] < found.facts["high"]


def test_spreads_are_not_compared_with_too_few_coupons(trial, make_table):
    settings = [(0.5, 0.6), (0.9, 1.4)]
    few = make_table(specimens=1, sheets=1, settings=settings)
    assert checking.spread_within(*ready_of(trial, few)) is None  # four coupons, under three of each type
    enough = make_table(specimens=1, sheets=1, settings=[*settings, (0.7, 1.0)])
    assert checking.spread_within(*ready_of(trial, enough)) is not None  # three of each type are enough


def test_curves_are_held_against_coupons_repeated_at_one_setting(trial, make_table):
    table = make_table()
    assert checking.curvature(*ready_of(trial, table)).weight == Weight.NOTHING_FOUND
    corner = (table["pressure_bar"] == 0.5) & (table["standoff_mm"] == 1.0)
    bent = table.assign(value=table["value"] * np.exp(0.6 * corner))
    found = checking.curvature(*ready_of(trial, bent))
    assert (found.kind, found.weight) == (StudyKind.CURVES, Weight.LOOK_AT) and found.facts["p"] < 1e-4
    once = make_table(specimens=1, sheets=1)
    assert checking.curvature(*ready_of(trial, once)).kind == StudyKind.CURVES_NOT_REPEATED
    two = make_table(settings=[(0.5, 0.6), (0.9, 0.6)])
    assert checking.curvature(*ready_of(trial, two)).kind == StudyKind.CURVES_REACH_ALL


def test_a_far_coupon_is_named_and_a_far_reading_with_its_value(trial, make_table):
    table = make_table()
    assert checking.far_coupons(*ready_of(trial, table)).weight == Weight.NOTHING_FOUND
    mark = table["coupon"].iloc[30]
    table.loc[table["coupon"] == mark, "value"] *= 3.0
    found = checking.far_coupons(*ready_of(trial, table))
    assert (found.about.coupons, found.weight) == ((mark,), Weight.LOOK_AT)
    table.loc[31, "value"] = 4000.0
    far = checking.far_readings(*ready_of(trial, table))
    assert far.facts["readings"] == ((table["coupon"][31], str(table["reading"][31]), Amount(4000.0, "um")),)


def test_of_two_readings_far_apart_both_are_named_with_their_coupon(trial, make_table):
    table = make_table(readings=2)
    assert checking.far_readings(*ready_of(trial, table)).weight == Weight.NOTHING_FOUND
    mark, first = table["coupon"][31], table.index[table["coupon"] == table["coupon"][31]][0]
    table.loc[table.index[table["coupon"] == mark], "value"] = [40.0, 400.0]
    found = checking.far_readings(*ready_of(trial, table))
    assert found.facts == {"readings": (), "pairs": ((mark, Amount(40.0, "um"), Amount(400.0, "um")),)}
    assert found.about.coupons == (mark,) and found.weight == Weight.LOOK_AT
    assert checking.far_mask(ready_of(trial, table)[0]).nonzero()[0].tolist() == [first, first + 1]


def test_a_leaning_mount_shows_its_size_and_its_sides(trial, make_table):
    table = make_table(readings=4, spread=(0.02, 0.05, 0.0, 0.04, 0.02))
    leaning = (table["mount"] == "M120") & (table["side"] == "right")
    found = checking.centring(*ready_of(trial, table.assign(value=table["value"] * np.exp(0.1 * leaning))))
    assert found.facts["mounts"] == 6 and found.about.nozzles == ("double",)
    ((mount, owner, high, low, change),) = found.facts["shifts"]
    assert (mount, owner, high, low) == ("M120", "double", "right", "left")
    # 9 coupons with two readings a side: standard error 0.02 / 3, taken four times
    assert log_of(change) == pytest.approx(0.1, abs=0.03)
    own = {side: log_of(left) for mount, _, side, left in checking.sides_looked_at(found) if mount == "M120"}
    # the picture shows the difference that is said, around the mean of the sides
    assert own["right"] - own["left"] == pytest.approx(log_of(change)) and sum(own.values()) == pytest.approx(0.0)
    assert len(checking.sides_looked_at(found)) == 2 * found.facts["mounts"]
    straight = checking.centring(*ready_of(trial, table))
    assert straight.weight == Weight.NOTHING_FOUND and checking.off_centre(straight) == ()
    assert checking.centring(*ready_of(trial, table.drop(columns="side"))) is None


def test_shuffling_counts_arrangements_by_sheet(trial, make_table):
    found = checking.shuffled(*ready_of(trial, make_table(effect=(0.0, -0.9))))
    # three sheets of two specimens: 2^3 arrangements, the one cut and its mirror image are the most extreme
    assert (found.facts["arrangements"], found.facts["listed"]) == (8, True)
    assert found.facts["smallest_p"] == 0.25 and found.facts["p"] == 0.25
    one = make_table()
    assert checking.shuffled(*ready_of(trial, one[one["nozzle"] == "double"])) is None


def test_specimens_are_shuffled_by_what_is_left_beside_the_settings(trial, make_table):
    """One specimen lost its coupons at the highest pressure, which alone moves its mean across that of the others."""
    table = make_table(effect=(0.0, -0.3), spread=(0.0, 0.01, 0.0, 0.01, 0.01))
    table["value"] *= np.exp(3.0 * table["pressure_bar"])
    lost = table[(table["specimen"] != "c0") | (table["pressure_bar"] < 0.9)]
    found = checking.shuffled(*ready_of(trial, lost))
    # as if nothing were lost: the arrangement as cut and its mirror image are the most extreme of 8
    assert (found.facts["p"], found.facts["smallest_p"]) == (0.25, 0.25)
    ready, _ = ready_of(trial, lost)
    assert checking.shuffle_specimens(ready, ready.y).p > 0.25


def test_shape_and_scale_are_flagged_when_they_are_wrong(trial, make_table):
    table = make_table(spread=(0.02, 0.05, 0.0, 0.05, 0.02), seed=3)
    ready, fit = ready_of(trial, table)
    assert checking.shape(ready, fit).weight == checking.scale(ready, fit).weight == Weight.NOTHING_FOUND
    rng = np.random.default_rng(4)
    lots = dict.fromkeys(table["coupon"])
    odd = dict(zip(lots, rng.exponential(1.0, len(lots)) ** 1.5, strict=True))
    skew = table.assign(value=table["value"] * np.exp(0.1 * table["coupon"].map(odd)))
    assert checking.shape(*ready_of(trial, skew)).facts["skewness"] > 0.5
    # log values spread over decades and normal as measured: the logarithm is off
    values = 1000.0 + 300.0 * np.repeat(rng.normal(size=len(lots)), 3) + 20.0 * rng.normal(size=len(table))
    level = checking.scale(*ready_of(trial, table.assign(value=np.maximum(values, 1.0))))
    assert level.facts["log"] and level.facts["low"] <= level.facts["best"] <= level.facts["high"]
    assert level.weight == Weight.LOOK_AT and level.facts["low"] > 0.125


def test_zeros_matter_on_the_log_scale_only(trial, make_table):
    table = make_table()
    assert checking.zeros(*ready_of(trial, table)) is None
    table.loc[table.index[:3], "value"] = 0.0
    assert checking.zeros(*ready_of(trial, table)).facts["n"] == 3
    assert (
        checking.zeros(*ready_of(trial, table, "squareness")) is None
        and checking.scale(*ready_of(trial, table)) is None
    )


@pytest.mark.parametrize(
    ("name", "low", "high", "inside"),
    [
        # the log is the power 0, the plain scale the power 1; an interval may miss it by half a step of the grid, 0.125
        ("roughness", 0.125, 0.5, True),
        ("roughness", 0.25, 0.5, False),
        ("roughness", -0.5, -0.125, True),
        ("roughness", -0.5, -0.25, False),
        ("squareness", 0.875, 1.125, True),
        ("squareness", 1.125, 1.75, True),
        ("squareness", 1.25, 1.75, False),
    ],
)
def test_a_scale_fits_within_half_a_step_of_the_powers_that_fit(
    monkeypatch, trial, make_table, name, low, high, inside
):
    found = BoxCox(best=(low + high) / 2, low=low, high=high, powers=np.array([]), criterion=np.array([]))
    monkeypatch.setattr(checking.checks, "box_cox", lambda *args: found)
    said = checking.scale(*ready_of(trial, make_table(), name))
    assert said.weight == (Weight.NOTHING_FOUND if inside else Weight.LOOK_AT)


@pytest.mark.parametrize("weight", [Weight.NOTHING_FOUND, Weight.NOT_SURE, Weight.LOOK_AT])
def test_what_leaves_out_no_change_without_an_alert_is_not_sure(trial, make_table, weight):
    """Drifts of one direction, from none to one that rings: their interval and p decide where they stand."""
    plain = make_table()
    for slope in np.linspace(0.0, 0.004, 41):
        drifting = plain.assign(value=plain["value"] * np.exp(slope * plain["cut_order"]))
        found = checking.drift(*ready_of(trial, drifting))
        zero = found.facts["low"].value <= 0 <= found.facts["high"].value
        likely = Weight.NOTHING_FOUND if zero else Weight.NOT_SURE
        assert found.weight == (Weight.LOOK_AT if found.facts["p"] < checking.ALERT else likely)
        if found.weight == weight:
            return
    pytest.fail(f"no drift was {weight}")


def test_no_ratio_of_spreads_for_a_type_without_spread(trial, make_table):
    table = make_table()
    assert checking.spread_between(*ready_of(trial, table)).kind == StudyKind.SPREAD_BETWEEN_COUPONS
    still = table.assign(value=table["value"].where(table["nozzle"] != "double", 30.0))
    for check in (checking.spread_between, checking.spread_within):
        found = check(*ready_of(trial, still))
        assert (found.kind, found.facts["same"]) == (StudyKind.SPREAD_NOT_COMPARED, ("double",))
    flat = table.assign(value=table.groupby("coupon")["value"].transform("mean").where(table["nozzle"] == "double", 0))
    flat["value"] = flat["value"].where(table["nozzle"] == "double", table["value"])
    assert checking.spread_within(*ready_of(trial, flat)).facts["same"] == ("double",)
    assert checking.spread_between(*ready_of(trial, flat)).kind == StudyKind.SPREAD_BETWEEN_COUPONS
