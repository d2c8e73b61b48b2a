"""Figures of one response: the main one with the ranges behind the means, and the response against each setting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from trials.decide.results import Mean, ResponseResult
from trials.grade.dross import SCALE, DrossGrade
from trials.report.figures.look import (
    ACCENT,
    GREY,
    INK,
    LIGHT,
    PALE,
    canvas,
    dash,
    drawn,
    empty,
    jitter,
    marker,
    span,
    svg,
    wrapped,
)
from trials.responses import Scale
from trials.units import shown
from trials.words import figures as words
from trials.words.grade import dross_name
from trials.words.language import text
from trials.words.names import person
from trials.words.numbers import bare, percent, point
from trials.words.settings import between
from trials.words.study import label

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class Band:
    """One range of a standard on the response's axis: from the limit of the range before it to its own `high`."""

    number: int
    low: float
    high: float
    required: bool = False


_BAND_FILL = ("#ffffff", "#f1f1f1", "#e4e4e4", "#d8d8d8", "#cccccc")


def coupon_means(table: pd.DataFrame, scale: str) -> pd.DataFrame:
    """One row per coupon of an analysis table, `value` averaged on the model's scale (geometric mean on the log scale).

    `table` has one row per reading with `coupon, nozzle, value`; other columns keep their first entry. `worst` joins:
    the largest reading.
    """
    first = table.groupby("coupon", sort=False).first().reset_index()
    if scale == "log" and bool((table["value"] > 0).all()):
        logs = np.log(table["value"]).groupby(table["coupon"], sort=False).mean()
        means = np.exp(logs)
    else:
        means = table.groupby("coupon", sort=False)["value"].mean()
    first["value"] = first["coupon"].map(means)
    first["worst"] = first["coupon"].map(table.groupby("coupon", sort=False)["value"].max())
    return first


def axis_words(result: ResponseResult) -> str:
    """Axis title: the response with its unit."""
    return drawn(words.axis_words(result), 60)


def main_figure(
    result: ResponseResult, coupons: pd.DataFrame, bands: Sequence[Band] = (), today: str = "", height_in: float = 0.0
) -> str:
    """Typical edge of each nozzle type with its interval and figure, its coupons as small marks, ranges behind them.

    `coupons` has `nozzle, value` (unit of the response), one row per coupon that was cut; see `coupon_means`. Further
    columns may mark a coupon as `compared` (cut at the compared settings: drawn full, the others pale) and `open` (a
    reading is doubted: ringed), and give its `judged` value (a small stroke, for compared coupons).
    """
    names = [axis_label(mean.nozzle, today) for mean in result.means]
    with canvas(height_in or _height(names, bool(bands) or result.scale == Scale.GRADE)) as (figure, axes):
        low, high = _value_span(result, coupons, bands)
        _draw_bands(axes, bands, low, high, shown(result.unit))
        for position, mean in enumerate(result.means):
            _draw_type(axes, position, mean, coupons, today)
        if result.scale == Scale.GRADE:
            axes.set_xticks([step.grade for step in SCALE], [_grade_label(step) for step in SCALE])
        axes.set_ylim(len(result.means) - 0.45, -0.55)
        axes.set_xlim(low, high)
        axes.set_yticks(range(len(result.means)), names)
        axes.tick_params(axis="y", length=0)
        axes.set_xlabel(axis_words(result))
        return svg(figure)


def _height(names: Sequence[str], headed: bool) -> float:
    """Inches for one row per type, each as high as its name needs."""
    lines = max((name.count("\n") + 1 for name in names), default=1)
    return 0.85 + max(0.4, 0.145 * lines + 0.1) * max(len(names), 2) + (0.25 if headed else 0)


def _grade_label(step: DrossGrade) -> str:
    return f"{step.grade}\n{wrapped(dross_name(step.grade), 12, 2)}"


def axis_label(nozzle: str, today: str) -> str:
    """A nozzle type beside its row, in lines, whole up to 130 letters."""
    name = person(nozzle)
    return wrapped(text("{nozzle} (today)", nozzle=name) if nozzle == today else name, 26, 5)


def hatched(result: ResponseResult, coupons: pd.DataFrame, bands: Sequence[Band]) -> bool:
    """Whether a hatched zone lies on the axis of the main figure."""
    low, high = _value_span(result, coupons, bands)
    return any(beyond and min(end, high) > max(start, low) for start, end, _, _, beyond in zones(bands, high))


def _value_span(result: ResponseResult, coupons: pd.DataFrame, bands: Sequence[Band]) -> tuple[float, float]:
    """Ends of the axis: room for every interval, coupon, judged value and required limit."""
    values = [v for mean in result.means for v in (mean.low, mean.mean, mean.high)]
    limits = [band.high for band in bands if band.required]
    marks = [coupons["value"].to_numpy(float)]
    marks += [coupons["judged"].to_numpy(float)[_compared(coupons)]] if "judged" in coupons else []
    low, high = span(np.concatenate([np.asarray(values, float), *marks, limits]), 0.08)
    if result.scale == Scale.GRADE:
        return -0.3, 4.3
    return (max(low, 0.0) if not result.means or min(values) >= 0 else low), high


def zones(bands: Sequence[Band], high: float) -> list[tuple[float, float, str, str, bool]]:
    """Left, right, name, fill of each zone, and whether it is worse than required or than the last range."""
    allowed = next((band.high for band in bands if band.required), float("inf"))
    found = [
        (band.low, band.high, text("range {number}", number=band.number), _BAND_FILL[(band.number - 1) % 5])
        for band in bands
    ]
    if bands:
        found.append((bands[-1].high, high, text("worse than range {number}", number=bands[-1].number), _BAND_FILL[-1]))
    last = len(bands)
    return [(*zone, zone[0] >= allowed or k == last) for k, zone in enumerate(found)]


def _draw_bands(axes: Axes, bands: Sequence[Band], low: float, high: float, unit: str) -> None:
    for start, end, name, fill, beyond in zones(bands, high):
        left, right = max(start, low), min(end, high)
        if right <= left:
            continue
        hatch = "////" if beyond else ""
        axes.axvspan(left, right, facecolor=fill, edgecolor=PALE, hatch=hatch, linewidth=0, zorder=0)
        if right - left > (0.011 * len(name) + 0.02) * (high - low):
            _above(axes, (left + right) / 2, name)
    required = [band.high for band in bands if band.required and low < band.high < high]
    for band in bands:
        if not low < band.high < high:
            continue
        style: Any = "-" if band.required else (0, (2, 2))
        axes.axvline(band.high, color=INK if band.required else GREY, lw=1.3 if band.required else 0.7, ls=style)
        near = any(abs(band.high - limit) < 0.3 * (high - low) for limit in required)
        if band.required or not near:
            _draw_limit(axes, band, (band.high - low) / (high - low), unit)


def _above(axes: Axes, place: float, name: str) -> None:
    above = axes.get_xaxis_transform()
    axes.text(place, 1.015, name, transform=above, ha="center", va="bottom", fontsize=8.5, color=INK)


def _draw_limit(axes: Axes, band: Band, share: float, unit: str) -> None:
    """The limit in words above the names of the ranges, where no mark can lie; a tick leads up to it."""
    above = axes.get_xaxis_transform()
    said = words.limit_mark(band.high, unit, band.required)
    side = "left" if share < 0.15 else "right" if share > 0.85 else "center"
    axes.plot([band.high] * 2, [1.0, 1.1], transform=above, color=INK, lw=1.3 if band.required else 0.7, clip_on=False)
    weight = "bold" if band.required else "normal"
    axes.text(band.high, 1.11, said, transform=above, ha=side, va="bottom", fontsize=8.5, color=INK, fontweight=weight)


def _compared(coupons: pd.DataFrame) -> np.ndarray:
    """Which coupons (n,) were cut at the compared settings."""
    return coupons["compared"].to_numpy(bool) if "compared" in coupons else np.ones(len(coupons), bool)


LINE, COUPONS, SCATTER = 0.25, -0.17, 0.19  # of a row: its line, the middle of its coupons above it, how far they go


def _draw_type(axes: Axes, position: int, mean: Mean, coupons: pd.DataFrame, today: str) -> None:
    _draw_coupons(axes, position, coupons[coupons["nozzle"] == mean.nozzle])
    colour, row = INK if mean.nozzle == today else ACCENT, position + LINE
    axes.plot([mean.low, mean.high], [row] * 2, color=colour, lw=2.2, solid_capstyle="butt", zorder=4)
    for end in (mean.low, mean.high):
        axes.plot([end, end], [row - 0.1, row + 0.1], color=colour, lw=1.4, zorder=4)
    axes.plot(mean.mean, row, marker=marker(position), ms=9, color=colour, markeredgecolor="white", mew=1.2, zorder=5)


def _draw_coupons(axes: Axes, position: int, own: pd.DataFrame) -> None:
    """Small marks: full at the compared settings, pale elsewhere, ringed where a reading is open."""
    values = own["value"].to_numpy(float)
    at = position + COUPONS + jitter(len(values), SCATTER)
    full = _compared(own)
    for chosen, face, edge, level in ((~full, "white", LIGHT, 1), (full, GREY, INK, 2)):
        axes.scatter(
            values[chosen],
            at[chosen],
            s=12,
            marker=marker(position),
            facecolors=face,
            edgecolors=edge,
            linewidths=0.6,
            zorder=level,
        )
    if "judged" in own:
        axes.scatter(own["judged"].to_numpy(float)[full], at[full], s=26, marker="|", color=INK, lw=0.8, zorder=2)
    if "open" in own:
        ringed = own["open"].to_numpy(bool)
        axes.scatter(values[ringed], at[ringed], s=95, facecolors="none", edgecolors=INK, linewidths=1.1, zorder=6)


@dataclass(frozen=True)
class Setting:
    """One varied setting: its column in the table of coupons, its words with unit, the planned levels in order.

    unit: of the levels as kept.
    """

    column: str
    words: str
    levels: tuple[float | str, ...]
    unit: str = ""


def by_factor_figure(
    result: ResponseResult, coupons: pd.DataFrame, settings: Sequence[Setting], types: Sequence[str]
) -> str:
    """One strip per nozzle type, at most four side by side, one row of strips per setting.

    Drawn are coupon marks, and the mean at each setting cut.
    """
    across = min(len(types), ACROSS)
    titles = [wrapped(nozzle, 62 // across, 4) for nozzle in types]
    lines, rows = max(title.count("\n") + 1 for title in titles), -(-len(types) // across)
    height = 0.4 + rows * (0.14 * lines + 1.15 * len(settings))
    with canvas(height, rows * len(settings), across, sharey=True, squeeze=False) as (figure, grid):
        low, high = span(coupons["value"].to_numpy(float))
        for place in range(rows * across):
            for row, setting in enumerate(settings):
                axes = grid[place // across * len(settings) + row][place % across]
                if place >= len(types):
                    axes.set_axis_off()
                    continue
                part = coupons[coupons["nozzle"] == types[place]]
                _draw_levels(axes, part[setting.column].tolist(), part["value"].to_numpy(float), setting, place)
                axes.set_ylim(low, high)
                if row == 0:
                    axes.set_title(titles[place], fontsize=8.5)
                axes.set_xlabel(drawn(setting.words, 90 // across), fontsize=8.5)
        figure.supylabel(axis_words(result), fontsize=9)
        return svg(figure)


ACROSS = 4
"""Most strips side by side: more leave no room for their names."""


def _draw_levels(axes: Axes, cut: list[float | str], values: np.ndarray, setting: Setting, position: int) -> None:
    levels = setting.levels
    worded = isinstance(levels[0], str)
    known = list(dict.fromkeys([*levels, *cut])) if worded else sorted(levels)
    places = np.arange(len(known), dtype=float) if worded else np.array(known, dtype=float)
    at = np.array([known.index(level) for level in cut] if worded else cut, dtype=float)
    low, high = span(np.concatenate([places, at]), 0.22)
    shown = at + jitter(len(at), 0.05 * (high - low))
    axes.scatter(shown, values, s=9, marker=marker(position), facecolors="white", edgecolors=GREY, linewidths=0.6)
    used = np.unique(at)
    means = [values[at == place].mean() for place in used]
    axes.plot(used, means, color=ACCENT, lw=1.4, marker=marker(position), ms=5, ls=dash(position), mec="white", mew=0.7)
    axes.set_xticks(places, [drawn(bare(v, setting.unit), 12) for v in known])
    axes.set_xlim(low, high)
    axes.tick_params(labelsize=8)
    axes.grid(axis="y", color=PALE, lw=0.4)


def spread_figure(results: Sequence[ResponseResult]) -> str:
    """How much each source varies: a panel per response, dots on the model's scale (per cent where that is the log)."""
    several = max(len(results), 1)
    sources = list(dict.fromkeys(part.source for result in results for part in result.spread))
    with canvas(0.95 + 0.26 * max(len(sources), 1), 1, several, sharey=True, squeeze=False) as (figure, grid):
        if not results:
            empty(grid[0][0], text("no spread was estimated"))
            return svg(figure)
        for axes, result in zip(grid[0], results, strict=True):
            _draw_spread(axes, result, sources, several)
        names = [drawn(between(source, results[0].block)) for source in sources]
        grid[0][0].set_yticks(range(len(sources)), names)
        grid[0][0].set_ylim(len(sources) - 0.4, -0.6)
        return svg(figure)


def _draw_spread(axes: Axes, result: ResponseResult, sources: Sequence[str], panels: int) -> None:
    from matplotlib.ticker import MaxNLocator

    in_percent = result.scale == Scale.LOG
    sizes = {part.source: 100 * np.expm1(part.sd) if in_percent else part.sd for part in result.spread}
    for part in result.spread:
        position, size = sources.index(part.source), sizes[part.source]
        axes.plot([0, size], [position] * 2, color=LIGHT, lw=1.2)
        axes.plot(size, position, marker="o", ms=6, color=ACCENT if part.source != "reading" else GREY)
        axes.text(size, position - 0.12, f"  {point(f'{size:.2g}')} ({percent(part.share)})", va="center", fontsize=8)
    axes.set_xlim(0, 1.75 * max(sizes.values(), default=0.0) or 1)
    axes.set_title(wrapped(label(result), 34, 2), fontsize=8.5)
    axes.set_xlabel(text("% of the typical edge") if in_percent else shown(result.unit) or text("grades"), fontsize=8.5)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=8)
    axes.xaxis.set_major_locator(MaxNLocator(_ticks(panels, max(sizes.values(), default=0.0))))


def _ticks(panels: int, largest: float) -> int:
    """Steps of an axis that leave room between its labels; small figures have long ones."""
    if panels == 1:
        return 8
    return 4 if largest >= 0.02 else 2
