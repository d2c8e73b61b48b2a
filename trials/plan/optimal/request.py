"""Checks a request for a plan and brings it into the shape that the search works on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trials.errors import Infeasible, NotFinite, WrongArgument, WrongShape
from trials.plan.optimal.exchange import Selection
from trials.plan.optimal.pool import Swaps

Labels = Sequence[object] | np.ndarray
Strata = Sequence[tuple[Labels, float]]


@dataclass(frozen=True)
class Arguments:
    """The arguments of `choose_rows` as they were given."""

    candidates: np.ndarray
    runs: int
    criterion: str = "D"
    moments: np.ndarray | None = None
    strata: Strata = ()
    allowed: Sequence[np.ndarray | None] | None = None
    keep_rows: np.ndarray | None = None
    keep_strata: Sequence[Labels | tuple[Labels, float]] | None = None
    coordinates: np.ndarray | None = None


@dataclass(frozen=True)
class Request:
    """The checked request: allowed sets grouped as [(index, members), ...], weights = V^-1 over runs then kept."""

    rows: np.ndarray
    runs: int
    criterion: str
    moments: np.ndarray | None
    groups: list[tuple[np.ndarray, np.ndarray]]
    kept: np.ndarray
    weights: np.ndarray
    coordinates: np.ndarray | None
    correlated: bool


def matrix(name: str, value: object, columns: int | None = None) -> np.ndarray:
    """Return a finite two-way float array, or raise."""
    try:
        array = np.asarray(value, dtype=float)
    except (TypeError, ValueError) as error:
        raise WrongArgument(f"{name} must be an array of numbers. Code text factors as columns first") from error
    if array.ndim != 2 or (columns is not None and array.shape[1] != columns):
        wanted = "(rows, columns)" if columns is None else f"(rows, {columns})"
        raise WrongShape(f"{name} has shape {array.shape}, expected {wanted}. Give one row per setting")
    if not np.isfinite(array).all():
        raise NotFinite(f"{name} holds NaN or infinity. Remove or fill those rows before planning")
    return array


def check(asked: Arguments) -> Request:
    """Check the arguments of `choose_rows` and bring them into one shape.

    Raises
    ------
    NotFinite, WrongShape, WrongArgument, Infeasible
        As `choose_rows` says.
    """
    rows = matrix("candidates", asked.candidates)
    size, k = rows.shape
    if size == 0 or k == 0:
        raise Infeasible("there are no candidates. Loosen the limits or add settings")
    runs = _checked_runs(asked.runs)
    kept = np.empty((0, k)) if asked.keep_rows is None else matrix("keep_rows", asked.keep_rows, k)
    moments = _checked_moments(asked, k)
    if runs + len(kept) < k:
        raise Infeasible(
            f"{runs} runs and {len(kept)} kept rows cannot estimate {k} columns. "
            f"Ask for at least {k - len(kept)} runs, or drop terms"
        )
    return Request(
        rows,
        runs,
        asked.criterion,
        moments,
        _group_allowed(asked.allowed, runs, size),
        kept,
        weights(asked.strata, asked.keep_strata, runs, len(kept)),
        _settings(asked.coordinates, size),
        bool(len(asked.strata)),
    )


def _checked_runs(runs: int) -> int:
    if isinstance(runs, bool) or int(runs) != runs or runs < 1:
        raise WrongArgument(f"runs is {runs!r}, expected a whole number of at least 1. Say how many coupons to cut")
    return int(runs)


def _checked_moments(asked: Arguments, k: int) -> np.ndarray | None:
    """The moments (k, k) made symmetric; None for a D-criterion without them."""
    if asked.criterion not in ("D", "I"):
        raise WrongArgument(f'criterion is {asked.criterion!r}, expected "D" (effects) or "I" (predictions). Choose')
    if asked.moments is None:
        if asked.criterion == "I":
            raise WrongArgument("the I-criterion needs moments, the (k, k) matrix F'F / N. Give it, or use D")
        return None
    square = matrix("moments", asked.moments, k)
    if square.shape != (k, k):
        raise WrongShape(f"moments has shape {square.shape}, expected ({k}, {k}). Build it as F'F / N")
    return np.asarray((square + square.T) / 2)


def _settings(coordinates: np.ndarray | None, size: int) -> np.ndarray | None:
    """Return the coordinates as (N, c) level numbers 0, 1, ... in sorted order, text or numbers alike."""
    if coordinates is None:
        return None
    array = np.asarray(coordinates)
    if array.ndim == 1:
        array = array.reshape(-1, 1)
    if array.ndim != 2 or len(array) != size:
        raise WrongShape(
            f"coordinates has shape {array.shape}, expected ({size}, settings). Give one row per candidate"
        )
    if array.dtype.kind == "f" and not np.isfinite(array).all():
        raise NotFinite("coordinates holds NaN or infinity. Remove or fill those rows before planning")
    return np.column_stack([np.unique(column, return_inverse=True)[1] for column in array.T]).astype(np.int64)


def _group_allowed(
    allowed: Sequence[np.ndarray | None] | None, runs: int, size: int
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Group the runs by the set of candidates they may use."""
    everything = np.arange(size)
    if allowed is None:
        return [(everything, np.arange(runs))]
    if len(allowed) != runs:
        raise WrongShape(f"allowed has {len(allowed)} sets for {runs} runs. Give one set per run, or None")
    groups: dict[bytes, tuple[np.ndarray, list[int]]] = {}
    for run, given in enumerate(allowed):
        index = everything if given is None else np.unique(given if isinstance(given, np.ndarray) else list(given))
        if index.size == 0:
            raise Infeasible(f"run {run + 1} may use no candidate at all. Loosen its limits or remove the run")
        if index.dtype.kind not in "iu" or index.min() < 0 or index.max() >= size:
            raise WrongArgument(f"allowed for run {run + 1} must hold candidate indices from 0 to {size - 1}. Correct")
        groups.setdefault(index.tobytes(), (index, []))[1].append(run)
    return [(index, np.array(members)) for index, members in groups.values()]


def weights(
    strata: Strata, keep_strata: Sequence[Labels | tuple[Labels, float]] | None, runs: int, kept: int
) -> np.ndarray:
    """Return V^-1 (runs + kept square), V = I + sum of ratio * (same level)."""
    if kept and len(strata) and (keep_strata is None or len(keep_strata) != len(strata)):
        raise WrongShape(f"keep_strata must give the kept rows' labels for each of {len(strata)} strata. Add them")
    variance = np.eye(runs + kept)
    for number, (labels, ratio) in enumerate(strata):
        own = np.asarray(labels)
        if own.shape != (runs,):
            raise WrongShape(
                f"stratum {number + 1} has labels of shape {own.shape}, expected ({runs},). Label all runs"
            )
        if not np.isfinite(ratio):
            raise NotFinite(f"the variance ratio of stratum {number + 1} is {ratio}. Give a finite number")
        if ratio < 0:
            raise WrongArgument(f"the variance ratio of stratum {number + 1} is {ratio}, below zero. Give zero or more")
        more = _kept_labels(keep_strata[number], number, kept) if kept and keep_strata is not None else []
        names = own.tolist() + more
        codes = {name: code for code, name in enumerate(dict.fromkeys(names))}
        level = np.array([codes[name] for name in names])
        variance += ratio * (level[:, None] == level)
    inverse = np.linalg.inv(variance)
    return np.asarray((inverse + inverse.T) / 2)


def _kept_labels(given: Labels | tuple[Labels, float], number: int, kept: int) -> list[object]:
    """Labels of the kept rows in one stratum; (labels, ratio) is taken too."""
    first = given[0] if isinstance(given, tuple) and len(given) == 2 else None
    labels = np.asarray(first if isinstance(first, (Sequence, np.ndarray)) and not isinstance(first, str) else given)
    if labels.shape != (kept,):
        raise WrongShape(f"keep_strata {number + 1} has shape {labels.shape}, expected ({kept},). Label all")
    return list(labels.tolist())


def condition(ask: Request) -> tuple[Selection, float]:
    """Recode the columns so that the usable rows have unit second moments; return log det to add back.

    The chosen plan does not depend on the coding; the digits do.
    """
    usable = ask.rows
    if sum(index.size for index, _ in ask.groups) < len(ask.rows):
        usable = ask.rows[np.unique(np.concatenate([index for index, _ in ask.groups]))]
    count = len(usable)
    usable = np.vstack([usable, ask.kept])
    scale = np.sqrt((usable * usable).sum(axis=0) / count)
    if (scale == 0).any():
        column = int(np.flatnonzero(scale == 0)[0])
        raise Infeasible(f"column {column} is zero in every usable row. Drop that term or loosen the limits")
    _, values, vectors = np.linalg.svd(np.linalg.qr(usable / scale, mode="r") / np.sqrt(count))
    if len(values) < len(scale) or values[-1] < 1e-10 * values[0]:
        weight = np.abs(vectors[-1])
        tied = np.flatnonzero(weight > 0.1 * weight.max()).tolist()
        raise Infeasible(
            f"columns {tied} of the model cannot be told apart on the usable rows. Drop one or loosen the limits"
        )
    recode = (vectors.T / values) / scale[:, None]
    rows = ask.rows @ recode
    task = Selection(
        rows=rows,
        kept=ask.kept @ recode,
        weights=ask.weights,
        moments=rows.T @ rows / len(rows) if ask.moments is None else recode.T @ ask.moments @ recode,
        use_variance=ask.criterion == "I",
        runs=ask.runs,
        swap=None if ask.coordinates is None else Swaps(ask.coordinates, ask.groups),
    )
    return task, float(2 * np.log(values).sum() + 2 * np.log(scale).sum())
