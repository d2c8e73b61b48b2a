"""Words on the figures of the verdict: axes, marks and notes inside."""

from __future__ import annotations

from trials.decide.results import ResponseResult
from trials.responses import Scale
from trials.units import shown
from trials.words.language import text
from trials.words.numbers import limit
from trials.words.study import label


def axis_words(result: ResponseResult) -> str:
    """The response with its unit."""
    named = label(result)
    return text("{response}, {unit}", response=named, unit=shown(result.unit)) if result.unit else named


def limit_mark(high: float, unit: str, required: bool) -> str:
    """Above a limit."""
    if required:
        return text("required: at most {limit} {unit}", limit=limit(high), unit=unit)
    return text("at most {limit} {unit}", limit=limit(high), unit=unit)


def left_unit(result: ResponseResult) -> str:
    """Unit of the leftovers."""
    if result.scale == Scale.LOG:
        return text("% of the typical edge")
    return shown(result.unit) or text("grades")


def sides_axis(result: ResponseResult) -> str:
    """Axis of what is left on each side of a mount."""
    return text("left over, around the mean of the mount, {unit}", unit=left_unit(result))


def left_axis(result: ResponseResult, apart: str = " ") -> str:
    """Axis of the leftovers; apart: what stands between name and unit."""
    return text("left over,{apart}{unit}", apart=apart, unit=left_unit(result))
