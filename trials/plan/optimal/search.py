"""The search behind `trials.plan.optimal.rows`: starts, exchange, a polish of the best, and a pool that grows.

WorkBudget is counted in scoring work, never in wall time, so that the same seed gives the same plan on any machine.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from trials.plan.optimal.exchange import Pool, Selection, State, Work, improve

SAME = 1e-8  # two plans whose log criterion differs by less are the same plan or a tie
STARTS = 20  # singular starts in a row after which the request is called singular
HITS = 4  # times the best plan must be found before a search stops early
WIDENING = 0.25  # share of a stage's effort that may go into exchanging its plans against every candidate
WIDEN = 4  # plans of a stage that are exchanged against every candidate

Groups = list[tuple[np.ndarray, np.ndarray]]  # [(candidate indices, runs that may use them), ...]


@dataclass
class WorkBudget:
    """A budget of scoring work, in seconds of one core of a common machine (constants measured once, then fixed)."""

    budget: float
    spent: float = 0.0

    def charge(self, task: Selection, pools: list[Pool], work: Work) -> None:
        """Add the work of one improvement."""
        k, n = task.rows.shape[1], task.runs
        blocks = 4 if task.use_variance else 2
        pairs = sum(pool.index.size * pool.members.size for pool in pools)
        squares = sum(pool.index.size for pool in pools) * k * (blocks / 2)
        flops = (pairs * blocks + squares) * (k + 3)
        each = 1e-4 + 4e-5 * len(pools) + 2e-5 * blocks + flops / 8e9 + pairs * blocks * 1e-9
        self.spent += work.rounds * each + work.tries * (4e-5 + 3e-9 * k * (k + n))

    @property
    def over(self) -> bool:
        """Whether the budget is used up."""
        return self.spent >= self.budget


def make_pools(task: Selection, groups: Groups, keep: np.ndarray | None = None) -> list[Pool]:
    """Build one pool per distinct allowed set, cut to the candidates marked in `keep` (N,) where any are left."""
    pools = []
    for index, members in groups:
        cut = index if keep is None else index[keep[index]]
        pools.append(Pool(cut if cut.size else index, members).fill(task))
    return pools


def draw(pools: list[Pool], runs: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw one candidate at random for each of the given runs, from the run's own pool."""
    owner = {int(run): pool for pool in pools for run in pool.members}
    return np.array([rng.choice(owner[int(run)].index) for run in runs])


def lift(state: State, pools: list[Pool], effort: WorkBudget, ridges: tuple[float, ...]) -> bool:
    """Carry a singular plan over to an estimable one by exchanging under a ridge; say whether that worked."""
    for ridge in ridges:
        if not state.singular:
            break
        state.ridge = ridge
        state.refresh()
        effort.charge(state.task, pools, improve(state, pools, rounds=12))
        state.ridge = 0.0
        state.refresh()
    return not state.singular


def fresh_plan(task: Selection, pools: list[Pool], rng: np.random.Generator, effort: WorkBudget) -> State | None:
    """Start from random rows and exchange until nothing helps. None if the plan stays singular."""
    state = State(task, draw(pools, np.arange(task.runs), rng))
    if not lift(state, pools, effort, (1e-2, 1e-4, 1e-6)):
        return None
    effort.charge(task, pools, improve(state, pools))
    return None if state.singular else state


def shake(state: State, pools: list[Pool], rng: np.random.Generator) -> None:
    """Replace a few rows at random, or half the time let a few pairs of runs exchange one setting each."""
    task = state.task
    if task.swap is not None and rng.random() < 0.5:
        state.place(np.arange(task.runs), task.swap(state.chosen, rng))
        return
    some = rng.permutation(task.runs)[: rng.integers(1, min(6, task.runs // 4 + 1) + 1)]
    state.place(some, draw(pools, some, rng))


def polish(state: State, pools: list[Pool], rng: np.random.Generator, effort: WorkBudget, patience: int) -> State:
    """Shake the plan and exchange again, until `patience` tries in a row brought nothing."""
    best, trial, idle = state, State(state.task, state.chosen), 0
    while idle < patience and not effort.over:
        trial.copy_of(best)
        shake(trial, pools, rng)
        idle += 1
        if not lift(trial, pools, effort, (1e-3,)):
            continue
        effort.charge(state.task, pools, improve(trial, pools))
        if trial.score > best.score + SAME:
            best, trial, idle = trial, State(state.task, trial.chosen), 0
    return best


def better(one: State, other: State) -> bool:
    """Whether a plan beats another; ties on the criterion go to the smaller average variance, then to log det."""
    if abs(one.score - other.score) > SAME:
        return one.score > other.score
    if abs(one.variance / other.variance - 1) > SAME:
        return one.variance < other.variance
    return one.log_det > other.log_det + SAME


def _file(plans: list[State], state: State) -> None:
    """Insert a plan into the list, best first; of two that tie on everything only the first stays."""
    for place, other in enumerate(plans):
        if better(state, other):
            plans.insert(place, state)
            break
        if not better(other, state):
            return
    else:
        plans.append(state)
    del plans[WIDEN:]


def search(
    task: Selection,
    pools: list[Pool],
    plans: list[State],
    rng: np.random.Generator,
    effort: WorkBudget,
    patience: int,
    tell: Callable[[State], None],
) -> list[State]:
    """Run chains of start and polish until the best is found again and again or the effort is used up.

    The first chains go on from `plans`. Returns up to `WIDEN` distinct plans, best first; none if every start
    stayed singular.
    """
    found: list[State] = []
    waiting, hits, failed = list(plans), 0, 0
    while not found or (hits < HITS and not effort.over):
        state = waiting.pop(0) if waiting else fresh_plan(task, pools, rng, effort)
        if state is None:
            failed += 1
            if failed >= STARTS and not found:
                return []
            continue
        state = polish(state, pools, rng, effort, patience)
        top = found[0].score if found else -np.inf
        hits = hits + 1 if abs(state.score - top) <= 10 * SAME else (1 if state.score > top else hits)
        _file(found, state)
        tell(found[0])
    return found


def widen(
    plans: list[State], whole: list[Pool], nearby: Callable[[np.ndarray], list[Pool]] | None, effort: WorkBudget
) -> list[State]:
    """Exchange the plans against their neighbours, then against every candidate; at least the best, within effort."""
    widened: list[State] = []
    for state in plans:
        if widened and effort.over:
            break
        if nearby is not None:
            near = nearby(state.chosen)
            effort.charge(state.task, near, improve(state, near))
        effort.charge(state.task, whole, improve(state, whole))
        _file(widened, state)
    return widened


def grow(
    task: Selection,
    groups: Groups,
    keep: np.ndarray,
    nearby: Callable[[np.ndarray], np.ndarray] | None,
    rng: np.random.Generator,
    budgets: list[float],
    end_on_whole: bool,
    tell: Callable[[float, State], None],
) -> list[State]:
    """Search on a small pool, exchange its best plans against every candidate, add what they took, and repeat.

    `keep` (N,) marks the first pool, `nearby(chosen)` the neighbours of a plan, tried before the whole; with
    `end_on_whole` the last stage searches every candidate. Returns distinct plans, best first; none if all stayed
    singular.
    """
    whole = make_pools(task, groups)
    near = None if nearby is None else lambda chosen: make_pools(task, groups, nearby(chosen))
    plans: list[State] = []
    spent, total = 0.0, sum(budgets)
    keep = keep.copy()
    for stage, budget in enumerate(budgets):
        effort = WorkBudget(budget)

        def tell_stage(state: State, effort: WorkBudget = effort, before: float = spent) -> None:
            tell((before + min(effort.spent, effort.budget)) / total, state)

        last = stage == len(budgets) - 1
        at_whole = last and end_on_whole
        pools = whole if at_whole else make_pools(task, groups, keep)
        patience = 10 * task.runs if at_whole else 20 + 2 * task.runs * (stage > 0)
        plans = search(task, pools, plans, rng, effort, patience, tell_stage)
        if not plans:
            return []
        if keep.all() and not effort.over:
            return plans
        effort.budget *= 1 + WIDENING
        plans = widen(plans, whole, near, effort)
        for state in plans:
            keep[state.chosen] = True
        spent += budget
    return plans
