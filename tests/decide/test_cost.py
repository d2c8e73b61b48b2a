"""Money: parts of the cost of a metre by hand, break-even in closed form, what decides and where the choice flips."""

from dataclasses import fields, replace

import numpy as np
import pytest

from trials.decide.cost import Rates, Running, break_even_life_ratio, compare_costs, cost_of_metre
from trials.errors import NotFinite, WrongArgument

RATES = Rates(machine_hour=120.0, gas_m3=0.9, rework_per_edge=1.5, edge_m=0.5, metres_per_year=40_000.0)
PLAIN = Running(
    speed_m_min=1.0,
    gas_m3_h=2.0,
    failing=0.10,
    nozzle_price=9.0,
    nozzle_life_m=2000.0,
    change_minutes=12.0,
    lens_price=80.0,
    lens_life_m=50_000.0,
)
EXACT = 1e-12  # sums and ratios of a few doubles


def test_parts_worked_by_hand():
    parts = cost_of_metre(PLAIN, RATES)
    assert parts.machine == pytest.approx(120 / 60, rel=EXACT)
    assert parts.gas == pytest.approx(0.9 * 2.0 / 60, rel=EXACT)
    assert parts.nozzle == pytest.approx((9.0 + 12 / 60 * 120) / 2000, rel=EXACT)
    assert parts.lens == pytest.approx(80 / 50_000, rel=EXACT)
    assert parts.rework == pytest.approx(0.10 * 1.5 / 0.5, rel=EXACT)
    assert parts.total == pytest.approx(2.0 + 0.03 + 0.0165 + 0.0016 + 0.3, rel=EXACT)


def test_dearer_with_twice_the_life_breaks_even_at_the_ratio_of_prices():
    # 15 % dearer, twice the life: 0.575 per unit of life (common practice, no source)
    alone = Rates(machine_hour=0.0)
    plain, plated = (
        Running(1.0, nozzle_price=1.0, nozzle_life_m=1.0),
        Running(1.0, nozzle_price=1.15, nozzle_life_m=2.0),
    )
    assert cost_of_metre(plated, alone).total == pytest.approx(0.575, rel=EXACT)
    assert break_even_life_ratio(1.15, 1.0) == pytest.approx(1.15, rel=EXACT)
    found = {each.name: each for each in compare_costs(plated, plain, alone).inputs}
    assert found["nozzle_life_m"].flips_at == pytest.approx(1.15, rel=EXACT)
    assert found["nozzle_price"].flips_at == pytest.approx(2.0, rel=EXACT)
    assert break_even_life_ratio(1.15, 1.0, change=1.0) == pytest.approx(2.15 / 2.0, rel=EXACT)


def test_each_flip_makes_both_types_cost_the_same():
    other = replace(PLAIN, speed_m_min=1.1, failing=0.05, nozzle_price=14.0, nozzle_life_m=1500.0)
    goal = float(cost_of_metre(PLAIN, RATES).total)
    flips = [each for each in compare_costs(other, PLAIN, RATES).inputs if each.flips_at is not None]
    assert {"speed_m_min", "failing", "nozzle_price", "nozzle_life_m", "gas_m3_h", "lens_price"} <= {
        f.name for f in flips
    }
    for each in flips:
        moved = replace(other, **{each.name: each.flips_at})
        assert float(cost_of_metre(moved, RATES).total) == pytest.approx(goal, rel=1e-9), each.name


def test_no_value_flips_where_none_can():
    slow = replace(PLAIN, speed_m_min=0.5)  # two per metre dearer: no nozzle price makes up for it
    found = {each.name: each.flips_at for each in compare_costs(slow, PLAIN, RATES).inputs}
    assert found["nozzle_price"] is None and found["failing"] is None and found["nozzle_life_m"] is None
    assert found["speed_m_min"] == pytest.approx(1.0, rel=1e-9)


def test_draws_run_through_and_what_is_shared_cancels():
    rng = np.random.default_rng(5)
    speed = rng.normal(1.0, 0.1, 4000).clip(0.5)
    same = compare_costs(replace(PLAIN, speed_m_min=speed), replace(PLAIN, speed_m_min=speed), RATES)
    assert (same.value, same.low, same.high, same.cheaper) == (0.0, 0.0, 0.0, 0.0)
    failing = rng.beta(5, 95, 4000)
    found = compare_costs(replace(PLAIN, failing=failing), PLAIN, RATES)
    expected = (np.quantile(failing, [0.5, 0.025, 0.975]) - 0.10) * 1.5 / 0.5
    assert (found.value, found.low, found.high) == pytest.approx(tuple(expected), rel=1e-9)
    assert found.per_year == pytest.approx(tuple(40_000 * expected), rel=1e-9)
    assert found.cheaper == pytest.approx(np.mean(failing < 0.10), abs=EXACT)
    assert found.inputs[0].name == "failing" and found.inputs[0].share == pytest.approx(1.0, abs=1e-9)
    assert all(each.share == 0.0 for each in found.inputs[1:])


def test_the_input_that_decides_comes_first():
    rng = np.random.default_rng(6)
    other = replace(PLAIN, failing=rng.beta(5, 95, 2000), nozzle_life_m=rng.normal(2000, 50, 2000))
    shares = [each.share for each in compare_costs(other, PLAIN, RATES).inputs]
    assert shares == sorted(shares, reverse=True) and shares[0] > 0.9
    # the two that are uncertain enter different sums, so that their shares make the whole but for chance
    assert min(shares) == 0.0 < shares[1] and sum(shares) == pytest.approx(1.0, abs=0.05)


def test_what_both_types_share_decides_nothing():
    """The same draws of speed in both cancel; all that is uncertain of the difference is the share that fails."""
    rng = np.random.default_rng(7)
    speed = rng.normal(1.0, 0.1, 500).clip(0.5)
    other = replace(PLAIN, speed_m_min=speed, failing=rng.beta(5, 95, 500))
    found = compare_costs(other, replace(PLAIN, speed_m_min=speed), RATES)
    assert {each.name: each.share for each in found.inputs if each.share > 1e-9} == {"failing": pytest.approx(1.0)}
    # draws in the other type alone decide too
    alone = compare_costs(PLAIN, replace(PLAIN, speed_m_min=speed), RATES)
    assert alone.inputs[0].name == "speed_m_min" and alone.inputs[0].share == pytest.approx(1.0, abs=1e-9)


def test_what_is_not_stated_costs_nothing_and_lasts():
    bare = cost_of_metre(Running(2.0), Rates(60.0))
    assert (bare.machine, bare.gas, bare.nozzle, bare.lens, bare.rework) == (0.5, 0.0, 0.0, 0.0, 0.0)
    assert cost_of_metre(Running(2.0, failing=0.5), Rates(60.0, rework_per_edge=3.0)).rework == 1.5  # an edge of 1 m
    assert cost_of_metre(Running(2.0, gas_m3_h=6.0), Rates(60.0, gas_m3=1.0)).gas == pytest.approx(0.05, rel=EXACT)
    assert compare_costs(Running(2.0), Running(2.0), Rates(60.0)).per_year is None
    assert break_even_life_ratio(0.0, 1.0) == 0.0 and break_even_life_ratio(1.0, 0.0, 1.0) == 2.0
    with pytest.raises(WrongArgument, match="prices"):
        break_even_life_ratio(-0.1, 1.0)


def test_estimates_apart_from_their_draws_give_the_value():
    drawn = replace(PLAIN, failing=np.array([0.0, 0.1, 0.9]))
    at = (replace(PLAIN, failing=0.3), PLAIN)
    found = compare_costs(drawn, PLAIN, RATES, at=at)
    # rework is 3 a metre of those that fail: 0.3 against 0.1 by the estimates, 0 by the middle draw
    assert found.value == pytest.approx(0.6, rel=1e-9) and found.parts.rework == pytest.approx(0.9, rel=EXACT)
    assert compare_costs(drawn, PLAIN, RATES).value == pytest.approx(0.0, abs=1e-12)
    failing = next(each for each in found.inputs if each.name == "failing")
    assert (failing.at, failing.against, failing.flips_at) == (0.3, 0.1, pytest.approx(0.1, rel=1e-9))
    # draws at 0, 0.1, 0.9: quantiles 0.05 and 0.95 of the difference lie a tenth of a gap inside
    narrow = compare_costs(drawn, PLAIN, RATES, confidence=0.9)
    assert (narrow.low, narrow.high) == pytest.approx((-0.27, 2.16), rel=1e-9)


@pytest.mark.parametrize("name", [f.name for f in fields(Running)])
def test_not_a_number_is_named(name):
    with pytest.raises(NotFinite, match=name):
        cost_of_metre(replace(PLAIN, **{name: float("nan")}), RATES)


@pytest.mark.parametrize(
    ("changed", "rates", "named"),
    [
        ({"speed_m_min": 0.0}, {}, "speed_m_min"),
        ({"nozzle_life_m": -1.0}, {}, "nozzle_life_m"),
        ({"failing": 1.2}, {}, "failing"),
        ({"nozzle_price": -0.1}, {}, "nozzle_price"),
        ({}, {"edge_m": 0.0}, "edge_m"),
        ({}, {"machine_hour": -1.0}, "machine_hour"),
    ],
)
def test_out_of_range_is_named(changed, rates, named):
    with pytest.raises(WrongArgument, match=named):
        cost_of_metre(replace(PLAIN, **changed), replace(RATES, **rates))
    with pytest.raises(WrongArgument, match="confidence"):
        compare_costs(PLAIN, PLAIN, RATES, confidence=1.0)
    with pytest.raises(WrongArgument, match="prices"):
        break_even_life_ratio(1.0, 0.0)
