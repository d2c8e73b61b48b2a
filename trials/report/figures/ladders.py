"""The ladder picture: where each mount stops cutting clean, and what follows for its type."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from trials.decide.clean_speed import CleanSpeed
from trials.decide.ladder import LadderAnswer, MountLadder
from trials.report.figures.look import ACCENT, GREY, INK, PALE, canvas, drawn, empty, svg, wrapped
from trials.words.ladders import axis_name
from trials.words.language import text
from trials.words.names import person

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ROW, GAP = 0.16, 0.5  # height of a mount in inches; room between types, in rows


def ladder_figure(found: LadderAnswer) -> str:
    """One bar per mount between its last clean and first unclean step, an open arrow where the ladder gives no end.

    Below the mounts of a type stand its typical speed with its interval, and the lower bound of the speed at which
    95 % of its mounts cut clean.
    """
    order = [each.nozzle for each in found.types] or list(dict.fromkeys(m.nozzle for m in found.mounts))
    groups = [(nozzle, [m for m in found.mounts if m.nozzle == nozzle]) for nozzle in order]
    rows = sum(len(mounts) for _, mounts in groups) + 2.2 * len(groups)
    with canvas(0.9 + ROW * max(rows, 6)) as (figure, axes):
        if not found.mounts:
            empty(axes, text("no ladder says anything"))
            return svg(figure)
        left, right = _ends(found)
        axes.set_xlim(left, right)
        ticks, place = [], 0.0
        for nozzle, mounts in groups:
            ticks.append(place + (len(mounts) + 0.2) / 2)
            place = _draw_type(axes, found, nozzle, mounts, place, (left, right))
        axes.set_ylim(place - GAP, -0.9)
        labels = [
            text("{nozzle} (today)", nozzle=person(nozzle)) if nozzle == found.today else person(nozzle)
            for nozzle in order
        ]
        axes.set_yticks(ticks, [wrapped(label, 20, 2) for label in labels])
        axes.tick_params(axis="y", length=0)
        axes.set_xlabel(drawn(axis_name(found), 60))
        return svg(figure)


def _ends(found: LadderAnswer) -> tuple[float, float]:
    known = [x for each in found.types for x in (each.low, each.high, each.clean_95_low) if math.isfinite(x)]
    low, high = min([found.steps[0], *known]), max([found.steps[1], *known])
    room = 0.07 * (high - low)
    return max(low, found.steps[0] - (high - found.steps[0])) - room, high + room


def _draw_type(
    axes: Axes, found: LadderAnswer, nozzle: str, mounts: Sequence[MountLadder], top: float, ends: tuple[float, float]
) -> float:
    """The mounts of one type from the row `top` on, its own line below them; the first free row."""
    ordered = sorted(mounts, key=lambda m: (m.low if not math.isnan(m.low) else -math.inf, m.mount))
    for i, mount in enumerate(ordered):
        _draw_mount(axes, mount, top + i, ends)
    row = top + len(ordered) + 0.2
    for each in found.types:
        if each.nozzle == nozzle:
            _draw_typical(axes, each, row, ends)
    axes.axhline(row + 0.9, color=PALE, lw=0.6)
    return row + 1.0 + GAP + 0.5


def _draw_mount(axes: Axes, mount: MountLadder, row: float, ends: tuple[float, float]) -> None:
    if not math.isnan(mount.low) and not math.isnan(mount.high):
        axes.plot([mount.low, mount.high], [row, row], color=GREY, lw=4.2, solid_capstyle="butt", zorder=2)
        return
    start, way = (mount.low, 1.0) if math.isnan(mount.high) else (mount.high, -1.0)
    reach = 0.055 * (ends[1] - ends[0])
    axes.annotate(
        "",
        xy=(start + way * reach, row),
        xytext=(start, row),
        arrowprops={"arrowstyle": "-|>,head_width=0.18,head_length=0.3", "color": GREY, "fc": "white", "lw": 1.0},
        annotation_clip=False,
    )
    axes.plot([start, start], [row - 0.3, row + 0.3], color=GREY, lw=1.2)


def _draw_typical(axes: Axes, each: CleanSpeed, row: float, ends: tuple[float, float]) -> None:
    low, high = max(each.low, ends[0]), min(each.high, ends[1])
    axes.plot([low, high], [row, row], color=ACCENT, lw=1.6, zorder=3)
    if math.isfinite(each.typical):
        axes.plot([each.typical], [row], marker="D", ms=7, color=ACCENT, mec="white", mew=0.8, zorder=4)
    if math.isfinite(each.clean_95_low) and each.clean_95_low >= ends[0]:
        axes.plot([each.clean_95_low], [row], marker="|", ms=13, mew=2.4, color=INK, zorder=4)
