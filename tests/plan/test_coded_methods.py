"""Fractions, screening and surface plans of a trial: settings, limits, what is said."""

import numpy as np
import pytest
from tests_support import told

from trials.errors import Infeasible, InputError
from trials.plan.choose import make_plan
from trials.plan.methods.coded import _read_generators
from trials.plan.settings import setting_formula
from trials.trial import parse

FILE = """
[trial]
title = "t"
question = "q"
[application]
material = "S235"
thickness_mm = 8.0
gas = "oxygen"
[[nozzles]]
type = "single"
specimens = ["C1", "C2"]
today = true
[[nozzles]]
type = "double"
specimens = ["D1", "D2"]
{factors}
[plan]
seed = 2
{plan}
[responses.roughness]
primary = true
worthwhile = "15 %"
"""
NUMBERS = {
    "pressure": (0.5, 0.9),
    "standoff": (0.6, 1.4),
    "speed": (1.0, 2.0),
    "focus": (-1.0, 3.0),
    "power": (2.0, 4.0),
    "delay": (0.1, 0.3),
}
LENS = '[factors.lens]\nlevels = ["old", "new"]\ntoday = "new"\n'
LIMIT = 'limits = [{ factors = ["pressure", "standoff"], product_at_most = 1.2 }]'


def planned(method, count, plan="", more=""):
    factors = [f"[factors.{n}]\nlevels = [{a}, {b}]" for n, (a, b) in list(NUMBERS.items())[:count]]
    text = FILE.format(factors="\n".join([*factors, more]), plan=f'method = "{method}"\n{plan}')
    return make_plan(parse(text))


def coded(plan, count, mount="M01"):
    own = plan.coupons[plan.coupons["mount"] == mount]
    names = list(NUMBERS)[:count]
    middle = [np.mean(NUMBERS[name]) for name in names]
    half = [np.ptp(NUMBERS[name]) / 2 for name in names]
    return np.round((own[names].to_numpy(float) - middle) / half, 9)


@pytest.mark.parametrize(
    ("count", "runs", "says"),
    [
        (2, 4, "every crossing"),
        (3, 8, "every crossing"),
        (4, 8, "a fraction of resolution 4"),
        (5, 16, "a fraction of resolution 5"),
        (6, 16, "a fraction of resolution 4"),
    ],
)
def test_fraction_takes_the_fewest_runs_in_which_factors_are_clear_of_products(count, runs, says):
    plan = planned("fraction", count)
    for mount in plan.mounts["mount"]:
        x = coded(plan, count, mount)
        assert len(x) == runs and set(np.abs(x).ravel()) == {1.0}
        # columns of factors are orthogonal to each other and to every product of two, to rounding of settings
        products = np.column_stack([x[:, i] * x[:, j] for i in range(count) for j in range(i)])
        assert np.abs(x.T @ x - runs * np.eye(count)).max() < 1e-9
        assert np.abs(x.T @ products).max() < 1e-9
    assert any(says in line for line in told(plan.found))


def test_fraction_by_named_generators_and_by_budget():
    plan = planned("fraction", 4, 'generators = ["focus = -pressure x standoff"]')
    x = coded(plan, 4)
    assert len(x) == 8 and (x[:, 3] == -x[:, 0] * x[:, 1]).all()
    assert any(
        "pressure cannot be told apart from standoff x focus (with opposite sign)" in s for s in told(plan.found)
    )
    # 40 coupons over 4 mounts with a repeat each: 9 in hand, so 8 settings
    plan = planned("fraction", 6, "coupons = 40\nrepeats = 1")
    assert (plan.coupons.groupby("mount").size() == 9).all()


@pytest.mark.parametrize(
    ("text", "generators", "minus"),
    [
        ("focus = pressure x standoff", {"focus": ("pressure", "standoff")}, ()),
        ("focus = -pressure x standoff", {"focus": ("pressure", "standoff")}, ("focus",)),
        (" focus =  - pressure  x standoff x speed ", {"focus": ("pressure", "standoff", "speed")}, ("focus",)),
        ("focus = pressure", {"focus": ("pressure",)}, ()),
    ],
)
def test_a_generator_is_minus_only_where_it_says_so(text, generators, minus):
    assert _read_generators([text]) == (generators, minus)


def test_generators_without_a_sign_give_the_plus_fraction():
    x = coded(planned("fraction", 4, 'generators = ["focus = pressure x standoff"]'), 4)
    assert (x[:, 3] == x[:, 0] * x[:, 1]).all()
    mixed = 'generators = ["speed = pressure x standoff", "focus = -pressure x power", "delay = standoff x power"]'
    x = coded(planned("fraction", 6, mixed), 6)
    # columns: pressure, standoff, speed, focus, power, delay
    assert (x[:, 2] == x[:, 0] * x[:, 1]).all() and (x[:, 3] == -x[:, 0] * x[:, 4]).all()
    assert (x[:, 5] == x[:, 1] * x[:, 4]).all()


def test_screening_is_three_level_mirrored_and_clear():
    plan = planned("screening", 6)
    x = coded(plan, 6)
    assert len(x) == 13 and (np.abs(x).sum(axis=1) == 0).sum() == 1
    assert {tuple(row) for row in x} == {tuple(-row) for row in x}
    products = np.column_stack([x[:, i] * x[:, j] for i in range(6) for j in range(i + 1)])
    assert np.abs(x.T @ products).max() < 1e-9
    assert np.abs(x.T @ x - 10 * np.eye(6)).max() < 1e-9


def test_surface_is_faced_and_crossed_with_words():
    plan = planned("surface", 3)
    x = coded(plan, 3)
    assert sorted(np.abs(x).sum(axis=1)) == [0] + [1] * 6 + [3] * 8
    plan = planned("surface", 2, more=LENS)
    assert (plan.coupons.groupby(["mount", "lens"]).size() == 9).all()


def test_surface_without_corners_where_limits_forbid_them():
    # a weighted sum that only the corner with all three high passes: 0.9 + 1.4 + 2.0 = 4.3
    plan = planned("surface", 3, 'limits = [{ factors = ["pressure", "standoff", "speed"], sum_at_most = 4.2 }]')
    assert sorted(np.abs(coded(plan, 3)).sum(axis=1)) == [0] + [2] * 12
    assert (plan.coupons["pressure"] + plan.coupons["standoff"] + plan.coupons["speed"]).max() <= 4.2
    assert any("13 settings: middles of the edges and centre" in line for line in told(plan.found))


def test_pilot_cuts_corners_and_todays_setting_twice_in_each_mount():
    plan = planned("pilot", 2, LIMIT)
    today = plan.coupons.query("pressure == 0.5 and standoff == 0.6")
    # three corners are within the limit; today's setting is the lower of two levels, itself a corner
    assert (today.groupby("mount").size() == 3).all() and len(plan.coupons) == 4 * 5
    assert any("Nozzle double: 1 of 4 corners left out by limits." in line for line in told(plan.found))
    assert any("not severed, the edge burns, or the head touches" in line for line in told(plan.found))
    # six factors: 8 corners, in which no two factors share a column, each level equally often
    plan = planned("pilot", 6, "sheets = 2")
    assert plan.mounts["sheet"].nunique() == 2
    for mount in plan.mounts["mount"]:
        x = coded(plan, 6, mount)
        # today's setting is the low corner here, cut twice; with it gone the corners are orthogonal
        corners = np.unique(x, axis=0)[1:] if (x == -1).all(axis=1).sum() == 2 else np.unique(x, axis=0)
        assert len(x) == 10 and (corners.T @ corners == 8 * np.eye(6)).all()
    assert planned("pilot", 0).coupons.groupby("mount").size().tolist() == [2] * 4


@pytest.mark.parametrize(
    ("method", "count", "plan", "more", "error", "says"),
    [
        ("screening", 2, "", "", Infeasible, "takes 3 to 12 factors"),
        ("screening", 3, "", LENS, Infeasible, "needs numbers, lens has words"),
        (
            "screening",
            3,
            LIMIT,
            "",
            Infeasible,
            "Limits forbid .* settings of the screening plan, the first for nozzle",
        ),
        ("surface", 1, "", LENS, Infeasible, "needs two factors with numbers"),
        ("surface", 2, LIMIT, "", Infeasible, "set plan.method to optimal"),
        ("fraction", 0, "", "", Infeasible, "plan.method fraction needs factors with two levels"),
        ("fraction", 2, "", LENS.replace('"old"', '"old", "worn"'), Infeasible, "lens has more words"),
        ("fraction", 3, 'generators = ["speed: AB"]', "", InputError, "a generator cannot be read; found 'speed: AB'"),
        ("fraction", 6, "coupons = 8", "", Infeasible, "2 runs cannot hold 6 factors"),
    ],
)
def test_what_a_classical_plan_cannot_do_is_refused(method, count, plan, more, error, says):
    with pytest.raises(error, match=says):
        planned(method, count, plan, more)


def test_a_setting_is_named_in_signs():
    factors = '[factors.pressure]\nlevels = [0.5, 0.9]\nunit = "bar"\n' + LENS
    trial = parse(FILE.format(factors=factors, plan='method = "full"'))
    assert setting_formula(trial, {"pressure": 0.7, "lens": "new"}) == "pressure 0.7 bar, lens new"
