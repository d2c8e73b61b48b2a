"""Newton's method for a smooth log-likelihood that is concave, or nearly so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Summit:
    """Where a climb ended: point (p,), height, negative second derivatives (p, p), converged."""

    point: np.ndarray
    height: float
    information: np.ndarray
    converged: bool


def climb(
    value: Callable[[np.ndarray], float],
    slope: Callable[[np.ndarray], np.ndarray],
    bend: Callable[[np.ndarray], np.ndarray],
    start: np.ndarray,
    steps: int = 200,
) -> Summit:
    """Maximise `value` from a start inside its domain; directions of positive curvature are walked uphill.

    Stops when the height still to gain, half of slope' information^-1 slope, is under 1e-15.
    """
    point, height = start, value(start)
    left = np.inf
    for _ in range(steps):
        uphill, information = slope(point), -bend(point)
        step = _step(information, uphill)
        left = 0.5 * float(uphill @ step)
        if left < 1e-15:
            return Summit(point, height, information, True)
        length, next_height = 1.0, -np.inf
        while length > 1e-10:
            next_height = value(point + length * step)
            if next_height >= height:
                break
            length *= 0.5
        if not next_height >= height:
            break
        gained, point, height = next_height - height, point + length * step, next_height
        if length < 1.0 and gained < 1e-12:
            break
    return Summit(point, height, -bend(point), left < 1e-7)


def _step(information: np.ndarray, uphill: np.ndarray) -> np.ndarray:
    """Newton step after scaling each parameter to unit curvature; negative curvatures are turned over."""
    own = np.abs(np.diag(information))
    unit = 1.0 / np.sqrt(np.where(own > 0, own, 1.0))
    size, turn = np.linalg.eigh(information * np.outer(unit, unit))
    size = np.maximum(np.abs(size), 1e-10)
    result: np.ndarray = unit * (turn @ ((turn.T @ (unit * uphill)) / size))
    return result


def bend_by_differences(slope: Callable[[np.ndarray], np.ndarray]) -> Callable[[np.ndarray], np.ndarray]:
    """Second derivatives (p, p) by central differences of an exact gradient, error about 1e-9."""

    def bend(point: np.ndarray) -> np.ndarray:
        p = len(point)
        out = np.empty((p, p))
        for j in range(p):
            h = 1e-5 * max(1.0, abs(point[j]))
            ahead, behind = point.copy(), point.copy()
            ahead[j] += h
            behind[j] -= h
            out[j] = (slope(ahead) - slope(behind)) / (2 * h)
        return (out + out.T) / 2

    return bend
