"""What each method of planning decides and says, by hand: ladders, lives, pilots, fractions, surfaces, dealt ones."""

from pathlib import Path

import pandas as pd
import pytest
from plan.test_coded_methods import FILE, LENS
from tests_support import SMALL_TEXT

from trials.errors import Infeasible, WrongArgument
from trials.findings import Amount
from trials.plan.assess import assess
from trials.plan.assess.gain import gain_of_repeats
from trials.plan.choose import make_plan
from trials.plan.classical.plans import alias_groups, box_behnken, central_composite, fraction, full_factorial
from trials.plan.extend import ExtensionKind, ExtensionRequest, SettlingBlock, extend, settling_block, there
from trials.plan.kinds import PlanKind
from trials.plan.methods.budget import candidates
from trials.plan.methods.plain import mount_rows, with_repeats
from trials.trial import parse

PRESSURE = '[factors.pressure]\nunit = "bar"\nlevels = [0.5, 0.7, 0.9]\ntoday = 0.7\n'
SPEED = '[factors.speed]\nunit = "m/min"\nlevels = [1.0, 2.0]\n'
THICKNESS = '[factors.thickness]\nunit = "mm"\nlevels = [{}]\n'


def trial_of(factors=PRESSURE, plan="", text=FILE):
    return parse(text.format(factors=factors, plan=plan))


def planned(factors=PRESSURE, plan="", text=FILE):
    return make_plan(trial_of(factors, plan, text))


def of_kind(plan, kind):
    return [found for found in plan.found if found.kind is kind]


# ---- ladders and lives -----------------------------------------------------------------------------------------------


def test_a_ladder_of_thickness_climbs_the_listed_sheets():
    text = FILE.replace("thickness_mm = 8.0\n", "")
    plan = planned(THICKNESS.format("4, 6, 10") + LENS, 'method = "ladder"', text)
    for _, mount in plan.coupons.groupby("mount"):
        assert mount["thickness_mm"].tolist() == [4, 6, 10] * 2
        assert [sheet.split("-")[1] for sheet in mount["sheet"]] == ["4", "6", "10"] * 2
    (steps,) = of_kind(plan, PlanKind.LADDER_SHEETS)
    assert steps.facts == {"low": Amount(4.0, "mm"), "high": Amount(10.0, "mm"), "steps": 3}
    with pytest.raises(Infeasible, match="three thicknesses or more"):
        planned(THICKNESS.format("4, 6"), 'method = "ladder"', text)


@pytest.mark.parametrize(
    ("plan", "steps"), [("", 6), ("coupons = 12", 3), ("coupons = 15", 3), ("coupons = 28", 7), ("coupons = 27", 6)]
)
def test_a_ladder_of_speed_has_as_many_steps_as_the_budget_buys(plan, steps):
    """Four mounts, one ladder in each; six steps where no budget is stated."""
    made = planned(SPEED, f'method = "ladder"\n{plan}')
    rungs = [round(1.0 + i / (steps - 1), 10) for i in range(steps)]
    assert all(mount["speed_m_min"].tolist() == rungs for _, mount in made.coupons.groupby("mount"))
    (said,) = of_kind(made, PlanKind.LADDER_STEPS)
    assert said.facts["steps"] == steps
    with pytest.raises(Infeasible, match="set plan.coupons to 12 or more"):
        planned(SPEED, 'method = "ladder"\ncoupons = 11')


def test_more_levels_than_six_are_as_many_steps():
    levels = SPEED.replace("[1.0, 2.0]", "[1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2]")
    assert len(planned(levels, 'method = "ladder"').coupons) == 4 * 7


def test_types_with_few_mounts_for_a_ladder_are_named():
    (said,) = of_kind(planned(SPEED, 'method = "ladder"'), PlanKind.LADDER_FEW_MOUNTS)
    assert said.facts == {"mounts": (("single", 2), ("double", 2)), "enough": 6}
    enough = planned(SPEED, 'method = "ladder"\nmounts_per_specimen = 3')
    assert of_kind(enough, PlanKind.LADDER_FEW_MOUNTS) == []


def test_steps_that_a_limit_forbids_are_counted():
    limits = 'limits = [{ nozzle = "double", factor = "speed", at_most = 1.6 }]'
    plan = planned(SPEED, f'method = "ladder"\n{limits}')
    lost = of_kind(plan, PlanKind.LADDER_STEPS_LEFT_OUT)
    # of 1.0, 1.2 ... 2.0 the last two, in each of the two mounts of that type
    assert [(found.about.nozzle, found.facts["count"]) for found in lost] == [("double", 2)]
    own = plan.coupons[plan.coupons["nozzle"] == "double"]
    assert own["speed_m_min"].max() == 1.6 and len(own) == 2 * 4
    with pytest.raises(Infeasible, match="No setting is left for nozzle 'double'"):
        planned(SPEED, 'method = "ladder"\nlimits = [{ nozzle = "double", factor = "speed", at_most = 0.9 }]')


def test_a_life_is_used_up_at_the_nearest_setting_that_is_allowed():
    limits = 'limits = [{ nozzle = "double", factor = "pressure", at_most = 0.6 }]'
    plan = planned(PRESSURE, f'method = "life"\nmounts_per_specimen = 3\n{limits}')
    assert len(plan.mounts) == 4  # one each, whatever the number of mounts
    assert plan.coupons.set_index("nozzle")["pressure_bar"].to_dict() == {"single": 0.7, "double": 0.5}
    (moved,) = of_kind(plan, PlanKind.LIFE_MOVED)
    assert (moved.about.nozzle, moved.facts["setting"]) == ("double", (("pressure", Amount(0.5, "bar")),))


def test_a_bench_study_goes_round_the_settings():
    plan = planned(PRESSURE, 'method = "bench"')
    counts = plan.coupons["pressure_bar"].value_counts()
    assert len(plan.coupons) == 10 and counts.min() == 3 and counts.max() == 4
    assert set(plan.coupons["specimen"]) == {"C1"}
    (said,) = of_kind(plan, PlanKind.BENCH_STUDY)
    assert said.facts == {"coupons": 10, "settings": 3}
    few = planned(PRESSURE, 'method = "bench"\ncoupons = 2')
    assert of_kind(few, PlanKind.BENCH_STUDY)[0].facts == {"coupons": 2, "settings": 2}


# ---- whole and dealt plans -------------------------------------------------------------------------------------------


def test_a_budget_that_is_not_used_is_said():
    (said,) = of_kind(planned(PRESSURE, "coupons = 20"), PlanKind.BUDGET_UNUSED)
    assert (said.facts["asked"], said.facts["coupons"]) == (20, 12)
    assert of_kind(planned(PRESSURE, "coupons = 12"), PlanKind.BUDGET_UNUSED) == []


def test_repeats_join_todays_setting_of_the_crossing():
    trial = trial_of(PRESSURE, "repeats = 2")
    runs = with_repeats(trial, "single", [{"pressure": p} for p in (0.5, 0.7, 0.9)])
    assert [s["pressure"] for s in runs.settings] == [0.5, 0.7, 0.9, 0.7, 0.7] and runs.spread == (1, 3, 4)
    assert with_repeats(trial_of(), "single", [{"pressure": 0.5}]).spread == ()


def test_repeats_that_had_to_move_are_named():
    limits = 'limits = [{ nozzle = "double", factor = "pressure", at_most = 0.6 }]'
    (said,) = of_kind(planned(PRESSURE, f"repeats = 1\n{limits}"), PlanKind.REPEATS_MOVED)
    assert said.about.nozzle == "double"
    assert of_kind(planned(PRESSURE, limits), PlanKind.REPEATS_MOVED) == []


def test_dealt_coupons_share_the_other_settings_out():
    """Two mounts of a type, three coupons each, one of them today's: the other two settings fall once on each mount."""
    plan = planned(PRESSURE, "coupons_per_mount = 3\nrepeats = 1")
    for _, own in plan.coupons.groupby("mount"):
        assert sorted(own["pressure_bar"]) == [0.5, 0.7, 0.9]
    plan = planned(PRESSURE, "coupons_per_mount = 2\nrepeats = 1")
    for _, own in plan.coupons.groupby("nozzle"):
        assert sorted(own["pressure_bar"]) == [0.5, 0.7, 0.7, 0.9]
    (said,) = of_kind(plan, PlanKind.SETTINGS_DEALT)
    assert said.facts == {"each": 2, "repeats": 1, "settings": 3}
    alone = planned("", "coupons_per_mount = 2\nrepeats = 1")  # nothing to deal: every coupon at today's setting
    assert len(alone.coupons) == 8


# ---- fractions, surfaces, pilots -------------------------------------------------------------------------------------


def test_words_are_the_ends_of_a_fraction():
    plan = planned(PRESSURE + SPEED + LENS, 'method = "fraction"\ngenerators = ["lens = pressure x speed"]')
    own = plan.coupons[plan.coupons["mount"] == "M01"]
    found = {(p, s, w) for p, s, w in own[["pressure_bar", "speed_m_min", "lens"]].to_numpy()}
    # plus is the second word: new where pressure and speed are both low or both high
    assert found == {(0.5, 1.0, "new"), (0.9, 2.0, "new"), (0.5, 2.0, "old"), (0.9, 1.0, "old")}
    (said,) = of_kind(plan, PlanKind.FRACTION)
    assert said.facts == {"settings": 4, "resolution": 3}
    aliases = [found.facts["effects"] for found in of_kind(plan, PlanKind.ALIASES)]
    assert ((("pressure",), 1), (("speed", "lens"), 1)) in aliases and len(aliases) == 3


def test_aliases_carry_their_signs():
    groups = alias_groups(fraction("ABC", {"C": "AB"}, minus="C"))
    assert {tuple((e.factors, e.sign) for e in group) for group in groups} == {
        ((("A",), 1), (("B", "C"), -1)),
        ((("B",), 1), (("A", "C"), -1)),
        ((("C",), 1), (("A", "B"), -1)),
    }
    singles = alias_groups(fraction("ABC", {"C": "AB"}), order=1)
    assert [len(group) for group in singles] == [1, 1, 1]
    assert str(groups[0][1]) == "B x C"


def test_a_pilot_says_which_corners_it_leaves_out():
    limits = 'limits = [{ nozzle = "double", factor = "pressure", at_most = 0.8 }]'
    plan = planned(PRESSURE + SPEED, f'method = "pilot"\n{limits}')
    (lost,) = of_kind(plan, PlanKind.CORNERS_LEFT_OUT)
    assert (lost.about.nozzle, lost.facts) == ("double", {"count": 2, "of": 4})
    sizes = plan.coupons.groupby(["nozzle", "mount"]).size().groupby("nozzle").unique()
    assert {kind: list(n) for kind, n in sizes.items()} == {"single": [4 + 2], "double": [2 + 2]}
    assert set(planned("", 'method = "pilot"').coupons.groupby("mount").size()) == {2}


@pytest.mark.parametrize(("count", "corners"), [(1, 2), (2, 4), (3, 4), (4, 8)])
def test_a_pilot_cuts_as_many_corners_as_tell_its_factors_apart(count, corners):
    names = ("pressure", "speed", "standoff", "focus")[:count]
    factors = "".join(f"[factors.{name}]\nlevels = [1.0, 2.0]\n" for name in names)
    sizes = planned(factors, 'method = "pilot"').coupons.groupby("mount").size()
    assert set(sizes) == {corners + 2}


def test_a_surface_takes_the_plan_that_limits_allow():
    corners = planned(PRESSURE + SPEED, 'method = "surface"')
    (said,) = of_kind(corners, PlanKind.SURFACE)
    assert said.facts == {"settings": 9, "where": "corners"}
    three = PRESSURE + SPEED + '[factors.standoff]\nunit = "mm"\nlevels = [0.6, 1.4]\n'
    cut = 'limits = [{ factors = ["pressure", "speed", "standoff"], product_at_most = 2.2 }]'
    (edges,) = of_kind(planned(three, f'method = "surface"\n{cut}'), PlanKind.SURFACE)
    assert edges.facts == {"settings": 13, "where": "edges"}  # twelve edges and the middle


def test_composites_are_refused_or_completed():
    with pytest.raises(WrongArgument, match="centre points"):
        central_composite("AB", centre=-1)
    with pytest.raises(WrongArgument, match="centre points"):
        central_composite("AB", centre=1.5)
    assert len(central_composite("AB", centre=0).runs) == 8
    # five factors: half of 32 corners has resolution V; ten axial runs; the distance of a rotatable plan is 16^(1/4)
    five = central_composite("ABCDE", "rotatable", centre=2)
    assert five.corners == 16 and len(five.runs) == 16 + 10 + 2 and five.distance == 2.0
    own = central_composite("ABCDE", corners=fraction("ABCDE", {"E": "ABCD"}), centre=1)
    assert own.corners == 16 and own.distance == 1.0
    assert len(box_behnken("ABC", centre=0).runs) == 12
    assert full_factorial({"A": 2, "B": 3}).runs.tolist() == [[a, b] for b in (-1, 0, 1) for a in (-1, 1)]


def test_a_factor_with_one_level_is_no_column_of_the_choice():
    one = '[factors.focus]\nunit = "mm"\nlevels = [4.0]\n'
    with_one, without = (
        candidates(trial_of(f, 'method = "optimal"\ncoupons = 8'), 8) for f in (PRESSURE + one, PRESSURE)
    )
    assert with_one.coordinates.shape == without.coordinates.shape == (6, 2)
    assert [term.name for term in with_one.model.terms] == [term.name for term in without.model.terms]
    alone = FILE.replace('[[nozzles]]\ntype = "double"\nspecimens = ["D1", "D2"]\n', "")
    with pytest.raises(Infeasible, match="nothing to choose"):
        candidates(trial_of("", 'method = "optimal"\ncoupons = 8', alone), 8)


# ---- further blocks --------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def cut():
    trial = trial_of()
    return trial, make_plan(trial)


def test_retired_pieces_are_not_mounted_again(cut):
    trial, _ = cut
    assert there(trial, "double", frozenset({"D1", "C1"})) == ("D2",)
    with pytest.raises(Infeasible, match="Every specimen of 'double' is retired"):
        there(trial, "double", frozenset({"D1", "D2"}))


def test_settings_may_be_confirmed_type_by_type(cut):
    trial, plan = cut
    asked = ExtensionRequest(ExtensionKind.CONFIRM, by_type={"single": {"pressure": 0.6}, "double": {}})
    more = extend(trial, plan.coupons, plan.mounts, asked)
    assert more.coupons.groupby("nozzle")["pressure_bar"].unique().map(list).to_dict() == {
        "single": [0.6],
        "double": [0.7],
    }
    assert more.coupons["order"].tolist() == list(range(13, 17))


def test_a_type_that_was_never_planned_cannot_be_repeated(cut):
    trial, plan = cut
    bare = plan.coupons[plan.coupons["nozzle"] == "single"]
    with pytest.raises(Exception, match="nothing was planned for this nozzle so far"):
        extend(trial, bare, plan.mounts, ExtensionRequest(ExtensionKind.REPEAT_MOUNTS))


def test_mounts_and_blocks_go_on_after_labels_of_any_kind(cut):
    trial, plan = cut
    old = plan.mounts.assign(mount=["M03", "M9", "x", "M01"], sheet="cellar")
    pieces = {"single": ["C1"], "double": ["D9"]}
    block = settling_block(trial, plan.coupons.drop(columns="block"), old, SettlingBlock(pieces, 2, 1, 1))
    assert block.mounts["mount"].tolist() == ["M10", "M11"]  # after M9
    assert set(block.mounts["sheet"]) == {"S2"}  # one sheet so far, whatever it is called
    assert set(block.coupons["block"]) == {2} and block.coupons["order"].min() == 13
    assert set(block.mounts["specimen"]) == {"C1", "D9"}


def test_nothing_is_gained_where_no_spread_is_above_zero():
    only_sheets = SMALL_TEXT.split('specimen = "8 %"')[0] + 'sheet = "8 %"\n'
    trial = parse(only_sheets)
    coupons = pd.DataFrame({"nozzle": ["double"] * 2, "specimen": ["D1", "D2"], "mount": ["M1", "M2"]})
    assert [f.kind for f in gain_of_repeats(trial, coupons, coupons)] == [PlanKind.GAIN_SPREADS_ZERO]
    dross = parse(SMALL_TEXT.split("[responses.roughness]")[0] + "[responses.dross]\nprimary = true\nworthwhile = 1\n")
    assert [f.kind for f in gain_of_repeats(dross, coupons, coupons)] == [PlanKind.GAIN_NO_SPREAD]


# ---- judged before cutting -------------------------------------------------------------------------------------------


def test_a_life_trial_is_told_the_ratio_that_it_sees_or_what_is_missing():
    ready = (Path(__file__).parents[2] / "designs" / "nozzle-life.toml").read_text(encoding="utf-8")
    kinds = []
    for changed in (ready, ready.replace('specimen = "35 %"\n', "")):
        trial = parse(changed)
        kinds.append([found.kind for found in assess(trial, make_plan(trial)).found])
    assert kinds == [[PlanKind.LIFE_RATIO], [PlanKind.LIFE_SPREAD_UNKNOWN]]


def test_mounts_are_named_in_the_order_of_fitting():
    mounts = pd.DataFrame({"mount": ["M02", "M01"], "nozzle": ["b", "a"]})
    assert mount_rows(mounts) == [("M02", "b"), ("M01", "a")]
