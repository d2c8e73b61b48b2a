"""Figures that check a fit: drift over the order of cutting, and one side of the coupons against the other."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from trials.decide.results import ResponseResult
from trials.report.figures.look import ACCENT, GREY, INK, canvas, drawn, empty, marker, svg
from trials.units import shown

if TYPE_CHECKING:
    import pandas as pd


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


def left_unit(result: ResponseResult) -> str:
    """Unit of the leftovers in words."""
    return "% of the typical edge" if result.scale == "log" else (shown(result.unit) or "grades")


def drift_figure(
    result: ResponseResult, coupons: pd.DataFrame, types: Sequence[str], settings: Sequence[str] = ()
) -> str:
    """Leftovers of the coupons over the order of cutting, with a running median of one coupon in five."""
    with canvas(2.3) as (figure, axes):
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
                label=drawn(nozzle, 26),
            )
        window = max(len(ordered) // 5, 3)
        middle = ordered["left"].rolling(window, center=True, min_periods=max(window // 2, 1)).median()
        axes.plot(ordered["cut_order"], middle, color=ACCENT, lw=1.6, label="running median")
        axes.set_xlabel("order of cutting")
        axes.set_ylabel(f"left over,\n{left_unit(result)}")
        figure.legend(loc="outside upper left", ncols=4, handletextpad=0.3, columnspacing=1.2)
        return svg(figure)


def side_differences(result: ResponseResult, table: pd.DataFrame) -> pd.DataFrame:
    """One row per coupon measured on two sides: `mount, nozzle, difference` of the first side less the second.

    Sides in sorted order; on the log scale in percent, else in the response's unit.
    """
    sides = sorted(table["side"].dropna().astype(str).unique())[:2]
    percent = result.scale == "log" and bool((table["value"] > 0).all())
    work = table.assign(work=np.log(table["value"]) if percent else table["value"].astype(float))
    work = work[work["side"].astype(str).isin(sides)]
    wide = work.groupby(["coupon", "mount", "nozzle", "side"], sort=False)["work"].mean().unstack("side").dropna()
    gap = wide[sides[0]] - wide[sides[1]]
    return (100.0 * np.expm1(gap) if percent else gap).rename("difference").reset_index()


def sides_figure(result: ResponseResult, table: pd.DataFrame, types: Sequence[str]) -> str:
    """Side difference of each coupon, by mount in the order of mounts, with the mean of each mount as a bar."""
    with canvas(2.2) as (figure, axes):
        gaps = side_differences(result, table)
        if gaps.empty:
            empty(axes, "no coupon was measured on two sides")
            return svg(figure)
        sides = sorted(table["side"].dropna().astype(str).unique())[:2]
        mounts = list(dict.fromkeys(table["mount"]))
        axes.axhline(0, color=INK, lw=0.7)
        for place, mount in enumerate(mounts):
            part = gaps[gaps["mount"] == mount]
            if part.empty:
                continue
            shape = marker(list(types).index(part["nozzle"].iloc[0]))
            axes.scatter(
                np.full(len(part), place),
                part["difference"],
                s=14,
                marker=shape,
                facecolors="white",
                edgecolors=GREY,
                linewidths=0.7,
            )
            axes.plot([place - 0.3, place + 0.3], [part["difference"].mean()] * 2, color=ACCENT, lw=2.2)
        small = len(mounts) > 14
        axes.set_xticks(range(len(mounts)), [drawn(m, 10) for m in mounts], rotation=90 if small else 0, fontsize=8)
        axes.set_xlabel("mount")
        axes.set_ylabel(f"{drawn(sides[0], 10)} less {drawn(sides[1], 10)},\n{left_unit(result)}")
        return svg(figure)
