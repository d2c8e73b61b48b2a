"""Row exchange by rank-two updates: the engine behind `trials.plan.optimal.rows`.

With W = V^-1, M = X'WX and D = M^-1, replacing row x of run i by z adds d = z - x and changes the information to
M + g d' + d g' + w d d', where g = X'W e_i and w = W_ii. Hence (matrix determinant lemma, U = [d, g])

    det ratio   = (1 + q)^2 + (w - s) p,                 p = d'Dd,  q = d'Dg,  s = g'Dg
    trace drop  = ((w - s) p2 + 2 (1 + q) q2 - s2 p) / det ratio,    p2, q2, s2 the same with D L D, L the moments

Both are linear and quadratic in the features [z, z'Dz, z'DLDz, 1], so every run is scored against every candidate
by one matrix product. The formulas are own algebra; the exchange itself follows Fedorov (1972) and, with correlated
runs, Goos and Vandebroek (2003).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

GAIN = 1e-9  # smallest relative improvement that counts, on log det and on average variance alike
SINGULAR = 3e-5  # smallest ratio of Cholesky pivots (a square root of information) that counts as estimable
MISSES = 5  # exchanges in a row that may have lost their gain to those before, until all are scored again
REFRESH = 5  # rounds of updates between two recomputations
CHUNK = 4096  # candidates scored at a time, so that the work stays in cache


@dataclass(frozen=True)
class Selection:
    """What does not change during a search.

    `rows` (N, k) candidate rows in a well-conditioned coding; `kept` (m, k); `weights` (n + m, n + m) = V^-1;
    `moments` (k, k) in the same coding; `use_variance` True for the I-criterion; `swap(chosen, rng)` lets runs change
    places in single settings, where the settings behind the rows are known.
    """

    rows: np.ndarray
    kept: np.ndarray
    weights: np.ndarray
    moments: np.ndarray
    use_variance: bool
    runs: int
    swap: Callable[[np.ndarray, np.random.Generator], np.ndarray] | None = None


@dataclass
class Pool:
    """Candidates on offer to some runs: `index` (c,) into the task's rows, `members` (r,) the runs."""

    index: np.ndarray
    members: np.ndarray
    features: np.ndarray = field(init=False)

    def fill(self, task: Selection) -> Pool:
        """Lay out the transposed features [row, z'Dz, z'DLDz, 1], the two middle ones filled at scoring."""
        k = task.rows.shape[1]
        self.features = np.empty((k + 3, self.index.size))
        self.features[:k] = task.rows[self.index].T
        self.features[k:] = 1.0
        return self


class State:
    """One plan under improvement: candidate indices, their rows, and the inverse information."""

    def __init__(self, task: Selection, chosen: np.ndarray) -> None:
        """Start from the chosen rows of a task."""
        self.task = task
        self.chosen = chosen.copy()
        self.matrix = np.vstack([task.rows[chosen], task.kept])
        self.ridge = 0.0
        self.refresh()

    def refresh(self) -> None:
        """Recompute the inverse information from the plan itself; clears the rounding of past updates."""
        self.weighted = self.task.weights @ self.matrix
        information = self.matrix.T @ self.weighted
        information = (information + information.T) / 2
        if self.ridge:
            information[np.diag_indices_from(information)] += self.ridge
        self.singular, self.log_det, self.variance = True, -np.inf, np.inf
        try:
            root = np.diag(np.linalg.cholesky(information))
        except np.linalg.LinAlgError:
            return
        if root.min() < SINGULAR * root.max():
            return
        inverse = np.linalg.inv(information)
        self.inverse = (inverse + inverse.T) / 2
        self.singular = False
        self.log_det = float(2 * np.log(root).sum())
        self.variance = float(np.sum(self.inverse * self.task.moments))

    @property
    def score(self) -> float:
        """Larger is better: log det of the information, or minus the log of the average variance."""
        return -np.log(self.variance) if self.task.use_variance else self.log_det

    def copy_of(self, other: State) -> None:
        """Take over the rows of another plan of the same task; `place` or `refresh` must follow."""
        self.chosen = other.chosen.copy()
        self.matrix = other.matrix.copy()

    def place(self, runs: np.ndarray, candidates: np.ndarray) -> None:
        """Put candidates into runs without asking whether it helps, and recompute."""
        self.chosen[runs] = candidates
        self.matrix[runs] = self.task.rows[candidates]
        self.refresh()

    def try_exchange(self, run: int, candidate: int, least: float) -> bool:
        """Exchange one row if the relative gain is at least `least`; rank-two update of the inverse."""
        task = self.task
        step = task.rows[candidate] - self.matrix[run]
        pull = self.weighted[run]
        w = task.weights[run, run]
        step_d, pull_d = self.inverse @ step, self.inverse @ pull
        p, q, s = step @ step_d, step @ pull_d, pull @ pull_d
        ratio = (1 + q) ** 2 + (w - s) * p
        if not ratio > 1e-9:
            return False
        if task.use_variance:
            shrunk = task.moments @ pull_d
            drop = (w - s) * (step_d @ task.moments @ step_d) + 2 * (1 + q) * (step_d @ shrunk)
            drop = (drop - p * (pull_d @ shrunk)) / ratio
            gain = drop / self.variance
        else:
            gain = np.log(ratio)
        if gain < least:
            return False
        moved = np.array([step_d, pull_d])
        middle = np.array([[w - s, 1 + q], [1 + q, -p]]) / ratio
        self.inverse -= moved.T @ (middle @ moved)
        self.weighted += np.multiply.outer(task.weights[:, run], step)
        self.matrix[run] = task.rows[candidate]
        self.chosen[run] = candidate
        if task.use_variance:
            self.variance -= float(drop)
        return True


def _left_factors(state: State) -> list[np.ndarray]:
    """Return the (n, k + 3) left factors whose products with the features give the terms of the gain."""
    n = state.task.runs
    rows, pull = state.matrix[:n], state.weighted[:n]
    rows_d, pull_d = rows @ state.inverse, pull @ state.inverse
    slack = np.diag(state.task.weights)[:n] - np.einsum("ij,ij->i", pull, pull_d)
    slack = np.maximum(slack, 0.0)
    own = np.einsum("ij,ij->i", rows, rows_d)
    cross = np.einsum("ij,ij->i", rows, pull_d)
    size = _factor(-2 * slack[:, None] * rows_d, slack, 0.0, slack * own)
    turn = _factor(pull_d, 0.0, 0.0, 1 - cross)
    if not state.task.use_variance:
        return [size, turn]
    moments = state.task.moments
    rows_2, pull_2 = rows_d @ moments @ state.inverse, pull_d @ moments @ state.inverse
    own_2 = np.einsum("ij,ij->i", rows, rows_2)
    cross_2 = np.einsum("ij,ij->i", rows, pull_2)
    pull_own = np.einsum("ij,ij->i", pull, pull_2)
    linear = -2 * (slack[:, None] * rows_2 - pull_own[:, None] * rows_d)
    drop = _factor(linear, -pull_own, slack, slack * own_2 - pull_own * own)
    return [size, turn, drop, _factor(2 * pull_2, 0.0, 0.0, -2 * cross_2)]


def _factor(
    linear: np.ndarray, own: np.ndarray | float, second: np.ndarray | float, constant: np.ndarray
) -> np.ndarray:
    """Lay the coefficients of [row, z'Dz, z'DLDz, 1] side by side, (n, k + 3)."""
    k = linear.shape[1]
    factor = np.empty((len(linear), k + 3))
    factor[:, :k], factor[:, k], factor[:, k + 1], factor[:, k + 2] = linear, own, second, constant
    return factor


def _gains(state: State, factors: list[np.ndarray], features: np.ndarray) -> np.ndarray:
    """Return the (r, c) gains of a chunk of candidates: det ratio minus 1, or the relative drop of the variance."""
    turn: np.ndarray = factors[1] @ features
    ratio: np.ndarray = factors[0] @ features
    if not state.task.use_variance:
        ratio += turn * turn
        ratio -= 1.0
        return ratio
    drop: np.ndarray = factors[3] @ features
    drop *= turn
    drop += factors[2] @ features
    turn *= turn
    ratio += turn
    drop /= np.maximum(ratio, 1e-9) * state.variance
    drop[ratio < 1e-9] = -np.inf
    return drop


def best_exchanges(state: State, pools: list[Pool]) -> tuple[np.ndarray, np.ndarray]:
    """Return for each run the candidate with the largest gain (n,) and that gain (n,)."""
    k = state.task.rows.shape[1]
    gain = np.full(state.chosen.size, -np.inf)
    best = state.chosen.copy()
    spread = state.inverse @ state.task.moments @ state.inverse if state.task.use_variance else None
    factors_all = _left_factors(state)
    for pool in pools:
        factors = factors_all if len(pools) == 1 else [factor[pool.members] for factor in factors_all]
        for start in range(0, pool.index.size, CHUNK):
            part = pool.features[:, start : start + CHUNK]
            rows = part[:k]
            part[k] = np.einsum("ij,ij->j", rows, state.inverse @ rows)
            if spread is not None:
                part[k + 1] = np.einsum("ij,ij->j", rows, spread @ rows)
            gains = _gains(state, factors, part)
            at = gains.argmax(axis=1)
            top = gains[np.arange(at.size), at]
            better = top > gain[pool.members]
            runs = pool.members[better]
            gain[runs], best[runs] = top[better], pool.index[start + at[better]]
    return best, gain


@dataclass
class Work:
    """What an improvement cost: scoring rounds and single exchanges tried."""

    rounds: int = 0
    tries: int = 0


def improve(state: State, pools: list[Pool], rounds: int = 1000) -> Work:
    """Exchange rows until nothing helps (or for so many rounds); return the work it took."""
    work = Work()
    while work.rounds < rounds:
        work.rounds += 1
        best, gain = best_exchanges(state, pools)
        accepted = False
        misses = 0
        for run in np.argsort(-gain, kind="stable"):
            if gain[run] <= GAIN or misses > MISSES:
                break
            expected = gain[run] if state.task.use_variance else np.log1p(gain[run])
            work.tries += 1
            taken = state.try_exchange(int(run), int(best[run]), max(GAIN, 0.3 * expected))
            misses = 0 if taken else misses + 1
            accepted |= taken
        if not accepted:
            break
        if work.rounds % REFRESH == 0:
            state.refresh()
    state.refresh()
    return work
