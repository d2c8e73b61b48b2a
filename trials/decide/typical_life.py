"""The life of one part as a figure to reckon with."""

from __future__ import annotations

from dataclasses import dataclass

from trials.endings import Part


@dataclass(frozen=True)
class TypicalLife:
    """Life of one part under one nozzle type, for whoever weighs it against a price.

    median, low, high: the life that half of them outlast, with limits at 95 %, infinite where nothing bounds it; mean:
    what a piece lasts on average, which decides what it costs to run, with its limits; tenth, tenth_low: the life that
    nine in ten outlast; n, failures: pieces behind it, 0 for a stated figure; source: a folder, a file, or who stated
    it.
    """

    nozzle: str
    part: Part
    unit: str
    median: float
    low: float
    high: float
    mean: float
    mean_low: float
    mean_high: float
    tenth: float
    tenth_low: float
    n: int
    failures: int
    source: str
