"""Figures that check a fit: drift over the order of cutting, and one side of the coupons against the other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from trials.decide.results import ResponseResult
from trials.findings import Amount
from trials.report.figures.look import ACCENT, GREY, INK, PALE, canvas, drawn, marker, svg
from trials.words.figures import left_axis, sides_axis
from trials.words.language import text, word
from trials.words.system import in_use

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

SideMean = tuple[str, str, str, Amount]
T = TypeVar("T")


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


def in_rows(entries: Sequence[T], columns: int) -> list[T]:
    """Entries of a legend so ordered that they read row by row, though a legend is filled column by column.

    >>> in_rows([1, 2, 3, 4, 5], 4), in_rows([1, 2, 3, 4, 5, 6], 4)
    ([1, 5, 2, 3, 4], [1, 5, 2, 6, 3, 4])
    """
    return [entry for first in range(columns) for entry in entries[first::columns]]


def drift_figure(
    result: ResponseResult, coupons: pd.DataFrame, types: Sequence[str], settings: Sequence[str] = ()
) -> str:
    """Leftovers of the coupons over the order of cutting, with a running median of one coupon in five."""
    from matplotlib.ticker import MaxNLocator

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
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        columns = 4 if max(map(len, types)) <= 26 else 2
        handles, names = (in_rows(part, columns) for part in axes.get_legend_handles_labels())
        figure.legend(handles, names, loc="outside upper left", ncols=columns, handletextpad=0.3, columnspacing=1.2)
        return svg(figure)


MANY_MOUNTS = 12  # beyond it their rows are set closer
SIDES_IN = 4.9  # drawn at the size at which it is printed, so that its letters keep theirs


def sides_figure(result: ResponseResult, means: Sequence[SideMean], flagged: Sequence[str] = ()) -> str:
    """What is left on each side of a mount, one line of marks per mount; mounts that are flagged are boxed and bold.

    means: (mount, nozzle type, side, what is left there) as the check of centring compares them.
    """
    owner = {mount: nozzle for mount, nozzle, _, _ in means}
    mounts, sides = sorted(owner, key=lambda mount: (len(mount), mount)), sorted({side for _, _, side, _ in means})
    row_in, letters = (0.165, 8.5) if len(mounts) <= MANY_MOUNTS else (0.13, 7.5)
    with canvas(0.85 + row_in * max(len(mounts), 3), width_in=SIDES_IN) as (figure, axes):
        axes.axvline(0, color=INK, lw=0.7)
        for place, mount in enumerate(mounts):
            own = {side: in_use(left.value, left.unit) for name, _, side, left in means if name == mount}
            if mount in flagged:
                axes.axhspan(place - 0.42, place + 0.42, facecolor=PALE, edgecolor=INK, lw=1.1, zorder=0)
            _draw_sides(axes, place, own, sides, mount in flagged)
        labels = axes.set_yticks(range(len(mounts)), [f"{drawn(m, 10)}, {drawn(owner[m], 24)}" for m in mounts])
        for tick, mount in zip(labels, mounts, strict=True):
            tick.label1.set_fontweight("bold" if mount in flagged else "normal")
        for position, side in enumerate(sides):
            marked = drawn(word(side), 20)
            axes.scatter([], [], s=26, color=GREY, marker=side_marker(side, position), label=marked)
        axes.set_ylim(len(mounts) - 0.4, -0.6)
        axes.tick_params(axis="y", length=0, labelsize=letters)
        axes.set_xlabel(sides_axis(result))
        figure.legend(loc="outside upper left", ncols=6, handletextpad=0.2, columnspacing=1.2)
        return svg(figure)


def side_marker(side: str, position: int) -> str:
    """A mark that points to its side of the coupon; other names of sides take the shapes in turn."""
    return {"left": "<", "right": ">", "near": "v", "far": "^"}.get(side, marker(position))


def _draw_sides(axes: Axes, place: int, own: Mapping[str, float], sides: Sequence[str], flagged: bool) -> None:
    colour = INK if flagged else GREY
    ends = [min(own.values()), max(own.values())]
    axes.plot(ends, [place] * 2, color=colour, lw=2.0 if flagged else 0.8, zorder=1)
    for side, left in own.items():
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
