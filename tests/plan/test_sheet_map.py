"""The map of a sheet and its drawing."""

import io
import math
from dataclasses import replace

import ezdxf
import pytest

from trials.errors import InputError
from trials.plan.choose import make_plan
from trials.plan.sheet_map import ENGRAVING, JOINTS, OUTLINES, dxf_drawing, outline, sheet_map
from trials.trial import parse

FILE = """
[trial]
title = "t"
question = "q"
[application]
material = "S235"
[[nozzles]]
type = "a"
specimens = ["A1", "A2"]
today = true
[[nozzles]]
type = "b"
specimens = ["B1", "B2"]
[factors.pressure]
unit = "bar"
levels = [0.5, 0.6, 0.7, 0.8]
[plan]
sheets = 2
[coupon]
slat_pitch_mm = {pitch}
[responses.roughness]
primary = true
worthwhile = "15 %"
"""


def planned(pitch=80):
    trial = parse(FILE.format(pitch=pitch))
    return trial, make_plan(trial)


def length(line):
    return math.dist(*line)


def on_edge(place, point, edge):
    x, y = point[0] - place.corner[0], point[1] - place.corner[1]
    distance = {"left": x, "right": place.length - x, "near": y, "far": place.width - y}[edge]
    return abs(distance) < 1e-9


OPPOSITE = {"left": "right", "right": "left", "near": "far", "far": "near"}


def test_lead_in_and_joint_are_off_the_measured_edge():
    trial, plan = planned()
    drawn = sheet_map(trial, plan.coupons, "S1")
    assert [place.coupon for place in drawn.coupons] == plan.coupons.query("sheet == 'S1'")["coupon"].tolist()
    for place in drawn.coupons:
        away = OPPOSITE[place.edge]
        assert all(on_edge(place, point, place.edge) for point in place.measured)
        assert on_edge(place, place.lead_in[1], away) and not on_edge(place, place.lead_in[0], away)
        assert all(on_edge(place, point, away) for point in place.joint)
        # the pierce point stays in the 10 mm between coupons, clear of a neighbour's lead-in
        assert length(place.lead_in) == pytest.approx(4.0, abs=1e-9)
        assert length(place.joint) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(("pitch", "joint"), [(80, 1.0), (30, 0.0)])
def test_outline_is_one_path_open_only_at_the_joint(pitch, joint):
    trial, plan = planned(pitch)
    travels = set()
    for place in sheet_map(trial, plan.coupons, "S2").coupons:
        lines = outline(place)
        breaks = [math.dist(a[1], b[0]) for a, b in zip(lines, lines[1:], strict=False)]
        assert sum(breaks) == pytest.approx(joint, abs=1e-9)
        assert lines[0][0] == lines[-1][1] == place.lead_in[1]
        assert sum(map(length, lines)) == pytest.approx(2 * (60 + 40) - joint, abs=1e-9)
        # signed area by the shoelace sum; positive is anticlockwise seen from above
        area = sum(a[0] * b[1] - b[0] * a[1] for a, b in lines) / 2
        turn = "anticlockwise" if area > 0 else "clockwise"
        assert turn == place.cut_direction
        travels.add(turn)
    assert travels == {"clockwise", "anticlockwise"}


def test_drawing_reads_back_with_every_mark_and_the_same_bytes():
    trial, plan = planned()
    own = plan.coupons.query("sheet == 'S1'")
    text = dxf_drawing(plan, "S1", trial)
    assert text == dxf_drawing(plan, "S1", trial)
    document = ezdxf.read(io.StringIO(text))
    assert not document.audit().errors
    space = document.modelspace()
    marks = [item.dxf.text for item in space.query(f'TEXT[layer=="{ENGRAVING}"]')]
    assert sorted(marks) == sorted(own["coupon"])
    assert len(space.query(f'LINE[layer=="{OUTLINES}"]')) == 6 * len(own)
    assert len(space.query(f'LINE[layer=="{JOINTS}"]')) == 2 * len(own)
    assert document.units == ezdxf.units.MM


def test_drawing_tells_no_type_and_no_setting():
    trial, plan = planned()
    text = dxf_drawing(plan, "S1", trial)
    swapped = plan.coupons.assign(nozzle="?", specimen="?", mount="?", pressure_bar=0.0)
    assert text == dxf_drawing(replace(plan, coupons=swapped), "S1", trial)


def test_unknown_sheet_is_refused():
    trial, plan = planned()
    with pytest.raises(InputError, match="no such sheet; found 'S9'; allowed: S1, S2"):
        sheet_map(trial, plan.coupons, "S9")
