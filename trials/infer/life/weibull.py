"""Weibull likelihood with right censoring in coordinates where it is concave.

With delta = coefficients / scale, gamma = 1 / scale and e = gamma log t - x'delta the log-likelihood is

    sum over failures (log gamma + e - log t) - sum over all exp(e),

concave in (delta, gamma). A profile fixes one linear combination of delta and gamma, so it is concave too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trials.errors import NotIdentifiable
from trials.infer.likelihood.climb import climb
from trials.infer.likelihood.recession import Recession, nothing_separates, recession

Array = NDArray[np.float64]
TIED = (
    "Every failure falls exactly where the settings predict it, so the shape has no finite estimate; record the "
    "times more finely or add failures."
)


@dataclass(frozen=True)
class Lives:
    """Log times (n,), failed (n,) bool, columns (n, k)."""

    log_time: Array
    failed: NDArray[np.bool_]
    fixed: Array


@dataclass(frozen=True)
class WeibullTop:
    """Supremum at phi = (delta, gamma) (k + 1,): height, information (k + 1, k + 1) in phi, cone of delta."""

    phi: Array
    height: float
    information: Array
    cone: Recession
    converged: bool


def maximise(lives: Lives, held: Array | None = None, value: float = 0.0, cone: Recession | None = None) -> WeibullTop:
    """Supremum over all phi, or over those with held (k + 1,) @ phi = value; cone: that of `held`, if known.

    Raises
    ------
    NotIdentifiable
        If the likelihood rises without end with the shape.
    """
    cone = cone or cone_of(lives, None if held is None else held[:-1])
    gone = cone.strict
    kept = Lives(lives.log_time[~gone], lives.failed[~gone], lives.fixed[~gone])
    basis = cone.basis
    rows = np.column_stack([-kept.fixed, kept.log_time])
    origin, free = np.zeros(rows.shape[1]), np.zeros((rows.shape[1], basis.shape[1] + 1))
    free[:-1, :-1], free[-1, -1] = basis, 1.0
    if held is not None:
        origin, free = _constrain(held, value, free)
    start = _start(kept, rows, origin, free)
    failed, n_failed = kept.failed, int(kept.failed.sum())
    constant = -float(kept.log_time[failed].sum())

    def at(z: Array) -> Array:
        return np.asarray(origin + free @ z)

    def height(z: Array) -> float:
        phi = at(z)
        if phi[-1] <= 0:
            return -np.inf
        e = rows @ phi
        total = float(np.exp(np.minimum(e, 700.0)).sum())
        return n_failed * float(np.log(phi[-1])) + float(e[failed].sum()) - total + constant

    def slope(z: Array) -> Array:
        phi = at(z)
        out = rows.T @ (failed - np.exp(np.minimum(rows @ phi, 700.0)))
        out[-1] += n_failed / phi[-1]
        return np.asarray(free.T @ out)

    def bend_phi(phi: Array) -> Array:
        out = -(rows.T * np.exp(np.minimum(rows @ phi, 700.0))) @ rows
        out[-1, -1] -= n_failed / phi[-1] ** 2
        return np.asarray(out)

    top = climb(height, slope, lambda z: free.T @ bend_phi(at(z)) @ free, start)
    phi = at(top.point)
    return WeibullTop(phi, float(top.height), -bend_phi(phi), cone, top.converged)


def height_of_pair(lives: tuple[Lives, Lives], w: float, log_ratio: float, start: Array) -> float:
    """Largest joint log-likelihood of two types, a shape for each, with the log ratio of their lives held.

    lives: the columns are not read. w: log(-log(1 - share failed)) of the lives compared; start (3,): log life of the
    second type, log of both shapes. With e = shape (log t - log life) + w each type has the log-likelihood

        sum over failures (log shape + e - log t) - sum over all exp(e).
    """
    ahead, constant = (log_ratio, 0.0), -sum(float(one.log_time[one.failed].sum()) for one in lives)

    def parts(point: Array) -> Iterator[tuple[Lives, float, Array]]:
        for one, off, log_shape in zip(lives, ahead, point[1:], strict=True):
            shape = float(np.exp(min(log_shape, 300.0)))
            yield one, shape, shape * (one.log_time - point[0] - off)

    def height(point: Array) -> float:
        found = constant
        for (one, _, z), log_shape in zip(parts(point), point[1:], strict=True):
            found += one.failed.sum() * (log_shape + w) + float(z[one.failed].sum() - _raised(z + w).sum())
        return float(found)

    def slope(point: Array) -> Array:
        out = np.zeros(3)
        for i, (one, shape, z) in enumerate(parts(point), 1):
            pull = one.failed - _raised(z + w)
            out[0] -= shape * pull.sum()
            out[i] = one.failed.sum() + pull @ z
        return out

    def bend(point: Array) -> Array:
        out = np.zeros((3, 3))
        for i, (one, shape, z) in enumerate(parts(point), 1):
            risk = _raised(z + w)
            pull = one.failed - risk
            out[0, 0] -= shape**2 * risk.sum()
            out[0, i] = out[i, 0] = shape * float(risk @ z - pull.sum())
            out[i, i] = float(pull @ z - risk @ z**2)
        return out

    return climb(height, slope, bend, start).height


def _raised(e: Array) -> Array:
    return np.asarray(np.exp(np.minimum(e, 700.0)))


def cone_of(lives: Lives, row: Array | None) -> Recession:
    """Directions of delta that raise censored rows and leave failures, and row (k,) @ delta, where they are."""
    failed, fixed = lives.failed, lives.fixed
    level = fixed[failed]
    if row is not None:
        level = np.vstack([level, row])
    if np.linalg.matrix_rank(level) == fixed.shape[1]:
        return nothing_separates(len(fixed), fixed.shape[1])
    return recession(np.where(failed[:, None], 0.0, fixed), level)


def check_shape_bounded(lives: Lives) -> None:
    """Raise NotIdentifiable where gamma can grow for ever: failures on one surface, censored rows not beyond it."""
    from scipy.optimize import linprog

    rows = np.column_stack([lives.fixed, -lives.log_time])
    scale = np.abs(rows).max(axis=0)
    rows = rows / np.where(scale > 0, scale, 1.0)
    level, rises = rows[lives.failed], rows[~lives.failed]
    if np.linalg.matrix_rank(level, tol=1e-6) == rows.shape[1]:
        return
    cost = np.zeros(rows.shape[1])
    cost[-1] = -1.0
    answer = linprog(
        cost,
        A_ub=-rises if len(rises) else None,
        b_ub=np.zeros(len(rises)) if len(rises) else None,
        A_eq=np.unique(level, axis=0),
        b_eq=np.zeros(len(np.unique(level, axis=0))),
        bounds=[(None, None)] * (rows.shape[1] - 1) + [(0.0, 1.0)],
        method="highs",
    )
    if answer.x is not None and answer.x[-1] > 1e-6:
        raise NotIdentifiable(TIED)


def _constrain(held: Array, value: float, free: Array) -> tuple[Array, Array]:
    """Origin and basis of {free @ y: held @ free @ y = value}; held must not vanish on the free space."""
    along = held @ free
    size = float(along @ along)
    origin = free @ (along * value / size)
    _, _, turned = np.linalg.svd(along[None, :])
    return origin, free @ turned[1:].T


def _start(lives: Lives, rows: Array, origin: Array, free: Array) -> Array:
    """A point with gamma > 0, near the least-squares line through the log times where that is allowed."""
    wish = np.append(np.linalg.lstsq(lives.fixed, lives.log_time, rcond=None)[0], 1.0)
    spread = float(np.std(lives.log_time - lives.fixed @ wish[:-1])) or 1.0
    wish = wish / max(spread, 1e-3)
    z = np.linalg.lstsq(free, wish - origin, rcond=None)[0]
    gamma = (origin + free @ z)[-1]
    if gamma > 0:
        return np.asarray(z)
    lift = free[-1]
    return np.asarray(z + lift * (0.1 - gamma) / float(lift @ lift))
