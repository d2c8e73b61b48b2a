"""Mounts on sheets and over the day, coupons inside a mount, positions, marks."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests_support import told

from trials.errors import Infeasible
from trials.findings import Amount
from trials.plan.kinds import PlanKind
from trials.plan.layout import (
    EDGES,
    LayoutRequest,
    MountRequest,
    MountRuns,
    _far_apart,
    _places,
    _refuse_disconnected,
    _side,
    _without_neighbours,
    coupon_marks,
    gap_mm,
    grid,
    lay_out,
    margin_mm,
    needs_tabs,
    place_mounts,
    sheet_balance,
)
from trials.trial import parse

FILE = """
[trial]
title = "t"
question = "q"
[application]
material = "S235"
thickness_mm = {thickness}
gas = "oxygen"
[[nozzles]]
type = "a"
specimens = ["A1", "A2"]
today = true
[[nozzles]]
type = "b"
specimens = ["B1", "B2"]
[factors.pressure]
unit = "bar"
levels = [0.5, 0.7, 0.9]
[plan]
seed = 3
[coupon]
{coupon}
[responses.roughness]
primary = true
worthwhile = "15 %"
"""


def trial_with(coupon="", thickness=12.0):
    return parse(FILE.format(coupon=coupon, thickness=thickness))


def pieces(types, specimens):
    return {f"t{i}": [f"t{i}s{j}" for j in range(specimens)] for i in range(types)}


def laid(trial, per_mount, seed=0, **more):
    rng = np.random.default_rng(seed)
    mounts = place_mounts(MountRequest({n.type: n.specimens for n in trial.nozzles}, 1, 1), rng)
    setting = ({"pressure": 0.5}, {"pressure": 0.7}, {"pressure": 0.9})
    runs = {m: MountRuns(tuple(setting[i % 3] for i in range(per_mount)), **more) for m in mounts["mount"]}
    return lay_out(trial, LayoutRequest(mounts, runs), rng)


@settings(max_examples=60, deadline=None)
@given(types=st.integers(1, 5), specimens=st.integers(1, 6), rounds=st.integers(1, 3), sheets=st.integers(1, 6))
def test_mounts_balance_over_sheets_and_time(types, specimens, rounds, sheets):
    per_type = specimens * rounds
    if sheets > per_type:
        return
    mounts = place_mounts(
        MountRequest(pieces(types, specimens), rounds, sheets), np.random.default_rng(types + 7 * specimens)
    )
    assert len(mounts) == types * per_type
    assert (mounts.groupby("specimen").size() == rounds).all()
    counts = pd.crosstab(mounts["nozzle"], mounts["sheet"])
    assert counts.shape == (types, sheets)
    # each type within one on all sheets, equal where the count divides
    assert ((counts.max(axis=1) - counts.min(axis=1)) <= (per_type % sheets > 0)).all()
    assert bool(sheet_balance(mounts)) == (per_type % sheets > 0)
    # sheets are loaded once: the sheet changes as often as there are further sheets
    assert (mounts["sheet"] != mounts["sheet"].shift()).sum() == sheets
    assert mounts["mount"].is_unique and (mounts["order"].diff().dropna() == 1).all()
    if per_type % sheets == 0:
        for start in range(0, len(mounts), types):
            assert set(mounts["nozzle"][start : start + types]) == {f"t{i}" for i in range(types)}


@pytest.mark.parametrize(("specimens", "rounds", "sheets"), [(3, 2, 3), (3, 3, 3), (2, 2, 4), (4, 2, 2), (1, 3, 3)])
def test_further_mounts_of_a_specimen_go_to_other_sheets(specimens, rounds, sheets):
    for seed in range(10):
        mounts = place_mounts(MountRequest(pieces(2, specimens), rounds, sheets), np.random.default_rng(seed))
        assert (mounts.groupby("specimen")["sheet"].nunique() == min(rounds, sheets)).all()


def test_first_place_of_the_day_falls_on_every_type():
    first = [place_mounts(MountRequest(pieces(3, 2), 1, 2), np.random.default_rng(s))["nozzle"][0] for s in range(300)]
    # 300 draws at 1/3 each: 100 +- 8; bounds of 4 standard deviations
    assert all(67 < first.count(f"t{i}") < 133 for i in range(3))


@pytest.mark.parametrize(
    ("types", "sheets", "says"),
    [(2, 3, "2 mounts cannot fill 3 sheets"), (3, 2, "nozzle and sheet cannot be told apart")],
)
def test_sheets_that_cannot_be_told_from_nozzles_are_refused(types, sheets, says):
    with pytest.raises(Infeasible, match=says):
        place_mounts(MountRequest(pieces(types, 1), 1, sheets), np.random.default_rng(1))


def test_unequal_shares_are_said():
    mounts = place_mounts(MountRequest(pieces(2, 3), 1, 2), np.random.default_rng(1))
    assert "Nozzle t0: 3 mounts do not divide over 2 sheets" in told(sheet_balance(mounts))[0]


@pytest.mark.parametrize("per_mount", [2, 9, 20])
def test_consecutive_coupons_keep_the_distance_that_is_stated(per_mount):
    coupons, found = laid(trial_with(), per_mount)
    stated = next(one.facts["distance"].value for one in found if one.kind is PlanKind.DISTANCE)
    steps = np.hypot(coupons["x_mm"].diff(), coupons["y_mm"].diff()).dropna()
    assert stated <= steps.min() < stated + 1
    # two pitches of 60 + 12 mm can be held on these sheets
    assert steps.min() >= 2 * 72 - 1e-9


@pytest.mark.parametrize("coupon", ["", "sheet_length_mm = 400\nsheet_width_mm = 300", "length_mm = 35"])
def test_coupons_lie_on_the_sheet_and_do_not_overlap(coupon):
    trial = trial_with(coupon)
    coupons, _ = laid(trial, 5)
    size, gap = trial.coupon, gap_mm(trial)
    assert (coupons["x_mm"] >= 15).all() and (coupons["x_mm"] + size.length_mm <= size.sheet_length_mm - 15).all()
    assert (coupons["y_mm"] >= 15).all() and (coupons["y_mm"] + size.width_mm <= size.sheet_width_mm - 15).all()
    x, y = coupons["x_mm"].to_numpy(), coupons["y_mm"].to_numpy()
    apart = (abs(x[:, None] - x) >= size.length_mm + gap - 1e-9) | (abs(y[:, None] - y) >= size.width_mm + gap - 1e-9)
    assert apart[~np.eye(len(x), dtype=bool)].all()


def test_grid_counts_by_hand():
    # along: 15 + 3 * 60 + 2 * 12 + 15 = 234, a fourth needs 306; across: 15 + 3 * 40 + 2 * 12 + 15 = 174, 4 need 226
    assert len(grid(trial_with("sheet_length_mm = 300\nsheet_width_mm = 200"))) == 9
    # 20 mm thick, gap and margin 20 mm: three across need exactly 20 + 3 * 40 + 2 * 20 + 20 = 200 mm
    assert len(grid(trial_with("sheet_length_mm = 300\nsheet_width_mm = 200", thickness=20.0))) == 9
    assert len(grid(trial_with("sheet_length_mm = 300\nsheet_width_mm = 199.9", thickness=20.0))) == 6


def test_too_many_coupons_for_a_sheet_is_refused_with_the_numbers():
    with pytest.raises(Infeasible, match=r"Sheet S1 needs 12 coupons of 60 x 40 mm, but 300 x 200 mm holds 9 with 12"):
        laid(trial_with("sheet_length_mm = 300\nsheet_width_mm = 200"), 3)


def test_edges_and_directions_are_balanced_in_each_mount_and_over_mounts_of_a_setting():
    coupons, _ = laid(trial_with(), 8)
    for _, mount in coupons.groupby("mount"):
        assert mount["edge"].value_counts().to_dict() == dict.fromkeys(EDGES, 2)
        assert set(mount.groupby("edge")["cut_direction"].nunique()) == {2}
    coupons, _ = laid(trial_with(), 3)
    assert (coupons.groupby(["nozzle", "pressure_bar"])["edge"].nunique() == 2).all()


def test_repeats_are_spread_through_the_mount():
    runs = {"spread": (1, 8, 9)}
    for seed in range(20):
        trial = trial_with()
        rng = np.random.default_rng(seed)
        mounts = place_mounts(MountRequest({"a": ["A1"]}, 1, 1), rng)
        settings_ = tuple({"pressure": 0.7 if i in runs["spread"] else 0.5} for i in range(12))
        coupons, _ = lay_out(trial, LayoutRequest(mounts, {"M01": MountRuns(settings_, **runs)}), rng)
        at = np.flatnonzero(coupons["pressure_bar"] == 0.7)
        assert [list(part).count(True) for part in np.array_split(np.isin(np.arange(12), at), 3)] == [1, 1, 1]


def test_a_ladder_keeps_its_order():
    coupons, _ = laid(trial_with(), 3, as_listed=True)
    assert coupons["pressure_bar"].tolist() == [0.5, 0.7, 0.9] * 4


def test_marks_are_unique_plain_and_unlike_numbers():
    marks = coupon_marks(500, np.random.default_rng(5))
    assert len(set(marks)) == 500
    assert not set("".join(marks)) & set("0O1IL5S8B2ZQ")
    assert all(len(m) == 3 and m[0].isalpha() and m[1].isdigit() and m[2].isalpha() for m in marks)
    more = coupon_marks(900, np.random.default_rng(5), taken=marks)
    assert len(set(marks) | set(more)) == 1400
    with pytest.raises(Infeasible, match="more than there are marks"):
        coupon_marks(20000, np.random.default_rng(5))


def test_marks_grow_by_a_digit_when_few_are_left_and_are_used_to_the_last():
    # 18 letters and 5 digits: 18 x 5 x 18 = 1620 marks of three, 8100 of four
    longer = coupon_marks(811, np.random.default_rng(5))
    assert {len(mark) for mark in longer} == {4}
    assert {len(mark) for mark in coupon_marks(810, np.random.default_rng(5))} == {3}
    assert len(set(coupon_marks(8100, np.random.default_rng(5)))) == 8100
    with pytest.raises(Infeasible):
        coupon_marks(8101, np.random.default_rng(5))


@pytest.mark.parametrize(("coupon", "tabs"), [("", True), ("slat_pitch_mm = 40", True), ("slat_pitch_mm = 39", False)])
def test_coupon_not_wider_than_the_slat_pitch_keeps_a_joint(coupon, tabs):
    trial = trial_with(coupon)
    _, found = laid(trial, 3)
    assert needs_tabs(trial) is tabs
    assert any("micro-joint" in line for line in told(found)) is tabs


@pytest.mark.parametrize("seed", range(8))
def test_one_coupon_on_a_sheet_of_one_row_takes_the_first_place(seed):
    cells = np.array([[10.0, 5.0], [40.0, 5.0], [70.0, 5.0]])
    # as many columns as the coupons need, so that what is left of the sheet stays in one piece
    assert _far_apart(cells, 1, 30.0, np.random.default_rng(seed)).tolist() == [[10.0, 5.0]]


@pytest.mark.parametrize(("thickness", "gap", "margin"), [(8.0, 10.0, 15.0), (12.0, 12.0, 15.0), (20.0, 20.0, 20.0)])
def test_gap_and_margin_are_the_thickness_or_the_least(thickness, gap, margin):
    trial = trial_with(thickness=thickness)
    assert (gap_mm(trial), margin_mm(trial)) == (gap, margin)


def test_places_run_column_by_column_from_the_left():
    # margin 15 mm, then 60 and 12 mm along, 40 and 12 mm across
    by_hand = [[x, y] for x in (15.0, 87.0, 159.0) for y in (15.0, 67.0, 119.0)]
    assert grid(trial_with("sheet_length_mm = 300\nsheet_width_mm = 200")).tolist() == by_hand
    assert grid(trial_with("sheet_length_mm = 300\nsheet_width_mm = 60")).shape == (0, 2)


def test_each_coupon_of_a_mount_and_each_mount_of_a_type_has_its_side():
    """Eight sides: four edges, then the same cut the other way; the next mount of a type starts three further on."""
    first = [_side(index, 0) for index in range(9)]
    assert first[:4] == [(edge, "clockwise") for edge in EDGES] and first[8] == first[0]
    assert first[4:8] == [(edge, "anticlockwise") for edge in EDGES]
    assert [_side(0, turn) for turn in (1, 2, 3)] == [first[3], first[6], first[1]]


def test_what_is_said_of_places():
    found = {one.kind: one.facts for one in _places(trial_with("slat_pitch_mm = 40"), 99.9)}
    spacing = {name: found[PlanKind.SPACING][name].value for name in ("length", "width", "gap", "margin")}
    assert spacing == {"length": 60.0, "width": 40.0, "gap": 12.0, "margin": 15.0}
    assert found[PlanKind.DISTANCE] == {"distance": Amount(99.0, "mm")}
    assert found[PlanKind.MAY_TIP] == {"width": Amount(40.0, "mm"), "pitch": Amount(40.0, "mm")}
    wider = {one.kind for one in _places(trial_with("slat_pitch_mm = 39"), float("inf"))}
    assert wider == {PlanKind.SPACING}  # one coupon on each sheet: no distance to state
    assert PlanKind.SLATS_UNKNOWN in {one.kind for one in _places(trial_with(), 99.9)}


def test_a_chain_of_sheets_is_enough_to_tell_types_apart():
    chain = [("a", "A1", 0, 0), ("b", "B1", 0, 0), ("b", "B2", 0, 1), ("c", "C1", 0, 1)]
    _refuse_disconnected(chain, 2)
    with pytest.raises(Infeasible, match="nozzle 'c' never shares a sheet with 'a'"):
        _refuse_disconnected([*chain[:3], ("c", "C1", 0, 2)], 3)


def test_places_at_exactly_the_distance_are_far_enough():
    pair = np.array([[0.0, 0.0], [72.0, 0.0]])
    assert sorted(_without_neighbours(pair, 2, 72.0, np.random.default_rng(1))) == [0, 1]
    assert _without_neighbours(pair, 2, 72.1, np.random.default_rng(1)) is None


@pytest.mark.parametrize("seed", range(5))
def test_where_no_distance_can_be_held_the_places_stay_together(seed):
    """Five columns of two rows, one millimetre apart: three coupons take places of the first two columns."""
    cells = np.array([[x, y] for x in range(5) for y in range(2)], dtype=float)
    found = _far_apart(cells, 3, 30.0, np.random.default_rng(seed))
    assert found.shape == (3, 2) and len(np.unique(found, axis=0)) == 3
    assert found[:, 0].max() <= 1.0


def test_the_widest_distance_that_can_be_held_is_taken():
    """Of four places in a row, a pitch apart, two pitches can be held by two coupons, and by four."""
    row = np.array([[10.0 * i, 0.0] for i in range(4)])
    for seed in range(5):
        two = _far_apart(row, 2, 10.0, np.random.default_rng(seed))
        assert abs(two[0, 0] - two[1, 0]) >= 20.0 - 1e-9
        four = _far_apart(row, 4, 10.0, np.random.default_rng(seed))  # 20 0 30 10 or its mirror hold two pitches
        assert np.abs(np.diff(four[:, 0])).min() >= 20.0 - 1e-9


def test_numbers_go_on_from_the_first_that_is_free():
    asked = MountRequest({"a": ["A1"], "b": ["B1"]}, 1, 1, first_mount=7, first_sheet=3)
    mounts = place_mounts(asked, np.random.default_rng(1))
    assert mounts["mount"].tolist() == ["M07", "M08"] and mounts["order"].tolist() == [7, 8]
    assert set(mounts["sheet"]) == {"S3"}


def test_uneven_sheets_are_counted():
    mounts = pd.DataFrame({"nozzle": list("aaab") + list("bb"), "sheet": ["S1", "S1", "S2", "S1", "S2", "S2"]})
    first, second = sheet_balance(mounts)
    assert first.facts == {"mounts": 3, "sheets": 2, "fewest_on": ("S2",), "fewest": 1, "most": 2}
    assert (second.about.nozzle, second.facts["fewest_on"]) == ("b", ("S1",))


def test_sheets_that_hold_one_coupon_each_state_no_distance():
    trial = trial_with()
    rng = np.random.default_rng(0)
    mounts = place_mounts(MountRequest({"a": ["A1", "A2"], "b": ["B1", "B2"]}, 1, 2), rng)
    mounts = mounts.assign(sheet=[f"S{i}" for i in range(len(mounts))])
    runs = {m: MountRuns(({"pressure": 0.7},)) for m in mounts["mount"]}
    table, _ = lay_out(trial, LayoutRequest(mounts, runs), rng)
    assert len(table) == table["sheet"].nunique() == 4
    assert table[["x_mm", "y_mm"]].notna().all(axis=None)
