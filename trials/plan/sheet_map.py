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
from trials.plan.strokes import known, strokes
from trials.trial import Trial

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts.layout import Modelspace

    from trials.plan.choose import Plan

Point = tuple[float, float]
Line = tuple[Point, Point]

OUTLINES, ENGRAVING, JOINTS = "COUPON_OUTLINES", "MARKS_TO_ENGRAVE", "LEAD_INS_AND_JOINTS"
ORDER = "CUTTING_ORDER_NOT_TO_CUT"
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


def outline(place: CouponPlace) -> tuple[Point, ...]:
    """The outline as a closed path in the direction of travel: where the lead-in ends, then the four corners."""
    x, y = place.corner
    right, far = x + place.length, y + place.width
    corners = {"near": (right, y), "right": (right, far), "far": (x, far), "left": (x, y)}
    around = ["near", "right", "far", "left"]
    first = around.index(_OPPOSITE[place.edge])
    ends = [corners[name] for name in around[first:] + around[:first]]
    return (place.lead_in[1], *(ends if place.cut_direction == "anticlockwise" else reversed(ends)))


def dxf_drawing(plan: Plan, sheet: str, trial: Trial) -> str:
    """DXF text (R2000, mm) of one sheet, coupon by coupon in cutting order.

    Outlines are closed paths in the direction of travel, marks are strokes to engrave, lead-ins and joints (where the
    beam is to stay off for a moment) are lines; the number in the order of cutting stands on a layer of its own that is
    not to be cut. The same plan gives the same text: dates and identifiers are fixed.

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
    for name, colour in ((OUTLINES, 7), (ENGRAVING, 5), (JOINTS, 1), (ORDER, 3)):
        document.layers.add(name, color=colour)
    space = document.modelspace()
    for place in drawn.coupons:
        space.add_line(*place.lead_in, dxfattribs={"layer": JOINTS})
        space.add_lwpolyline(outline(place), close=True, dxfattribs={"layer": OUTLINES})
        if place.joint is not None:
            space.add_line(*place.joint, dxfattribs={"layer": JOINTS})
        _mark(space, place)
        number = space.add_text(str(place.order), height=place.mark_height / 2.0, dxfattribs={"layer": ORDER})
        below = (place.mark_at[0], place.mark_at[1] - 1.2 * place.mark_height)
        number.set_placement(below, align=TextEntityAlignment.MIDDLE_CENTER)
    return document


def _mark(space: Modelspace, place: CouponPlace) -> None:
    """The mark as strokes; as text where it has a character that no stroke is known for."""
    from ezdxf.enums import TextEntityAlignment

    if known(place.coupon):
        for stroke in strokes(place.coupon, place.mark_at, place.mark_height):
            space.add_lwpolyline(stroke, dxfattribs={"layer": ENGRAVING})
        return
    mark = space.add_text(place.coupon, height=place.mark_height, dxfattribs={"layer": ENGRAVING})
    mark.set_placement(place.mark_at, align=TextEntityAlignment.MIDDLE_CENTER)
