"""Row exchange by rank-two updates: the engine behind `trials.plan.optimal`.

With W = V^-1, M = X'WX and D = M^-1, replacing row x of run i by z adds d = z - x and changes the information to
M + g d' + d g' + w d d', where g = X'W e_i and w = W_ii. Hence (matrix determinant lemma, U = [d, g])

    det ratio   = (1 + q)^2 + (w - s) p,                 p = d'Dd,  q = d'Dg,  s = g'Dg
    trace drop  = ((w - s) p2 + 2 (1 + q) q2 - s2 p) / det ratio,    p2, q2, s2 the same with D L D, L the moments

Both are linear and quadratic in the features [z, z'Dz, z'DLDz, 1], so every run is scored against every candidate
by one matrix product. The formulas are own algebra; the exchange itself follows Fedorov (1972) and, with correlated
runs, Goos and Vandebroek (2003).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

GAIN = 1e-9  # smallest relative improvement that counts, on log det and on average variance alike
SINGULAR = 3e-5  # smallest ratio of Cholesky pivots (a square root of information) that counts as estimable
REFRESH = 5  # rounds of updates between two recomputations
CHUNK = 4096  # candidates scored at a time, so that the work stays in cache


@dataclass(frozen=True)
class Problem:
    """What does not change during a search.

    `rows` (N, k) candidate rows in a well-conditioned coding; `kept` (m, k); `weights` (n + m, n + m) = V^-1;
    `moments` (k, k) in the same coding; `use_variance` True for the I-criterion.
    """

    rows: np.ndarray
    kept: np.ndarray
    weights: np.ndarray
    moments: np.ndarray
    use_variance: bool
    runs: int


@dataclass
class Pool:
    """Candidates on offer to some runs: `index` (c,) into the problem's rows, `members` (r,) the runs."""

    index: np.ndarray
    members: np.ndarray
    features: np.ndarray = field(init=False)

    def fill(self, problem: Problem) -> Pool:
        """Lay out the transposed features [row, z'Dz, z'DLDz, 1], the two middle ones filled at scoring."""
        k = problem.rows.shape[1]
        self.features = np.empty((k + 3, self.index.size))
        self.features[:k] = problem.rows[self.index].T
        self.features[k:] = 1.0
        return self


class State:
    """One plan under improvement: candidate indices, their rows, and the inverse information."""

    def __init__(self, problem: Problem, chosen: np.ndarray) -> None:
        self.problem = problem
        self.chosen = chosen.copy()
        self.matrix = np.vstack([problem.rows[chosen], problem.kept])
        self.ridge = 0.0
        self.refresh()

    def refresh(self) -> None:
        """Recompute the inverse information from the plan itself; clears the rounding of past updates."""
        self.weighted = self.problem.weights @ self.matrix
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
        self.variance = float(np.sum(self.inverse * self.problem.moments))

    @property
    def score(self) -> float:
        """Larger is better: log det of the information, or minus the log of the average variance."""
        return -np.log(self.variance) if self.problem.use_variance else self.log_det

    def copy_of(self, other: State) -> None:
        """Take over the rows of another plan of the same problem; `place` or `refresh` must follow."""
        self.chosen = other.chosen.copy()
        self.matrix = other.matrix.copy()

    def place(self, runs: np.ndarray, candidates: np.ndarray) -> None:
        """Put candidates into runs without asking whether it helps, and recompute."""
        self.chosen[runs] = candidates
        self.matrix[runs] = self.problem.rows[candidates]
        self.refresh()

    def try_exchange(self, run: int, candidate: int, least: float) -> bool:
        """Exchange one row if the relative gain is at least `least`; rank-two update of the inverse."""
        problem = self.problem
        step = problem.rows[candidate] - self.matrix[run]
        pull = self.weighted[run]
        w = problem.weights[run, run]
        moved = self.inverse @ np.column_stack([step, pull])
        p, q, s = step @ moved[:, 0], step @ moved[:, 1], pull @ moved[:, 1]
        ratio = (1 + q) ** 2 + (w - s) * p
        if not ratio > 1e-9:
            return False
        spread = moved.T @ problem.moments @ moved
        drop = ((w - s) * spread[0, 0] + 2 * (1 + q) * spread[0, 1] - p * spread[1, 1]) / ratio
        gain = drop / self.variance if problem.use_variance else np.log(ratio)
        if gain < least:
            return False
        middle = np.array([[w - s, 1 + q], [1 + q, -p]]) / ratio
        self.inverse -= moved @ middle @ moved.T
        self.weighted += np.outer(problem.weights[:, run], step)
        self.matrix[run] = problem.rows[candidate]
        self.chosen[run] = candidate
        self.log_det += float(np.log(ratio))
        self.variance -= float(drop)
        return True


def _operands(state: State, members: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return per-run vectors x, g (r, k), D x, D g and the scalars w - s, x'Dx, x'Dg for the runs of one pool."""
    rows, pull = state.matrix[members], state.weighted[members]
    rows_d, pull_d = rows @ state.inverse, pull @ state.inverse
    slack = np.diag(state.problem.weights)[members] - np.einsum("ij,ij->i", pull, pull_d)
    return rows, pull, rows_d, pull_d, np.maximum(slack, 0.0)


def _left_factors(state: State, members: np.ndarray) -> list[np.ndarray]:
    """Return the (r, k + 3) left factors whose products with the features give the terms of the gain."""
    rows, pull, rows_d, pull_d, slack = _operands(state, members)
    zero = np.zeros((members.size, 1))

    def factor(linear: np.ndarray, own: np.ndarray, second: np.ndarray, constant: np.ndarray) -> np.ndarray:
        return np.hstack([linear, own.reshape(-1, 1), second.reshape(-1, 1), constant.reshape(-1, 1)])

    own = np.einsum("ij,ij->i", rows, rows_d)
    cross = np.einsum("ij,ij->i", rows, pull_d)
    size = factor(-2 * slack[:, None] * rows_d, slack, zero, slack * own)
    turn = factor(pull_d, zero, zero, 1 - cross)
    if not state.problem.use_variance:
        return [size, turn]
    moments = state.problem.moments
    rows_2, pull_2 = rows_d @ moments @ state.inverse, pull_d @ moments @ state.inverse
    own_2 = np.einsum("ij,ij->i", rows, rows_2)
    cross_2 = np.einsum("ij,ij->i", rows, pull_2)
    pull_own = np.einsum("ij,ij->i", pull, pull_2)
    linear = -2 * (slack[:, None] * rows_2 - pull_own[:, None] * rows_d)
    drop = factor(linear, -pull_own, slack, slack * own_2 - pull_own * own)
    return [size, turn, drop, factor(2 * pull_2, zero, zero, -2 * cross_2)]


def _gains(state: State, factors: list[np.ndarray], features: np.ndarray) -> np.ndarray:
    """Return the (r, c) gains of a chunk of candidates: det ratio minus 1, or the relative drop of the variance."""
    turn = factors[1] @ features
    ratio = factors[0] @ features
    if not state.problem.use_variance:
        ratio += turn * turn
        ratio -= 1.0
        return ratio
    drop = factors[3] @ features
    drop *= turn
    drop += factors[2] @ features
    turn *= turn
    ratio += turn
    drop /= np.maximum(ratio, 1e-9) * state.variance
    drop[ratio < 1e-9] = -np.inf
    return drop


def best_exchanges(state: State, pools: list[Pool]) -> tuple[np.ndarray, np.ndarray]:
    """Return for each run the candidate with the largest gain (n,) and that gain (n,)."""
    k = state.problem.rows.shape[1]
    gain = np.full(state.chosen.size, -np.inf)
    best = state.chosen.copy()
    spread = state.inverse @ state.problem.moments @ state.inverse if state.problem.use_variance else None
    for pool in pools:
        factors = _left_factors(state, pool.members)
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
        for run in np.argsort(-gain, kind="stable"):
            if gain[run] <= GAIN:
                break
            expected = gain[run] if state.problem.use_variance else np.log1p(gain[run])
            work.tries += 1
            accepted |= state.try_exchange(int(run), int(best[run]), max(GAIN, 0.3 * expected))
        if not accepted:
            break
        if work.rounds % REFRESH == 0:
            state.refresh()
    state.refresh()
    return work
