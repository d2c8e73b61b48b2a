"""From fixed columns and groupings to a kernel: orthonormal columns, units, and cross-products by unit size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trials.errors import NotFinite, NotIdentifiable, WrongShape
from trials.infer._groups import Grouping
from trials.infer._pieces import DenseKernel, Kernel

RANK_TOLERANCE = 1e-11  # length left of a unit column after the columns before it are taken out


@dataclass(frozen=True)
class FixedPart:
    """fixed = q @ r * scale: q (n, k) orthonormal, r (k, k) upper triangular, scale (k,) lengths of the columns.

    constant: coefficients (k,) that give a column of ones, None if it is not in the space of the columns.
    """

    q: np.ndarray
    r: np.ndarray
    scale: np.ndarray
    constant: np.ndarray | None

    @property
    def log_det(self) -> float:
        """log |X'X|."""
        return 2.0 * float(np.log(np.abs(np.diagonal(self.r)) * self.scale).sum())

    def coefficients(self, turned: np.ndarray) -> np.ndarray:
        """Coefficients (k, ...) of the columns given those of q."""
        solved = np.linalg.solve(self.r, turned)
        return (solved.T / self.scale).T


def read_fixed(fixed: np.ndarray) -> FixedPart:
    """Check and factor the model matrix (n, k).

    Raises:
        WrongShape: not a matrix with at least one column, or no more rows than columns.
        NotFinite: a cell is not a number.
        NotIdentifiable: a column is a combination of those before it; the message counts columns from 1.
    """
    x = np.asarray(fixed, dtype=float)
    if x.ndim != 2 or x.shape[1] == 0:
        raise WrongShape(f"the fixed columns have shape {x.shape}, expected (n, k) with k of 1 or more")
    n, k = x.shape
    if not np.isfinite(x).all():
        row, column = (int(v) + 1 for v in np.argwhere(~np.isfinite(x))[0])
        raise NotFinite(f"fixed column {column} holds no finite number at row {row}; fill it in or leave the row out")
    scale = np.linalg.norm(x, axis=0)
    safe = np.where(scale > 0, scale, 1.0)
    if n < k:
        raise NotIdentifiable(f"{n} readings cannot carry {k} fixed columns; leave terms out or add readings")
    q, r = np.linalg.qr(x / safe)
    left = np.abs(np.diagonal(r))
    if (left < RANK_TOLERANCE).any():
        column = int(np.argmax(left < RANK_TOLERANCE)) + 1
        raise NotIdentifiable(
            f"fixed column {column} (counted from 1) is a combination of the columns before it; leave it out"
        )
    if n == k:
        raise NotIdentifiable(
            f"{n} readings are used up by {k} fixed columns, none is left to show spread; add readings"
        )
    ones = q.T @ np.ones(n)
    has_constant = np.abs(1.0 - q @ ones).max() < 1e-9
    return FixedPart(q, r, safe, np.linalg.solve(r, ones) / safe if has_constant else None)


@dataclass(frozen=True)
class Units:
    """Rows that share everything random: order (n,) sorts rows by unit; starts, sizes (U,)."""

    order: np.ndarray
    starts: np.ndarray
    sizes: np.ndarray

    def means(self, rows: np.ndarray) -> np.ndarray:
        """Mean of rows (n, ...) over each unit."""
        sums = np.add.reduceat(rows[self.order], self.starts, axis=0)
        return (sums.T / self.sizes).T

    def inside(self, rows: np.ndarray, means: np.ndarray) -> np.ndarray:
        """Rows in sorted order less their unit's mean."""
        return rows[self.order] - np.repeat(means, self.sizes.astype(np.intp), axis=0)


def units_of(carrier: Grouping) -> Units:
    """Units that are the levels of a grouping."""
    order = np.argsort(carrier.codes, kind="stable")
    sizes = np.bincount(carrier.codes, minlength=carrier.levels)
    return Units(order, np.concatenate([[0], np.cumsum(sizes)[:-1]]), sizes.astype(float))


@dataclass(frozen=True)
class Layout:
    """Everything about a design that does not depend on the response.

    q_means (U, k): orthonormal columns averaged over units; q_inside (n, k): their deviations, None where every fixed
    column is constant in every unit; indicators (U, m): levels of the groupings but the carrier; size_class (U,).
    """

    units: Units | None
    q_means: np.ndarray
    q_inside: np.ndarray | None
    indicators: np.ndarray
    size_class: list[np.ndarray]
    kernel: DenseKernel

    def kernel_for(self, response: np.ndarray) -> Kernel:
        """Put a response (n,) in the place of A's last column."""
        means = response if self.units is None else self.units.means(response)
        k = self.q_means.shape[1]
        cross = self.kernel.cross.copy()
        for d, members in enumerate(self.size_class):
            y = means[members]
            column = np.concatenate([y @ self.indicators[members], y @ self.q_means[members], [y @ y]])
            cross[d, :, -1] = column
            cross[d, -1, :] = column
        within = self.kernel.within.copy()
        if self.units is not None:
            inside = self.units.inside(response, means)
            within[k, k] = inside @ inside
            if self.q_inside is not None:
                within[:k, k] = within[k, :k] = inside @ self.q_inside
        return DenseKernel(self.kernel.sizes, self.kernel.counts, cross, within, self.kernel.blocks, self.kernel.n)


def lay_out(fixed: np.ndarray, q: np.ndarray, groupings: Sequence[Grouping], carrier: Grouping | None) -> Layout:
    """Form units and cross-products; carrier None keeps every row a unit of its own."""
    n, k = q.shape
    units = None if carrier is None else units_of(carrier)
    sizes = np.ones(n) if units is None else units.sizes
    first = np.arange(n) if units is None else units.order[units.starts]
    q_means, q_inside = (q, None) if units is None else _split(fixed, q, units, first)
    others = [g for g in groupings if g is not carrier]
    indicators = np.zeros((len(sizes), sum(g.levels for g in others)))
    blocks: list[slice | None] = []
    at = 0
    for grouping in groupings:
        if grouping is carrier:
            blocks.append(None)
            continue
        indicators[np.arange(len(sizes)), at + grouping.codes[first]] = 1.0
        blocks.append(slice(at, at + grouping.levels))
        at += grouping.levels
    distinct, which = np.unique(sizes, return_inverse=True)
    size_class = [slice(None)] if len(distinct) == 1 else [np.flatnonzero(which == d) for d in range(len(distinct))]
    m = indicators.shape[1]
    cross = np.zeros((len(distinct), m + k + 1, m + k + 1))
    for d, members in enumerate(size_class):
        both = np.hstack([indicators[members], q_means[members]])
        cross[d, : m + k, : m + k] = both.T @ both
    within = np.zeros((k + 1, k + 1))
    if q_inside is not None:
        within[:k, :k] = q_inside.T @ q_inside
    counts = np.bincount(which, minlength=len(distinct)).astype(float)
    kernel = DenseKernel(distinct, counts, cross, within, tuple(blocks), n)
    return Layout(units, q_means, q_inside, indicators, size_class, kernel)


def _split(fixed: np.ndarray, q: np.ndarray, units: Units, first: np.ndarray) -> tuple[np.ndarray, np.ndarray | None]:
    means = units.means(q)
    sizes = units.sizes.astype(np.intp)
    if np.array_equal(np.repeat(fixed[first], sizes, axis=0), fixed[units.order]):
        return means, None
    return means, units.inside(q, means)
