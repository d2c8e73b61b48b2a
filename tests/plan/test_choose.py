"""From a trial file to the coupons: methods, limits, what is said."""

import numpy as np
import pandas as pd
import pytest
from tests_support import told

from trials.errors import Infeasible, InputError
from trials.plan.choose import make_plan
from trials.plan.confounding import confounded
from trials.plan.settings import allowed_settings, broken, limit_corners
from trials.trial import Limit, parse

NOZZLE = """
[[nozzles]]
type = "{type}"
bore = "{bore}"
wall = "{wall}"
side_jets = false
plated = {plated}
point = false
orifice_mm = {orifice}
specimens = {specimens}
today = {today}
"""
FILE = """
[trial]
title = "t"
question = "q"
[application]
material = "S235"
thickness_mm = 12.0
gas = "oxygen"
{nozzles}
[factors.pressure]
unit = "bar"
levels = [0.5, 0.7, 0.9]
today = 0.7
[factors.standoff]
unit = "mm"
levels = [0.6, 1.0, 1.4]
today = 1.0
[plan]
seed = {seed}
{plan}
[responses.roughness]
primary = true
worthwhile = "15 %"
"""
LIMITS = """limits = [
  {nozzle = "double", factor = "pressure", at_most = 0.8},
  {factors = ["pressure", "standoff"], product_at_most = 1.2},
]"""


def nozzle(name, wall="single", orifice=1.4, specimens=3, today=False, plated=False, bore="cylindrical"):
    marks = [f"{name[0].upper()}{i}" for i in range(1, specimens + 1)]
    return NOZZLE.format(
        type=name,
        wall=wall,
        orifice=orifice,
        specimens=marks,
        bore=bore,
        today=str(today).lower(),
        plated=str(plated).lower(),
    )


def trial_with(plan="sheets = 3", nozzles=None, seed=7):
    nozzles = nozzles or [nozzle("cylindrical", today=True), nozzle("double", wall="double")]
    return parse(FILE.format(plan=plan, nozzles="\n".join(nozzles), seed=seed))


def test_full_plan_crosses_every_setting_with_every_mount():
    plan = make_plan(trial_with())
    assert len(plan.coupons) == 6 * 9 and len(plan.mounts) == 6 and plan.sheets["sheet"].tolist() == ["S1", "S2", "S3"]
    for _, mount in plan.coupons.groupby("mount"):
        assert len(mount[["pressure_bar", "standoff_mm"]].drop_duplicates()) == 9
        assert mount["sheet"].nunique() == 1 and mount["specimen"].nunique() == 1
    assert plan.coupons.columns.tolist() == [
        *("coupon", "order", "sheet", "mount", "nozzle", "specimen", "pressure_bar", "standoff_mm"),
        *("block", "x_mm", "y_mm", "edge", "cut_direction"),
    ]
    assert plan.coupons["order"].tolist() == list(range(1, 55)) and set(plan.coupons["block"]) == {1}
    assert told(plan.found)[0].startswith("54 coupons in 6 mounts of 6 specimens on 3 sheets")


def test_limits_are_kept_and_what_they_leave_out_is_said():
    trial = trial_with(LIMITS + "\nrepeats = 2")
    plan = make_plan(trial)
    double = plan.coupons[plan.coupons["nozzle"] == "double"]
    assert double["pressure_bar"].max() <= 0.8
    assert (plan.coupons["pressure_bar"] * plan.coupons["standoff_mm"] <= 1.2).all()
    # 8 of 9 crossings for the single wall, 6 for the double one, two repeats in each of 3 + 3 mounts
    assert len(plan.coupons) == 3 * (8 + 2) + 3 * (6 + 2)
    said = " ".join(told(plan.found))
    assert "Nozzle double: 3 of 9 settings left out by the limit 'double: pressure at most 0.8'" in said
    assert "Nozzle cylindrical: 1 of 9 settings left out by the limit 'pressure x standoff at most 1.2'" in said


def test_type_without_any_setting_is_refused_by_name():
    trial = trial_with('limits = [{nozzle = "double", factor = "pressure", at_most = 0.4}]')
    with pytest.raises(Infeasible, match="nozzle 'double': the limit 'double: pressure <= 0.4' forbids every"):
        make_plan(trial)


@pytest.mark.parametrize(
    ("limit", "forbidden"),
    [
        (Limit(factor="pressure", at_most=0.7), False),
        (Limit(factor="pressure", at_most=0.69), True),
        (Limit(factor="pressure", at_least=0.7), False),
        (Limit(factor="pressure", at_least=0.71), True),
        (Limit(factors=("pressure", "standoff"), product_at_most=0.7), False),
        (Limit(factors=("pressure", "standoff"), product_at_most=0.69), True),
        (Limit(factors=("pressure", "standoff"), weights=(2.0, 1.0), sum_at_most=2.4), False),
        (Limit(factors=("pressure", "standoff"), weights=(2.0, 1.0), sum_at_most=2.39), True),
        (Limit(factors=("pressure", "standoff"), sum_at_most=1.69), True),
        (Limit(nozzle="double", factor="pressure", at_most=0.1), False),
    ],
)
def test_a_value_on_the_limit_is_allowed(limit, forbidden):
    assert limit.forbids("cylindrical", {"pressure": 0.7, "standoff": 1.0}) is forbidden


def test_repeats_are_at_todays_setting_or_the_nearest_allowed_one():
    plan = make_plan(trial_with("repeats = 2"))
    today = plan.coupons.query("pressure_bar == 0.7 and standoff_mm == 1.0")
    assert (today.groupby("mount").size() == 3).all()
    trial = trial_with('repeats = 1\nlimits = [{nozzle = "double", factor = "pressure", at_most = 0.6}]')
    plan = make_plan(trial)
    assert any("Nozzle double: today's setting is forbidden" in line for line in told(plan.found))
    twice = plan.coupons.query("nozzle == 'double' and pressure_bar == 0.5 and standoff_mm == 1.0")
    assert (twice.groupby("mount").size() == 2).all()


def test_same_seed_same_plan_another_seed_another():
    plans = [make_plan(trial_with(LIMITS + "\nsheets = 3", seed=seed)) for seed in (7, 7, 8)]
    assert plans[0].coupons.to_csv() == plans[1].coupons.to_csv()
    pd.testing.assert_frame_equal(plans[0].mounts, plans[1].mounts, check_exact=True)
    assert plans[0].found == plans[1].found
    assert plans[0].coupons["coupon"].tolist() != plans[2].coupons["coupon"].tolist()


def test_order_places_and_marks_do_not_know_the_types():
    one = make_plan(trial_with())
    other = make_plan(trial_with(nozzles=[nozzle("x-type", today=True), nozzle("a-type", wall="double", orifice=2.0)]))
    columns = ["coupon", "order", "sheet", "mount", "pressure_bar", "standoff_mm", "x_mm", "y_mm", "edge"]
    pd.testing.assert_frame_equal(one.coupons[columns], other.coupons[columns])
    renamed = one.coupons["nozzle"].map({"cylindrical": "x-type", "double": "a-type"})
    assert renamed.tolist() == other.coupons["nozzle"].tolist()
    # nor do marks sort by type, mount or order: rank correlation with the order within 4 / sqrt(n)
    rank = one.coupons["coupon"].rank().corr(one.coupons["order"])
    assert abs(rank) < 4 / np.sqrt(len(one.coupons))


@pytest.mark.parametrize(
    ("nozzles", "says"),
    [
        (
            [nozzle("cylindrical", today=True), nozzle("double", wall="double", orifice=1.6)],
            ["Every double-wall nozzle here has the larger orifice: wall and orifice cannot be told apart."],
        ),
        ([nozzle("cylindrical", today=True), nozzle("double", wall="double")], []),
        (
            [nozzle("c", today=True), nozzle("d", wall="double", orifice=1.6), nozzle("e", orifice=1.6)],
            [],
        ),
        (
            [nozzle("c", today=True, orifice=2.0), nozzle("d", wall="double"), nozzle("e", wall="double", orifice=1.8)],
            ["Every double-wall nozzle here has the smaller orifice: wall and orifice cannot be told apart."],
        ),
        (
            [nozzle("c", today=True), nozzle("d", wall="double", orifice=1.2), nozzle("e", wall="double", orifice=1.8)],
            [
                "Every double-wall nozzle here has an orifice that no other nozzle has: "
                "wall and orifice cannot be told apart."
            ],
        ),
        (
            [nozzle("c", today=True), nozzle("d", wall="double", plated=True)],
            ["Wall and plating change together in these nozzles and cannot be told apart."],
        ),
        (
            [nozzle("c", today=True, specimens=1), nozzle("d", wall="double", specimens=1)],
            ["One specimen per type: the trial is about these 2 nozzles, not about the types they stand for."],
        ),
        (
            [nozzle("c", today=True), nozzle("d", wall="double", specimens=1)],
            ["One specimen only of d: what is found there holds for that piece, not for its type."],
        ),
    ],
)
def test_what_these_nozzles_cannot_tell_apart(nozzles, says):
    trial = trial_with("sheets = 1", nozzles)
    assert told(confounded(trial)) == says
    assert set(says) <= set(told(make_plan(trial).found))


def test_flow_area_is_named_where_the_orifice_is_equal():
    files = [nozzle("c", today=True) + "flow_area_mm2 = 1.5\n", nozzle("d", wall="double") + "flow_area_mm2 = 2.5\n"]
    assert told(confounded(trial_with(nozzles=files))) == [
        "Every double-wall nozzle here has the larger flow area: wall and flow area cannot be told apart."
    ]


def test_factor_named_like_a_column_and_negative_seed_are_refused():
    text = FILE.format(plan="", nozzles=nozzle("c", today=True), seed=7)
    with pytest.raises(InputError, match="factor 'edge' has the name of a column of the plan"):
        make_plan(parse(text.replace('[factors.standoff]\nunit = "mm"', "[factors.edge]")))
    with pytest.raises(InputError, match="plan.seed.*greater than or equal to 0"):
        make_plan(trial_with(seed=-1))


def test_allowed_settings_and_broken_agree():
    trial = trial_with(LIMITS)
    assert all(broken(trial, "double", setting) is None for setting in allowed_settings(trial, "double"))
    assert len(allowed_settings(trial, "double")) == 6


LADDER = """
[factors.speed]
unit = "m/min"
levels = [0.8, 1.6]
"""


def with_speed(plan):
    text = FILE.format(plan=plan, nozzles=nozzle("c", today=True) + nozzle("d", wall="double"), seed=7)
    start, end = text.index("[factors.standoff]"), text.index("[plan]")
    return parse(text[:start] + LADDER + text[end:])


def test_ladder_raises_speed_in_equal_steps_inside_each_mount():
    plan = make_plan(with_speed('method = "ladder"\ncoupons = 90'))
    # 6 mounts with one ladder per pressure: 18 ladders, so 5 steps each
    for _, one in plan.coupons.groupby(["mount", "pressure_bar"]):
        assert one["speed_m_min"].tolist() == [0.8, 1.0, 1.2, 1.4, 1.6]
        assert one["order"].diff().dropna().eq(1).all()
    firsts = plan.coupons.groupby("mount", sort=False)["pressure_bar"].first()
    assert firsts.nunique() > 1
    assert any("0.8 to 1.6 m/min in 5 equal steps" in line for line in told(plan.found))


def test_ladder_keeps_limits_and_needs_a_speed():
    plan = make_plan(with_speed('method = "ladder"\nlimits = [{nozzle = "d", factor = "speed", at_most = 1.3}]'))
    assert plan.coupons.query("nozzle == 'd'")["speed_m_min"].max() == 1.28
    assert any("Nozzle d: 6 steps of each mount left out by limits." in line for line in told(plan.found))
    with pytest.raises(Infeasible, match="needs a factor named speed"):
        make_plan(trial_with('method = "ladder"'))
    with pytest.raises(Infeasible, match="gives 2 steps to each of 18 ladders"):
        make_plan(with_speed('method = "ladder"\ncoupons = 40'))
    with pytest.raises(Infeasible, match="Nozzle 'd': limits forbid every step|No setting is left for nozzle 'd'"):
        make_plan(with_speed('method = "ladder"\nlimits = [{nozzle = "d", factor = "speed", at_most = 0.7}]'))


def test_life_gives_one_row_per_specimen_at_todays_setting():
    plan = make_plan(trial_with('method = "life"\nmounts_per_specimen = 2\nsheets = 3'))
    assert sorted(plan.coupons["specimen"]) == ["C1", "C2", "C3", "D1", "D2", "D3"]
    assert set(plan.coupons["pressure_bar"]) == {0.7} and set(plan.coupons["standoff_mm"]) == {1.0}


def test_bench_cuts_todays_nozzle_only_over_many_settings():
    plan = make_plan(trial_with('method = "bench"\ncoupons = 12'))
    assert set(plan.coupons["nozzle"]) == {"cylindrical"} and len(plan.mounts) == 1 and len(plan.coupons) == 12
    assert len(plan.coupons[["pressure_bar", "standoff_mm"]].drop_duplicates()) == 9


@pytest.mark.parametrize("aim", ["effects", "prediction"])
def test_optimal_spends_the_budget_within_limits_and_repeats_itself(aim):
    asked = f'method = "optimal"\naim = "{aim}"\ncoupons = 24\nrepeats = 1\nsheets = 3\n{LIMITS}'
    plan = make_plan(trial_with(asked))
    assert len(plan.coupons) == 24 and (plan.coupons.groupby("mount").size() == 4).all()
    assert plan.coupons.query("nozzle == 'double'")["pressure_bar"].max() <= 0.8
    assert (plan.coupons["pressure_bar"] * plan.coupons["standoff_mm"] <= 1.2 + 1e-12).all()
    today = plan.coupons.query("pressure_bar == 0.7 and standoff_mm == 1.0")
    assert today["mount"].nunique() == 6
    if aim == "effects":
        assert plan.coupons.to_csv() == make_plan(trial_with(asked)).coupons.to_csv()


def test_optimal_says_unequal_counts_and_missing_repeats():
    plan = make_plan(trial_with('method = "optimal"\ncoupons = 9'))
    said = " ".join(told(plan.found))
    assert "The types get unequal numbers of coupons" in said
    assert "So few coupons or levels do not carry: pressure x standoff, nozzle x pressure squared" in said
    assert "No expected spread of roughness is given for mount, specimen and coupon" in said


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("", "set plan.coupons to the number"),
        ("coupons = 5", "leaves some of 6 mounts without a coupon"),
        ("coupons = 11\nrepeats = 1", "set it to 12 or more"),
    ],
)
def test_optimal_without_a_workable_budget_is_refused(asked, says):
    with pytest.raises(Infeasible, match=says):
        make_plan(trial_with(f'method = "optimal"\n{asked}'))


def test_limit_corners_by_hand():
    trial = trial_with(LIMITS)
    # product 0.9 x 1.4 = 1.26 > 1.2: back to 1.2 / 1.4 = 0.857 bar, or 1.2 / 0.9 = 1.33 mm (rounded down)
    single = [(s["pressure"], s["standoff"]) for s in limit_corners(trial, "cylindrical")]
    assert single == [(0.857, 1.4), (0.9, 1.33)]
    # 1.25 / 1.4 = 0.8929 and 1.25 / 0.9 = 1.3889 are rounded down, or they would pass the limit
    one = trial_with('limits = [{factors = ["pressure", "standoff"], product_at_most = 1.25}]')
    assert [tuple(s.values()) for s in limit_corners(one, "double")] == [(0.892, 1.4), (0.9, 1.38)]
    # at least 0.55 bar: up from 0.5 to the limit itself
    one = trial_with('limits = [{factor = "pressure", at_least = 0.55}]')
    assert [s["pressure"] for s in limit_corners(one, "double")] == [0.55] * 3
    # 2 x 0.9 + 1.4 = 3.2 > 3: back to 0.8 bar or to 1.2 mm
    one = trial_with('limits = [{factors = ["pressure", "standoff"], weights = [2.0, 1.0], sum_at_most = 3.0}]')
    assert [tuple(s.values()) for s in limit_corners(one, "double")] == [(0.8, 1.4), (0.9, 1.2)]
    # the double wall stops at 0.8 bar for each standoff
    double = {(s["pressure"], s["standoff"]) for s in limit_corners(trial, "double")}
    assert double >= {(0.8, 0.6), (0.8, 1.0), (0.8, 1.4)}
    # two limits that meet between the levels: 0.85 bar and 1.1 / 0.85 = 1.294 mm
    one = trial_with(
        'limits = [{factor = "pressure", at_most = 0.85}, {factors = ["pressure", "standoff"], product_at_most = 1.1}]'
    )
    assert (0.85, 1.29) in [tuple(s.values()) for s in limit_corners(one, "double")]


def test_an_adopted_table_has_no_plan_to_choose():
    with pytest.raises(Infeasible, match="'adopted' chooses no coupons"):
        make_plan(trial_with('method = "adopted"'))
