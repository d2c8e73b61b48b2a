"""The best setting by the declared aim, and the cost of a metre at each place; made by hand."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from tests_support import TRIAL_TEXT

from trials.decide.best import pick
from trials.decide.money import costs_at
from trials.gas import normal_volume_flow
from trials.trial import parse

PLACES = [{"pressure": bar, "standoff": 1.0} for bar in (0.5, 0.7, 0.9)]
COSTS = "[costs]\nmachine_hour = 120.0\ngas_m3 = 3.0\nrework_per_edge = 2.0\nedge_m = 0.5\n"
FAILS = np.array([0.10, 0.05, 0.02])


def trial(aim: str, costs: str = COSTS):
    text = TRIAL_TEXT.replace("[application]\n", f'[application]\nbest_by = "{aim}"\n')
    return parse(f"{text}\n{costs}")


def test_the_cost_of_a_metre_at_each_place_by_hand():
    asked = trial("cost")
    nozzle = next(n for n in asked.nozzles if n.type == "double")
    found = costs_at(asked, "double", PLACES, FAILS)
    area, speed = nozzle.flow_area_mm2 or math.pi / 4 * nozzle.orifice_mm**2, 1.1
    for cost, place, fails in zip(found, PLACES, FAILS, strict=True):
        hours = 1.0 / (60.0 * speed)
        gas = 3.0 * float(normal_volume_flow("oxygen", place["pressure"], area)) * hours
        worn = (nozzle.price + 12.0 / 60.0 * 120.0) / (40.0 * 60.0 * speed)  # 40 h of cutting, 12 min to change
        assert cost == pytest.approx(120.0 * hours + gas + worn + fails * 2.0 / 0.5, rel=1e-12)


def test_no_cost_of_a_place_without_costs_or_speed():
    assert costs_at(trial("cost", ""), "double", PLACES, FAILS) is None
    text = TRIAL_TEXT.replace("speed_m_min", "speed_note")
    assert costs_at(parse(f"{text}\n{COSTS}"), "double", PLACES, FAILS) is None


@pytest.mark.parametrize(
    ("lows", "chances", "best"),
    [
        ([0.95, 0.95, 0.95], [0.97, 0.97, 0.97], 0),  # less gas at 0.5 bar
        ([0.80, 0.91, 0.95], [0.97, 0.97, 0.97], 1),  # shown from 0.7 bar on
        ([0.10, 0.20, 0.30], [0.80, 0.91, 0.91], 1),  # estimated there, shown nowhere
        ([0.10, 0.20, 0.30], [0.60, 0.70, 0.80], 2),  # nowhere: the highest chance
    ],
)
def test_the_cheapest_that_meets_the_requirement(lows, chances, best):
    known = SimpleNamespace(trial=trial("cost"))
    assert pick(known, "double", PLACES, np.array(chances), np.array(lows), "") == best


def test_without_an_aim_of_cost_the_surest_is_the_best():
    known = SimpleNamespace(trial=trial("chance"))
    lows = np.array([0.95, 0.96, 0.94])
    assert pick(known, "double", PLACES, np.array([0.95, 0.97, 0.98]), lows, "") == 2
    assert pick(known, "double", PLACES, np.array([0.95, 0.977, 0.98]), lows, "") == 1  # alike: the higher bound


def test_a_place_whose_gas_is_not_known_costs_the_rest():
    text = TRIAL_TEXT.replace("orifice_mm = 1.4\n", "")
    found = costs_at(parse(f"{text}\n{COSTS}"), "double", PLACES, FAILS)
    speed = 1.1
    worn = (31.0 + 12.0 / 60.0 * 120.0) / (40.0 * 60.0 * speed)
    assert found == pytest.approx(120.0 / (60.0 * speed) + worn + FAILS * 2.0 / 0.5, rel=1e-12)
