"""Figures of a plan: the sheet map, what the plan detects, and how well it predicts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from trials.plan.sheet_map import CouponPlace, SheetMap
from trials.report.figures.look import ACCENT, GREY, INK, canvas, dash, drawn, empty, in_unit, marker, svg
from trials.words.language import text
from trials.words.numbers import bare, plain
from trials.words.plan_chances import part_words
from trials.words.system import shown_unit

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


MAP_IN = (6.85, 8.0)
"""Room for a sheet map on the page, inches."""
_ROOM_MM = 12.0  # round the coupons of one part of a map


def sheet_figure(place: SheetMap) -> str:
    """Map of one sheet: outlines with mark and order of cutting, the measured edge bold, lead-ins and joints.

    To scale, the used part of the sheet only; a long narrow use is drawn in parts beside or below each other, each
    with its position on the sheet at the axes.
    """
    parts, along = map_parts(place)
    boxes = [_box(part) for part in parts]
    wide = [right - left for left, _, right, _ in boxes]
    tall = [far - near for _, near, _, far in boxes]
    rows, columns = (1, len(parts)) if along == "y" else (len(parts), 1)
    per_mm = _scale(wide, tall, along)
    headed = 0.32 * rows if len(parts) > 1 else 0.0
    height = per_mm * (max(tall) if along == "y" else sum(tall)) + 0.45 * rows + 0.15 + headed
    with canvas(max(height, 1.4), rows, columns, squeeze=False) as (figure, grid):
        for k, (axes, part, box) in enumerate(zip(grid.flat, parts, boxes, strict=True)):
            for coupon in part:
                _draw_coupon(axes, coupon, 72.0 * per_mm)
            _draw_sheet_corner(axes, box)
            if len(parts) > 1:
                axes.set_title(part_title(k, box, along, len(parts)), fontsize=8.5)
        along_words = text(
            "{unit} (sheet: {length} by {width}, near left corner at 0, 0)",
            unit=shown_unit("mm"),
            length=bare(place.length, "mm"),
            width=plain(place.width, "mm"),
        )
        figure.supxlabel(along_words, fontsize=9)
        return svg(figure)


def part_title(k: int, box: tuple[float, float, float, float], along: str, count: int) -> str:
    """Which part of the sheet is drawn (k from 0), and where it lies beside the one before it."""
    low, high = box[1::2] if along == "y" else box[0::2]
    low, high = low + _ROOM_MM, high - _ROOM_MM
    names = {"k": k + 1, "count": count, "low": bare(round(low), "mm"), "high": plain(round(high), "mm")}
    if along == "y":
        said = text("part {k} of {count}: {low} to {high} from the near edge", **names)
        beyond = text("goes on beyond part {k}, not beside it", k=k)
    else:
        said = text("part {k} of {count}: {low} to {high} from the left edge", **names)
        beyond = text("goes on to the right of part {k}, not below it", k=k)
    return f"{said}\n{beyond}" if k else f"{said}\n"


def map_parts(place: SheetMap) -> tuple[list[list[CouponPlace]], str]:
    """The coupons of a sheet in one to three parts along x or y, whichever draws them largest on the page."""
    found = []
    for axis, along in enumerate("xy"):
        corners = sorted({c.corner[axis] for c in place.coupons})
        for count in range(1, min(3, len(corners)) + 1):
            groups = [set(part.tolist()) for part in np.array_split(np.array(corners), count)]
            parts = [[c for c in place.coupons if c.corner[axis] in group] for group in groups]
            boxes = [_box(part) for part in parts]
            scale = _scale([b[2] - b[0] for b in boxes], [b[3] - b[1] for b in boxes], along)
            found.append((scale, -count, parts, along))
    _, _, parts, along = max(found, key=lambda one: (round(one[0], 6), one[1]))
    return parts, along


def _box(part: Sequence[CouponPlace]) -> tuple[float, float, float, float]:
    """Left, near, right and far end of some coupons with room round them, mm."""
    return (
        min(c.corner[0] for c in part) - _ROOM_MM,
        min(c.corner[1] for c in part) - _ROOM_MM,
        max(c.corner[0] + c.length for c in part) + _ROOM_MM,
        max(c.corner[1] + c.width for c in part) + _ROOM_MM,
    )


def _scale(wide: Sequence[float], tall: Sequence[float], along: str) -> float:
    """Inches per mm at which parts beside each other (along y) or below each other (along x) fill the page."""
    count = len(wide)
    beside, below = (count, 1) if along == "y" else (1, count)
    across, up = MAP_IN[0] - 0.45 * beside, MAP_IN[1] - 0.45 * below - 0.15
    if along == "y":
        return min(across / sum(wide), up / max(tall))
    return min(across / max(wide), up / sum(tall))


def _draw_sheet_corner(axes: Axes, box: tuple[float, float, float, float]) -> None:
    left, near, right, far = box
    if left <= 0:
        axes.axvline(0, color=INK, lw=1.4)
    if near <= 0:
        axes.axhline(0, color=INK, lw=1.4)
    axes.set_xlim(left, right)
    axes.set_ylim(near, far)
    axes.set_aspect("equal")
    axes.tick_params(labelsize=7.5)
    in_unit(axes.xaxis, "mm")
    in_unit(axes.yaxis, "mm")


def _draw_coupon(axes: Axes, coupon: CouponPlace, per_mm: float) -> None:
    from matplotlib.patches import Rectangle

    x, y = coupon.corner
    axes.add_patch(Rectangle(coupon.corner, coupon.length, coupon.width, fill=False, ec=GREY, lw=0.6))
    axes.plot(*zip(*coupon.measured, strict=True), color=INK, lw=2.4, solid_capstyle="butt")
    axes.plot(*zip(*coupon.lead_in, strict=True), color=GREY, lw=0.8)
    if coupon.joint is not None:
        axes.plot(*zip(*coupon.joint, strict=True), color="white", lw=2.0)
    room = per_mm * coupon.length
    size = min(max(room / (0.68 * max(len(coupon.coupon), 3)), 3.5), 15.0, 0.42 * per_mm * coupon.width)
    axes.text(
        x + coupon.length / 2,
        y + 0.62 * coupon.width,
        drawn(coupon.coupon, 12),
        ha="center",
        va="center",
        fontsize=size,
        fontweight="bold",
    )
    turn = "↻" if coupon.cut_direction == "clockwise" else "↺"
    axes.text(
        x + coupon.length / 2,
        y + 0.22 * coupon.width,
        f"{coupon.order} {turn}",
        ha="center",
        va="center",
        fontsize=0.8 * size,
        color=INK,
    )


def detectable_figure(curve: pd.DataFrame, unit: str = "", worthwhile: float | None = None) -> str:
    """Detectable difference against the count of each part of a plan, one line per part; the plan itself is ringed.

    `curve` has `varied, count, detectable, planned`, as `trials.plan.power.balanced.curve` gives it.
    """
    with canvas(2.9) as (figure, axes):
        for position, (varied, part) in enumerate(curve.groupby("varied", sort=False)):
            axes.plot(
                part["count"],
                part["detectable"],
                color=ACCENT if position == 0 else GREY,
                ls=dash(position),
                lw=1.4,
                marker=marker(position),
                ms=5,
                markeredgecolor="white",
                mew=0.6,
                label=drawn(part_words(str(varied)), 30),
            )
        planned = curve[curve["planned"]]
        axes.scatter(
            planned["count"],
            planned["detectable"],
            s=110,
            facecolors="none",
            edgecolors=INK,
            lw=1.1,
            label=text("as planned"),
        )
        if worthwhile is not None:
            axes.axhline(worthwhile, color=INK, lw=0.9, ls=(0, (4, 2)))
            name, across = f"{text('worthwhile')} ", axes.get_yaxis_transform()
            axes.text(1.0, worthwhile, name, transform=across, ha="right", va="bottom")
        axes.set_xscale("log")
        counts = sorted(curve["count"].unique())
        axes.set_xticks(counts, [f"{c:g}" for c in counts])
        axes.minorticks_off()
        axes.set_ylim(bottom=0)
        axes.set_xlabel(text("how many of them (the other parts as planned)"))
        label = text("detectable difference, {unit}", unit=unit) if unit else text("detectable difference")
        axes.set_ylabel(drawn(label, 40))
        figure.legend(loc="outside upper left", ncols=3, columnspacing=1.2)
        return svg(figure)


def prediction_figure(
    x: Sequence[float],
    y: Sequence[float],
    errors: np.ndarray,
    x_words: str,
    y_words: str,
    cut: Sequence[Sequence[float]] = (),
) -> str:
    """Prediction error over two settings: shades of grey, lines with their value, crosses where coupons are planned.

    `errors` (len(y), len(x)), NaN where the setting is not allowed; `cut` pairs (x, y).
    """
    with canvas(3.2, width_in=4.6) as (figure, axes):
        shown = np.ma.masked_invalid(np.asarray(errors, dtype=float))
        if shown.count() == 0:
            empty(axes, text("no setting is allowed"))
            return svg(figure)
        axes.set_facecolor("white")
        axes.contourf(x, y, shown, levels=7, cmap="Greys", alpha=0.55)
        if float(shown.max()) > float(shown.min()):
            lines = axes.contour(x, y, shown, levels=7, colors=INK, linewidths=0.6)
            axes.clabel(lines, fontsize=7.5, fmt="%.3g")
        if len(cut):
            axes.scatter(
                *np.asarray(cut, dtype=float).T, marker="x", s=34, color=ACCENT, lw=1.6, zorder=3, clip_on=False
            )
        axes.set_xlabel(drawn(x_words))
        axes.set_ylabel(drawn(y_words))
        return svg(figure)
