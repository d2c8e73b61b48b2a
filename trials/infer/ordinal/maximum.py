"""Maximum of the cumulative-logit likelihood, with or without a normal group effect.

The group effect is integrated by adaptive Gauss-Hermite quadrature (Liu and Pierce 1994, Biometrika 81; Pinheiro and
Chao 2006, JCGS 15): the nodes sit at each group's mode, scaled by its curvature. The gradient is the exact one of
the quadrature sum, modes and curvatures included.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, logsumexp

from trials.infer.likelihood.climb import Summit, bend_by_differences, climb
from trials.infer.likelihood.recession import Recession, nothing_separates, recession
from trials.infer.ordinal.rows import Rows, bends, density, density_slope, log_chance, slopes

SD_START = 0.7
SD_LARGEST = 10.0


@dataclass(frozen=True)
class Problem:
    """What is maximised.

    Attributes:
        rows: observations, sorted so that a group's rows follow each other.
        starts: (g,) first row of each group, or None without a group effect.
        nodes, log_weights: (q,) standard-normal quadrature, log weights with the normal density divided out.
        prior_rows: pseudo-observations without group effect, or None.
        prior_sd: standard deviation of the half-normal penalty on the group sd, inf for none.
    """

    rows: Rows
    starts: np.ndarray | None
    nodes: np.ndarray
    log_weights: np.ndarray
    prior_rows: Rows | None = None
    prior_sd: float = np.inf

    def hold(self, column: int, value: float) -> Problem:
        """The problem with one parameter fixed."""
        prior = None if self.prior_rows is None else self.prior_rows.hold(column, value)
        return replace(self, rows=self.rows.hold(column, value), prior_rows=prior)


@dataclass(frozen=True)
class Solution:
    """Supremum of a problem.

    Attributes:
        theta: (p,) the finite point of the limit; its parts along the cone's span are zero.
        group_sd: standard deviation of the group effect, logits.
        height: supremum of the log-likelihood (penalties included, if any).
        information: (r [+ 1], r [+ 1]) in the coordinates cone.basis, then the group sd.
        cone: which parameters run to infinity.
        limit: the rows with the ends opened that run to infinity.
        converged: the climb ended at a summit.
    """

    theta: np.ndarray
    group_sd: float
    height: float
    information: np.ndarray
    cone: Recession
    limit: Rows
    converged: bool


def quadrature(points: int) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and log weights for integrals over dz, to be placed at mode + node / sqrt(curvature)."""
    x, w = np.polynomial.hermite.hermgauss(points)
    return np.sqrt(2.0) * x, np.log(w) + x**2 - 0.5 * np.log(np.pi)


def maximise(
    problem: Problem, start: np.ndarray, group_sd: float = SD_START, cone: Recession | None = None
) -> Solution:
    """Supremum of the log-likelihood over all parameters; `start` (p,) keeps the ends of every row in order.

    `cone` saves finding it again where only offsets differ from a problem solved before.
    """
    cone = _cone(problem) if cone is None else cone
    limit = replace(
        problem.rows,
        upper_open=problem.rows.upper_open | cone.strict[: len(problem.rows.upper)],
        lower_open=problem.rows.lower_open | cone.strict[len(problem.rows.upper) : 2 * len(problem.rows.upper)],
    )
    work = replace(problem, rows=limit)
    basis = cone.basis
    free = basis.T @ start
    if problem.starts is None:
        top = _climb_plain(work, basis, free)
        return Solution(basis @ top.point, 0.0, top.height, top.information, cone, limit, top.converged)
    top = _climb_grouped(work, basis, np.append(free, group_sd))
    sd = abs(float(top.point[-1]))
    return Solution(basis @ top.point[:-1], sd, top.height, top.information, cone, limit, top.converged)


def _cone(problem: Problem) -> Recession:
    """Recession cone of the fixed part; the cone of the integrated likelihood is the same for any group sd."""
    rows = problem.rows
    if problem.prior_rows is not None:
        return nothing_separates(2 * len(rows.upper), rows.upper.shape[1])
    rises = np.vstack(
        [np.where(rows.upper_open[:, None], 0.0, rows.upper), np.where(rows.lower_open[:, None], 0.0, -rows.lower)]
    )
    return recession(rises)


def _climb_plain(problem: Problem, basis: np.ndarray, free: np.ndarray) -> Summit:
    """Newton with exact second derivatives."""
    sets = [problem.rows] + ([problem.prior_rows] if problem.prior_rows is not None else [])
    return climb(
        lambda z: sum(plain_value(r, basis @ z) for r in sets),
        lambda z: basis.T @ sum(plain_slope(r, basis @ z) for r in sets),
        lambda z: basis.T @ sum(plain_bend(r, basis @ z) for r in sets) @ basis,
        free,
    )


def plain_value(rows: Rows, theta: np.ndarray) -> float:
    """Log-likelihood without a group effect."""
    return float(rows.weight @ log_chance(*rows.ends(theta)))


def plain_slope(rows: Rows, theta: np.ndarray) -> np.ndarray:
    """Gradient (p,) without a group effect."""
    up, low = slopes(*rows.ends(theta))
    return rows.upper.T @ (rows.weight * up) + rows.lower.T @ (rows.weight * low)


def plain_bend(rows: Rows, theta: np.ndarray) -> np.ndarray:
    """Second derivatives (p, p) without a group effect."""
    uu, ll, ul = (rows.weight * part for part in bends(*rows.ends(theta)))
    cross = (rows.upper.T * ul) @ rows.lower
    return (rows.upper.T * uu) @ rows.upper + (rows.lower.T * ll) @ rows.lower + cross + cross.T


def _climb_grouped(problem: Problem, basis: np.ndarray, free: np.ndarray) -> Summit:
    """Newton on (basis coordinates, group sd) with differences of the exact gradient."""
    prior = problem.prior_rows

    def value(z: np.ndarray) -> float:
        if abs(z[-1]) > SD_LARGEST:
            return -np.inf
        theta = basis @ z[:-1]
        height = _grouped(problem, theta, z[-1], gradient=False)[0] - 0.5 * (z[-1] / problem.prior_sd) ** 2
        return height + (plain_value(prior, theta) if prior is not None else 0.0)

    def slope(z: np.ndarray) -> np.ndarray:
        theta = basis @ z[:-1]
        uphill = _grouped(problem, theta, z[-1], gradient=True)[1]
        uphill[-1] -= z[-1] / problem.prior_sd**2
        if prior is not None:
            uphill[:-1] += plain_slope(prior, theta)
        return np.append(basis.T @ uphill[:-1], uphill[-1])

    return climb(value, slope, bend_by_differences(slope), free, steps=100)


def _grouped(problem: Problem, theta: np.ndarray, sd: float, gradient: bool) -> tuple[float, np.ndarray]:
    """Integrated log-likelihood and its gradient (p + 1,) by theta and the group sd."""
    rows, starts = problem.rows, problem.starts
    upper, lower = rows.ends(theta)
    if not np.all(upper > lower):
        return -np.inf, np.zeros(len(theta) + 1)
    sizes = np.diff(np.append(starts, len(upper)))
    mode = _modes(upper, lower, sd, starts, sizes)
    u, low = upper - sd * np.repeat(mode, sizes), lower - sd * np.repeat(mode, sizes)
    f_sum = np.add.reduceat(density(u) + density(low), starts)
    curvature = 1.0 + sd**2 * f_sum
    z = mode[:, None] + problem.nodes / np.sqrt(curvature)[:, None]
    shift = sd * np.repeat(z, sizes, axis=0)
    un, ln = upper[:, None] - shift, lower[:, None] - shift
    inner = np.add.reduceat(log_chance(un, ln), starts, axis=0) - 0.5 * z**2 + problem.log_weights
    each = logsumexp(inner, axis=1)
    height = float(np.sum(each - 0.5 * np.log(curvature)))
    if not gradient:
        return height, np.zeros(0)
    share = np.exp(inner - each[:, None])
    return height, _grouped_slope(problem, (u, low, un, ln), (mode, curvature, f_sum, z, share), sd, sizes)


def _grouped_slope(problem: Problem, ends: tuple, at: tuple, sd: float, sizes: np.ndarray) -> np.ndarray:
    """Exact gradient of the quadrature sum: direct part, then through the modes and the curvatures."""
    rows, starts = problem.rows, problem.starts
    u, low, un, ln = ends
    mode, curvature, f_sum, z, share = at
    at_row = np.repeat(share, sizes, axis=0)
    gu, gl = slopes(un, ln)
    direct = rows.upper.T @ np.sum(at_row * gu, axis=1) + rows.lower.T @ np.sum(at_row * gl, axis=1)
    q_nodes = np.add.reduceat(expit(-un) - expit(ln), starts, axis=0)
    direct_sd = -np.sum(share * z * q_nodes)
    h_z = -sd * q_nodes - z
    push = np.sum(share * h_z, axis=1)
    stretch = np.sum(share * h_z * problem.nodes, axis=1)
    fu, fl, du, dl = density(u), density(low), density_slope(u), density_slope(low)
    f_slope = np.add.reduceat(du + dl, starts)
    q_mode = np.add.reduceat(expit(-u) - expit(low), starts)
    by_curvature = -0.5 * stretch * curvature**-1.5 - 0.5 / curvature
    by_mode = push - by_curvature * sd**3 * f_slope
    to_mode, to_curve = np.repeat(by_mode / curvature, sizes), np.repeat(by_curvature, sizes)
    theta_part = rows.upper.T @ (to_mode * sd * fu + to_curve * sd**2 * du)
    theta_part += rows.lower.T @ (to_mode * sd * fl + to_curve * sd**2 * dl)
    mode_by_sd = (-q_mode + sd * mode * f_sum) / curvature
    curve_by_sd = 2 * sd * f_sum - sd**2 * mode * f_slope
    sd_part = np.sum(by_mode * mode_by_sd + by_curvature * curve_by_sd)
    return np.append(direct + theta_part, direct_sd + sd_part)


def _modes(upper: np.ndarray, lower: np.ndarray, sd: float, starts: np.ndarray, sizes: np.ndarray) -> np.ndarray:
    """Most likely standardised group effects (g,) by Newton with halving; the target is concave."""
    mode = np.zeros(len(starts))

    def parts(m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        shift = sd * np.repeat(m, sizes)
        u, low = upper - shift, lower - shift
        slope = -sd * np.add.reduceat(expit(-u) - expit(low), starts) - m
        return slope, 1.0 + sd**2 * np.add.reduceat(density(u) + density(low), starts)

    slope, curve = parts(mode)
    left, right = np.full(len(starts), -np.inf), np.full(len(starts), np.inf)
    last = np.full(len(starts), np.inf)
    for _ in range(200):
        left, right = np.where(slope > 0, mode, left), np.where(slope < 0, mode, right)
        step = slope / curve
        # Halve the bracket where Newton leaves it or does not halve its own step, else it may swing for ever.
        poor = (mode + step <= left) | (mode + step >= right) | (np.abs(step) > 0.5 * last)
        halve = poor & np.isfinite(left) & np.isfinite(right) & (np.abs(slope) > 1e-10)
        step = np.where(halve, 0.5 * (np.where(halve, left, 0.0) + np.where(halve, right, 0.0)) - mode, step)
        mode, last = mode + step, np.abs(step)
        slope, curve = parts(mode)
        if np.max(np.abs(slope) / np.sqrt(curve)) < 1e-12:
            break
    return mode
