"""Gaussian profile filter (ISO 16610-21) with the ends of the trace handled (ISO 16610-28, retained moments)."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

ALPHA = math.sqrt(math.log(2) / math.pi)
"""Makes the mean line keep half of a wave as long as the cut-off."""
REACH = 1.0
"""Half width of the weights in cut-offs; what lies further out weighs less than 1e-6 of the middle."""


def mean_line(heights_um: FloatArray, spacing_mm: float, cutoff_mm: float) -> FloatArray:
    """Mean line (n,) of a trace (n,) at equal spacing, by the Gaussian filter.

    Weights s(x) = exp(-pi (x / (alpha lc))^2), alpha = sqrt(ln 2 / pi); a wave of length l passes by
    exp(-pi (alpha lc / l)^2). Near the ends, where weights hang over, the weighted straight line through what is
    there takes the place of the weighted mean, so that zeroth and first moment are kept. Away from the ends both are
    the same.
    """
    half = min(math.ceil(REACH * cutoff_mm / spacing_mm), len(heights_um) - 1)
    away = np.arange(-half, half + 1) * (spacing_mm / cutoff_mm)
    weight = np.exp(-math.pi * (away / ALPHA) ** 2)
    weight /= weight.sum()
    ones = np.ones(len(heights_um))
    # a convolution runs the weights backwards, which turns the sign of the odd moment
    moment0, moment1, moment2 = (_slide(ones, w) for w in (weight, -weight * away, weight * away**2))
    value0, value1 = (_slide(heights_um, w) for w in (weight, -weight * away))
    return (moment2 * value0 - moment1 * value1) / (moment0 * moment2 - moment1**2)


def _slide(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Weighted sum around each point; nothing beyond the ends."""
    from scipy.signal import fftconvolve

    half = len(weight) // 2
    return fftconvolve(values, weight, mode="full")[half : half + len(values)]
