"""Going on with a trial that was cut."""

import numpy as np
import pandas as pd
import pytest
from tests_support import told

from trials.errors import Infeasible, InputError
from trials.plan.choose import make_plan
from trials.plan.extend import ExtensionKind, ExtensionRequest, axial_settings, extend
from trials.trial import parse

FILE = """
[trial]
title = "t"
question = "q"
[application]
material = "S235"
thickness_mm = 12.0
gas = "oxygen"
[[nozzles]]
type = "single"
specimens = ["C1", "C2", "C3", "C4"]
today = true
[[nozzles]]
type = "double"
specimens = ["D1", "D2", "D3", "D4"]
[[nozzles]]
type = "plated"
specimens = ["P1", "P2", "P3", "P4"]
[factors.pressure]
unit = "bar"
levels = [0.5, 0.9]
today = 0.7
[factors.standoff]
unit = "mm"
levels = [0.6, 1.4]
today = 1.0
[factors.lens]
levels = ["old", "new"]
today = "new"
[plan]
sheets = 2
repeats = 1
seed = 4
limits = [{ nozzle = "double", factor = "pressure", at_most = 0.8 }]
[responses.roughness]
primary = true
worthwhile = "15 %"
"""


def extended(trial, plan, kind, **more):
    return extend(trial, plan.coupons, plan.mounts, ExtensionRequest(ExtensionKind(kind), **more))


@pytest.fixture(scope="module")
def trial():
    return parse(FILE)


@pytest.fixture(scope="module")
def cut(trial):
    return make_plan(trial)


def test_repeat_mounts_cut_the_same_settings_in_new_mounts_on_new_sheets(trial, cut):
    more = extended(trial, cut, "repeat mounts", seed=9)
    assert set(more.coupons["block"]) == {2}
    assert more.coupons["order"].tolist() == list(range(len(cut.coupons) + 1, len(cut.coupons) + len(more.coupons) + 1))
    assert not set(more.coupons["coupon"]) & set(cut.coupons["coupon"])
    assert more.mounts["mount"].tolist() == [f"M{i}" for i in range(13, 25)]
    assert more.sheets["sheet"].tolist() == ["S3", "S4"]
    columns = ["nozzle", "specimen", "pressure_bar", "standoff_mm", "lens"]
    old, new = (
        frame[columns].drop_duplicates().sort_values(columns).to_numpy() for frame in (cut.coupons, more.coupons)
    )
    assert (old == new).all()
    assert more.coupons.columns.tolist() == cut.coupons.columns.tolist()
    assert (pd.crosstab(more.mounts["nozzle"], more.mounts["sheet"]) == 2).all().all()


def test_a_third_block_counts_on(trial, cut):
    second = extended(trial, cut, "repeat mounts", seed=9)
    coupons, mounts = pd.concat([cut.coupons, second.coupons]), pd.concat([cut.mounts, second.mounts])
    third = extend(trial, coupons, mounts, ExtensionRequest(ExtensionKind.AXIAL, nozzles=["plated"], seed=10))
    assert set(third.coupons["block"]) == {3} and third.mounts["mount"].tolist() == ["M25", "M26", "M27", "M28"]
    assert third.sheets["sheet"].tolist() == ["S5", "S6"]
    assert not set(third.coupons["coupon"]) & set(coupons["coupon"])


def test_repeats_of_one_type_bring_todays_along(trial, cut):
    more = extended(trial, cut, "repeat mounts", nozzles=["plated"], seed=9)
    assert set(more.mounts["nozzle"]) == {"single", "plated"}


def test_axial_points_by_hand(trial, cut):
    points = [(s["pressure"], s["standoff"], s["lens"]) for s in axial_settings(trial)]
    assert points == [(0.7, 1.0, "new"), (0.5, 1.0, "new"), (0.9, 1.0, "new"), (0.7, 0.6, "new"), (0.7, 1.4, "new")]
    more = extended(trial, cut, "axial", seed=9)
    per_mount = more.coupons.groupby(["nozzle", "mount"]).size().groupby("nozzle").unique()
    assert {k: list(v) for k, v in per_mount.items()} == {"single": [5], "plated": [5], "double": [4]}
    assert any("pressure 0.9 bar, standoff 1 mm, lens new left out by the limit" in line for line in told(more.found))


def test_confirmation_at_named_settings(trial, cut):
    named = [{"pressure": 0.65, "standoff": 0.8}, {"lens": "old"}]
    more = extended(trial, cut, "confirm", settings=named, nozzles=["double"], seed=2)
    assert sorted(map(tuple, more.coupons[["pressure_bar", "standoff_mm", "lens"]].drop_duplicates().to_numpy())) == [
        (0.65, 0.8, "new"),
        (0.7, 1.0, "old"),
    ]
    assert set(more.mounts["specimen"]) == {"D1", "D2", "D3", "D4"} and len(more.coupons) == 8


def test_same_seed_same_extension(trial, cut):
    one, two = (extended(trial, cut, "repeat mounts", seed=9) for _ in range(2))
    assert one.coupons.to_csv() == two.coupons.to_csv() and one.found == two.found


@pytest.mark.parametrize(
    ("arguments", "error", "says"),
    [
        ({"kind": "axial", "nozzles": ["triple"]}, InputError, "no such nozzle type; found 'triple'"),
        ({"kind": "axial", "seed": -1}, InputError, "the seed is negative"),
        ({"kind": "confirm"}, InputError, "no setting is named to confirm"),
        ({"kind": "confirm", "settings": [{"speed": 1.0}]}, InputError, "no such factor; found 'speed'"),
        ({"kind": "confirm", "settings": [{"lens": "worn"}]}, InputError, "no such level of lens; found 'worn'"),
        ({"kind": "confirm", "settings": [{"pressure": "high"}]}, InputError, "pressure needs a number"),
        ({"kind": "confirm", "settings": [{"pressure": float("nan")}]}, InputError, "pressure needs a number"),
        (
            {"kind": "confirm", "settings": [{"pressure": 0.9}], "nozzles": ["double"]},
            Infeasible,
            "Limits forbid every setting asked of nozzle 'double'",
        ),
    ],
)
def test_what_cannot_be_added_is_refused(trial, cut, arguments, error, says):
    with pytest.raises(error, match=says):
        extended(trial, cut, **arguments)


def test_axial_points_need_numbers():
    text = FILE.replace("levels = [0.5, 0.9]", "levels = [0.7]").replace("levels = [0.6, 1.4]", "levels = [1.0]")
    with pytest.raises(Infeasible, match="two numbers or more"):
        axial_settings(parse(text))


EXPECTED = """
[responses.roughness.expected]
level = 30.0
specimen = "8 %"
mount = "5 %"
coupon = "10 %"
"""


def said_of(plan, word):
    return next(line for line in told(plan.found) if line.startswith(word) or "gain" in line)


def test_gain_of_repeat_mounts_by_hand():
    trial = parse(FILE + EXPECTED)
    cut = make_plan(trial)
    more = extended(trial, cut, "repeat mounts", seed=9)
    # single: 4 specimens, 4 mounts of 9 coupons (8 and a repeat), then 4 more of 8 (the repeat, at a setting between
    # the levels, is a ninth one and cut again); spreads are log 1.08, log 1.05, log 1.10
    piece, mount, coupon = (np.log1p(x) ** 2 for x in (0.08, 0.05, 0.10))
    then, now = (piece / 4 + mount / m + coupon / n for m, n in ((4, 36), (8, 72)))
    fall, share = 100 * (1 - np.sqrt(now / then)), 100 * piece / 4 / now
    line = said_of(more, "Gain by the expected spreads")
    assert f"mean roughness falls by {fall:.0f} % (single)" in line
    assert f"{share:.0f} % of the variance left lies between specimens" in line


def test_gain_is_not_stated_without_expected_spreads(trial, cut):
    more = extended(trial, cut, "repeat mounts", seed=9)
    assert "The gain cannot be stated: no expected spread is given for a primary response." in told(more.found)


def test_gain_of_axial_points_and_of_confirmation(trial, cut):
    # repeats at 0.7 bar and 1.0 mm gave a third level already
    assert "could be estimated before" in said_of(extended(trial, cut, "axial", seed=9), "Gain")
    bare = parse(FILE.replace("repeats = 1", "repeats = 0"))
    first = make_plan(bare)
    line = said_of(extended(bare, first, "axial", seed=9), "Gain")
    assert line == "Gain: curvature over pressure and standoff, which two levels could not show, can be estimated."
    more = extended(trial, cut, "confirm", settings=[{}], seed=2)
    # all 4 of 4 succeed: 0.05^(1/4) = 0.473
    assert "if all 4 coupons of a type meet the requirement, its chance to do so is above 47 %" in said_of(more, "Gain")
