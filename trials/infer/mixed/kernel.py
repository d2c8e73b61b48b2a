"""From fixed columns and groupings to a kernel: orthonormal columns, units, and what of it serves every response."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse

from trials.errors import NotFinite, NotIdentifiable, WrongShape
from trials.infer.mixed.groupings import Grouping
from trials.infer.mixed.nested import Chain, ChainKernel, chain_of, chain_order, indicator_columns, levels_of
from trials.infer.mixed.pieces import DenseKernel

RANK_TOLERANCE = 1e-11  # length left of a unit column after the columns before it are taken out
DENSE_LEVELS = 120  # levels beside the carrier up to which dense algebra is the faster


@dataclass(frozen=True)
class FixedPart:
    """columns (n, k) = q @ r * scale: q (n, k) orthonormal, r (k, k) upper triangular, scale (k,) their lengths.

    constant: coefficients (k,) that give a column of ones, None if it is not in the space of the columns; codes (n,):
    levels in which all rows are equal, None where none are known.
    """

    columns: np.ndarray
    q: np.ndarray
    r: np.ndarray
    scale: np.ndarray
    constant: np.ndarray | None
    codes: np.ndarray | None = None

    @property
    def log_det(self) -> float:
        """log |X'X|."""
        return 2.0 * float(np.log(np.abs(np.diagonal(self.r)) * self.scale).sum())

    def coefficients(self, turned: np.ndarray) -> np.ndarray:
        """Coefficients (k, ...) of the columns given those of q."""
        solved = np.linalg.solve(self.r, turned)
        result: np.ndarray = (solved.T / self.scale).T
        return result


def read_fixed(fixed: np.ndarray, codes: np.ndarray | None = None) -> FixedPart:
    """Check and factor the model matrix (n, k); codes (n,): levels in which its rows may repeat, which saves time.

    Raises
    ------
    WrongShape
        If fixed is not a matrix with at least one column.
    NotFinite
        If a cell is not a number.
    NotIdentifiable
        If a column is a combination of those before it (the message counts columns from 1), or there are no more rows
        than columns.
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
    first, root = repeated(x, codes)
    short, back = (x, slice(None)) if first is None or codes is None else (x[first], codes)
    largest = np.abs(short).max(axis=0)
    largest = np.where(largest > 0, largest, 1.0)
    scale = largest * np.maximum(np.linalg.norm((short / largest)[back], axis=0), 1e-300)
    q, r = np.linalg.qr(root * (short / scale))
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
    q = q / root
    whole = q[back]
    ones = whole.T @ np.ones(n)
    has_constant = np.abs(1.0 - q @ ones).max() < 1e-9
    constant = _cleaned(np.linalg.solve(r, ones)) / scale if has_constant else None
    return FixedPart(x, whole, r, scale, constant, None if first is None else codes)


def repeated(columns: np.ndarray, codes: np.ndarray | None) -> tuple[np.ndarray | None, np.ndarray]:
    """A row of each level (U,) where all rows of a level are equal, and the root of their number (U, 1); else None, 1.

    columns (n, k); codes (n,): levels.
    """
    if codes is None:
        return None, np.ones((1, 1))
    sizes = np.bincount(codes)
    first = np.empty(len(sizes), dtype=np.intp)
    first[codes] = np.arange(len(codes))
    if len(first) < columns.shape[1] or not np.array_equal(columns[first][codes], columns):
        return None, np.ones((1, 1))
    return first, np.sqrt(sizes)[:, None]


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
        result: np.ndarray = self.order[self.starts]
        return result

    def means(self, rows: np.ndarray) -> np.ndarray:
        """Mean of rows (n, ...) over each unit."""
        sums = np.add.reduceat(rows[self.order], self.starts, axis=0)
        result: np.ndarray = (sums.T / self.sizes).T
        return result

    def mean_columns(self, columns: sparse.csr_array) -> sparse.csr_array:
        """Mean of sparse columns (n, m) over each unit."""
        n, units = len(self.order), len(self.sizes)
        unit = np.repeat(np.arange(units), self.sizes.astype(np.intp))
        average = sparse.csr_array((1.0 / self.sizes[unit], (unit, self.order)), shape=(units, n))
        result: sparse.csr_array = (average @ columns).tocsr()
        return result

    def inside(self, rows: np.ndarray, means: np.ndarray) -> np.ndarray:
        """Rows in sorted order less their unit's mean."""
        result: np.ndarray = rows[self.order] - np.repeat(means, self.sizes.astype(np.intp), axis=0)
        return result


def _units(codes: np.ndarray, order: np.ndarray) -> Units:
    """Units that are the levels of codes (n,), for rows in an order that keeps each together."""
    ordered = codes[order]
    starts = np.flatnonzero(np.concatenate([[True], ordered[1:] != ordered[:-1]]))
    return Units(order, starts, np.diff(np.append(starts, len(codes))).astype(float))


@dataclass(frozen=True)
class Layout:
    """Everything about a design that does not depend on the response.

    units: None where every row stands alone; q_means (U, k): orthonormal columns averaged over units; q_inside (n, k):
    their deviations in unit order, None where every fixed column is constant in every unit. For the dense kernel only:
    z_means (m, U): levels of the groupings but the carrier, averaged over units; z_inside (m, n): the same by rows in
    unit order where they change inside units; in_class (U, d): one where a unit has the d-th size. kernel: as of a
    response of zeros.
    """

    units: Units | None
    q_means: np.ndarray
    q_inside: np.ndarray | None
    z_means: sparse.csr_array | None
    z_inside: sparse.csr_array | None
    in_class: np.ndarray | None
    kernel: DenseKernel | ChainKernel

    def kernel_for(self, response: np.ndarray) -> DenseKernel | ChainKernel:
        """Put a response (n,) in the place of A's last column."""
        means = response if self.units is None else self.units.means(response)
        within = self.kernel.within.copy()
        if self.units is not None:
            inside = self.units.inside(response, means)
            within[-1, -1] = inside @ inside
            if self.q_inside is not None:
                k = self.q_inside.shape[1]
                within[-1 - k : -1, -1] = within[-1, -1 - k : -1] = inside @ self.q_inside
            if self.z_inside is not None:
                m = self.z_inside.shape[0]
                within[:m, -1] = within[-1, :m] = self.z_inside @ inside
        if isinstance(self.kernel, ChainKernel):
            return replace(self.kernel, means=np.column_stack([self.q_means, means]), within=within)
        return replace(self.kernel, cross=self._crossed(self.kernel, means), within=within)

    def _crossed(self, kernel: DenseKernel, means: np.ndarray) -> np.ndarray:
        assert self.in_class is not None and self.z_means is not None  # the dense kernel has both
        cross = kernel.cross.copy()
        by_size = self.in_class * means[:, None]
        column = np.vstack([self.z_means @ by_size, self.q_means.T @ by_size, means @ by_size])
        cross[:, :, -1] = cross[:, -1, :] = column.T
        result: np.ndarray = cross
        return result


def lay_out(part: FixedPart, groupings: Sequence[Grouping], collapse: bool, dense: bool | None) -> Layout:
    """Form units and what the kernel needs; dense None decides by the number of levels."""
    chain = chain_of(groupings, collapse)
    finest = max(range(len(groupings)), key=lambda i: groupings[i].levels, default=None)
    others = sum(g.levels for i, g in enumerate(groupings) if i != finest)
    if dense is None:
        dense = others <= DENSE_LEVELS or not chain.absorbed
    if not dense:
        return _chained(part, groupings, chain)
    return _dense(part, groupings, finest if collapse else None)


def _chained(part: FixedPart, groupings: Sequence[Grouping], chain: Chain) -> Layout:
    n, k = part.q.shape
    codes = groupings[chain.absorbed[0]].codes if chain.absorbed else None
    units = None if codes is None else _units(codes, chain_order(groupings, chain, n))
    q_means, q_inside = _split(part, codes, units)
    sizes, first = (np.ones(n), np.arange(n)) if units is None else (units.sizes, units.first)
    within, means = np.zeros((k + 1, k + 1)), np.zeros((len(sizes), k + 1))
    means[:, :k] = q_means
    if q_inside is not None:
        within[:k, :k] = q_inside.T @ q_inside
    levels, top = levels_of(groupings, chain, first)
    kernel = ChainKernel(sizes, means, within, chain.absorbed or (None,), levels, top, n, len(groupings))
    return Layout(units, q_means, q_inside, None, None, None, kernel)


def _dense(part: FixedPart, groupings: Sequence[Grouping], finest: int | None) -> Layout:
    n, k = part.q.shape
    codes = None if finest is None else groupings[finest].codes
    units = None if codes is None else _units(codes, np.argsort(codes, kind="stable"))
    q_means, q_inside = _split(part, codes, units)
    blocks, rows = _random_columns(groupings, finest, n)
    m, nested = rows.shape[1], finest is None or all(groupings[finest].nests_in(g) for g in groupings)
    z_means = rows if units is None else units.mean_columns(rows)
    sizes = np.ones(n) if units is None else units.sizes
    distinct, which = np.unique(sizes, return_inverse=True)
    in_class = (which[:, None] == np.arange(len(distinct))).astype(float)
    cross = np.zeros((len(distinct), m + k + 1, m + k + 1))
    for d in range(len(distinct)):
        members = np.flatnonzero(which == d)
        cross[d, :-1, :-1] = _products(z_means[members], q_means[members])
    within = np.zeros((m + k + 1, m + k + 1))
    if q_inside is not None:
        within[m:-1, m:-1] = q_inside.T @ q_inside
    z_inside = None
    if not nested and units is not None:
        z_inside = rows[units.order].T.tocsr()
        between = (z_means.T @ z_means.multiply(sizes[:, None])).toarray()
        within[:m, :m] = (z_inside @ z_inside.T).toarray() - between
        if q_inside is not None:
            within[:m, m:-1] = z_inside @ q_inside
            within[m:-1, :m] = within[:m, m:-1].T
    kernel = DenseKernel(distinct, in_class.sum(axis=0), cross, within, blocks, m, n)
    return Layout(units, q_means, q_inside, z_means.T.tocsr(), z_inside, in_class, kernel)


def _random_columns(
    groupings: Sequence[Grouping], carrier: int | None, n: int
) -> tuple[tuple[slice | None, ...], sparse.csr_array]:
    """Block of columns per grouping, None for the carrier, and the indicator columns (n, m)."""
    blocks: list[slice | None] = []
    codes: list[np.ndarray] = []
    m = 0
    for i, grouping in enumerate(groupings):
        if i == carrier:
            blocks.append(None)
            continue
        codes.append(m + grouping.codes)
        blocks.append(slice(m, m + grouping.levels))
        m += grouping.levels
    return tuple(blocks), indicator_columns(np.array(codes, dtype=np.intp).reshape(len(codes), n), m)


def _products(z: sparse.csr_array, a: np.ndarray) -> np.ndarray:
    """[z a]'[z a]."""
    za = z.T @ a
    return np.block([[(z.T @ z).toarray(), za], [za.T, a.T @ a]])


def _split(part: FixedPart, codes: np.ndarray | None, units: Units | None) -> tuple[np.ndarray, np.ndarray | None]:
    """Unit means of the orthonormal columns, and deviations unless the fixed columns are constant in every unit.

    codes (n,): unit of each row.
    """
    if units is None:
        return part.q, None
    means = units.means(part.q)
    if part.codes is not None and part.codes is codes:
        return means, None
    first, sizes = part.columns[units.first], units.sizes.astype(np.intp)
    if np.array_equal(np.repeat(first, sizes, axis=0), part.columns[units.order]):
        return means, None
    return means, units.inside(part.q, means)
