"""The map of a sheet and its drawing."""

import io
import math
from dataclasses import replace

import ezdxf
import pytest

from trials.errors import InputError
from trials.plan.choose import make_plan
from trials.plan.sheet_map import ENGRAVING, JOINTS, ORDER, OUTLINES, dxf_drawing, outline, sheet_map
from trials.plan.strokes import strokes
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


def test_outline_is_one_closed_path_in_the_direction_of_travel():
    trial, plan = planned()
    travels = set()
    for place in sheet_map(trial, plan.coupons, "S2").coupons:
        path = outline(place)
        closed = list(zip(path, (*path[1:], path[0]), strict=True))
        assert path[0] == place.lead_in[1]
        assert sum(map(length, closed)) == pytest.approx(2 * (60 + 40), abs=1e-9)
        # signed area by the shoelace sum; positive is anticlockwise seen from above
        area = sum(a[0] * b[1] - b[0] * a[1] for a, b in closed) / 2
        assert abs(area) == pytest.approx(60 * 40, abs=1e-9)
        turn = "anticlockwise" if area > 0 else "clockwise"
        assert turn == place.cut_direction
        travels.add(turn)
    assert travels == {"clockwise", "anticlockwise"}


@pytest.mark.parametrize(("pitch", "joints"), [(80, 1), (30, 0)])
def test_drawing_reads_back_in_cutting_order_with_the_same_bytes(pitch, joints):
    trial, plan = planned(pitch)
    own = plan.coupons.query("sheet == 'S1'").sort_values("order")
    text = dxf_drawing(plan, "S1", trial)
    assert text == dxf_drawing(plan, "S1", trial)
    document = ezdxf.read(io.StringIO(text))
    assert not document.audit().errors
    space = document.modelspace()
    outlines = space.query(f'LWPOLYLINE[layer=="{OUTLINES}"]')
    assert len(outlines) == len(own) and all(path.closed for path in outlines)
    middles = [tuple(sum(p[k] for p in path.get_points("xy")[1:]) / 4 for k in (0, 1)) for path in outlines]
    assert middles == [pytest.approx((x + 30, y + 20)) for x, y in zip(own["x_mm"], own["y_mm"], strict=True)]
    assert [item.dxf.text for item in space.query(f'TEXT[layer=="{ORDER}"]')] == own["order"].astype(str).tolist()
    assert len(space.query(f'LINE[layer=="{JOINTS}"]')) == (1 + joints) * len(own)
    assert not space.query(f'TEXT[layer=="{ENGRAVING}"]') and space.query(f'LWPOLYLINE[layer=="{ENGRAVING}"]')
    assert document.units == ezdxf.units.MM


def test_the_order_stands_below_the_mark():
    trial, plan = planned()
    own = plan.coupons.query("sheet == 'S1'").sort_values("order")
    places = sheet_map(trial, plan.coupons, "S1").coupons
    space = ezdxf.read(io.StringIO(dxf_drawing(plan, "S1", trial))).modelspace()
    numbers = [item.get_placement()[1] for item in space.query(f'TEXT[layer=="{ORDER}"]')]
    assert len(numbers) == len(own)
    for number, place in zip(numbers, places, strict=True):
        x, y = place.mark_at
        assert (number.x, number.y) == pytest.approx((x, y - 1.2 * place.mark_height))


def test_a_mark_is_written_in_open_strokes_inside_its_height():
    lines = strokes("A7", (10.0, 20.0), 12.0)
    assert len(lines) == 3  # the A has two lines, the 7 one
    xs, ys = [x for line in lines for x, _ in line], [y for line in lines for _, y in line]
    assert (min(ys), max(ys)) == pytest.approx((14.0, 26.0))
    assert (min(xs) + max(xs)) / 2 == pytest.approx(10.0)  # centred
    assert lines[2] == (pytest.approx((12.0, 26.0)), pytest.approx((20.0, 26.0)), pytest.approx((16.0, 14.0)))


def test_a_mark_without_strokes_stays_text():
    trial, plan = planned()
    other = replace(plan, coupons=plan.coupons.assign(coupon=[f"µ{k}" for k in range(len(plan.coupons))]))
    space = ezdxf.read(io.StringIO(dxf_drawing(other, "S1", trial))).modelspace()
    marks = [item.dxf.text for item in space.query(f'TEXT[layer=="{ENGRAVING}"]')]
    assert marks and all(mark.startswith("µ") for mark in marks)


def test_drawing_tells_no_type_and_no_setting():
    trial, plan = planned()
    text = dxf_drawing(plan, "S1", trial)
    swapped = plan.coupons.assign(nozzle="?", specimen="?", mount="?", pressure_bar=0.0)
    assert text == dxf_drawing(replace(plan, coupons=swapped), "S1", trial)


def test_unknown_sheet_is_refused():
    trial, plan = planned()
    with pytest.raises(InputError, match="no such sheet; found 'S9'; allowed: S1, S2"):
        sheet_map(trial, plan.coupons, "S9")


WHERE = {
    # a coupon of 60 x 40 mm at (100, 200): measured from 15 to 85 % of its edge, lead-in 4 mm off the middle of the
    # other one (0.4 of the 10 mm between coupons), a joint of 1 mm a quarter along that
    "left": (((100, 206), (100, 234)), ((164, 220), (160, 220)), ((160, 209.5), (160, 210.5))),
    "right": (((160, 206), (160, 234)), ((96, 220), (100, 220)), ((100, 209.5), (100, 210.5))),
    "near": (((109, 200), (151, 200)), ((130, 244), (130, 240)), ((114.5, 240), (115.5, 240))),
    "far": (((109, 240), (151, 240)), ((130, 196), (130, 200)), ((114.5, 200), (115.5, 200))),
}


@pytest.mark.parametrize("edge", list(WHERE))
def test_everything_of_a_coupon_lies_where_it_should(edge):
    trial, plan = planned()
    own = plan.coupons.iloc[:1].assign(edge=edge, x_mm=100.0, y_mm=200.0, sheet="S1")
    (place,) = sheet_map(trial, own, "S1").coupons
    for found, line in zip((place.measured, place.lead_in, place.joint), WHERE[edge], strict=True):
        assert [pytest.approx(point) for point in line] == list(found)
    assert place.mark_at == (130.0, 220.0) and place.mark_height == 10.0  # a sixth of 60 mm
    assert (place.length, place.width, place.corner, place.order) == (60.0, 40.0, (100.0, 200.0), 1)


@pytest.mark.parametrize(
    ("length_mm", "width_mm", "height"), [(60, 40, 10.0), (60, 24, 8.0), (200, 100, 12.0), (30, 90, 5.0)]
)
def test_a_mark_fits_its_coupon(length_mm, width_mm, height):
    text = FILE.format(pitch=80).replace("[coupon]", f"[coupon]\nlength_mm = {length_mm}\nwidth_mm = {width_mm}")
    trial = parse(text)
    plan = make_plan(trial)
    assert {place.mark_height for place in sheet_map(trial, plan.coupons, "S1").coupons} == {height}


def test_a_lead_in_is_no_longer_than_ten_millimetres():
    text = FILE.format(pitch=80).replace('material = "S235"', 'material = "S235"\nthickness_mm = 30.0')
    trial = parse(text)
    place = sheet_map(trial, make_plan(trial).coupons, "S1").coupons[0]
    assert length(place.lead_in) == pytest.approx(10.0)  # 0.4 of 30 mm between coupons would be 12


def test_the_path_runs_to_the_corners_in_order():
    """From the middle of the far edge: anticlockwise to the left and down, clockwise to the right."""
    trial, plan = planned()
    own = plan.coupons.iloc[:1].assign(edge="near", x_mm=0.0, y_mm=0.0, sheet="S1")
    for direction, corners in (
        ("anticlockwise", [(0, 40), (0, 0), (60, 0), (60, 40)]),
        ("clockwise", [(60, 40), (60, 0), (0, 0), (0, 40)]),
    ):
        (place,) = sheet_map(trial, own.assign(cut_direction=direction), "S1").coupons
        assert [tuple(map(float, point)) for point in outline(place)] == [(30.0, 40.0), *corners]
