"""Directions in which a concave likelihood never falls: how separation is seen.

A likelihood has no finite summit exactly when some direction d raises (or keeps) every term. The directions form the
cone {d: A d >= 0}; one linear programme finds the member that makes as many terms rise as can rise together
(Albert and Anderson 1984, Biometrika 71, and Konis 2007, thesis, University of Oxford, for the binary case).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

TOLERANCE = 1e-7
PROJECTIONS = 200


@dataclass(frozen=True)
class Recession:
    """What the cone {d: rises @ d >= 0, level @ d = 0} looks like.

    Attributes:
        strict: (m,) bool, True for the constraints that can rise above zero.
        basis: (p, r) orthonormal basis of the parameters that stay finite; r = p when nothing separates.
        infinite: (p,) 0 where the parameter is finite, +1 or -1 where it runs to that infinity, 2 where the cone
            allows both.
        direction: (p,) a direction of the cone in which every strict constraint rises.
    """

    strict: np.ndarray
    basis: np.ndarray
    infinite: np.ndarray
    direction: np.ndarray


def recession(rises: np.ndarray, level: np.ndarray | None = None) -> Recession:
    """Study the cone of directions d (p,) with rises (m, p) @ d >= 0 and level (q, p) @ d = 0."""
    p = rises.shape[1]
    level = np.zeros((0, p)) if level is None or not len(level) else np.unique(level, axis=0)
    scale = np.maximum(np.abs(np.vstack([rises, level])).max(axis=0, initial=0.0), 1e-300)
    unique, back = np.unique(rises / scale, axis=0, return_inverse=True)
    level = level / scale
    if _balanced(unique, level):
        return nothing_separates(len(rises), p)
    direction, strict = _widest(unique, level)
    if not strict.any():
        return nothing_separates(len(rises), p)
    flat = np.vstack([unique[~strict], level])
    basis = _row_space(flat * scale)
    loose = np.linalg.norm(np.eye(p) - basis @ basis.T, axis=0) > 1e-8
    if p - basis.shape[1] == 1:  # the cone is the ray of that direction
        infinite = np.where(loose, np.sign(direction), 0.0).astype(int)
    else:
        infinite = np.array([_sign(j, unique, level) if loose[j] else 0 for j in range(p)])
    return Recession(strict[back.reshape(-1)], basis, infinite, direction / scale)


def _balanced(rises: np.ndarray, level: np.ndarray) -> bool:
    """Whether weights above zero were found under which the constraints cancel; then no direction lifts any (Stiemke).

    By projecting in turn on the weights that cancel and on those of at least one (von Neumann 1950); most records are
    so, and need no linear programme then. False says nothing.
    """
    left, sizes, _ = np.linalg.svd(np.vstack([rises, level]), full_matrices=False)
    span = left[:, sizes > 1e-10 * sizes[0]] if len(sizes) else left
    weights, bound = np.ones(len(rises) + len(level)), slice(0, len(rises))
    for _ in range(PROJECTIONS):
        weights = weights - span @ (span.T @ weights)
        if weights[bound].min(initial=1.0) > 0.01:
            return True
        weights[bound] = np.maximum(weights[bound], 1.0)
    return False


def nothing_separates(constraints: int, p: int) -> Recession:
    """The cone that holds no direction at all."""
    return Recession(np.zeros(constraints, bool), np.eye(p), np.zeros(p, int), np.zeros(p))


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
