"""Directions in which a concave likelihood never falls: how separation is seen.

A likelihood has no finite summit exactly when some direction d raises (or keeps) every term. The directions form the
cone {d: A d >= 0}; one linear programme finds the member that makes as many terms rise as can rise together
(Albert and Anderson 1984, Biometrika 71, and Konis 2007, thesis, University of Oxford, for the binary case). Which
terms these are is mostly proved without it, and the programme, which takes long to load, only solved where that fails
or somebody asks for the direction.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

TOLERANCE = 1e-7
PROJECTIONS = 200


@dataclass(frozen=True, eq=False)
class Recession:
    """What the cone {d: rises @ d >= 0, level @ d = 0} looks like.

    Attributes:
        strict: (m,) bool, True for the constraints that can rise above zero.
        basis: (p, r) orthonormal basis of the parameters that stay finite; r = p when nothing separates.
        cone: its constraints; None where nothing separates.
    """

    strict: np.ndarray
    basis: np.ndarray
    cone: Cone | None = None

    @cached_property
    def direction(self) -> np.ndarray:
        """A direction (p,) of the cone in which every strict constraint rises."""
        return np.zeros(len(self.basis)) if self.cone is None else self.cone.widest[0] / self.cone.scale

    @cached_property
    def infinite(self) -> np.ndarray:
        """Of each parameter (p,): 0 if finite, +1 or -1 if it runs to that infinity, 2 if the cone allows both."""
        p, r = self.basis.shape
        if self.cone is None:
            return np.zeros(p, int)
        loose = np.linalg.norm(np.eye(p) - self.basis @ self.basis.T, axis=0) > 1e-8
        if p - r == 1:  # the cone is the ray of that direction
            return np.where(loose, np.sign(self.cone.widest[0]), 0.0).astype(int)
        return np.array([_sign(j, self.cone.rises, self.cone.level) if loose[j] else 0 for j in range(p)])


@dataclass(frozen=True, eq=False)
class Cone:
    """Constraints in columns of one size: rises (m, p), each once, and level (q, p), both divided by scale (p,)."""

    rises: np.ndarray
    level: np.ndarray
    scale: np.ndarray

    @cached_property
    def widest(self) -> tuple[np.ndarray, np.ndarray]:
        """As `_widest`."""
        return _widest(self.rises, self.level)


def recession(rises: np.ndarray, level: np.ndarray | None = None) -> Recession:
    """Study the cone of directions d (p,) with rises (m, p) @ d >= 0 and level (q, p) @ d = 0."""
    p = rises.shape[1]
    level = np.zeros((0, p)) if level is None or not len(level) else np.unique(level, axis=0)
    scale = np.maximum(np.abs(np.vstack([rises, level])).max(axis=0, initial=0.0), 1e-300)
    unique, back = np.unique(rises / scale, axis=0, return_inverse=True)
    cone = Cone(unique, level / scale, scale)
    strict = _lifted(cone.rises, cone.level)
    if strict is None:
        strict = cone.widest[1]
    if not strict.any():
        return nothing_separates(len(rises), p)
    flat = np.vstack([unique[~strict], cone.level])
    return Recession(strict[back.reshape(-1)], _row_space(flat * scale), cone)


def _lifted(rises: np.ndarray, level: np.ndarray) -> np.ndarray | None:
    """Which constraints (m,) some direction lifts, where that is proved without a linear programme; else None.

    What keeps cancelling weights from being above zero is what a direction lifts (Bauschke and Borwein 1993,
    Set-Valued Analysis 1, 185-212). It is a proof where a direction is found that lifts these and leaves the others
    level, and weights above zero under which the others cancel, so that none lifts them.
    """
    gap = _gap(rises, level)
    strict = gap > 0.5
    if not gap.any():
        return strict
    rest = np.vstack([rises[~strict], level])
    if not strict.any() or (len(rest) and _gap(rises[~strict], level).any()):
        return None
    free = np.eye(rises.shape[1]) - (basis := _row_space(rest)) @ basis.T
    lift = rises[strict] @ free
    direction = np.linalg.lstsq(lift, gap[strict], rcond=None)[0]
    return strict if (lift @ direction > 0.5).all() else None


def _gap(rises: np.ndarray, level: np.ndarray) -> np.ndarray:
    """What the weights of rises (m,) lack to be above zero while all constraints cancel; 0 where some are (Stiemke).

    By projecting in turn on the weights that cancel and on those of at least one (von Neumann 1950). Above 0 says
    nothing: the search ends early.
    """
    left, sizes, _ = np.linalg.svd(np.vstack([rises, level]), full_matrices=False)
    span = left[:, sizes > 1e-10 * sizes[0]] if len(sizes) else left
    weights, bound = np.ones(len(rises) + len(level)), slice(0, len(rises))
    gap = np.zeros(len(rises))
    for _ in range(PROJECTIONS):
        weights = weights - span @ (span.T @ weights)
        if weights[bound].min(initial=1.0) > 0.01:
            return np.zeros(len(rises))
        gap = np.maximum(1.0 - weights[bound], 0.0)
        weights[bound] += gap
    return gap


def nothing_separates(constraints: int, p: int) -> Recession:
    """The cone that holds no direction at all."""
    return Recession(np.zeros(constraints, bool), np.eye(p))


def _widest(rises: np.ndarray, level: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The direction that lifts the most constraints to at least one, and which ones those are."""
    from scipy.optimize import linprog

    m, p = rises.shape
    cost = np.concatenate([np.zeros(p), -np.ones(m)])
    above = np.hstack([-rises, np.eye(m)])
    equal = np.hstack([level, np.zeros((len(level), m))]) if len(level) else None
    answer = linprog(
        cost,
        A_ub=above,
        b_ub=np.zeros(m),
        A_eq=equal,
        b_eq=None if equal is None else np.zeros(len(level)),
        bounds=[(None, None)] * p + [(0.0, 1.0)] * m,
        method="highs",
    )
    if answer.x is None:
        return np.zeros(p), np.zeros(m, bool)
    return answer.x[:p], answer.x[p:] > 0.5


def _sign(j: int, rises: np.ndarray, level: np.ndarray) -> int:
    """Which infinities parameter j can run to inside the cone: +1, -1, or 2 for both."""
    from scipy.optimize import linprog

    p = rises.shape[1]
    reach: list[bool] = []
    for way in (1.0, -1.0):
        cost = np.zeros(p)
        cost[j] = -way
        answer = linprog(
            cost,
            A_ub=-rises,
            b_ub=np.zeros(len(rises)),
            A_eq=level if len(level) else None,
            b_eq=np.zeros(len(level)) if len(level) else None,
            bounds=[(-1.0, 1.0)] * p,
            method="highs",
        )
        reach.append(bool(answer.x is not None and way * answer.x[j] > TOLERANCE))
    return {(True, False): 1, (False, True): -1, (True, True): 2, (False, False): 0}[(reach[0], reach[1])]


def _row_space(rows: np.ndarray) -> np.ndarray:
    """Orthonormal basis (p, r) of the space spanned by the rows."""
    p = rows.shape[1]
    if not len(rows):
        return np.zeros((p, 0))
    _, size, turned = np.linalg.svd(rows, full_matrices=False)
    keep = size > max(size.max(), 1e-300) * 1e-10
    result: np.ndarray = turned[keep].T
    return result
