"""The main picture of a response, with the ranges of ISO 9013 behind it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from trials.decide.results import ResponseResult
from trials.grade.iso9013 import roughness_limit, squareness_limit
from trials.report import blocks as b
from trials.report.extras import VerdictExtras
from trials.report.figures.edges import Band, coupon_means, main_figure
from trials.responses import Scale
from trials.standards import edition, roughness_ranges, squareness_ranges
from trials.trial import Trial
from trials.words.language import text
from trials.words.numbers import plain
from trials.words.study import label


def bands(result: ResponseResult, trial: Trial) -> list[Band]:
    """ISO 9013 ranges on a response's axis at the trial's thickness; none where the thickness varies or is unknown."""
    known = {"roughness": (roughness_ranges, roughness_limit), "squareness": (squareness_ranges, squareness_limit)}
    thickness = trial.application.thickness_mm
    if result.response not in known or thickness is None or any("thickness" in name for name in trial.factors):
        return []
    ranges, limit = known[result.response]
    edges = [0.0] + [round(float(limit(row.range, thickness)), 6) for row in ranges()]
    required = _strictest(result.response, trial, edges)
    found = []
    for k, row in enumerate(ranges()):
        low, high = edges[k], edges[k + 1]
        if required is not None and low < required < high:  # a figure on the drawing inside a range
            found.append(Band(row.range, low, required, True))
            low = required
        found.append(Band(row.range, low, high, high == required))
    return found


def _strictest(response: str, trial: Trial, edges: list[float]) -> float | None:
    """The strictest limit that the requirement sets on a response, by range or by figure; None if it sets none."""
    asked = trial.application.required
    number = getattr(asked, f"{response}_range")
    figure = {"roughness": asked.rz5_um, "squareness": asked.u_mm}[response]
    limits = [edges[number]] if number else []
    limits += [figure] if figure is not None else []
    return min(limits, default=None)


def response_picture(result: ResponseResult, trial: Trial, extras: VerdictExtras) -> dict[str, Any]:
    """The main figure of a response, with its ranges, description and caption."""
    found = extras.tables.get(result.response)
    no_marks = pd.DataFrame({"nozzle": [], "value": []})
    coupons = no_marks if found is None else coupon_means(found, result.scale)
    ranges = bands(result, trial)
    values = "; ".join(
        f"{m.nozzle} {b.with_unit(m.mean, result.unit)} ({b.span(b.num(m.low), b.num(m.high))})" for m in result.means
    )
    if result.scale == Scale.GRADE:
        alt = text(
            "Mean {response} of each nozzle type with its 95 % interval: {values}.",
            response=label(result),
            values=values,
        )
        caption = [text("Every coupon, and the mean grade of each nozzle type.")]
    else:
        alt = text(
            "Typical {response} of each nozzle type with its 95 % interval: {values}.",
            response=label(result),
            values=values,
        )
        caption = [text("Every coupon, and the typical edge of each nozzle type.")]
    picture = main_figure(result, coupons, ranges, trial.today.type)
    return b.figure(picture, alt, " ".join([*caption, *_behind(ranges, trial)]))


def _behind(ranges: Sequence[Band], trial: Trial) -> list[str]:
    """What stands behind the marks of the main figure."""
    if not ranges:
        return []
    names = {"standard": edition(), "thickness": plain(trial.application.thickness_mm or 0.0, "mm")}
    if any(band.required for band in ranges):
        return [text("Grey zones: ranges of {standard} at {thickness}, hatched: requirement not met.", **names)]
    return [text("Grey zones: ranges of {standard} at {thickness}.", **names)]
