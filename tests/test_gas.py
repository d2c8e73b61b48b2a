"""Gas names, and the flow of a gas through a nozzle against printed figures."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from tests_support import TRIAL_TEXT

from trials.errors import InputError, NotFinite, WrongArgument, WrongShape
from trials.gas import GASES, known_gas, mass_flow, normal_volume_flow
from trials.nozzles import Nozzle
from trials.plan.cautions import nozzle_cautions
from trials.plan.kinds import PlanKind
from trials.trial import parse

TABLE = json.loads((Path(__file__).parent / "reference/gas/air_through_orifices.json").read_text("utf-8"))
HOLE_2_MM = math.pi  # mm2
AT_16_BAR_ABSOLUTE = 16.0 - 1.01325


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("oxygen", "oxygen"),
        ("O2", "oxygen"),
        ("O₂", "oxygen"),
        (" Sauerstoff 3.5", "oxygen"),
        ("oxygène", "oxygen"),
        ("NITROGEN", "nitrogen"),
        ("Stickstoff", "nitrogen"),
        ("n2 5.0", "nitrogen"),
        ("azote", "nitrogen"),
        ("Ar", "argon"),
        ("Argon 4,6", "argon"),
        ("Druckluft", "air"),
        ("compressed air", "air"),
        ("Helium", "helium"),
        ("Wasserstoff", "hydrogen"),
    ],
)
def test_names_of_gases(written, meant):
    assert known_gas(written).name == meant


@pytest.mark.parametrize("written", ["acetylene", "shop gas", "", "97 % nitrogen, 3 % krypton", "50 %"])
def test_an_unknown_gas_is_asked_about(written):
    with pytest.raises(InputError, match="oxygen, nitrogen, argon, helium, hydrogen, air") as refused:
        mass_flow(written, 10.0, HOLE_2_MM)
    assert repr(written) in str(refused.value)


def test_constants_of_gases():
    # J/(kg K): printed in texts on thermodynamics to four figures; air as in ISO 2533
    printed = {"oxygen": 259.8, "nitrogen": 296.8, "argon": 208.1, "air": 287.05, "helium": 2077.0}
    for name, constant in printed.items():
        assert GASES[name].constant == pytest.approx(constant, abs=0.5 if name == "helium" else 0.06)


def test_a_mixture_adds_up():
    mixed = known_gas("79 % N2, 21 % O2")
    assert mixed.molar_mass == pytest.approx(0.79 * 28.014 + 0.21 * 31.998, rel=1e-12)
    assert mixed.heat_ratio == pytest.approx(1.4, rel=1e-12)
    half = known_gas("50 % argon + 50 % nitrogen")
    assert half.heat_ratio == pytest.approx(1.5, rel=1e-12)  # molar heats 3/2 and 5/2 at constant volume, mean 2
    with pytest.raises(InputError, match="add up to 90 %"):
        known_gas("60 % argon, 30 % nitrogen")
    assert known_gas("97,5 % Stickstoff; 2,5 % Sauerstoff").molar_mass == pytest.approx(28.1136, rel=1e-6)


def test_choked_nitrogen():
    # 11.7 g/s and 33.6 m3/h at 0 C and 1.013 bar: worked from the choked-flow relation, printed to three figures
    assert mass_flow("nitrogen", AT_16_BAR_ABSOLUTE, HOLE_2_MM, 293.0) == pytest.approx(11.7e-3, abs=0.05e-3)
    assert normal_volume_flow("nitrogen", AT_16_BAR_ABSOLUTE, HOLE_2_MM, 293.0) == pytest.approx(33.6, abs=0.1)


def test_choked_flow_in_closed_form():
    gas = GASES["argon"]
    g = gas.heat_ratio
    form = math.sqrt(g / (gas.constant * 300.0)) * (2 / (g + 1)) ** ((g + 1) / (2 * (g - 1)))
    by_hand = 0.8 * 3e-6 * 11.01325e5 * form
    assert mass_flow("argon", 10.0, 3.0, 300.0, 0.8) == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize("name", GASES)
def test_sonic_and_subsonic_meet(name):
    critical = 1.01325 * (1.0 / GASES[name].critical_ratio - 1.0)
    below, at, above = mass_flow(name, critical * np.array([1 - 1e-9, 1.0, 1 + 1e-9]), 1.0)
    # both relations hold at the critical ratio; a step of 1e-9 moves the flow by about as much
    assert below == pytest.approx(at, rel=1e-8)
    assert above == pytest.approx(at, rel=1e-8)
    # past it the flow grows with absolute pressure alone
    assert mass_flow(name, 2 * 1.01325 / GASES[name].critical_ratio - 1.01325, 1.0) == pytest.approx(2 * at, rel=1e-9)


def test_small_pressures_follow_the_flow_of_a_liquid():
    # A sqrt(2 rho dp) to first order in dp / p; 0.001 bar leaves an error of about 1e-3
    density = 101_325.0 / (GASES["air"].constant * 293.15)
    assert mass_flow("air", 0.001, 100.0) == pytest.approx(1e-4 * math.sqrt(2 * density * 100.0), rel=1e-3)
    assert mass_flow("air", 0.0, 100.0) == 0.0


def test_published_table_of_air_through_orifices():
    psi, inch = 0.06894757293168, 25.4
    gauge = np.array(TABLE["psig"])[:, None] * psi
    area = math.pi / 4 * (np.array(TABLE["diameter_in"])[None, :] * inch) ** 2
    rankine = 530.0 / 1.8
    ours = mass_flow("air", gauge, area, rankine) / 0.45359237 / 0.07494 * 60.0
    printed = np.array(TABLE["cfm"])
    # half of the last figure printed, and 0.5 %: the table takes 14.7 psi, and the cut formula two figures less
    last_figure = np.maximum(0.5 * 10.0 ** (np.floor(np.log10(printed)) - 2), 0.0005)
    assert np.all(np.abs(ours - printed) <= last_figure + 0.005 * printed)


@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize("wrong", [np.nan, np.inf, -np.inf])
def test_missing_and_infinite_numbers_are_named(place, wrong):
    numbers = [10.0, 3.0, 293.15, 0.9]
    numbers[place] = [1.0, wrong]
    with pytest.raises(NotFinite, match=["pressure", "area", "temperature", "discharge"][place]):
        mass_flow("nitrogen", *numbers)
    with pytest.raises(WrongShape, match="one length"):
        mass_flow("nitrogen", [1.0, 2.0], [1.0, 2.0, 3.0])


@pytest.mark.parametrize(
    ("numbers", "said"),
    [
        ((-0.1, 3.0), "negative"),
        ((1.0, -3.0), "negative"),
        ((1.0, 3.0, 0.0), "above zero kelvin"),
        ((1.0, 3.0, 293.0, 0.0), "discharge"),
        ((1.0, 3.0, 293.0, 1.2), "discharge"),
    ],
)
def test_impossible_numbers_are_named(numbers, said):
    with pytest.raises(WrongArgument, match=said):
        mass_flow("nitrogen", *numbers)


def test_cautions_know_the_gas_in_any_language():
    conical = [Nozzle(type="a", bore="conical")]

    def kinds(gas):
        trial = parse(TRIAL_TEXT.replace('gas = "oxygen"', f'gas = "{gas}"'))
        return [(found.kind, found.facts) for found in nozzle_cautions(trial, conical)]

    assert kinds("Sauerstoff") == kinds("oxygen") == [(PlanKind.CONICAL_OXYGEN, {"gas": "oxygen"})]
    assert [kind for kind, _ in kinds("Stickstoff")] == [PlanKind.STANDOFF_NOT_STEADY]
