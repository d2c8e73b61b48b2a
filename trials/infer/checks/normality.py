"""The test of Shapiro and Wilk by Royston's approximation (1995, Applied Statistics 44, algorithm AS R94)."""

from __future__ import annotations

import numpy as np
from numpy.polynomial.polynomial import polyval
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from trials.errors import WrongArgument

Array = NDArray[np.float64]
Series = tuple[float, ...]
FEWEST, MOST = 6, 5000
_LAST = (0.0, 0.221157, -0.147981, -2.07119, 4.434685, -2.706056)
_LAST_BUT_ONE = (0.0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633)
_GAMMA = (-2.273, 0.459)
_FEW: tuple[Series, Series] = (0.544, -0.39978, 0.025054, -6.714e-4), (1.3822, -0.77857, 0.062767, -0.0020322)
_MANY: tuple[Series, Series] = (-1.5861, -0.31082, -0.083751, 0.0038915), (-0.4803, -0.082676, 0.0030302)


def shapiro_wilk(sample: Array) -> float:
    """P-value that a normal sample (n,) strays as far from a straight line on normal paper.

    Raises
    ------
    WrongArgument
        If there are under `FEWEST` or over `MOST` values, or all are equal.
    """
    n = len(sample)
    if not FEWEST <= n <= MOST or np.ptp(sample) == 0:
        raise WrongArgument(f"The test of shape takes {FEWEST} to {MOST} values that are not all equal; check them.")
    ordered = np.sort(sample)
    centred = (ordered - ordered.mean()) / np.ptp(ordered)
    weights = _weights(n)
    apart = np.sqrt(centred @ centred)
    fit = float(weights @ centred / apart)
    missing = (1.0 - fit) * (1.0 + fit)
    if missing <= 0:
        return 1.0
    return float(ndtr(-_deviation(np.log(missing), n)))


def _weights(n: int) -> Array:
    """Approximate best weights (n,) of the ordered values; their squares sum to one."""
    scores = ndtri((np.arange(1, n + 1) - 0.375) / (n + 0.25))
    size, root = float(scores @ scores), 1.0 / np.sqrt(n)
    ends = np.array([polyval(root, c) + scores[-1 - i] / np.sqrt(size) for i, c in enumerate((_LAST, _LAST_BUT_ONE))])
    inner = (size - 2.0 * float(scores[-2:] @ scores[-2:])) / (1.0 - 2.0 * float(ends @ ends))
    weights: Array = scores / np.sqrt(inner)
    weights[[-1, -2]], weights[[0, 1]] = ends, -ends
    return weights


def _deviation(y: float, n: int) -> float:
    """Normal deviate of the logarithm of one less W."""
    if n <= 11:
        gamma = float(polyval(n, _GAMMA))
        if y >= gamma:
            return np.inf
        y, (middle, spread), at = -np.log(gamma - y), _FEW, float(n)
    else:
        (middle, spread), at = _MANY, np.log(n)
    return float((y - polyval(at, middle)) / np.exp(polyval(at, spread)))
