"""Figures that check a fit: drift over the order of cutting, and one side of the coupons against the other."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

import numpy as np

from trials.decide.results import ResponseResult
from trials.report.figures.look import ACCENT, GREY, INK, PALE, canvas, drawn, marker, svg
from trials.words.figures import left_axis
from trials.words.language import text, word

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


MANY_MOUNTS = 8
"""More mounts than these stand in two columns where a picture must be low."""


def leftovers(result: ResponseResult, coupons: pd.DataFrame, settings: Sequence[str] = ()) -> np.ndarray:
    """What is left per coupon (n,): `residual` where given, else the deviation from its nozzle type at its `settings`.

    On the log scale in percent of the typical edge, else in the response's unit.
    """
    percent = result.scale == "log" and bool((coupons["value"] > 0).all())
    if "residual" in coupons:
        left = coupons["residual"].to_numpy(float)
    else:
        values = np.log(coupons["value"]) if percent else coupons["value"].astype(float)
        alike = [coupons[column] for column in ("nozzle", *settings)]
        left = (values - values.groupby(alike).transform("mean")).to_numpy(float)
    return 100.0 * np.expm1(left) if percent else left


def drift_figure(
    result: ResponseResult, coupons: pd.DataFrame, types: Sequence[str], settings: Sequence[str] = ()
) -> str:
    """Leftovers of the coupons over the order of cutting, with a running median of one coupon in five."""
    with canvas(2.0 + (0.17 * (len(types) // 2) if max(map(len, types)) > 26 else 0)) as (figure, axes):
        ordered = coupons.assign(left=leftovers(result, coupons, settings)).sort_values("cut_order")
        axes.axhline(0, color=INK, lw=0.7)
        for position, nozzle in enumerate(types):
            part = ordered[ordered["nozzle"] == nozzle]
            axes.scatter(
                part["cut_order"],
                part["left"],
                s=15,
                marker=marker(position),
                facecolors="white",
                edgecolors=GREY,
                linewidths=0.8,
                label=drawn(nozzle, 60),
            )
        window = max(len(ordered) // 5, 3)
        middle = ordered["left"].rolling(window, center=True, min_periods=max(window // 2, 1)).median()
        axes.plot(ordered["cut_order"], middle, color=ACCENT, lw=1.6, label=text("running median"))
        axes.set_xlabel(text("order of cutting"))
        axes.set_ylabel(left_axis(result, "\n"))
        columns = 4 if max(map(len, types)) <= 26 else 2
        figure.legend(loc="outside upper left", ncols=columns, handletextpad=0.3, columnspacing=1.2)
        return svg(figure)


def side_means(
    result: ResponseResult, table: pd.DataFrame, settings: Sequence[str] = (), far: Collection[str] = ()
) -> pd.DataFrame:
    """One row per mount and side: `mount, nozzle, side, left`, the mean of what is left after type and settings.

    On the log scale in percent, else in the response's unit. far: coupons to leave out, as the centring check leaves
    far readings out.
    """
    work = table[~table["coupon"].astype(str).isin(far)].reset_index(drop=True)
    work = work.assign(left=leftovers(result, work, settings)).dropna(subset=["side", "mount"])
    return work.groupby(["mount", "nozzle", "side"], sort=False)["left"].mean().reset_index()


def sides_figure(
    result: ResponseResult,
    table: pd.DataFrame,
    settings: Sequence[str] = (),
    flagged: Sequence[str] = (),
    far: Collection[str] = (),
    low: bool = False,
) -> str:
    """What is left on each side of a mount, one line of marks per mount; mounts that are flagged are boxed and bold.

    low: many mounts stand in two columns, so that the picture takes little of a page.
    """
    means = side_means(result, table, settings, far)
    mounts = list(dict.fromkeys(means["mount"]))
    sides = sorted(means["side"].astype(str).unique())
    half = -(-len(mounts) // 2) if low and len(mounts) > MANY_MOUNTS else len(mounts)
    parts = [mounts[:half], *([mounts[half:]] if half < len(mounts) else [])]
    with canvas(0.85 + 0.165 * max(half, 3), 1, len(parts), sharex=True, squeeze=False) as (figure, grid):
        for axes, part in zip(grid[0], parts, strict=True):
            _draw_mounts(axes, means, part, sides, flagged)
            axes.set_ylim(half - 0.4, -0.6)
            axes.set_xlabel(left_axis(result))
        for position, side in enumerate(sides):
            mark = side_marker(side, position)
            grid[0][0].scatter([], [], s=26, color=GREY, marker=mark, label=drawn(word(side), 20))
        figure.legend(loc="outside upper left", ncols=6, handletextpad=0.2, columnspacing=1.2)
        return svg(figure)


def _draw_mounts(
    axes: Axes, means: pd.DataFrame, mounts: Sequence[object], sides: Sequence[str], flagged: Sequence[str]
) -> None:
    axes.axvline(0, color=INK, lw=0.7)
    for place, mount in enumerate(mounts):
        own = means[means["mount"] == mount]
        if str(mount) in flagged:
            axes.axhspan(place - 0.42, place + 0.42, facecolor=PALE, edgecolor=INK, lw=1.1, zorder=0)
        _draw_sides(axes, place, own, sides, str(mount) in flagged)
    labels = axes.set_yticks(range(len(mounts)), _mount_labels(means, mounts, flagged))
    for tick, mount in zip(labels, mounts, strict=True):
        tick.label1.set_fontweight("bold" if str(mount) in flagged else "normal")
    axes.tick_params(axis="y", length=0, labelsize=8.5)


def side_marker(side: str, position: int) -> str:
    """A mark that points to its side of the coupon; other names of sides take the shapes in turn."""
    return {"left": "<", "right": ">", "near": "v", "far": "^"}.get(side, marker(position))


def _draw_sides(axes: Axes, place: int, own: pd.DataFrame, sides: Sequence[str], flagged: bool) -> None:
    colour = INK if flagged else GREY
    axes.plot([own["left"].min(), own["left"].max()], [place] * 2, color=colour, lw=2.0 if flagged else 0.8, zorder=1)
    for left, side in zip(own["left"].astype(float), own["side"].astype(str), strict=True):
        axes.scatter(
            left,
            place,
            s=46 if flagged else 26,
            marker=side_marker(side, sides.index(side)),
            facecolors=colour if flagged else "white",
            edgecolors=colour,
            linewidths=0.9,
            zorder=2,
        )


def _mount_labels(means: pd.DataFrame, mounts: Sequence[object], flagged: Sequence[str]) -> list[str]:
    first = means.drop_duplicates("mount")
    owner = dict(zip(first["mount"], first["nozzle"], strict=True))
    names = [(str(m) in flagged, f"{drawn(m, 10)}, {drawn(owner[m], 24)}") for m in mounts]
    return [text("flagged: {mount}", mount=name) if marked else name for marked, name in names]
