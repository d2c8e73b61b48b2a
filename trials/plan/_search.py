"""The search behind `trials.plan.optimal`: starts, exchange, and a polish of the best.

Effort is counted in scoring work, never in wall time, so that the same seed gives the same plan on any machine.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from trials.plan._exchange import Pool, Problem, State, improve

SAME = 1e-8  # two plans whose log criterion differs by less are the same plan or a tie


@dataclass
class Effort:
    """A budget of scoring work in seconds of a common core (from memory: 4e9 multiply-adds, 50 us a call)."""

    budget: float
    spent: float = 0.0

    def charge(self, problem: Problem, pools: list[Pool], rounds: int) -> None:
        """Add the work of so many scoring rounds."""
        k = problem.rows.shape[1]
        blocks = 4 if problem.use_variance else 2
        pairs = sum(pool.index.size * pool.members.size for pool in pools)
        squares = sum(pool.index.size for pool in pools) * k * (blocks / 2)
        flops = (pairs * blocks + squares) * (k + 3)
        self.spent += rounds * (1.5e-4 + 6e-5 * len(pools) + 4e-5 * blocks + flops / 8e9 + pairs * blocks * 0.7e-9)

    @property
    def over(self) -> bool:
        """Whether the budget is used up."""
        return self.spent >= self.budget


def make_pools(problem: Problem, allowed: list[tuple[np.ndarray, np.ndarray]], keep: np.ndarray | None) -> list[Pool]:
    """Build one pool per distinct allowed set, `[(index, members), ...]`, cut to the candidates marked in `keep`."""
    pools = []
    for index, members in allowed:
        cut = index if keep is None else index[keep[index]]
        pools.append(Pool(cut if cut.size else index, members).fill(problem))
    return pools


def draw(pools: list[Pool], runs: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw one candidate at random for each of the given runs, from the run's own pool."""
    owner = {int(run): pool for pool in pools for run in pool.members}
    return np.array([rng.choice(owner[int(run)].index) for run in runs])


def fresh_plan(problem: Problem, pools: list[Pool], rng: np.random.Generator, effort: Effort) -> State | None:
    """Start from random rows and exchange; a ridge carries it over the singular stretch. None if that fails."""
    state = State(problem, draw(pools, np.arange(problem.runs), rng))
    for ridge in (1e-2, 1e-5):
        if not state.singular:
            break
        state.ridge = ridge
        state.refresh()
        effort.charge(problem, pools, improve(state, pools, rounds=12))
        state.ridge = 0.0
        state.refresh()
    if state.singular:
        return None
    effort.charge(problem, pools, improve(state, pools))
    return None if state.singular else state


def shake(state: State, pools: list[Pool], rng: np.random.Generator) -> None:
    """Replace a few rows at random, or let two pairs of runs change places where their pools are the same."""
    runs = state.problem.runs
    some = rng.permutation(runs)[: int(rng.integers(1, max(2, min(6, runs // 4 + 1)) + 1))]
    state.place(some, draw(pools, some, rng))


def polish(
    state: State, pools: list[Pool], rng: np.random.Generator, effort: Effort, patience: int
) -> tuple[State, int]:
    """Shake and exchange again until `patience` shakes in a row brought nothing; return the best and the shakes."""
    best, trial = state, State(state.problem, state.chosen)
    idle, shakes = 0, 0
    while idle < patience and not effort.over:
        trial.copy_of(best)
        shake(trial, pools, rng)
        shakes += 1
        if trial.singular:
            trial.ridge = 1e-3
            trial.refresh()
            effort.charge(state.problem, pools, improve(trial, pools, rounds=4))
            trial.ridge = 0.0
            trial.refresh()
        if trial.singular:
            idle += 1
            continue
        effort.charge(state.problem, pools, improve(trial, pools))
        if trial.score > best.score + SAME:
            best, trial, idle = trial, State(state.problem, trial.chosen), 0
        else:
            idle += 1
    return best, shakes


def better(one: State, other: State | None) -> bool:
    """Whether a plan beats another; ties on the criterion go to the smaller average variance, then to log det."""
    if other is None:
        return True
    if abs(one.score - other.score) > SAME:
        return one.score > other.score
    if abs(one.variance / other.variance - 1) > SAME:
        return one.variance < other.variance
    return one.log_det > other.log_det + SAME


def search(
    problem: Problem,
    pools: list[Pool],
    rng: np.random.Generator,
    effort: Effort,
    hits: int,
    report: Callable[[float, float], None],
) -> State | None:
    """Run chains of start and polish until the best is found `hits` times or the effort is used up."""
    best, found, failed = None, 0, 0
    patience = 20 + 2 * problem.runs
    while best is None or (found < hits and not effort.over):
        state = fresh_plan(problem, pools, rng, effort)
        if state is None:
            failed += 1
            if failed >= 20 and best is None:
                return None
            continue
        state, _ = polish(state, pools, rng, effort, patience)
        if best is not None and abs(state.score - best.score) <= 10 * SAME:
            found += 1
        elif best is None or state.score > best.score:
            found = 1
        if better(state, best):
            best = state
        report(effort.spent / effort.budget, best.score)
    return best
