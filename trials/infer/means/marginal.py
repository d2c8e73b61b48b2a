"""Marginal means of nozzle types at stated settings, and their differences (Searle, Speed and Milliken 1980)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trials.infer.means.simultaneous import Simultaneous, against_reference, all_pairs
from trials.infer.mixed import MixedFit
from trials.infer.model import FixedModel
from trials.infer.yardstick import Estimates, Yardstick

Array = NDArray[np.float64]
Settings = Mapping[str, float | str]


@dataclass(frozen=True)
class Interval:
    """Value on the model's scale with its interval; p is None where no test is honest."""

    value: float
    low: float
    high: float
    p: float | None
    df: float


def type_rows(model: FixedModel, nozzle: str | None, labels: Sequence[str], settings: Sequence[Settings]) -> Array:
    """Contrasts (types, k) of the means, averaged over the settings; sheets that stay fixed count equally."""
    table: dict[str, list[float | str]] = {
        axis.name: [label if axis.name == nozzle else point[axis.name] for label in labels for point in settings]
        for axis in model.axes
    }
    if not table:
        only: Array = np.repeat(model.matrix({"": [0.0]}), len(labels), axis=0)
        return only
    result: Array = model.matrix(table).reshape(len(labels), len(settings), -1).mean(axis=1)
    return result


def means(fit: MixedFit, rows: Array, confidence: float = 0.95) -> tuple[Interval, ...]:
    """Mean and interval for each contrast row (q, k)."""
    found = [fit.estimate(row, confidence) for row in rows]
    return tuple(Interval(e.value, e.low, e.high, None, e.df) for e in found)


def differences(judged: Yardstick, rows: Array, reference: int, confidence: float) -> tuple[Interval, ...]:
    """Each mean row minus the reference row, with simultaneous intervals (multivariate t, each at its own df)."""
    others = [i for i in range(len(rows)) if i != reference]
    found = judged.estimates(rows[others] - rows[reference])
    limits = against_reference(found.values, found.covariance, found.dfs, confidence)
    return _intervals(found, limits)


def pairwise(judged: Yardstick, rows: Array, confidence: float) -> dict[tuple[int, int], Interval]:
    """All pairs i - j of the mean rows, Tukey-Kramer at each pair's own df."""
    pairs = [(i, j) for i in range(len(rows)) for j in range(i)]
    found = judged.estimates(np.array([rows[i] - rows[j] for i, j in pairs]))
    limits = all_pairs(found.values, np.sqrt(np.diagonal(found.covariance)), found.dfs, len(rows), confidence)
    return dict(zip(pairs, _intervals(found, limits), strict=True))


def _intervals(found: Estimates, limits: Simultaneous) -> tuple[Interval, ...]:
    parts = zip(found.values, limits.low, limits.high, limits.p, found.dfs, strict=True)
    return tuple(Interval(*map(float, part)) for part in parts)
