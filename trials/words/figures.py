"""Words on the figures of the verdict: axes, marks and notes inside."""

from __future__ import annotations

from trials.decide.results import NozzleRow, ResponseResult
from trials.responses import Scale
from trials.units import shown
from trials.words.language import text
from trials.words.study import label


def axis_words(result: ResponseResult) -> str:
    """The response with its unit."""
    named = label(result)
    return text("{response}, {unit}", response=named, unit=shown(result.unit)) if result.unit else named


def main_axis(axis: str, result: ResponseResult) -> str:
    """Under the figure of means: what the marks are."""
    if result.scale == Scale.GRADE:
        return text("{axis}   (large mark: mean grade with 95 % interval; small: one coupon)", axis=axis)
    return text("{axis}   (large mark: typical edge with 95 % interval; small: one coupon)", axis=axis)


def limit_mark(high: float, unit: str, required: bool) -> str:
    """Above a limit."""
    if required:
        return text("required: at most {limit} {unit}", limit=f"{high:g}", unit=unit)
    return text("at most {limit} {unit}", limit=f"{high:g}", unit=unit)


def cut_of(row: NozzleRow) -> str:
    """Beside the bar of a nozzle type: `22 of 27 cut, 5 lost`."""
    counts = {"cut": row.n_coupons, "planned": row.n_coupons + row.n_lost}
    if row.n_lost:
        return text("{cut} of {planned} cut, {lost} lost", lost=row.n_lost, **counts)
    return text("{cut} of {planned} cut", **counts)


def left_unit(result: ResponseResult) -> str:
    """Unit of the leftovers."""
    if result.scale == Scale.LOG:
        return text("% of the typical edge")
    return shown(result.unit) or text("grades")


def left_axis(result: ResponseResult, apart: str = " ") -> str:
    """Axis of the leftovers; apart: what stands between name and unit."""
    return text("left over,{apart}{unit}", apart=apart, unit=left_unit(result))


def spread_axis(result: ResponseResult) -> str:
    """Axis of the spreads."""
    return text("standard deviation, {unit}", unit=left_unit(result))
