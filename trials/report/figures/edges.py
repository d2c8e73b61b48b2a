"""Figures of one response: the main one with the ranges behind the means, and the response against each setting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from trials.decide.results import Mean, NozzleRow, ResponseResult, Spread
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
from trials.units import shown
from trials.words import figures as words
from trials.words.language import text
from trials.words.settings import layer_name

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

    `table` has one row per reading with `coupon, nozzle, value`; other columns keep their first entry.
    """
    first = table.groupby("coupon", sort=False).first().reset_index()
    if scale == "log" and bool((table["value"] > 0).all()):
        logs = np.log(table["value"]).groupby(table["coupon"], sort=False).mean()
        means = np.exp(logs)
    else:
        means = table.groupby("coupon", sort=False)["value"].mean()
    first["value"] = first["coupon"].map(means)
    return first


def axis_words(result: ResponseResult) -> str:
    """Axis title: the response with its unit."""
    return drawn(words.axis_words(result), 60)


def main_figure(
    result: ResponseResult, coupons: pd.DataFrame, bands: Sequence[Band] = (), today: str = "", height_in: float = 0.0
) -> str:
    """Typical edge of each nozzle type with its interval, each coupon as a light mark, ranges behind them.

    `coupons` has `nozzle, value` (unit of the response), one row per coupon that was cut; see `coupon_means`.
    """
    height = height_in or 1.1 + 0.46 * max(len(result.means), 2) + (0.2 if bands or result.scale == "grade" else 0)
    with canvas(height) as (figure, axes):
        low, high = _value_span(result, coupons, [band.high for band in bands if band.required])
        _draw_bands(axes, bands, low, high, shown(result.unit))
        for position, mean in enumerate(result.means):
            _draw_type(axes, position, mean, coupons, today)
        if result.scale == "grade":
            axes.set_xticks([step.grade for step in SCALE], [_grade_label(step) for step in SCALE])
        axes.set_ylim(len(result.means) - 0.45, -0.55)
        axes.set_xlim(low, high)
        axes.set_yticks(range(len(result.means)), [_label(mean.nozzle, today) for mean in result.means])
        axes.tick_params(axis="y", length=0)
        axes.set_xlabel(words.main_axis(axis_words(result), result))
        return svg(figure)


def _grade_label(step: DrossGrade) -> str:
    return f"{step.grade}\n{wrapped(step.name, 12, 2)}"


def _label(nozzle: str, today: str) -> str:
    return wrapped(f"{nozzle} (today)" if nozzle == today else nozzle, 22, 2)


def _value_span(result: ResponseResult, coupons: pd.DataFrame, limits: list[float]) -> tuple[float, float]:
    values = [v for mean in result.means for v in (mean.low, mean.mean, mean.high)]
    low, high = span(np.concatenate([np.asarray(values, float), coupons["value"].to_numpy(float), limits]), 0.08)
    if result.scale == "grade":
        return -0.3, 4.3
    return (max(low, 0.0) if not result.means or min(values) >= 0 else low), high


def _draw_bands(axes: Axes, bands: Sequence[Band], low: float, high: float, unit: str) -> None:
    allowed = next((band.high for band in bands if band.required), float("inf"))
    for band in bands:
        left, right = max(band.low, low), min(band.high, high)
        if right <= left:
            continue
        fill, hatch = _BAND_FILL[(band.number - 1) % len(_BAND_FILL)], "////" if band.low >= allowed else ""
        axes.axvspan(left, right, facecolor=fill, edgecolor=PALE, hatch=hatch, linewidth=0, zorder=0)
        if right - left > 0.07 * (high - low):
            axes.text(
                (left + right) / 2,
                1.015,
                f"range {band.number}",
                transform=axes.get_xaxis_transform(),
                ha="center",
                va="bottom",
                fontsize=8.5,
                color=INK,
            )
        if low < band.high < high:
            style = "-" if band.required else (0, (2, 2))
            axes.axvline(band.high, color=INK if band.required else GREY, lw=1.3 if band.required else 0.7, ls=style)
    required = [band.high for band in bands if band.required and low < band.high < high]
    for band in bands:
        near = any(abs(band.high - limit) < 0.3 * (high - low) for limit in required)
        if low < band.high < high and (band.required or not near):
            _draw_limit(axes, band, (band.high - low) / (high - low), unit)


def _draw_limit(axes: Axes, band: Band, share: float, unit: str) -> None:
    """The limit in words above the names of the ranges, where no mark can lie; a tick leads up to it."""
    above = axes.get_xaxis_transform()
    said = words.limit_mark(band.high, unit, band.required)
    side = "left" if share < 0.15 else "right" if share > 0.85 else "center"
    axes.plot([band.high] * 2, [1.0, 1.1], transform=above, color=INK, lw=1.3 if band.required else 0.7, clip_on=False)
    weight = "bold" if band.required else "normal"
    axes.text(band.high, 1.11, said, transform=above, ha=side, va="bottom", fontsize=8.5, color=INK, fontweight=weight)


def _draw_type(axes: Axes, position: int, mean: Mean, coupons: pd.DataFrame, today: str) -> None:
    values = coupons.loc[coupons["nozzle"] == mean.nozzle, "value"].to_numpy(float)
    axes.scatter(
        values,
        position + jitter(len(values), 0.26),
        s=11,
        marker=marker(position),
        facecolors="white",
        edgecolors=GREY,
        linewidths=0.6,
        zorder=2,
    )
    colour = INK if mean.nozzle == today else ACCENT
    axes.plot([mean.low, mean.high], [position] * 2, color="white", lw=4.6, solid_capstyle="butt", zorder=3)
    axes.plot([mean.low, mean.high], [position] * 2, color=colour, lw=2.2, solid_capstyle="butt", zorder=4)
    for end in (mean.low, mean.high):
        axes.plot([end, end], [position - 0.12, position + 0.12], color=colour, lw=1.4, zorder=4)
    axes.plot(
        mean.mean, position, marker=marker(position), ms=9, color=colour, markeredgecolor="white", mew=1.2, zorder=5
    )


@dataclass(frozen=True)
class Setting:
    """One varied setting: its column in the table of coupons, its words with unit, the planned levels in order."""

    column: str
    words: str
    levels: tuple[float | str, ...]


def by_factor_figure(
    result: ResponseResult, coupons: pd.DataFrame, settings: Sequence[Setting], types: Sequence[str]
) -> str:
    """One strip per nozzle type, one row of strips per setting: coupon marks, and the mean at each setting cut."""
    with canvas(0.75 + 1.2 * len(settings), len(settings), len(types), sharey=True, squeeze=False) as (figure, grid):
        low, high = span(coupons["value"].to_numpy(float))
        for row, setting in enumerate(settings):
            for place, nozzle in enumerate(types):
                axes = grid[row][place]
                part = coupons[coupons["nozzle"] == nozzle]
                _draw_levels(axes, part[setting.column].tolist(), part["value"].to_numpy(float), setting.levels, place)
                axes.set_ylim(low, high)
                if row == 0:
                    axes.set_title(wrapped(nozzle, max(10, 62 // len(types)), 2), fontsize=8.5)
                axes.set_xlabel(drawn(setting.words, max(14, 90 // len(types))), fontsize=8.5)
        figure.supylabel(axis_words(result), fontsize=9)
        return svg(figure)


def _draw_levels(
    axes: Axes, cut: list[float | str], values: np.ndarray, levels: tuple[float | str, ...], position: int
) -> None:
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
    axes.set_xticks(places, [drawn(f"{v:g}" if isinstance(v, (int, float)) else v, 12) for v in known])
    axes.set_xlim(low, high)
    axes.tick_params(labelsize=8)
    axes.grid(axis="y", color=PALE, lw=0.4)


def lost_figure(rows: Sequence[NozzleRow]) -> str:
    """Coupons planned per nozzle type as bars, the lost ones hatched and counted."""
    with canvas(0.75 + 0.26 * max(len(rows), 1)) as (figure, axes):
        if not rows:
            empty(axes, text("no coupons"))
            return svg(figure)
        for position, row in enumerate(rows):
            cut, planned = row.n_coupons, row.n_coupons + row.n_lost
            axes.barh(position, cut, height=0.6, color=PALE, edgecolor=GREY, lw=0.7)
            axes.barh(position, row.n_lost, left=cut, height=0.6, color="white", edgecolor=INK, hatch="////", lw=0.7)
            axes.text(planned, position, f"  {words.cut_of(row)}", va="center", fontsize=8.5)
        axes.set_yticks(range(len(rows)), [wrapped(row.nozzle, 24, 2) for row in rows])
        axes.set_ylim(len(rows) - 0.4, -0.6)
        axes.set_xlim(0, 1.3 * max(row.n_coupons + row.n_lost for row in rows) or 1)
        axes.set_xlabel(text("coupons (hatched: lost)"))
        axes.tick_params(axis="y", length=0)
        return svg(figure)


def spread_figure(result: ResponseResult) -> str:
    """How much each source varies, as a row of dots on the model's scale (in percent where that scale is the log)."""
    with canvas(0.75 + 0.26 * max(len(result.spread), 1)) as (figure, axes):
        if not result.spread:
            empty(axes, text("no spread was estimated"))
            return svg(figure)
        percent = result.scale == "log"
        sizes = [100 * np.expm1(part.sd) if percent else part.sd for part in result.spread]
        for position, (part, size) in enumerate(zip(result.spread, sizes, strict=True)):
            axes.plot([0, size], [position] * 2, color=LIGHT, lw=1.2)
            axes.plot(size, position, marker="o", ms=7, color=ACCENT if part.source != "reading" else GREY)
            axes.text(size, position - 0.12, f"   {size:.2g}{' %' if percent else ''}", va="center", fontsize=8.5)
        axes.set_yticks(range(len(sizes)), [drawn(_between(part, result)) for part in result.spread])
        axes.set_ylim(len(sizes) - 0.4, -0.6)
        axes.set_xlim(0, 1.18 * max(sizes) or 1)
        axes.set_xlabel(words.spread_axis(result))
        axes.tick_params(axis="y", length=0)
        return svg(figure)


def _between(part: Spread, result: ResponseResult) -> str:
    return text("between {layers}", layers=layer_name(part.source, result.block, several=True))
