"""Trial plans that spend a budget of coupons where the model needs them.

Rows of a model matrix are chosen so that the effects (D-criterion) or the predictions (I-criterion) come out as
sharply as the budget allows, under V = I + sum of ratio_j * (same level of stratum j): coupons of one mount, or of
one sheet, resemble each other. Arrays only; `trials.infer.model` builds them from nozzles and factors.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from trials.errors import Infeasible
from trials.plan.optimal.exchange import Selection, State
from trials.plan.optimal.pool import Neighbours, coarse, coarse_columns
from trials.plan.optimal.request import Arguments, Labels, Request, Strata, check, condition, matrix, weights
from trials.plan.optimal.search import grow

LARGE = 3000  # candidates above which the neighbours of a plan are tried before all of them
LONGEST = 6.0  # seconds of one common core that a search may take by its own count, twice that on a large grid
FIRST = 500  # candidates per allowed set to start with where there are no coordinates


@dataclass(frozen=True)
class Chosen:
    """A chosen plan.

    Attributes:
        rows: (runs,) indices into the candidates, in run order.
        log_det: log determinant of X'V^-1X, kept rows included, in the coding of the candidates.
        average_variance: mean of f'(X'V^-1X)^-1 f over the moments, coupon variance 1.
    """

    rows: np.ndarray
    log_det: float
    average_variance: float


def choose_rows(
    candidates: np.ndarray,
    runs: int,
    criterion: str = "D",
    moments: np.ndarray | None = None,
    strata: Strata = (),
    allowed: Sequence[np.ndarray | None] | None = None,
    keep_rows: np.ndarray | None = None,
    keep_strata: Sequence[Labels | tuple[Labels, float]] | None = None,
    coordinates: np.ndarray | None = None,
    seed: int = 0,
    progress: Callable[[float, float], None] | None = None,
) -> Chosen:
    """Choose the rows of the model matrix that a plan should run.

    Args:
        candidates: (N, k) model matrix of the allowed settings.
        runs: how many rows to choose; a row may be chosen more than once.
        criterion: "D" for effects, "I" for predictions (needs `moments`).
        moments: (k, k) F'F / N over the region to predict; without it that of the candidates.
        strata: [(labels (runs,), ratio), ...] random effects among the runs, ratio to the coupon variance.
        allowed: None, or for each run the candidate indices it may use (None for a run without restriction).
        keep_rows: (m, k) rows already cut; they count in the information, not in `runs`.
        keep_strata: for each stratum the (m,) labels of the kept rows, in the label space of `strata`; (labels, ratio)
            is taken too.
        coordinates: (N, c) settings behind the rows; rows that share all but one are neighbours.
        seed: the same seed gives the same plan.
        progress: called as progress(share of the effort done, 0 to 1, score so far); a larger score is better, its
            zero depends on the coding.

    Raises
    ------
    NotFinite
        If an array holds NaN or infinity.
    WrongShape
        If arrays do not fit together.
    WrongArgument
        If an argument is outside its range.
    Infeasible
        If no plan exists under the limits, or the model is singular in every plan found.
    """
    ask = check(Arguments(candidates, runs, criterion, moments, strata, allowed, keep_rows, keep_strata, coordinates))
    task, coding_log_det = condition(ask)
    rng = np.random.default_rng(seed)

    def report(share: float, score: float) -> None:
        if progress is not None:
            progress(min(share, 1.0), score)

    state = _search_plan(task, ask, rng, report)
    if state is None:
        raise Infeasible(
            "every plan tried is singular: the runs, with what each may use, cannot estimate all columns. "
            "Add runs, loosen the limits, or drop a term"
        )
    report(1.0, state.score)
    return Chosen(
        rows=state.chosen.copy(), log_det=state.log_det + coding_log_det, average_variance=float(state.variance)
    )


def _budgets(task: Selection, ask: Request) -> list[float]:
    """Return the effort of each stage; plans for prediction or under strata have more local optima (measured)."""
    k = task.rows.shape[1]
    total = 0.3 * max(1.0, k * task.runs / 360)
    if task.use_variance or ask.correlated:
        total *= 6 if task.use_variance else 9
    total = min(total, LONGEST)
    if len(task.rows) > LARGE:
        total = min(4 * total, 2 * LONGEST)
    return [total * share for share in (0.2, 0.2, 0.6)]


def _some(ask: Request, rng: np.random.Generator) -> np.ndarray:
    """Mark up to `FIRST` candidates of each allowed set, at random."""
    keep = np.zeros(len(ask.rows), dtype=bool)
    for index, _ in ask.groups:
        keep[rng.permutation(index)[:FIRST]] = True
    return keep


def _first_pool(ask: Request, rng: np.random.Generator) -> np.ndarray:
    """Mark the candidates that the search starts with: a coarse sub-grid, or some at random without one."""
    if ask.coordinates is not None:
        return coarse(ask.rows, ask.coordinates)
    keep = coarse_columns(ask.rows)
    return _some(ask, rng) if keep is None else keep


def _search_plan(
    task: Selection, ask: Request, rng: np.random.Generator, report: Callable[[float, float], None]
) -> State | None:
    """Search on a growing pool; if that holds nothing estimable, on every candidate or a larger pool at random."""
    small = len(task.rows) <= LARGE
    nearby = None if small or ask.coordinates is None else Neighbours(ask.coordinates)
    budgets = _budgets(task, ask)

    def tell(share: float, state: State) -> None:
        report(share, state.score)

    keep = _first_pool(ask, rng)
    plans = grow(task, ask.groups, keep, nearby, rng, budgets, small, tell)
    if not plans and not keep.all():
        more = np.ones_like(keep) if small else keep | _some(ask, rng)
        plans = grow(task, ask.groups, more, nearby, rng, budgets, small, tell)
    return plans[0] if plans else None


@dataclass(frozen=True)
class Efficiency:
    """How sharp a plan is; the definitions are printed with the fields.

    Attributes:
        log_det: log determinant of X'V^-1X.
        d: exp(log_det / k) / n, information per coupon against orthogonal columns of length 1.
        a: k / (n trace (X'V^-1X)^-1).
        g: k / (n times the largest prediction variance over the plan's own settings).
        average_variance: mean prediction variance over the moments (of the plan's own rows where none are given).
        largest_variance: largest prediction variance over the plan's own settings.
    """

    log_det: float
    d: float
    a: float
    g: float
    average_variance: float
    largest_variance: float


def efficiencies(rows: np.ndarray, moments: np.ndarray | None = None, strata: Strata = ()) -> Efficiency:
    """Work out the efficiencies of a plan (n, k); `moments` (k, k) is F'F / N over the region to predict.

    Raises
    ------
    NotFinite, WrongShape, WrongArgument
        As `choose_rows`.
    Infeasible
        If the plan cannot estimate all columns.
    """
    plan = matrix("rows", rows)
    n, k = plan.shape
    inverse = _inverse_information(plan, strata)
    square = plan.T @ plan / n if moments is None else matrix("moments", moments, k)
    largest = float((plan @ inverse * plan).sum(axis=1).max())
    log_det = -float(np.linalg.slogdet(inverse)[1])
    return Efficiency(
        log_det=log_det,
        d=float(np.exp(log_det / k) / n),
        a=float(k / (n * np.trace(inverse))),
        g=float(k / (n * largest)),
        average_variance=float(np.sum(inverse * square)),
        largest_variance=largest,
    )


def _inverse_information(plan: np.ndarray, strata: Strata) -> np.ndarray:
    """Return (X'V^-1X)^-1 (k, k) of a plan, or raise where a column cannot be estimated."""
    information = plan.T @ weights(strata, None, len(plan), 0) @ plan
    scale = np.sqrt(np.diag(information))
    if len(plan) < plan.shape[1] or not (scale > 0).all():
        raise Infeasible("the plan cannot estimate all columns of the model. Add runs or drop terms")
    values, vectors = np.linalg.eigh(information / np.outer(scale, scale))
    if values[0] < 1e-11 * values[-1]:
        raise Infeasible("the plan cannot tell all columns of the model apart. Add runs or drop terms")
    half = vectors / np.sqrt(values) / scale[:, None]
    return np.asarray(half @ half.T)
