"""Restricted likelihood of a mixed model as a function of variance ratios, and its minimum over ratios >= 0."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.infer.mixed.pieces import Kernel, Pieces

STEPS = 100
LARGE = 1e12  # a ratio times its rows per level beyond this means that the residual variance is zero


@dataclass(frozen=True)
class Solved:
    """The fixed part at given ratios: phi (k, k) = (X'H^-1X)^-1, beta (k,), rss = y'Py, log_det_x = log |X'H^-1X|."""

    phi: np.ndarray
    beta: np.ndarray
    rss: float
    log_det_x: float


def solve_fixed(pieces: Pieces) -> Solved:
    """Eliminate the fixed columns from the cross-product A'H^-1 A, A = [X y].

    Raises
    ------
    FloatingPointError
        If the ratios are so large that rounding has eaten X'H^-1X or what is left of y.
    """
    k = pieces.aha.shape[0] - 1
    try:
        factor = np.linalg.cholesky(pieces.aha[:k, :k])
    except np.linalg.LinAlgError:
        raise FloatingPointError("X'H^-1X is not positive") from None
    half = np.linalg.solve(factor, np.column_stack([pieces.aha[:k, k:], np.eye(k)]))
    root = half[:, 1:]
    rss = float(pieces.aha[k, k] - half[:, 0] @ half[:, 0])
    if rss <= 0:
        raise FloatingPointError("y'Py is not positive")
    return Solved(root.T @ root, root.T @ half[:, 0], rss, 2.0 * float(np.log(np.diagonal(factor)).sum()))


def criterion(pieces: Pieces, solved: Solved, nu: int) -> float:
    """-2 log restricted likelihood at the best residual variance; nu = n - k (Bates and others 2015, eq. 41)."""
    result: float = pieces.log_det + solved.log_det_x + nu * (1.0 + np.log(2.0 * np.pi * solved.rss / nu))
    return result


def information(pieces: Pieces, solved: Solved) -> np.ndarray:
    """tr(P G_i P G_j), (t, t): twice the expected information in units of the residual variance."""
    k = len(solved.beta)
    phi, aga = solved.phi, pieces.aga[:, :k, :k]
    turned = phi @ aga
    t = len(aga)
    once = (pieces.agga[:, :, :k, :k].reshape(t * t, -1) @ phi.ravel()).reshape(t, t)
    twice = turned.reshape(t, -1) @ turned.transpose(0, 2, 1).reshape(t, -1).T
    result: np.ndarray = pieces.trace_pair - 2.0 * once + twice
    return result


def _derivatives(pieces: Pieces, solved: Solved, nu: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gradient (r,), Hessian (r, r) and expected information (r, r) of the criterion in the ratios."""
    k = len(solved.beta)
    a = np.append(-solved.beta, 1.0)
    turned = pieces.aga @ a  # (r, c)
    quadratic = turned @ a
    trace = pieces.trace - pieces.aga[:, :k, :k].reshape(len(pieces.trace), -1) @ solved.phi.ravel()
    pairs = (pieces.agga @ a) @ a - turned[:, :k] @ solved.phi @ turned[:, :k].T
    expected = information(pieces, solved)
    scale = nu / solved.rss
    gradient = trace - scale * quadratic
    hessian = -expected + scale * (2.0 * pairs - np.outer(quadratic, quadratic) / solved.rss)
    return gradient, hessian, expected - np.outer(trace, trace) / nu


@dataclass(frozen=True)
class Minimum:
    """Where the search ended: ratios (r,), criterion, and whether the conditions of a minimum hold there."""

    gamma: np.ndarray
    value: float
    converged: bool


@dataclass
class _Point:
    x: np.ndarray
    value: float
    pieces: Pieces
    solved: Solved | None


class _Search:
    """Newton's method in x_i = log(1 + s_i gamma_i) >= 0, s_i the rows per level; convex there for a one-way layout."""

    def __init__(self, kernel: Kernel, nu: int, per_level: np.ndarray) -> None:
        self.kernel, self.nu, self.per_level = kernel, nu, per_level
        self.upper = np.log(LARGE)

    def at(self, x: np.ndarray) -> _Point:
        pieces = self.kernel.evaluate(np.expm1(x) / self.per_level, residual=False)
        try:
            solved = solve_fixed(pieces)
        except FloatingPointError:
            return _Point(x, np.inf, pieces, None)
        return _Point(x, criterion(pieces, solved, self.nu), pieces, solved)

    def model(self, point: _Point) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        assert point.solved is not None  # the search stands only where the criterion is finite
        gradient, hessian, expected = _derivatives(point.pieces, point.solved, self.nu)
        slope = np.exp(point.x) / self.per_level
        g = gradient * slope
        return g, hessian * np.outer(slope, slope) + np.diag(g), expected * np.outer(slope, slope)

    def step(self, point: _Point) -> tuple[np.ndarray, float, np.ndarray]:
        """Newton step over the free ratios, the fall of the criterion it promises, and the gradient."""
        g, h, expected = self.model(point)
        free = (point.x > 0) | (g < 0)
        step = np.zeros_like(point.x)
        if not free.any():
            return step, 0.0, g
        sub = np.ix_(free, free)
        values, vectors = np.linalg.eigh(h[sub])
        if values[0] <= 1e-8 * abs(values[-1]):
            values, vectors = np.linalg.eigh(expected[sub])
            values = np.maximum(values, 1e-10 * max(values[-1], 1e-300))
        step[free] = -vectors @ ((vectors.T @ g[free]) / values)
        return np.clip(step, -4.0, 4.0), float(-g @ step), g

    def run(self, start: np.ndarray) -> Minimum:
        point = self.at(start)
        for _ in range(STEPS):
            step, promise, gradient = self.step(point)
            if promise < 1e-13 * max(1.0, self.nu):
                settled = np.all(gradient[point.x == 0] >= -1e-6) if (point.x == 0).any() else True
                return self.finish(point, step, bool(settled))
            following = self.descend(point, step, gradient)
            if following is None:
                return self.finish(point, 0.0 * step, promise < 1e-7)
            point = following
        return self.finish(point, 0.0 * step, False)

    def descend(self, point: _Point, step: np.ndarray, gradient: np.ndarray) -> _Point | None:
        """First point along the bounded step that lowers the criterion enough, None if there is none."""
        size = 1.0
        noise = 1e-14 * abs(point.value)
        for _ in range(30):
            x = np.clip(point.x + size * step, 0.0, self.upper)
            trial = self.at(x)
            if trial.value <= point.value + 1e-4 * float(gradient @ (x - point.x)) + noise:
                return trial if trial.value < point.value or np.any(x != point.x) else None
            size *= 0.5
        return None

    def finish(self, point: _Point, step: np.ndarray, converged: bool) -> Minimum:
        x = np.clip(point.x + step, 0.0, self.upper)
        return Minimum(np.expm1(x) / self.per_level, point.value, converged)


def minimise(kernel: Kernel, nu: int, per_level: np.ndarray, near: np.ndarray | None = None) -> Minimum:
    """Minimise the restricted criterion over ratios >= 0 (r,); near: ratios (r,) that are thought to be close.

    A minimum with a ratio at zero is searched for again from large ratios, and the lower of the two is kept.
    """
    if not len(per_level):
        return Minimum(per_level, 0.0, True)
    search = _Search(kernel, nu, per_level)
    start = np.full(len(per_level), 0.7) if near is None else np.maximum(np.log1p(near * per_level), 0.1)
    first = search.run(start)
    if np.all(first.gamma > 0) and first.converged:
        return first
    second = search.run(np.full(len(per_level), 2.5))
    better = second.value < first.value - 1e-9 or (second.converged and not first.converged)
    return second if better else first
