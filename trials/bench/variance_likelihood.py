"""Variance components of a measurement study with unequal counts, by restricted likelihood."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from trials.bench.kinds import Source
from trials.bench.variance_table import Spread, exact_interval
from trials.errors import NotIdentifiable

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]


def by_likelihood(
    y: FloatArray, coupons: IntArray, inspectors: IntArray, cells: IntArray, confidence: float
) -> tuple[Spread, ...]:
    """Components from readings (n,) by coupon, inspector and cell (one inspector on one coupon), codes from zero.

    The interval of repeatability is exact, from the squares within cells, or, where no cell holds two readings, from
    those left by coupons and inspectors; the other intervals are not given.

    Raises
    ------
    NotIdentifiable
        If coupons and inspectors leave no degree of freedom, or cannot be told apart.
    """
    variances = _variances(y, _groups(coupons, inspectors, cells))
    found = {Source.REPEAT if name == "reading" else Source(name): float(value) for name, value in variances.items()}
    between = [name for name in (Source.INSPECTOR, Source.COUPON_BY_INSPECTOR) if name in found]
    sums = {Source.BENCH: sum(found[name] for name in (*between, Source.REPEAT))}
    if between:
        sums[Source.REPRODUCIBILITY] = sum(found[name] for name in between)
    squares, df = _left_over(y, coupons, inspectors, cells)
    if df == 0:
        raise NotIdentifiable("Every reading is spoken for by coupons and inspectors; measure more coupons again.")
    low, high = (math.sqrt(bound) for bound in exact_interval(squares / df, df, confidence))
    out = [Spread(name, value, math.sqrt(value), None, None) for name, value in (found | sums).items()]
    repeat = Spread(Source.REPEAT, found[Source.REPEAT], math.sqrt(found[Source.REPEAT]), low, high)
    return tuple(repeat if spread.source == Source.REPEAT else spread for spread in out)


def _groups(coupons: IntArray, inspectors: IntArray, cells: IntArray) -> dict[Source, list[int]]:
    groups = {Source.COUPON: coupons.tolist()}
    if inspectors.max() > 0:
        groups[Source.INSPECTOR] = inspectors.tolist()
        counts = np.bincount(cells)
        used = int((counts > 0).sum())
        # a cell is a level of its own only if it is not the coupon again and some cell holds two readings
        if used > int(coupons.max()) + 1 and counts.max() > 1:
            groups[Source.COUPON_BY_INSPECTOR] = cells.tolist()
    return groups


def _variances(y: FloatArray, groups: dict[Source, list[int]]) -> dict[str, float]:
    from trials.infer.mixed import fit_mixed

    fixed = np.ones((len(y), 1))
    named = {name.value: labels for name, labels in groups.items()}
    try:
        return dict(fit_mixed(y, fixed, named).variances)
    except NotIdentifiable:
        if Source.COUPON_BY_INSPECTOR not in groups:
            raise
        del named[Source.COUPON_BY_INSPECTOR.value]
        return dict(fit_mixed(y, fixed, named).variances)


def _left_over(y: FloatArray, coupons: IntArray, inspectors: IntArray, cells: IntArray) -> tuple[float, int]:
    """Sum of squares of pure repetition, and its degrees of freedom."""
    if np.bincount(cells).max() > 1:
        columns = np.equal.outer(cells, np.unique(cells)).astype(float)
    else:
        columns = np.column_stack(
            [np.equal.outer(labels, np.unique(labels)).astype(float) for labels in (coupons, inspectors)]
        )
    solution, _, rank, _ = np.linalg.lstsq(columns, y, rcond=None)
    left = float(np.sum((y - columns @ solution) ** 2))
    return left, len(y) - int(rank)
