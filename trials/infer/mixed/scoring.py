"""Restricted likelihood of many responses to one plan at once, on the reduced rows of cells.py.

The bounded search of Patterson and Thompson (1971) as in by_type.py, every array with the responses in front, so that a
simulated trial costs a small part of what it does alone. Fisher scoring first; close to the end Newton's steps, which
have the same end, where the likelihood curves down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.errors import NotIdentifiable
from trials.infer.mixed.cells import Cells, Reduced

STEPS = 50
SETTLED = 1e-9  # change of the variances, relative to the largest, at which the search ends
LEAST = 1e-6  # least variance of readings of a type, relative to the largest
CLOSE = 0.3  # change, relative to the largest, below which Newton's steps are tried


@dataclass(frozen=True)
class Scores:
    """B responses at their variances.

    vx (B, N, k) = V^-1 X; phi (B, k, k); p (B, N, N): the projection P; rss (B,) = y'Py;
    quadratic (B, t) = y'P G_i P y; information (B, t, t) = tr(P G_i P G_j);
    observed (B, t, t) = y'P G_i P G_j P y.
    """

    vx: np.ndarray
    phi: np.ndarray
    p: np.ndarray
    rss: np.ndarray
    quadratic: np.ndarray
    information: np.ndarray
    observed: np.ndarray


def score(cells: Cells, data: Reduced, gamma: np.ndarray) -> Scores:
    """Everything a step needs at variances gamma (B, t)."""
    d, linear, inner = len(cells.own), cells.linear, gamma @ cells.linear
    lam, readings = inner[:, :d], gamma[:, -len(cells.across) :]
    vx, phi, p = _projected(cells, inner)
    py = (p @ data.values[..., None])[..., 0]
    g_py = cells.turned(py[..., None])[..., 0]
    quadratic = (g_py @ py[..., None])[..., 0]
    observed = g_py @ p @ g_py.transpose(0, 2, 1)
    information = _information(cells, p)
    at = np.arange(d)
    quadratic[:, :d] += data.coupons / lam**2
    observed[:, at, at] += data.coupons / lam**3
    information[:, at, at] += cells.left / lam**2
    rss = (py * data.values).sum(axis=1) + (data.coupons / lam).sum(axis=1) + (data.readings / readings).sum(axis=1)
    quadratic = quadratic @ linear.T
    observed, information = linear @ observed @ linear.T, linear @ information @ linear.T
    at = np.arange(gamma.shape[1] - readings.shape[1], gamma.shape[1])
    quadratic[:, at] += data.readings / readings**2
    observed[:, at, at] += data.readings / readings**3
    information[:, at, at] += cells.across / readings**2
    return Scores(vx, phi, p, rss, quadratic, information, observed)


def _projected(cells: Cells, inner: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """V^-1 X, (X'V^-1 X)^-1 and P at class and grouping variances inner (B, r)."""
    d, at, x = len(cells.own), cells.together, cells.columns
    v = inner[:, :d] @ cells.own
    block = np.zeros((len(v), *(2 * [at.stop - at.start])))
    for g, z in zip(inner[:, d:].T, cells.joint, strict=True):
        block += g[:, None, None] * (z[at] @ z[at].T)
    where = np.arange(block.shape[1])
    block[:, where, where] += v[:, at]
    inverse = np.linalg.inv(block)
    vx = x / v[..., None]
    vx[:, at] = inverse @ x[at]
    phi = np.linalg.inv(x.T @ vx)
    p = -(vx @ phi) @ vx.transpose(0, 2, 1)
    p[:, at, at] += inverse
    alone = np.arange(at.start)
    p[:, alone, alone] += 1.0 / v[:, alone]
    return vx, phi, p


def _information(cells: Cells, p: np.ndarray) -> np.ndarray:
    """tr(P G_i P G_j) of classes and groupings on the reduced rows, (B, r, r)."""
    d, r = len(cells.own), len(cells.own) + len(cells.joint)
    found = np.empty((len(p), r, r))
    found[:, :d, :d] = cells.own @ (p * p) @ cells.own.T
    at = cells.together
    for i, z in enumerate(cells.joint):
        pz = p[:, :, at] @ z[at]
        found[:, :d, d + i] = found[:, d + i, :d] = (pz * pz).sum(axis=2) @ cells.own.T
        for j, other in enumerate(cells.joint[: i + 1]):
            both = other[at].T @ pz[:, at]
            found[:, d + i, d + j] = found[:, d + j, d + i] = (both * both).sum(axis=(1, 2))
    return found


def search(cells: Cells, data: Reduced) -> tuple[np.ndarray, np.ndarray]:
    """Variances (B, t) at which one step changes nothing, and whether each search settled (B,).

    Responses come in units in which what least squares leaves of them has variance one.
    """
    t, readings = len(cells.linear), len(cells.across)
    gamma = np.full((len(data.values), t), 0.5)
    gamma[:, t - readings :] = 1.0
    last, active = np.full(len(gamma), np.inf), np.arange(len(gamma))
    slow = np.zeros(len(gamma), dtype=bool)
    for _ in range(STEPS):
        now = score(cells, data.take(active), gamma[active])
        newton = (last[active] < CLOSE) & ~slow[active]
        following = _step(now, gamma[active], newton, t - readings)
        change = np.abs(following - gamma[active]).max(axis=1) / following.max(axis=1)
        slow[active] |= newton & (change > last[active])
        gamma[active], last[active] = following, change
        active = active[change > SETTLED]
        if not len(active):
            break
    return gamma, last <= SETTLED


def _step(now: Scores, gamma: np.ndarray, newton: np.ndarray, first_reading: int) -> np.ndarray:
    """Where the quadratic of each likelihood at gamma (B, t) is highest within the bounds."""
    matrix, right = now.information, now.quadratic
    curved = 2.0 * now.observed - now.information
    scale = 1.0 / np.sqrt(np.diagonal(matrix, axis1=1, axis2=2))
    use = newton.copy()
    use[newton] = np.linalg.eigvalsh((curved * scale[:, :, None] * scale[:, None, :])[newton])[:, 0] > 0.05
    slope = right - (matrix @ gamma[..., None])[..., 0]
    matrix = np.where(use[:, None, None], curved, matrix)
    right = np.where(use[:, None], (curved @ gamma[..., None])[..., 0] + slope, right)
    return bounded(matrix, right, first_reading)


def bounded(matrix: np.ndarray, right: np.ndarray, first_reading: int) -> np.ndarray:
    """Solutions (B, t) of matrix @ x = right with no negative entries: the most negative leaves first.

    Raises:
        NotIdentifiable: the readings of a type show nothing.
    """
    diagonal = np.diagonal(matrix, axis1=1, axis2=2)
    if not (diagonal > 0.0).all():
        raise NotIdentifiable("the readings of one type do not differ at all; give all types one spread")
    scale = 1.0 / np.sqrt(diagonal)
    matrix, right = matrix * scale[:, :, None] * scale[:, None, :], right * scale
    found, free = np.zeros_like(right), np.ones(right.shape, dtype=bool)
    still = np.arange(len(right))
    while len(still):
        own = free[still]
        held = np.where(own[:, :, None] & own[:, None, :], matrix[still], np.eye(right.shape[1]))
        found[still] = np.linalg.solve(held, np.where(own, right[still], 0.0)[..., None])[..., 0]
        if not first_reading:
            break
        worst = np.argmin(found[still, :first_reading], axis=1)
        negative = found[still, worst] < 0.0
        still, worst = still[negative], worst[negative]
        free[still, worst] = False
    found *= scale
    least = LEAST * found.max(axis=1, keepdims=True)
    found[:, first_reading:] = np.maximum(found[:, first_reading:], least)
    return found
