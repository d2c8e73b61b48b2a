"""Maximum of the cumulative-logit likelihood, with or without a normal group effect.

The group effect is integrated by adaptive Gauss-Hermite quadrature (Liu and Pierce 1994, Biometrika 81; Pinheiro and
Chao 2006, JCGS 15): the nodes sit at each group's mode, scaled by its curvature. The gradient is the exact one of
the quadrature sum, modes and curvatures included.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import expit, log_expit

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
    problem: Problem,
    start: np.ndarray,
    group_sd: float = SD_START,
    cone: Recession | None = None,
    informed: bool = True,
) -> Solution:
    """Supremum of the log-likelihood over all parameters; `start` (p,) keeps the ends of every row in order.

    `cone` saves finding it again where only offsets differ from a problem solved before. Where nobody needs the
    information to many digits, `informed=False` leaves it at the one the climb used (see `_Integral.bend`).
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
    top = _climb_grouped(work, basis, np.append(free, group_sd), informed)
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
    result: np.ndarray = rows.upper.T @ (rows.weight * up) + rows.lower.T @ (rows.weight * low)
    return result


def plain_bend(rows: Rows, theta: np.ndarray) -> np.ndarray:
    """Second derivatives (p, p) without a group effect."""
    uu, ll, ul = (rows.weight * part for part in bends(*rows.ends(theta)))
    cross = (rows.upper.T * ul) @ rows.lower
    result: np.ndarray = (rows.upper.T * uu) @ rows.upper + (rows.lower.T * ll) @ rows.lower + cross + cross.T
    return result


def _climb_grouped(problem: Problem, basis: np.ndarray, free: np.ndarray, informed: bool) -> Summit:
    """Newton on (basis coordinates, group sd); the information at the summit by differences of the exact gradient."""
    prior, turn = problem.prior_rows, np.zeros((len(basis) + 1, basis.shape[1] + 1))
    turn[:-1, :-1], turn[-1, -1] = basis, 1.0
    seen: list[tuple[np.ndarray, _Integral]] = []

    def at(z: np.ndarray) -> _Integral:
        if not seen or not np.array_equal(seen[0][0], z):
            mode = seen[0][1].mode if seen else None
            seen[:] = [(z, integrate(problem, basis @ z[:-1], z[-1], mode))]
        return seen[0][1]

    def value(z: np.ndarray) -> float:
        if abs(z[-1]) > SD_LARGEST:
            return -np.inf
        height = at(z).height - 0.5 * float(z[-1] / problem.prior_sd) ** 2
        return height + (plain_value(prior, basis @ z[:-1]) if prior is not None else 0.0)

    def slope(z: np.ndarray) -> np.ndarray:
        uphill = at(z).slope()
        uphill[-1] -= z[-1] / problem.prior_sd**2
        if prior is not None:
            uphill[:-1] += plain_slope(prior, basis @ z[:-1])
        result: np.ndarray = turn.T @ uphill
        return result

    def bend(z: np.ndarray) -> np.ndarray:
        found = at(z).bend()
        found[-1, -1] -= 1.0 / problem.prior_sd**2
        if prior is not None:
            found[:-1, :-1] += plain_bend(prior, basis @ z[:-1])
        result: np.ndarray = turn.T @ found @ turn
        return result

    top = climb(value, slope, bend, free, steps=100)
    return replace(top, information=-bend_by_differences(slope)(top.point)) if informed else top


def row_pulls(solution: Solution, problem: Problem) -> tuple[np.ndarray, np.ndarray]:
    """Derivatives (n,) of the log-likelihood by the upper and the lower end of each row, at a solution."""
    limit = replace(problem, rows=solution.limit)
    if problem.starts is not None:
        return integrate(limit, solution.theta, solution.group_sd).pulls()
    up, low = slopes(*solution.limit.ends(solution.theta))
    return solution.limit.weight * up, solution.limit.weight * low


@dataclass(frozen=True)
class _Integral:
    """The likelihood with the group effect integrated out at one point (theta, sd), and what its slopes need.

    Attributes:
        height: log-likelihood.
        mode, curvature, f_sum: (g,) standardised group effects, minus the second derivative there, sum of densities.
        z, share: (g, q) nodes and their share of each group's integral.
        u, low: (n,) ends at the modes; un, ln: (n, q) chances of lying above the upper and below the lower end.
        tail: (n,) what both slopes share.
    """

    rows: Rows
    starts: np.ndarray
    sizes: np.ndarray
    nodes: np.ndarray
    sd: float
    height: float
    mode: np.ndarray
    curvature: np.ndarray
    f_sum: np.ndarray
    z: np.ndarray
    share: np.ndarray
    u: np.ndarray
    low: np.ndarray
    un: np.ndarray
    ln: np.ndarray
    tail: np.ndarray

    def _sum(self, values: np.ndarray) -> np.ndarray:
        return np.add.reduceat(values, self.starts, axis=0)

    def pulls(self) -> tuple[np.ndarray, np.ndarray]:
        """Exact derivatives (n,) by the upper and lower ends: direct part, then through the modes and curvatures."""
        at_row = np.repeat(self.share, self.sizes, axis=0)
        direct = np.sum(at_row * self.un, axis=1) + self.tail, -np.sum(at_row * self.ln, axis=1) - self.tail
        by_mode, by_curvature, _ = self._through
        to_mode = np.repeat(by_mode / self.curvature, self.sizes) * self.sd
        to_curve = np.repeat(by_curvature, self.sizes) * self.sd**2
        steep = zip((self.u, self.low), self._density_slopes, strict=True)
        upper, lower = (to_mode * density(end) + to_curve * bend for end, bend in steep)
        return direct[0] + upper, direct[1] + lower

    @cached_property
    def _density_slopes(self) -> tuple[np.ndarray, np.ndarray]:
        """Slope (n,) of the density at the upper and the lower ends."""
        return density_slope(self.u), density_slope(self.low)

    @cached_property
    def _by_group(self) -> np.ndarray:
        """Sum (g, q) of the slopes of the rows by the group effect, the sd left out."""
        return self._sum(self.un - self.ln)

    @cached_property
    def _through(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Derivatives (g,) by the modes and by the curvatures, and the slope of f_sum."""
        h_z = -self.sd * self._by_group - self.z
        push = np.sum(self.share * h_z, axis=1)
        stretch = np.sum(self.share * h_z * self.nodes, axis=1)
        f_slope = self._sum(np.add(*self._density_slopes))
        by_curvature = -0.5 * stretch * self.curvature**-1.5 - 0.5 / self.curvature
        return push - by_curvature * self.sd**3 * f_slope, by_curvature, f_slope

    def slope(self) -> np.ndarray:
        """Exact gradient (p + 1,) of the quadrature sum by theta and the group sd."""
        up, low = self.pulls()
        by_mode, by_curvature, f_slope = self._through
        q_mode = self._sum(expit(-self.u) - expit(self.low))
        mode_by_sd = -(q_mode + self.sd * self.mode * self.f_sum) / self.curvature
        curve_by_sd = 2 * self.sd * self.f_sum - self.sd**2 * self.mode * f_slope
        direct = -np.sum(self.share * self.z * self._by_group)
        by_sd = direct + np.sum(by_mode * mode_by_sd + by_curvature * curve_by_sd)
        return np.append(self.rows.upper.T @ up + self.rows.lower.T @ low, by_sd)

    def bend(self) -> np.ndarray:
        """Second derivatives (p + 1, p + 1) with the nodes held still: off by the quadrature error, good for steps.

        Mean over the group effect of the second derivatives, plus the covariance of the first (Louis 1982, JRSS B 44).
        """
        at_row = np.repeat(self.share, self.sizes, axis=0)
        z_row = np.repeat(self.z, self.sizes, axis=0)
        upper, lower, cross = self.rows.upper, self.rows.lower, self.tail + self.tail**2
        dense = [at_row * e * (1 - e) for e in (self.un, self.ln)]
        mixed = (upper.T * cross) @ lower
        out = np.zeros((upper.shape[1] + 1, upper.shape[1] + 1))
        out[:-1, :-1] = mixed + mixed.T
        for rows, d in zip((upper, lower), dense, strict=True):
            out[:-1, :-1] -= (rows.T * (d.sum(axis=1) + cross)) @ rows
            out[:-1, -1] += rows.T @ np.sum(d * z_row, axis=1)
        out[-1, :-1] = out[:-1, -1]
        out[-1, -1] = -np.sum((dense[0] + dense[1]) * z_row**2)
        result: np.ndarray = out + self._covariance()
        return result

    def _covariance(self) -> np.ndarray:
        """Sum over groups of the covariance (p + 1, p + 1) of the first derivatives over the group effect."""
        up, low = self.un + self.tail[:, None], -self.ln - self.tail[:, None]
        ends = up[:, :, None] * self.rows.upper[:, None, :] + low[:, :, None] * self.rows.lower[:, None, :]
        each = np.concatenate([self._sum(ends), (-self.z * self._sum(up + low))[:, :, None]], axis=2)  # (g, q, p + 1)
        weighed = self.share[:, :, None] * each
        middle = weighed.sum(axis=1)
        size = each.shape[2]
        result: np.ndarray = weighed.reshape(-1, size).T @ each.reshape(-1, size) - middle.T @ middle
        return result


def integrate(problem: Problem, theta: np.ndarray, sd: float, mode: np.ndarray | None = None) -> _Integral:
    """Integrate the group effect out; `mode` (g,) is where the search for the group modes starts."""
    rows, starts = problem.rows, problem.starts
    assert starts is not None  # only problems with a group are integrated
    upper, lower = rows.ends(theta)
    sizes = np.diff(np.append(starts, len(upper)))
    gap = upper - lower
    crossed = not np.all(gap > 0)
    gap = np.where(gap > 0, gap, 1.0)
    mode = _modes(upper, lower, sd, starts, sizes, mode)
    u, low = upper - sd * np.repeat(mode, sizes), lower - sd * np.repeat(mode, sizes)
    f_sum = np.add.reduceat(density(u) + density(low), starts)
    curvature = 1.0 + sd**2 * f_sum
    z = mode[:, None] + problem.nodes / np.sqrt(curvature)[:, None]
    shift = sd * np.repeat(z, sizes, axis=0)
    un, ln = upper[:, None] - shift, lower[:, None] - shift
    each_row = log_expit(un) + log_expit(-ln) + np.log(-np.expm1(-gap))[:, None]
    inner = np.add.reduceat(each_row, starts, axis=0) - 0.5 * z**2 + problem.log_weights
    highest = inner.max(axis=1)
    each = highest + np.log(np.sum(np.exp(inner - highest[:, None]), axis=1))
    return _Integral(
        rows=rows,
        starts=starts,
        sizes=sizes,
        nodes=problem.nodes,
        sd=sd,
        height=-np.inf if crossed else float(np.sum(each - 0.5 * np.log(curvature))),
        mode=mode,
        curvature=curvature,
        f_sum=f_sum,
        z=z,
        share=np.exp(inner - each[:, None]),
        u=u,
        low=low,
        un=expit(-un),
        ln=expit(ln),
        tail=np.exp(-gap) / -np.expm1(-gap),
    )


def _modes(
    upper: np.ndarray,
    lower: np.ndarray,
    sd: float,
    starts: np.ndarray,
    sizes: np.ndarray,
    start: np.ndarray | None = None,
) -> np.ndarray:
    """Most likely standardised group effects (g,) by Newton with halving; the target is concave."""
    mode = np.zeros(len(starts)) if start is None else start

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
