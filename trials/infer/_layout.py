"""From fixed columns and groupings to a kernel: orthonormal columns, units, and what of it serves every response."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from trials.errors import NotFinite, NotIdentifiable, WrongShape
from trials.infer._chain import Chain, ChainKernel, chain_of, chain_order, indicator_columns, levels_of
from trials.infer._groups import Grouping
from trials.infer._pieces import DenseKernel, Kernel

RANK_TOLERANCE = 1e-11  # length left of a unit column after the columns before it are taken out
DENSE_LEVELS = 120  # levels beside the carrier up to which dense algebra is the faster


@dataclass(frozen=True)
class FixedPart:
    """columns (n, k) = q @ r * scale: q (n, k) orthonormal, r (k, k) upper triangular, scale (k,) their lengths.

    constant: coefficients (k,) that give a column of ones, None if it is not in the space of the columns.
    """

    columns: np.ndarray
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
        WrongShape: not a matrix with at least one column.
        NotFinite: a cell is not a number.
        NotIdentifiable: a column is a combination of those before it (the message counts columns from 1), or there
            are no more rows than columns.
    """
    x = np.array(fixed, dtype=float)
    if x.ndim != 2 or x.shape[1] == 0:
        raise WrongShape(f"the fixed columns have shape {x.shape}, expected (n, k) with k of 1 or more")
    n, k = x.shape
    if not np.isfinite(x).all():
        row, column = (int(v) + 1 for v in np.argwhere(~np.isfinite(x))[0])
        raise NotFinite(f"fixed column {column} holds no finite number at row {row}; fill it in or leave the row out")
    if n < k:
        raise NotIdentifiable(f"{n} readings cannot carry {k} fixed columns; leave terms out or add readings")
    largest = np.abs(x).max(axis=0)
    largest = np.where(largest > 0, largest, 1.0)
    scale = largest * np.maximum(np.linalg.norm(x / largest, axis=0), 1e-300)
    q, r = np.linalg.qr(x / scale)
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
    return FixedPart(x, q, r, scale, _cleaned(np.linalg.solve(r, ones)) / scale if has_constant else None)


def _cleaned(weights: np.ndarray) -> np.ndarray:
    """Weights without those that are rounding."""
    return np.where(np.abs(weights) < 1e-12 * np.abs(weights).max(), 0.0, weights)


@dataclass(frozen=True)
class Units:
    """Rows that share everything random: order (n,) sorts rows by unit; starts, sizes (U,)."""

    order: np.ndarray
    starts: np.ndarray
    sizes: np.ndarray

    @property
    def first(self) -> np.ndarray:
        """A row of each unit (U,)."""
        return self.order[self.starts]

    def means(self, rows: np.ndarray) -> np.ndarray:
        """Mean of rows (n, ...) over each unit."""
        sums = np.add.reduceat(rows[self.order], self.starts, axis=0)
        return (sums.T / self.sizes).T

    def inside(self, rows: np.ndarray, means: np.ndarray) -> np.ndarray:
        """Rows in sorted order less their unit's mean."""
        return rows[self.order] - np.repeat(means, self.sizes.astype(np.intp), axis=0)


def _units(groupings: Sequence[Grouping], chain: Chain, n: int) -> Units | None:
    if not chain.absorbed:
        return None
    order = chain_order(groupings, chain, n)
    codes = groupings[chain.absorbed[0]].codes[order]
    starts = np.flatnonzero(np.concatenate([[True], codes[1:] != codes[:-1]]))
    return Units(order, starts, np.diff(np.append(starts, n)).astype(float))


@dataclass(frozen=True)
class Layout:
    """Everything about a design that does not depend on the response.

    units: None where every row stands alone; q_means (U, k): orthonormal columns averaged over units; q_inside (n, k):
    their deviations in unit order, None where every fixed column is constant in every unit; columns (m, U): levels of
    the groupings but the carrier, and in_class (U, d): one where a unit has the d-th size, both for the dense kernel
    only; kernel: as of a response of zeros.
    """

    units: Units | None
    q_means: np.ndarray
    q_inside: np.ndarray | None
    columns: sparse.csr_array | None
    in_class: np.ndarray | None
    kernel: Kernel | None

    def kernel_for(self, response: np.ndarray) -> Kernel:
        """Put a response (n,) in the place of A's last column."""
        means = response if self.units is None else self.units.means(response)
        within = self.kernel.within.copy()
        if self.units is not None:
            inside = self.units.inside(response, means)
            within[-1, -1] = inside @ inside
            if self.q_inside is not None:
                within[:-1, -1] = within[-1, :-1] = inside @ self.q_inside
        if isinstance(self.kernel, ChainKernel):
            return replace(self.kernel, means=np.column_stack([self.q_means, means]), within=within)
        return replace(self.kernel, cross=self._crossed(means), within=within)

    def _crossed(self, means: np.ndarray) -> np.ndarray:
        cross = self.kernel.cross.copy()
        by_size = self.in_class * means[:, None]
        column = np.vstack([self.columns @ by_size, self.q_means.T @ by_size, means @ by_size])
        cross[:, :, -1] = cross[:, -1, :] = column.T
        return cross


def lay_out(
    fixed: np.ndarray, q: np.ndarray, groupings: Sequence[Grouping], collapse: bool, dense: bool | None
) -> Layout:
    """Form units and what the kernel needs; dense None decides by the number of levels."""
    n, k = q.shape
    chain = chain_of(groupings, collapse)
    units = _units(groupings, chain, n)
    q_means, q_inside = (q, None) if units is None else _split(fixed, q, units)
    within = np.zeros((k + 1, k + 1))
    if q_inside is not None:
        within[:k, :k] = q_inside.T @ q_inside
    first = np.arange(n) if units is None else units.first
    sizes = np.ones(n) if units is None else units.sizes
    others = sum(g.levels for i, g in enumerate(groupings) if i not in chain.absorbed[:1])
    if dense if dense is not None else others <= DENSE_LEVELS:
        return _dense(groupings, chain, Layout(units, q_means, q_inside, None, None, None), sizes, first, within, n)
    levels, top = levels_of(groupings, chain, first)
    terms = chain.absorbed if chain.absorbed else (None,)
    kernel = ChainKernel(sizes, np.zeros((len(sizes), k + 1)), within, terms, levels, top, n, len(groupings))
    kernel.means[:, :k] = q_means
    return Layout(units, q_means, q_inside, None, None, kernel)


def _dense(
    groupings: Sequence[Grouping],
    chain: Chain,
    bare: Layout,
    sizes: np.ndarray,
    first: np.ndarray,
    within: np.ndarray,
    n: int,
) -> Layout:
    blocks: list[slice | None] = []
    codes: list[np.ndarray] = []
    m = 0
    for i, grouping in enumerate(groupings):
        if i in chain.absorbed[:1]:
            blocks.append(None)
            continue
        codes.append(m + grouping.codes[first])
        blocks.append(slice(m, m + grouping.levels))
        m += grouping.levels
    indicators = indicator_columns(np.array(codes, dtype=np.intp).reshape(len(codes), len(first)), m)
    distinct, which = np.unique(sizes, return_inverse=True)
    in_class = (which[:, None] == np.arange(len(distinct))).astype(float)
    k, q_means = bare.q_means.shape[1], bare.q_means
    cross = np.zeros((len(distinct), m + k + 1, m + k + 1))
    for d in range(len(distinct)):
        members = np.flatnonzero(which == d)
        z, a = indicators[members], q_means[members]
        cross[d, :m, :m] = (z.T @ z).toarray()
        cross[d, :m, m : m + k] = z.T @ a
        cross[d, m : m + k, :m] = cross[d, :m, m : m + k].T
        cross[d, m : m + k, m : m + k] = a.T @ a
    kernel = DenseKernel(distinct, in_class.sum(axis=0), cross, within, tuple(blocks), n)
    return replace(bare, columns=indicators.T.tocsr(), in_class=in_class, kernel=kernel)


def _split(fixed: np.ndarray, q: np.ndarray, units: Units) -> tuple[np.ndarray, np.ndarray | None]:
    means = units.means(q)
    if np.array_equal(np.repeat(fixed[units.first], units.sizes.astype(np.intp), axis=0), fixed[units.order]):
        return means, None
    return means, units.inside(q, means)
