"""The main picture of a response, with the ranges of ISO 9013 behind it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import pandas as pd

from trials.decide.results import ResponseResult
from trials.findings import Place
from trials.grade.iso9013 import roughness_limit, squareness_limit
from trials.report import blocks as b
from trials.report.extras import VerdictExtras
from trials.report.figures.edges import Band, coupon_means, hatched, main_figure
from trials.standards import roughness_ranges, squareness_ranges
from trials.trial import Trial
from trials.words.captions import edges_alt, edges_caption, ranges_caption
from trials.words.system import scale_in_use


def bands(result: ResponseResult, trial: Trial) -> list[Band]:
    """ISO 9013 ranges on a response's axis at the trial's thickness; none where the thickness varies or is unknown."""
    known = {"roughness": (roughness_ranges, roughness_limit), "squareness": (squareness_ranges, squareness_limit)}
    thickness = trial.application.thickness_mm
    if result.response not in known or thickness is None or any("thickness" in name for name in trial.factors):
        return []
    ranges, limit = known[result.response]
    edges = [0.0] + [round(float(limit(row.range, thickness)), 6) for row in ranges()]
    required = _strictest(result.response, trial, edges)
    scale = scale_in_use(trial.quantity(result.response).unit)
    found = []
    for k, row in enumerate(ranges()):
        low, high = edges[k], edges[k + 1]
        if required is not None and low < required < high:  # a figure on the drawing inside a range
            found.append(Band(row.range, scale * low, scale * required, True))
            low = required
        found.append(Band(row.range, scale * low, scale * high, high == required))
    return found


def _strictest(response: str, trial: Trial, edges: list[float]) -> float | None:
    """The strictest limit that the requirement sets on a response, by range or by figure; None if it sets none."""
    asked = trial.application.required
    number = getattr(asked, f"{response}_range")
    figure = {"roughness": asked.rz5_um, "squareness": asked.u_mm}[response]
    limits = [edges[number]] if number else []
    limits += [figure] if figure is not None else []
    return min(limits, default=None)


def response_picture(
    result: ResponseResult, trial: Trial, extras: VerdictExtras, doubted: Collection[str] = ()
) -> dict[str, Any]:
    """The main figure of a response, with its ranges, description, caption; doubted: coupons with an open reading."""
    coupons = _coupons(result, trial, extras.tables.get(result.response), doubted)
    ranges = bands(result, trial)
    values = "; ".join(
        f"{m.nozzle} {b.with_unit(m.mean, result.unit)} ({b.span(b.num(m.low), b.num(m.high))})" for m in result.means
    )
    picture = main_figure(result, coupons, ranges, trial.today.type)
    caption = " ".join([_marks(result, coupons), *_behind(ranges, trial, hatched(result, coupons, ranges))])
    return b.figure(picture, edges_alt(result, values), caption)


def _coupons(
    result: ResponseResult, trial: Trial, table: pd.DataFrame | None, doubted: Collection[str]
) -> pd.DataFrame:
    """Mean of each coupon, and how it is marked in the picture."""
    if table is None:
        return pd.DataFrame({"nozzle": [], "value": []})
    coupons = coupon_means(table, result.scale)
    coupons["open"] = coupons["coupon"].isin(list(doubted))
    coupons["compared"] = _cut_at(coupons, result.means[0].settings, trial) if result.means else True
    several = table.groupby("coupon").size().max() > 1
    if trial.bench.judged_by == "worst" and several and result.response in REQUIRED:
        coupons["judged"] = coupons["worst"]
    return coupons


REQUIRED = ("roughness", "squareness")
"""Responses that are judged by readings against a limit."""


def _cut_at(coupons: pd.DataFrame, place: Place, trial: Trial) -> pd.Series[bool]:
    """Which coupons (n,) were cut at one of the compared settings; all of them where nothing was varied."""
    found = pd.Series(False, index=coupons.index)
    for setting in place.settings:
        same = pd.Series(True, index=coupons.index)
        for name, level in setting.items():
            column = trial.factor_column(name) if name in trial.factors else name
            if column in coupons:
                same &= coupons[column] == level
        found |= same
    return found


def _marks(result: ResponseResult, coupons: pd.DataFrame) -> str:
    pale = not coupons.empty and bool((~coupons["compared"].astype(bool)).any())
    still_open = "open" in coupons and bool(coupons["open"].any())
    return edges_caption(result, not coupons.empty, pale, "judged" in coupons, still_open)


def _behind(ranges: Sequence[Band], trial: Trial, some_hatched: bool) -> list[str]:
    """What stands behind the marks of the main figure."""
    if not ranges:
        return []
    required = any(band.required for band in ranges)
    return [ranges_caption(trial.application.thickness_mm or 0.0, required, some_hatched)]
