"""Figures: well-formed, the same bytes twice, and built on the right numbers."""

import dataclasses
import xml.etree.ElementTree as ET

import numpy as np
import pandas as pd
import pytest
from tests_support import BLANK

from trials.bench.roughness import measure_profile
from trials.bench.squareness import perpendicularity
from trials.decide.kinds import StudyKind
from trials.findings import Amount, Finding, Weight
from trials.plan.sheet_map import CouponPlace, SheetMap
from trials.report import blocks, figures
from trials.report.figures import checks, edges
from trials.report.figures.checks import leftovers
from trials.report.figures.lives import kaplan_meier
from trials.report.figures.look import drawn, jitter
from trials.report.figures.planning import map_parts, part_title
from trials.report.response_pages import by_side, flagged_mounts
from trials.store.language import language_named
from trials.words.captions import ranges_caption
from trials.words.language import speaking
from trials.words.settings import between


def trace() -> str:
    x = np.arange(0.0, 15.5, 0.01)
    return figures.trace_figure(measure_profile(10.0 * np.sin(2 * np.pi * x / 0.5) + 3.0 * np.sin(x), 0.01))


def scan() -> str:
    depth = np.linspace(0.1, 12.0, 60)
    return figures.scan_figure(perpendicularity(depth, 0.05 * np.sin(depth / 3), 12.0), 12.0)


def detectable() -> str:
    table = pd.DataFrame(
        {
            "varied": ["specimens"] * 2 + ["readings"] * 2,
            "count": [3, 6, 2, 4],
            "detectable": [9.0, 6.0, 9.0, 8.9],
            "planned": [True, False, True, False],
        }
    )
    return figures.detectable_figure(table, "um", 8.0)


def prediction() -> str:
    errors = np.array([[0.5, 0.4, 0.5], [0.4, 0.3, 0.4], [0.5, 0.4, np.nan]])
    return figures.prediction_figure(
        [0.5, 0.7, 0.9], [0.6, 1.0, 1.4], errors, "pressure, bar", "standoff, mm", [(0.7, 1)]
    )


def life() -> str:
    curve = (np.linspace(0, 500, 20), np.exp(-np.linspace(0, 1, 20)))
    return figures.life_figure(
        ["a $ b", "c"], [[100, 200], [300, 300]], [[True, True], [False, False]], [curve, None], "h"
    )


@pytest.mark.parametrize("make", [trace, scan, detectable, prediction, life])
def test_figure_is_well_formed_and_the_same_twice(make):
    first = make()
    assert ET.fromstring(first).tag.endswith("svg")
    assert "<dc:date>" not in first
    assert first == make()


def test_empty_figures_say_so():
    nothing = figures.prediction_figure([0.0, 1.0], [0.0, 1.0], np.full((2, 2), np.nan), "x", "y")
    assert ET.fromstring(nothing).tag.endswith("svg")
    assert ET.fromstring(figures.spread_figure(())).tag.endswith("svg")


def test_ranges_change_the_main_figure(study, extras):
    result = study.results[1]
    coupons = figures.coupon_means(extras.tables["roughness"], "log")
    bare = figures.main_figure(result, coupons)
    assert bare != figures.main_figure(result, coupons, [figures.Band(2, 17.2, 49.6, True)])


def drawn_axes(study, extras, monkeypatch):
    """The axes of the main figure, with coupons as they are marked on page 1."""
    result, found = study.results[1], []
    coupons = figures.coupon_means(extras.tables["roughness"], "log")
    coupons["compared"], coupons["judged"] = True, coupons["worst"]
    monkeypatch.setattr(edges, "svg", lambda figure: found.append(figure) or "")
    figures.main_figure(result, coupons)
    (axes,) = found[0].axes
    return axes


def test_no_coupon_lies_under_the_line_of_its_type_and_every_mark_inside_the_frame(study, extras, monkeypatch):
    axes = drawn_axes(study, extras, monkeypatch)
    offsets = np.concatenate([np.asarray(marks.get_offsets()) for marks in axes.collections])
    rows = np.round(offsets[:, 1] + 0.17)
    assert set(rows) == {0.0, 1.0, 2.0, 3.0}
    for line in axes.lines:
        at = line.get_ydata()
        own = offsets[rows == np.floor(at[0]), 1]
        # a small mark is 3.5 points of the 29 of a row high: half of it must fit between
        assert own.max() + 0.06 < min(at)
    low, high = axes.get_xlim()
    room = 0.02 * (high - low)  # a worst reading lies off both frames
    assert low + room < offsets[:, 0].min() and offsets[:, 0].max() < high - room


def test_a_hatched_zone_is_named_only_where_one_is_drawn(study):
    result = study.results[1]
    coupons = pd.DataFrame({"nozzle": ["double"], "value": [30.0]})
    inside, beyond = [figures.Band(1, 0.0, 90.0)], [figures.Band(1, 0.0, 36.0)]
    assert not edges.hatched(result, coupons, inside) and edges.hatched(result, coupons, beyond)
    assert "hatched" not in ranges_caption(12.0, False, False) and "hatched" in ranges_caption(12.0, False, True)


def test_dross_drawings_differ_and_are_well_formed():
    drawings = [figures.dross_drawing(grade) for grade in range(5)]
    assert len(set(drawings)) == 5
    assert all(ET.fromstring(drawing).tag.endswith("svg") for drawing in drawings)


def test_coupon_means_are_geometric_on_the_log_scale():
    table = pd.DataFrame({"coupon": ["A", "A", "B"], "nozzle": ["x", "x", "y"], "value": [10.0, 40.0, 7.0]})
    # sqrt(10 * 40) = 20; tolerance: rounding of log and exp
    assert figures.coupon_means(table, "log")["value"].tolist() == pytest.approx([20.0, 7.0], rel=1e-12)
    assert figures.coupon_means(table, "as measured")["value"].tolist() == [25.0, 7.0]


def test_leftovers_are_deviations_from_the_cell(study):
    table = pd.DataFrame({"coupon": list("ABC"), "nozzle": list("xxy"), "s": [1, 1, 1], "value": [0.1, 0.3, 9.0]})
    # squareness, as measured: cell means 0.2 and 9.0; tolerance: rounding of one subtraction
    assert leftovers(study.results[0], table, ["s"]) == pytest.approx([-0.1, 0.1, 0.0], abs=1e-12)


SIDES = (
    ("M1", "x", "left", Amount(-0.001, "mm")),
    ("M1", "x", "right", Amount(0.001, "mm")),
    ("M2", "x", "left", Amount(0.065, "mm")),
    ("M2", "x", "right", Amount(-0.065, "mm")),
)


def test_flagged_mounts_are_those_the_centring_check_names(study):
    shifts = (("M05", "x", "left", "right", Amount(9.0, "%")), ("M2", "y", "left", "right", Amount(8.0, "%")))
    check = Finding(StudyKind.CENTRING, facts={"mounts": 4, "shifts": shifts}, weight=Weight.LOOK_AT)
    assert flagged_mounts(dataclasses.replace(study.results[0], checks=(check,))) == ["M05", "M2"]
    calm = Finding(StudyKind.CENTRING, facts={"mounts": 4, "shifts": ()}, weight=Weight.NOTHING_FOUND)
    assert flagged_mounts(dataclasses.replace(study.results[0], checks=(calm,))) == []


def test_a_flagged_mount_looks_different(study):
    plain = figures.sides_figure(study.results[0], SIDES)
    assert figures.sides_figure(study.results[0], SIDES, flagged=["M2"]) != plain


def test_the_picture_of_sides_holds_what_the_check_compared(study, trial, monkeypatch):
    """The fault that the check names is in the picture at the size that it names, and the axis reaches it."""
    axes = []
    monkeypatch.setattr(checks, "svg", lambda figure: axes.extend(figure.axes) or "<svg/>")
    facts = {"mounts": 2, "shifts": (("M2", "x", "left", "right", Amount(0.13, "mm")),), "sides": SIDES}
    check = Finding(StudyKind.CENTRING, facts=facts, weight=Weight.LOOK_AT)
    found = by_side(dataclasses.replace(study.results[0], checks=(check,)), trial, pd.DataFrame())
    assert [block["kind"] for block in found] == ["head", "figure"]
    lines = [line.get_xdata() for line in axes[0].lines[1:]]
    assert [max(line) - min(line) for line in lines] == pytest.approx([0.002, 0.13])
    assert axes[0].get_xlim()[0] < -0.065 and axes[0].get_xlim()[1] > 0.065
    bare = Finding(StudyKind.CENTRING, facts={"mounts": 0, "shifts": ()})
    assert by_side(dataclasses.replace(study.results[0], checks=(bare,)), trial, pd.DataFrame()) == []


def place_of(corners) -> SheetMap:
    line = ((0.0, 0.0), (1.0, 1.0))
    coupons = tuple(
        CouponPlace(f"C{k}", k, corner, 60.0, 40.0, "left", "clockwise", line, line, None, corner, 8.0)
        for k, corner in enumerate(corners)
    )
    return SheetMap("S1", 1500.0, 1000.0, coupons, ())


@pytest.mark.parametrize(
    ("corners", "along", "count"),
    [
        ([(75.0 * i, 53.0 * j) for i in range(2) for j in range(18)], "y", 2),
        ([(75.0 * i, 53.0 * j) for i in range(18) for j in range(2)], "x", 3),
        ([(75.0 * i, 53.0 * j) for i in range(4) for j in range(6)], "x", 1),
        ([(10.0, 10.0)], "x", 1),
    ],
)
def test_a_long_narrow_use_of_a_sheet_is_drawn_in_parts(corners, along, count):
    parts, found = map_parts(place_of(corners))
    assert (found, len(parts)) == (along, count)
    assert sorted(c.coupon for part in parts for c in part) == sorted(f"C{k}" for k in range(len(corners)))


def test_parts_of_a_sheet_say_where_they_lie():
    box = (15.0 - 12.0, 467.0 - 12.0, 380.0 + 12.0, 950.4 + 12.0)  # with the room that is drawn round coupons
    assert part_title(0, box, "y", 2).startswith("part 1 of 2: 467 to 950 mm from the near edge")
    assert part_title(1, box, "y", 2).endswith("goes on beyond part 1, not beside it")
    assert part_title(1, box, "x", 2) == (
        "part 2 of 2: 15 to 380 mm from the left edge\ngoes on to the right of part 1, not below it"
    )


def test_many_types_stand_in_rows_and_orders_of_cutting_are_whole(study, extras, monkeypatch):
    seen = []
    monkeypatch.setattr(edges, "svg", lambda figure: seen.append(figure) or "<svg/>")
    monkeypatch.setattr(checks, "svg", lambda figure: seen.append(figure) or "<svg/>")
    types = [f"a nozzle with a name of forty letters {k:02d}" for k in range(8)]
    table = pd.DataFrame({"nozzle": types, "coupon": types, "s": [1.0] * 8, "value": np.arange(8.0)})
    table["cut_order"] = np.arange(1, 9)
    figures.by_factor_figure(study.results[0], table, [edges.Setting("s", "s", (1.0, 2.0))], types)
    grid = seen[0].axes
    assert len(grid) == 8 and len({round(axes.get_position().y0, 3) for axes in grid}) == 2
    assert all(axes.get_title().count("\n") < 4 for axes in grid)
    figures.drift_figure(study.results[0], table, ["x", "y", "z"])
    axes = seen[1].axes[0]
    axes.set_xlim(0, 9)
    assert all(tick == round(tick) for tick in axes.get_xticks())


def test_kaplan_meier_by_hand():
    # 4 lives: failures at 100 and 300, still running at 200 and 400: 3/4, then 3/4 * 1/2
    steps, share, running = kaplan_meier([100, 200, 300, 400], [True, False, True, False])
    assert steps.tolist() == [0.0, 100.0, 300.0, 400.0]
    assert share.tolist() == [1.0, 0.75, 0.375, 0.375]
    assert running[0].tolist() == [200.0, 400.0] and running[1].tolist() == [0.75, 0.375]


def test_marks_spread_within_their_width():
    offsets = jitter(50, 0.3)
    assert np.abs(offsets).max() <= 0.3 and len(np.unique(offsets)) == 50


@pytest.mark.parametrize(
    ("text", "shown"),
    [("plain", "plain"), ("two\nlines", "two lines"), ("中", "[U+4E2D]"), ("x" * 50, "x" * 39 + "…")],
)
def test_text_in_figures(text, shown):
    assert drawn(text) == shown


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "–"),
        (float("nan"), "–"),
        (float("inf"), "no bound"),
        (0.0, "0"),
        (35.12, "35.1"),
        (0.234, "0.234"),
        (1234.5, "1234"),
        (-0.04, "−0.0400"),
    ],
)
def test_numbers_as_people_read_them(value, text):
    assert blocks.num(value) == text


def test_numbers_that_stand_together_share_decimals():
    assert blocks.alike(-0.04, -0.08, 0.003) == ["−0.0400", "−0.0800", "0.0030"]
    assert blocks.alike(-0.01, -1.3, 1.3, digits=2) == ["0.0", "−1.3", "1.3"]  # no zero below zero


@pytest.mark.usefixtures("blank_pictures")
def test_pictures_that_nobody_looks_at_are_not_drawn():
    assert scan() == BLANK


def test_sides_stand_in_the_words_of_the_language(study, monkeypatch):
    seen: list[str] = []
    monkeypatch.setattr(checks, "drawn", lambda words, limit=40: seen.append(str(words)) or str(words))
    with speaking(language_named("de")):
        checks.sides_figure(study.results[0], SIDES, flagged=["M2"])
    assert {"links", "rechts"} <= set(seen) and not {"left", "right"} & set(seen)


def test_what_a_spread_lies_between_is_said_in_its_case():
    with speaking(language_named("de")):
        said = [between(source) for source in ("sheet", "specimen", "mount", "coupon", "reading")]
        assert said == [
            f"zwischen {many}" for many in ("Blechen", "Exemplaren", "Einbauten", "Prüflingen", "Messwerten")
        ]
        assert between("sheet", "block") == "zwischen Blöcken"
