"""The map of one sheet: outlines, marks, lead-ins, micro-joints and measured edges as plain geometry, and as DXF text.

Coordinates in mm from the near left corner of the sheet, x along its length. Nothing here opens a file.
"""

from __future__ import annotations

import io
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from trials.errors import InputError
from trials.plan.layout import gap_mm, needs_tabs
from trials.trial import Trial

if TYPE_CHECKING:
    from ezdxf.document import Drawing

    from trials.plan.choose import Plan

Point = tuple[float, float]
Line = tuple[Point, Point]

OUTLINES, ENGRAVING, JOINTS = "COUPON_OUTLINES", "MARKS_TO_ENGRAVE", "LEAD_INS_AND_JOINTS"
_OPPOSITE = {"left": "right", "right": "left", "near": "far", "far": "near"}
_JOINT_MM = 1.0  # length of a micro-joint along the edge; common practice, no source


@dataclass(frozen=True)
class CouponPlace:
    """One coupon on the sheet, mm.

    corner: near left corner; measured: the edge to measure, without its corners; lead_in: from the pierce point to the
    outline, on the opposite edge; joint: where the outline is left uncut, on the opposite edge, None if not needed;
    mark_at: middle of the engraved mark.
    """

    coupon: str
    order: int
    corner: Point
    length: float
    width: float
    edge: str
    cut_direction: str
    measured: Line
    lead_in: Line
    joint: Line | None
    mark_at: Point
    mark_height: float


@dataclass(frozen=True)
class SheetMap:
    """A sheet and the coupons on it, in cutting order; joints: each coupon keeps a micro-joint."""

    sheet: str
    length: float
    width: float
    coupons: tuple[CouponPlace, ...]
    joints: bool


def sheet_map(trial: Trial, coupons: pd.DataFrame, sheet: str) -> SheetMap:
    """Geometry of one sheet of a plan; `coupons` is the plan's table.

    Raises
    ------
    InputError
        If the plan has no such sheet.
    """
    own = coupons[coupons["sheet"] == sheet].sort_values("order")
    if own.empty:
        known = ", ".join(coupons["sheet"].drop_duplicates())
        raise InputError("no such sheet", column="sheet", found=sheet, allowed=known, do="Name a sheet of the plan.")
    places = tuple(_place(trial, row) for row in own.to_dict("records"))
    return SheetMap(sheet, trial.coupon.sheet_length_mm, trial.coupon.sheet_width_mm, places, needs_tabs(trial))


def _place(trial: Trial, row: Mapping[Hashable, Any]) -> CouponPlace:
    size, edge = trial.coupon, str(row["edge"])
    corner = (float(row["x_mm"]), float(row["y_mm"]))
    away = _OPPOSITE[edge]
    lead = min(0.4 * gap_mm(trial), 10.0)
    height = min(size.length_mm / 6.0, size.width_mm / 3.0, 12.0)
    return CouponPlace(
        coupon=str(row["coupon"]),
        order=int(row["order"]),
        corner=corner,
        length=size.length_mm,
        width=size.width_mm,
        edge=edge,
        cut_direction=str(row["cut_direction"]),
        measured=(_on(trial, corner, edge, 0.15), _on(trial, corner, edge, 0.85)),
        lead_in=(_on(trial, corner, away, 0.5, lead), _on(trial, corner, away, 0.5)),
        joint=_joint(trial, corner, away) if needs_tabs(trial) else None,
        mark_at=(corner[0] + size.length_mm / 2.0, corner[1] + size.width_mm / 2.0),
        mark_height=height,
    )


def _on(trial: Trial, corner: Point, edge: str, share: float, out: float = 0.0) -> Point:
    """Point at a share of an edge's length, moved `out` mm off the coupon."""
    size = trial.coupon
    x, y = corner
    if edge in ("left", "right"):
        return (x - out if edge == "left" else x + size.length_mm + out, y + share * size.width_mm)
    return (x + share * size.length_mm, y - out if edge == "near" else y + size.width_mm + out)


def _joint(trial: Trial, corner: Point, edge: str) -> Line:
    """A micro-joint a quarter along an edge."""
    long = trial.coupon.width_mm if edge in ("left", "right") else trial.coupon.length_mm
    half = 0.5 * _JOINT_MM / long
    return _on(trial, corner, edge, 0.25 - half), _on(trial, corner, edge, 0.25 + half)


def outline(place: CouponPlace) -> tuple[Line, ...]:
    """The lines to cut: four edges in order of travel from the lead-in, open where the micro-joint is."""
    x, y = place.corner
    right, far = x + place.length, y + place.width
    sides: dict[str, Line] = {
        "near": ((x, y), (right, y)),
        "right": ((right, y), (right, far)),
        "far": ((right, far), (x, far)),
        "left": ((x, far), (x, y)),
    }
    around = ["near", "right", "far", "left"]
    away, start = _OPPOSITE[place.edge], place.lead_in[1]
    first = around.index(away)
    turn = around[first + 1 :] + around[:first]
    lines = [(start, sides[away][1]), *(sides[name] for name in turn), (sides[away][0], start)]
    lines = [part for line in lines for part in _opened(line, place.joint)]
    if place.cut_direction == "clockwise":
        lines = [(end, begin) for begin, end in reversed(lines)]
    return tuple(lines)


def _opened(line: Line, joint: Line | None) -> list[Line]:
    """The line without the joint, where the joint lies on it."""
    if joint is None:
        return [line]
    (ax, ay), (bx, by) = line
    on = all(
        min(ax, bx) - 1e-9 <= x <= max(ax, bx) + 1e-9 and min(ay, by) - 1e-9 <= y <= max(ay, by) + 1e-9
        for x, y in joint
    )
    if not on:
        return [line]
    first, second = sorted(joint, key=lambda point: abs(point[0] - ax) + abs(point[1] - ay))
    return [(line[0], first), (second, line[1])]


def dxf_drawing(plan: Plan, sheet: str, trial: Trial) -> str:
    """DXF text (R2000, mm) of one sheet: outlines, marks to engrave, and lead-ins with joints on three layers.

    The same plan gives the same text: dates and identifiers are fixed.

    Raises
    ------
    InputError
        If the plan has no such sheet.
    """
    from ezdxf import options  # type: ignore[attr-defined]  # exported without saying so

    drawn = sheet_map(trial, plan.coupons, sheet)
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # dates and identifiers of the file
    try:
        text = io.StringIO()
        _drawing(drawn).write(text)
    finally:
        options.write_fixed_meta_data_for_testing = before
    return text.getvalue()


def _drawing(drawn: SheetMap) -> Drawing:
    from ezdxf import units
    from ezdxf.enums import TextEntityAlignment
    from ezdxf.filemanagement import new

    document = new("R2000", units=units.MM)
    for name, colour in ((OUTLINES, 7), (ENGRAVING, 5), (JOINTS, 1)):
        document.layers.add(name, color=colour)
    space = document.modelspace()
    for place in drawn.coupons:
        for begin, end in outline(place):
            space.add_line(begin, end, dxfattribs={"layer": OUTLINES})
        mark = space.add_text(place.coupon, height=place.mark_height, dxfattribs={"layer": ENGRAVING})
        mark.set_placement(place.mark_at, align=TextEntityAlignment.MIDDLE_CENTER)
        space.add_line(*place.lead_in, dxfattribs={"layer": JOINTS})
        if place.joint is not None:
            space.add_line(*place.joint, dxfattribs={"layer": JOINTS})
    return document
