"""Trial plans that spend a budget of coupons where the model needs them.

Rows of a model matrix are chosen so that the effects (D-criterion) or the predictions (I-criterion) come out as
sharply as the budget allows, under V = I + sum of ratio_j * (same level of stratum j): coupons of one mount, or of
one sheet, resemble each other. Arrays only; `trials.plan.model_matrix` builds them from nozzles, factors and limits.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from trials.errors import Infeasible, NotFinite, WrongShape
from trials.plan._exchange import Problem, State
from trials.plan._pool import Neighbours, coarse, coarse_columns
from trials.plan._search import grow

LARGE = 3000  # candidates above which the neighbours of a plan are tried before all of them
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
    strata: Sequence[tuple[np.ndarray, float]] = (),
    allowed: Sequence[np.ndarray] | None = None,
    keep_rows: np.ndarray | None = None,
    keep_strata: Sequence[np.ndarray] | None = None,
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
        keep_strata: for each stratum the (m,) labels of the kept rows, in the label space of `strata`.
        coordinates: (N, c) settings behind the rows; rows that share all but one are neighbours.
        seed: the same seed gives the same plan.
        progress: called as progress(share of the effort, criterion so far), larger is better.

    Raises:
        NotFinite: NaN or infinity in an array.
        WrongShape: arrays do not fit together, or an argument is outside its range.
        Infeasible: no plan exists under the limits, or the model is singular in every plan found.
    """
    ask = _check(candidates, runs, criterion, moments, strata, allowed, keep_rows, keep_strata, coordinates)
    problem, coding_log_det = _condition(ask)
    rng = np.random.default_rng(seed)

    def report(share: float, score: float) -> None:
        if progress is not None:
            progress(min(share, 1.0), score)

    state = _search_plan(problem, ask, rng, report)
    if state is None:
        raise Infeasible(
            "every plan tried is singular: the runs, with what each may use, cannot estimate all columns. "
            "Add runs, loosen the limits, or drop a term"
        )
    return Chosen(
        rows=state.chosen.copy(), log_det=state.log_det + coding_log_det, average_variance=float(state.variance)
    )


@dataclass(frozen=True)
class _Ask:
    """The checked request: allowed sets grouped as [(index, members), ...], weights = V^-1 over runs then kept."""

    rows: np.ndarray
    runs: int
    criterion: str
    moments: np.ndarray
    groups: list[tuple[np.ndarray, np.ndarray]]
    kept: np.ndarray
    weights: np.ndarray
    coordinates: np.ndarray | None
    correlated: bool


def _matrix(name: str, value: object, columns: int | None = None) -> np.ndarray:
    """Return a finite two-way float array, or raise."""
    try:
        array = np.asarray(value, dtype=float)
    except (TypeError, ValueError) as error:
        raise WrongShape(f"{name} must be an array of numbers. Code text factors as columns first") from error
    if array.ndim != 2 or (columns is not None and array.shape[1] != columns):
        wanted = "(rows, columns)" if columns is None else f"(rows, {columns})"
        raise WrongShape(f"{name} has shape {array.shape}, expected {wanted}. Give one row per setting")
    if not np.isfinite(array).all():
        raise NotFinite(f"{name} holds NaN or infinity. Remove or fill those rows before planning")
    return array


def _check(candidates, runs, criterion, moments, strata, allowed, keep_rows, keep_strata, coordinates) -> _Ask:  # noqa: ANN001
    rows = _matrix("candidates", candidates)
    size, k = rows.shape
    if size == 0 or k == 0:
        raise Infeasible("there are no candidates. Loosen the limits or add settings")
    if isinstance(runs, bool) or int(runs) != runs or runs < 1:
        raise WrongShape(f"runs is {runs!r}, expected a whole number of at least 1. Say how many coupons to cut")
    if criterion not in ("D", "I"):
        raise WrongShape(f'criterion is {criterion!r}, expected "D" (effects) or "I" (predictions). Choose one')
    if criterion == "I" and moments is None:
        raise WrongShape("the I-criterion needs moments, the (k, k) matrix F'F / N. Give it, or use D")
    square = rows.T @ rows / size if moments is None else _matrix("moments", moments, k)
    if square.shape != (k, k):
        raise WrongShape(f"moments has shape {square.shape}, expected ({k}, {k}). Build it as F'F / N")
    kept = np.empty((0, k)) if keep_rows is None else _matrix("keep_rows", keep_rows, k)
    if coordinates is not None and len(coordinates) != size:
        raise WrongShape(f"coordinates has {len(coordinates)} rows for {size} candidates. Give one row per candidate")
    runs = int(runs)
    if runs + len(kept) < k:
        raise Infeasible(
            f"{runs} runs and {len(kept)} kept rows cannot estimate {k} columns. "
            f"Ask for at least {k - len(kept)} runs, or drop terms"
        )
    return _Ask(
        rows,
        runs,
        criterion,
        (square + square.T) / 2,
        _group_allowed(allowed, runs, size),
        kept,
        _weights(strata, keep_strata, runs, len(kept)),
        None if coordinates is None else np.asarray(coordinates),
        bool(len(strata)),
    )


def _group_allowed(allowed: Sequence | None, runs: int, size: int) -> list[tuple[np.ndarray, np.ndarray]]:
    """Group the runs by the set of candidates they may use."""
    everything = np.arange(size)
    if allowed is None:
        return [(everything, np.arange(runs))]
    if len(allowed) != runs:
        raise WrongShape(f"allowed has {len(allowed)} sets for {runs} runs. Give one set per run, or None")
    groups: dict[bytes, tuple[np.ndarray, list[int]]] = {}
    for run, given in enumerate(allowed):
        index = everything if given is None else np.unique(np.asarray(given))
        if index.size == 0:
            raise Infeasible(f"run {run + 1} may use no candidate at all. Loosen its limits or remove the run")
        if index.dtype.kind not in "iu" or index.min() < 0 or index.max() >= size:
            raise WrongShape(
                f"allowed for run {run + 1} must be candidate indices from 0 to {size - 1}. Correct the set"
            )
        groups.setdefault(index.tobytes(), (index, []))[1].append(run)
    return [(index, np.array(members)) for index, members in groups.values()]


def _weights(strata: Sequence, keep_strata: Sequence | None, runs: int, kept: int) -> np.ndarray:
    """Return V^-1 (runs + kept square), V = I + sum of ratio * (same level)."""
    if kept and len(strata) and (keep_strata is None or len(keep_strata) != len(strata)):
        raise WrongShape(f"keep_strata must give the kept rows' labels for each of {len(strata)} strata. Add them")
    variance = np.eye(runs + kept)
    for number, (labels, ratio) in enumerate(strata):
        own = np.asarray(labels)
        if own.shape != (runs,):
            raise WrongShape(
                f"stratum {number + 1} has labels of shape {own.shape}, expected ({runs},). Label each run"
            )
        if not np.isfinite(ratio):
            raise NotFinite(f"the variance ratio of stratum {number + 1} is {ratio}. Give a finite number")
        if ratio < 0:
            raise WrongShape(f"the variance ratio of stratum {number + 1} is {ratio}, below zero. Give zero or more")
        names = own.tolist()
        if kept:
            other = np.asarray(keep_strata[number])
            if other.shape != (kept,):
                raise WrongShape(
                    f"keep_strata {number + 1} has shape {other.shape}, expected ({kept},). Label each row"
                )
            names = names + other.tolist()
        codes = {name: code for code, name in enumerate(dict.fromkeys(names))}
        level = np.array([codes[name] for name in names])
        variance += ratio * (level[:, None] == level)
    inverse = np.linalg.inv(variance)
    return (inverse + inverse.T) / 2


def _condition(ask: _Ask) -> tuple[Problem, float]:
    """Recode the columns so that the usable rows have unit second moments; return log det to add back.

    The chosen plan does not depend on the coding; the digits do.
    """
    usable = ask.rows
    if sum(index.size for index, _ in ask.groups) < len(ask.rows):
        usable = ask.rows[np.unique(np.concatenate([index for index, _ in ask.groups]))]
    second = usable.T @ usable / len(usable)
    if len(ask.kept):
        second = second + ask.kept.T @ ask.kept / len(usable)
    scale = np.sqrt(np.diag(second))
    if (scale == 0).any():
        column = int(np.flatnonzero(scale == 0)[0])
        raise Infeasible(f"column {column} is zero in every usable row. Drop that term or loosen the limits")
    values, vectors = np.linalg.eigh(second / np.outer(scale, scale))
    if values[0] < 1e-11 * values[-1]:
        weight = np.abs(vectors[:, 0])
        tied = np.flatnonzero(weight > 0.1 * weight.max()).tolist()
        raise Infeasible(
            f"columns {tied} of the model cannot be told apart on the usable rows. Drop one or loosen the limits"
        )
    recode = (vectors / np.sqrt(values)) / scale[:, None]
    problem = Problem(
        rows=ask.rows @ recode,
        kept=ask.kept @ recode,
        weights=ask.weights,
        moments=recode.T @ ask.moments @ recode,
        use_variance=ask.criterion == "I",
        runs=ask.runs,
    )
    return problem, float(np.log(values).sum() + 2 * np.log(scale).sum())


def _budgets(problem: Problem, ask: _Ask) -> list[float]:
    """Return the effort of each stage; plans for prediction or under strata have more local optima (measured)."""
    k = problem.rows.shape[1]
    total = 0.3 * max(1.0, k * problem.runs / 360)
    if problem.use_variance or ask.correlated:
        total *= 8
    if len(problem.rows) > LARGE:
        total *= 4
    return [min(total, 60.0) * share for share in (0.3, 0.2, 0.5)]


def _first_pool(problem: Problem, ask: _Ask, rng: np.random.Generator) -> np.ndarray:
    """Mark the candidates that the search starts with: a coarse sub-grid, or some at random without coordinates."""
    if ask.coordinates is not None:
        return coarse(problem.rows, ask.coordinates)
    keep = coarse_columns(ask.rows)
    if keep is not None:
        return keep
    keep = np.zeros(len(problem.rows), dtype=bool)
    for index, _ in ask.groups:
        keep[rng.permutation(index)[:FIRST]] = True
    return keep


def _search_plan(
    problem: Problem, ask: _Ask, rng: np.random.Generator, report: Callable[[float, float], None]
) -> State | None:
    """Search on a growing pool; if that finds nothing estimable, on every candidate."""
    small = len(problem.rows) <= LARGE
    nearby = None if small or ask.coordinates is None else Neighbours(ask.coordinates)

    def tell(share: float, state: State) -> None:
        report(share, state.score)

    budgets = _budgets(problem, ask)
    plans = grow(problem, ask.groups, _first_pool(problem, ask, rng), nearby, rng, budgets, small, tell)
    if not plans:
        everything = np.ones(len(problem.rows), dtype=bool)
        plans = grow(problem, ask.groups, everything, nearby, rng, budgets, small, tell)
    return plans[0] if plans else None
