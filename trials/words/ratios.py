"""Ratios of lives with two figures, limits rounded outwards, so that no more is promised than is shown."""

from __future__ import annotations

import math

from trials.words.language import text
from trials.words.numbers import fixed


def times_down(ratio: float) -> str:
    """A lower limit, rounded down from its hundredths: tenths, hundredths below 1.1, whole from 10 on.

    >>> times_down(1.79), times_down(1.3), times_down(1.097), times_down(1.042), times_down(12.6)
    ('1.7', '1.3', '1.1', '1.04', '12')
    """
    size, places = _step(ratio)
    return fixed(math.floor(round(ratio, 2) * size + 1e-9) / size, places)


def times_up(ratio: float) -> str:
    """An upper limit, rounded up likewise.

    >>> times_up(2.63), times_up(0.931)
    ('2.7', '0.93')
    """
    size, places = _step(ratio)
    return fixed(math.ceil(round(ratio, 2) * size - 1e-9) / size, places)


def _step(ratio: float) -> tuple[float, int]:
    """Steps in one, and places behind the point, for a ratio as printed in hundredths."""
    shown = round(ratio, 2)
    return (100.0, 2) if shown < 1.1 else (10.0, 1) if shown < 10 else (1.0, 0)


def times_range(low: float, high: float) -> str:
    """Limits of a ratio; a bound on one side where a type never failed.

    >>> times_range(1.79, 4.71), times_range(2.17, math.inf), times_range(0.0, 0.8)
    ('1.7 to 4.8', '2.1 or more', '0.80 or less')
    """
    if math.isinf(high):
        return text("{low} or more", low=times_down(low))
    if low == 0:
        return text("{high} or less", high=times_up(high))
    return text("{low} to {high}", low=times_down(low), high=times_up(high))
