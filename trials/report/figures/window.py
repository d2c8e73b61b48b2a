"""Maps of the operating window: one per nozzle type on one scale, in steps of grey, blank where nothing was cut."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from trials.decide.window_result import TypeWindow, WindowStudy
from trials.report.figures.look import ACCENT, GREY, INK, canvas, drawn, in_unit, svg, wrapped
from trials.words.language import text
from trials.words.names import person
from trials.words.numbers import percent
from trials.words.settings import factor_name
from trials.words.system import shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FILLS = ("#8f8f8f", "#b3b3b3", "#d2d2d2", "#e9e9e9", "#ffffff")  # from unlikely to safe


def steps_of(wanted: float) -> tuple[float, ...]:
    """Borders of the bands of chance: half, then two steps up to the stated one, and half way from there to one."""
    return (0.0, 0.5, round(0.5 + (wanted - 0.5) / 2, 3), wanted, round(wanted + (1 - wanted) / 2, 3), 1.0)


def window_figure(found: WindowStudy) -> str:
    """Chance that the next edge meets everything, by type over two factors, on one scale.

    Each cell of the grid is filled by the band its chance falls in; dots fill what is shown with 95 % confidence to
    reach the stated chance; rings are the settings that were cut, a square is today's, a diamond the best.
    """
    from matplotlib.patches import Rectangle

    count, ends = len(found.types), steps_of(found.wanted)
    names = [_band_words(ends[i], ends[i + 1], i) for i in range(len(FILLS))]
    width = max(3.2, min(2.3 * count + 0.8, 9.0))
    columns = _legend_columns(names, width)
    height = 3.3 + 0.2 * (math.ceil(len(names) / columns) - 1)
    with canvas(height, 1, count, width_in=width, sharey=True, squeeze=False) as (figure, grid):
        for axes, each in zip(grid[0], found.types, strict=True):
            _draw_map(axes, each, found)
        x_name, y_name = found.across
        grid[0][0].set_ylabel(drawn(_axis(y_name, found)))
        for axes in grid[0]:
            axes.set_xlabel(drawn(_axis(x_name, found)))
            in_unit(axes.xaxis, found.units.get(x_name, ""))
            in_unit(axes.yaxis, found.units.get(y_name, ""))
        handles = [Rectangle((0, 0), 1, 1, fc=fill, ec=GREY, lw=0.6) for fill in FILLS]
        figure.legend(handles, names, loc="outside lower center", ncols=columns, columnspacing=1.0, handlelength=1.4)
        return svg(figure)


LETTERS = 16.5  # of the legend on an inch, the room around a name counted as four


def _legend_columns(names: Sequence[str], width_in: float) -> int:
    """How many names of the legend fit beside each other, the longest first."""
    lengths = sorted((len(name) + 4 for name in names), reverse=True)
    return next((n for n in (len(names), 3, 2) if sum(lengths[:n]) <= LETTERS * width_in), 1)


def _band_words(low: float, high: float, place: int) -> str:
    if place == 0:
        return text("chance under {high}", high=percent(high))
    if high >= 1.0:
        return text("{low} or more", low=percent(low))
    return text("{low} to {high}", low=percent(low), high=percent(high))


def _axis(name: str, found: WindowStudy) -> str:
    unit = found.units.get(name, "")
    return f"{factor_name(name)}, {shown_unit(unit)}" if unit else factor_name(name)


def _draw_map(axes: Axes, each: TypeWindow, found: WindowStudy) -> None:
    from matplotlib.patches import Rectangle

    x, y = np.array(found.x), np.array(found.y)
    wide, tall = x[1] - x[0], y[1] - y[0]
    x_name, y_name = found.across
    inner = steps_of(found.wanted)[1:-1]
    for place, chance, low in zip(each.settings, each.chance, each.low, strict=True):
        a, b = float(place[x_name]), float(place[y_name])
        fill = FILLS[int(np.searchsorted(inner, chance, side="right"))]
        axes.add_patch(Rectangle((a - wide / 2, b - tall / 2), wide, tall, fc=fill, ec=fill, lw=0.2, zorder=1))
        if low >= found.wanted:
            axes.plot([a], [b], marker=".", ms=2.6, color=INK, zorder=2)
    _draw_border(axes, each, found, wide, tall)
    cut = np.array(each.cut)
    axes.plot(
        cut[:, 0], cut[:, 1], ls="none", marker="o", ms=5, mfc="none", mec=ACCENT, mew=0.9, zorder=3, clip_on=False
    )
    today = [float(found.today[name]) for name in found.across]
    axes.plot(*([value] for value in today), marker="s", ms=10, mfc="none", mec=INK, mew=1.3, zorder=4, clip_on=False)
    best = [float(each.best.settings[name]) for name in found.across]
    axes.plot(*([value] for value in best), marker="D", ms=6, color=INK, mec="white", mew=0.8, zorder=5, clip_on=False)
    axes.set_xlim(x[0] - 0.7 * wide, x[-1] + 0.7 * wide)
    axes.set_ylim(y[0] - 0.7 * tall, y[-1] + 0.7 * tall)
    share = text(
        "safe: {estimate}, shown {bound}", estimate=percent(each.share_estimate), bound=percent(each.share_bound)
    )
    axes.set_title(f"{wrapped(person(each.nozzle), 24, 1)}\n{wrapped(share, 30, 2)}", fontsize=9)


def _draw_border(axes: Axes, each: TypeWindow, found: WindowStudy, wide: float, tall: float) -> None:
    """A line around the cells that reach the stated chance by estimate, and a thin one around all that was cut."""
    x_name, y_name = found.across
    steps = {name: i for i, name in enumerate(found.x)}, {name: i for i, name in enumerate(found.y)}
    state = np.full((len(found.y), len(found.x)), -1)
    for place, chance in zip(each.settings, each.chance, strict=True):
        state[steps[1][float(place[y_name])], steps[0][float(place[x_name])]] = int(chance >= found.wanted)
    padded = np.pad(state, 1, constant_values=-1)
    for (j, i), own in np.ndenumerate(state):
        a, b = found.x[i], found.y[j]
        sides = (
            (padded[j + 1, i + 2], [a + wide / 2] * 2, [b - tall / 2, b + tall / 2]),
            (padded[j + 1, i], [a - wide / 2] * 2, [b - tall / 2, b + tall / 2]),
            (padded[j + 2, i + 1], [a - wide / 2, a + wide / 2], [b + tall / 2] * 2),
            (padded[j, i + 1], [a - wide / 2, a + wide / 2], [b - tall / 2] * 2),
        )
        for other, across, up in sides:
            if own == 1 and other != 1:
                axes.plot(across, up, color=INK, lw=1.1, zorder=2, solid_capstyle="projecting")
            elif own == 0 and other == -1:
                axes.plot(across, up, color=GREY, lw=0.5, zorder=2, solid_capstyle="projecting")
