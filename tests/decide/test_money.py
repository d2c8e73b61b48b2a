"""Money of a trial: by hand from what the file states, common practice named, gas asked about, lives as metres."""

import dataclasses
import math
from types import SimpleNamespace as Made

import numpy as np
import pytest
from tests_support import TRIAL_TEXT

from trials.decide.cost import Input
from trials.decide.decision_result import CostInput, MoneyKind
from trials.decide.failing import DRAWS, Failing
from trials.decide.known_lives import KnownLife, KnownLives
from trials.decide.money import (
    USUAL_LIFE_HOURS,
    _distance,
    _gas,
    _ladder_speeds,
    _pressures,
    _Speed,
    _speeds,
    money,
)
from trials.findings import Place, PlaceKind
from trials.gas import normal_volume_flow
from trials.trial import parse

COSTS = """
[costs]
machine_hour = 120.0
gas_m3 = 0.9
mount_minutes = 12
rework_per_edge = 1.5
edge_m = 0.5
metres_per_year = 40000
lens_price = 80.0
lens_hours = 100.0
"""
PLACE = Place(PlaceKind.TODAY, ({"pressure": 0.7, "standoff": 1.0},), {"pressure": "bar", "standoff": "mm"})
SURE = {"cylindrical": 0.36, "double": 0.04}
EXACT = 1e-12  # sums of a few doubles
LIVES = KnownLives("hours", "log book", {"cylindrical": KnownLife(30.0), "double": KnownLife(60.0)})


def failing(spread: float = 0.0):
    rng = np.random.default_rng(1)
    return tuple(
        Failing(name, share, np.clip(share + spread * rng.standard_normal(DRAWS), 0.0, 1.0))
        for name, share in SURE.items()
    )


def made(costs: str = COSTS, changed: tuple[str, str] = ("", ""), lives=LIVES, spread: float = 0.0):
    return money(parse((TRIAL_TEXT + costs).replace(*changed)), PLACE, failing(spread), lives)


def kinds(found):
    return [finding.kind for finding in found.said]


def test_no_money_without_costs():
    assert made(costs="") is None


def test_a_metre_by_hand():
    found = made()
    cost = {each.nozzle: each for each in found.types}["double"]
    speed, area = 1.1, np.pi * 1.4**2 / 4  # m/min, mm2: no flow area is stated, so that of the orifice
    flow = float(normal_volume_flow("oxygen", 0.7, area))
    life = 60.0 * 60.0 * speed
    assert cost.parts["machine"] == pytest.approx(120 / 60 / speed, rel=EXACT)
    assert cost.parts["gas"] == pytest.approx(0.9 * flow / 60 / speed, rel=EXACT)
    assert cost.parts["nozzle"] == pytest.approx((31.0 + 12 / 60 * 120) / life, rel=EXACT)
    assert cost.parts["lens"] == pytest.approx(80 / (100 * 60 * speed), rel=EXACT)
    assert cost.parts["rework"] == pytest.approx(0.04 * 1.5 / 0.5, rel=EXACT)
    assert cost.cost.value == pytest.approx(sum(cost.parts.values()), rel=EXACT)
    assert found.assumed == () and found.said == () and found.lives == "log book"


def test_a_stated_flow_area_counts():
    wide = made(changed=("price = 31.0", "price = 31.0\nflow_area_mm2 = 2.9"))
    gas = {each.nozzle: each.parts["gas"] for each in wide.types}
    assert gas["double"] / gas["cylindrical"] == pytest.approx(2.9 / (np.pi * 1.4**2 / 4), rel=EXACT)


def test_against_today_with_the_turning_points():
    against = made(spread=0.02).of("double")
    assert against.against == "cylindrical" and against.value.low < against.value.value < against.value.high < 0.0
    assert against.per_year.value == pytest.approx(40_000 * against.value.value, rel=EXACT)
    assert against.decides == CostInput.FAILING and against.decides_share > 0.99
    flips = {flip.input: flip for flip in against.flips}
    # rework is 3 a metre; beside it the nozzle costs 55/3960 less 33/1980 a metre
    nozzle = (31.0 + 24.0) / 3960 - (9.0 + 24.0) / 1980
    assert flips[CostInput.FAILING].flips_at == pytest.approx(0.36 - nozzle / 3.0, rel=1e-9)
    assert flips[CostInput.LIFE].against == pytest.approx(30 * 60 * 1.1)
    assert against.life_ratio == pytest.approx((31.0 + 24.0) / (9.0 + 24.0), rel=EXACT)


def test_what_is_not_stated_is_common_practice_and_said():
    found = made(costs="\n[costs]\nmetres_per_year = 1000\n", lives=None)
    assert {each.input for each in found.assumed} == {
        CostInput.MACHINE_HOUR,
        CostInput.GAS_M3,
        CostInput.EDGE,
        CostInput.CHANGE,
        CostInput.LIFE_HOURS,
    }
    assert kinds(found) == [MoneyKind.LENS_NOT_COUNTED, MoneyKind.REWORK_NOT_COUNTED]
    assert next(e.value for e in found.assumed if e.input == CostInput.LIFE_HOURS) == USUAL_LIFE_HOURS


@pytest.mark.parametrize(
    ("before", "after", "kind"),
    [
        ('gas = "oxygen"', 'gas = "Sauerstoff 3.5"', None),
        ('gas = "oxygen"', 'gas = "shop gas"', MoneyKind.GAS_NOT_KNOWN),
        ('gas = "oxygen"', "", MoneyKind.GAS_NOT_COUNTED),
        ("orifice_mm = 1.4\nprice = 31.0", "price = 31.0", MoneyKind.GAS_NOT_COUNTED),
        ("price = 31.0", "", MoneyKind.PRICE_NOT_STATED),
        ("speed_m_min = 1.1", "focus_mm = 4.0", MoneyKind.NO_SPEED),
    ],
)
def test_what_is_not_known_is_asked_about_not_dropped(before, after, kind):
    found = made(changed=(before, after))
    assert kinds(found) == ([kind] if kind else [])
    if kind == MoneyKind.GAS_NOT_KNOWN:
        assert found.said[0].facts == {"gas": "shop gas"}
    if kind == MoneyKind.NO_SPEED:
        assert found.types == () and found.against == ()
    elif kind in (MoneyKind.GAS_NOT_KNOWN, MoneyKind.GAS_NOT_COUNTED):
        assert {each.parts["gas"] for each in found.types} == {0.0}


@pytest.mark.parametrize(("unit", "metres"), [("hours", 60 * 1.1), ("metres", 1.0), ("pierces", 0.5)])
def test_lives_become_metres(unit, metres):
    found = made(lives=dataclasses.replace(LIVES, unit=unit))
    nozzle = {each.nozzle: each.parts["nozzle"] for each in found.types}
    assert nozzle["double"] == pytest.approx((31.0 + 24.0) / (60.0 * metres), rel=EXACT)


def test_lives_that_leave_a_type_out_are_not_used():
    found = made(lives=KnownLives("hours", "x", {"double": KnownLife(60.0)}))
    assert MoneyKind.LIVES_NOT_USED in kinds(found) and found.said[-1].about.nozzles == ("cylindrical",)
    assert [each.input for each in found.assumed] == [CostInput.LIFE_HOURS]


def test_a_type_that_never_failed_counts_at_its_lower_limit_and_is_named():
    lives = {"cylindrical": KnownLife(30.0, 0.1), "double": KnownLife(90.0, at_least=True)}
    found = made(lives=KnownLives("hours", "../lives", lives))
    assert [(f.kind, f.about.nozzles) for f in found.said] == [(MoneyKind.LIFE_AT_LEAST, ("double",))]


def test_lens_lives_by_type_take_the_place_of_one_for_all():
    lens = {"cylindrical": KnownLife(50.0), "double": KnownLife(200.0)}
    found = made(lives=dataclasses.replace(LIVES, lens=lens))
    parts = {each.nozzle: each.parts["lens"] for each in found.types}
    assert parts["cylindrical"] == pytest.approx(80 / (50 * 60 * 1.1), rel=EXACT)
    assert parts["double"] == pytest.approx(80 / (200 * 60 * 1.1), rel=EXACT)


def test_no_requirement_no_rework():
    trial = parse(TRIAL_TEXT + COSTS)
    found = money(trial, PLACE, (), LIVES)
    assert kinds(found) == [MoneyKind.FAILING_NOT_KNOWN] and {t.parts["rework"] for t in found.types} == {0.0}


def test_draws_of_a_speed_have_its_error_and_stay_above_a_tenth():
    rng = np.random.default_rng(3)
    drawn = _Speed(5.0, 0.2).draws(rng)
    # 1,024 draws: one standard error is 0.2 / 32 of the mean and 0.2 / 45 of the spread; five are allowed
    assert drawn.mean() == pytest.approx(5.0, abs=0.032) and drawn.std() == pytest.approx(0.2, abs=0.023)
    assert _Speed(5.0, 50.0).draws(rng).min() == pytest.approx(0.5, rel=EXACT)


SPEED = '[factors.speed]\nunit = "mm/s"\nlevels = [10.0, 20.0]\ntoday = 10.0\n'
SPEEDS = TRIAL_TEXT.replace("[held]\nspeed_m_min = 1.1\n", SPEED)


def at(*settings):
    return Place(PlaceKind.TODAY, settings, {})


def test_the_speed_is_that_of_the_place_in_metres_a_minute():
    found = _speeds(parse(SPEEDS), at({"speed": 10.0}, {"speed": 20.0}))
    # 15 mm/s on average are 0.9 m/min, for every type without an error
    assert {name: speed.at for name, speed in found.items()} == pytest.approx({"cylindrical": 0.9, "double": 0.9})
    assert {speed.error for speed in found.values()} == {0.0}
    held = _speeds(parse(TRIAL_TEXT), at({"pressure": 0.7}))
    assert {speed.at for speed in held.values()} == {1.1}


@pytest.mark.parametrize("held", [{}, {"speed_m_min": True}, {"speed_m_min": "slow"}, {"speed_m_min": 0.0}])
def test_no_speed_where_none_is_held(held):
    assert _speeds(parse(TRIAL_TEXT).model_copy(update={"held": held}), at({"pressure": 0.7})) is None


def test_a_ladder_gives_each_type_the_speed_it_keeps_clean_with_its_error():
    def kept(name, clean, low):
        return Made(nozzle=name, clean_95=clean, clean_95_low=low)

    rows = (kept("a", 40.0, 30.13), kept("b", math.nan, 1.0), kept("c", 5.0, -math.inf), kept("d", 0.0, -1.0))
    found = _ladder_speeds(Made(unit="mm/s", types=rows))
    # 40 mm/s are 2.4 m/min; 9.87 mm/s under it is the one-sided bound, 1.645 errors: 6 mm/s or 0.36 m/min
    assert set(found) == {"a"} and found["a"].at == pytest.approx(2.4) and found["a"].error == pytest.approx(0.36)
    assert _ladder_speeds(Made(unit="mm/s", types=rows[1:])) is None
    assert _ladder_speeds(Made(unit="turns", types=rows)) is None


def test_the_pressure_is_that_of_the_place_or_as_held():
    trial = parse(TRIAL_TEXT)
    assert _pressures(trial, at({"pressure": 0.5}, {"pressure": 0.9})).tolist() == [0.5, 0.9]
    assert _pressures(trial, at({"pressure": 0.5}, {"standoff": 0.9})) is None
    held = trial.model_copy(update={"held": {"pressure_bar": 0.6}})
    assert _pressures(held, at({"standoff": 0.9})).tolist() == [0.6]
    for value in (True, "high"):
        assert _pressures(trial.model_copy(update={"held": {"pressure_bar": value}}), at({"standoff": 0.9})) is None


def test_the_gas_is_the_mean_over_the_settings_of_the_place():
    flows, said = _gas(parse(TRIAL_TEXT), at({"pressure": 0.5}, {"pressure": 0.9}))
    area = math.pi * 1.4**2 / 4
    mean = np.mean([float(normal_volume_flow("oxygen", bar, area)) for bar in (0.5, 0.9)])
    assert flows == pytest.approx({"cylindrical": mean, "double": mean}, rel=EXACT) and said == ()


@pytest.mark.parametrize(
    ("flips", "value", "distance"),
    [
        (2.0, 1.0, math.log(2)),
        (0.5, 1.0, math.log(2)),
        (None, 1.0, math.inf),
        (0.0, 1.0, math.inf),
        (2.0, 0.0, math.inf),
    ],
)
def test_the_distance_of_a_turning_point_is_a_ratio(flips, value, distance):
    assert _distance(Input("failing", value, 1.0, 0.0, flips)) == pytest.approx(distance)


def test_turning_points_come_nearest_first():
    flips = made(spread=0.02).of("double").flips
    away = [abs(math.log(each.flips_at / each.at)) for each in flips]
    assert away == sorted(away) and len(away) > 1


def test_without_a_price_there_is_no_ratio_of_lives():
    assert made(changed=("price = 31.0", "")).of("double").life_ratio is None
    assert made(changed=("price = 9.0", "")).of("double").life_ratio is None


def test_limits_of_a_cost_are_those_of_its_draws():
    drawn = np.linspace(0.0, 0.4, DRAWS)
    sure = tuple(Failing(name, 0.1, drawn) for name in SURE)
    found = money(parse(TRIAL_TEXT + COSTS), PLACE, sure, LIVES)
    for each in found.types:
        bare = each.cost.value - each.parts["rework"]
        # rework is 3 a metre of those that fail; 95 % of the draws lie from 0.01 to 0.39
        assert each.parts["rework"] == pytest.approx(0.3, rel=1e-9)
        assert (each.cost.low, each.cost.high) == pytest.approx((bare + 0.03, bare + 1.17), rel=1e-6)
    odd = money(parse(TRIAL_TEXT + COSTS), PLACE, [Failing(name, 1.2, drawn - 0.1) for name in SURE], LIVES)
    assert {each.parts["rework"] for each in odd.types} == {3.0}  # a share is at most one


def test_a_lens_with_a_price_and_no_life_is_not_counted_and_said():
    found = made(costs=COSTS.replace("lens_hours = 100.0\n", ""))
    assert MoneyKind.LENS_NOT_COUNTED in kinds(found)
    assert MoneyKind.LENS_NOT_COUNTED not in kinds(made())
