"""Readings of one plan reduced to few rows, for many responses at once where variances may differ by type.

A cell holds the coupons of one class (type and number of readings) that share everything else that is random: of a
balanced trial one per mount. Coupon means inside a cell are independent with one variance, that of the class. So a plan
comes down to the means of cells, the coupon means inside cells turned onto the fixed columns there, and sums of squares
of what is left of coupons by class and of readings by type: sufficient for restricted likelihood, and free of rows.

The variances themselves (coupons and readings by type, mounts, specimens) enter those of the reduced rows linearly: one
matrix takes derivatives from these to those.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trials.infer.mixed.groupings import Grouping
from trials.infer.mixed.kernel import FixedPart
from trials.infer.mixed.pieces import Pieces, inverse_and_log_det

MOST_ROWS = 150
"""Reduced rows up to which dense algebra in them is the faster."""
FLAT = 2e-6  # variance of a class, relative to the largest, that the bound on the search has set
SPANNED = 1e-10  # squared length of a direction of unit columns inside cells that is rounding


@dataclass(frozen=True, eq=False)
class Coupons:
    """How readings come down to reduced rows; U coupons of G cells and D classes.

    rows (n,): coupon of a reading; sizes (U,): readings of a coupon; cells, classes (U,); counts (G,): coupons of a
    cell; types (n,): type of a reading; turns[d] (coupons of class d, directions): orthonormal.
    """

    rows: np.ndarray
    sizes: np.ndarray
    cells: np.ndarray
    classes: np.ndarray
    counts: np.ndarray
    types: np.ndarray
    turns: tuple[np.ndarray, ...]

    def reduced(self, values: np.ndarray, types: int) -> Reduced:
        """Values (B, n) of readings."""
        coupon = _sums(values, self.rows, len(self.sizes)) / self.sizes
        cell = _sums(coupon, self.cells, len(self.counts)) / self.counts
        off = coupon - cell[:, self.cells]
        own = [off[:, self.classes == d] for d in range(len(self.turns))]
        turned = [part @ turn for part, turn in zip(own, self.turns, strict=True)]
        left = [((p - t @ turn.T) ** 2).sum(axis=1) for p, t, turn in zip(own, turned, self.turns, strict=True)]
        inside = (values - coupon[:, self.rows]) ** 2
        readings = [inside[:, self.types == t].sum(axis=1) for t in range(types)]
        return Reduced(np.hstack([*turned, cell]), np.stack(left, axis=1), np.stack(readings, axis=1))


@dataclass(frozen=True, eq=False)
class Reduced:
    """B responses: values (B, N) of reduced rows, squares left of coupons (B, D) and of readings (B, T)."""

    values: np.ndarray
    coupons: np.ndarray
    readings: np.ndarray

    def take(self, which: np.ndarray) -> Reduced:
        """Some of the responses."""
        return Reduced(self.values[which], self.coupons[which], self.readings[which])


@dataclass(frozen=True, eq=False)
class Cells:
    """A plan on N reduced rows, the G cells last; D classes, T types, L groupings, r = D + L, t variances.

    columns (N, k): the fixed columns; own (D, N): variance of a row per unit of its class; joint: for each grouping the
    indicators (N, levels) of its levels; left (D,), across (T,): degrees of freedom of the squares left; linear (t, r):
    derivatives of class and grouping variances in those asked for, readings by type last.
    """

    coupons: Coupons
    columns: np.ndarray
    own: np.ndarray
    joint: tuple[np.ndarray, ...]
    left: np.ndarray
    across: np.ndarray
    linear: np.ndarray

    def reduced(self, responses: np.ndarray) -> Reduced:
        """Responses (B, n) on the reduced rows."""
        return self.coupons.reduced(responses, len(self.across))

    @property
    def together(self) -> slice:
        """The rows whose covariance is not diagonal: the cells."""
        return slice(len(self.columns) - len(self.coupons.counts), len(self.columns))

    def without_spread(self, gamma: np.ndarray) -> bool:
        """Whether the means of coupons of some class do not differ at all at variances gamma (t,)."""
        own = (gamma @ self.linear)[: len(self.own)]
        return bool(own.min() <= FLAT * gamma.max())

    def turned(self, vectors: np.ndarray) -> np.ndarray:
        """G_i of each class and grouping times vectors (..., N, q): (..., r, N, q)."""
        by_class = self.own[:, :, None] * vectors[..., None, :, :]
        rest = [(z @ (z.T @ vectors))[..., None, :, :] for z in self.joint]
        return np.concatenate([by_class, *rest], axis=-3)

    def pieces(self, one: Reduced, gamma: np.ndarray) -> Pieces:
        """The pieces of a single response at variance ratios gamma (t,), those of readings last."""
        d, own, linear, inner = len(self.own), gamma[-len(self.across) :], self.linear, gamma @ self.linear
        lam, at = inner[:d], np.arange(d)
        covariance = np.diag(lam @ self.own) + sum(g * z @ z.T for g, z in zip(inner[d:], self.joint, strict=True))
        inverse, log_det = inverse_and_log_det(covariance)
        a = np.column_stack([self.columns, one.values[0]])
        b = inverse @ a
        gb, seen = self.turned(b), self.turned(inverse)
        aga, agga, trace = b.T @ gb, _pairs(gb, inverse @ gb), np.trace(seen, axis1=1, axis2=2)
        pair = seen.reshape(len(seen), -1) @ seen.transpose(0, 2, 1).reshape(len(seen), -1).T
        aga[:d, -1, -1] += one.coupons[0] / lam**2
        agga[at, at, -1, -1] += one.coupons[0] / lam**3
        trace[:d] += self.left / lam
        pair[at, at] += self.left / lam**2
        agga = np.tensordot(linear, np.tensordot(linear, agga, (1, 1)), (1, 1))
        aha = a.T @ b
        aha[-1, -1] += float((one.coupons[0] / lam).sum() + (one.readings[0] / own).sum())
        log_det += float(self.left @ np.log(lam) + self.across @ np.log(own))
        log_det += float(np.log(self.coupons.sizes).sum() + np.log(self.coupons.counts).sum())
        out = Pieces(log_det, aha, np.tensordot(linear, aga, 1), agga, linear @ trace, linear @ pair @ linear.T)
        at = np.arange(len(gamma) - len(own), len(gamma))
        out.aga[at, -1, -1] += one.readings[0] / own**2
        out.agga[at, at, -1, -1] += one.readings[0] / own**3
        out.trace[at] += self.across / own
        out.trace_pair[at, at] += self.across / own**2
        return out


def _pairs(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """left[i]' right[j] of stacks (r, N, c) as (r, r, c, c)."""
    r, n, c = left.shape
    product = left.transpose(0, 2, 1).reshape(r * c, n) @ right.transpose(1, 0, 2).reshape(n, r * c)
    return np.ascontiguousarray(product.reshape(r, c, r, c).transpose(0, 2, 1, 3))


def _sums(values: np.ndarray, codes: np.ndarray, levels: int) -> np.ndarray:
    """Sums (B, levels) of values (B, n) by code; every code occurs."""
    order = np.argsort(codes, kind="stable")
    starts = np.searchsorted(codes[order], np.arange(levels))
    result: np.ndarray = np.add.reduceat(values[:, order], starts, axis=1)
    return result


def in_cells(
    part: FixedPart, groupings: Sequence[Grouping], types: np.ndarray, count: int, split: Sequence[str]
) -> Cells | None:
    """The plan on reduced rows, or None where it does not come down to few of them.

    types (n,): type of each reading out of count; split: groupings with a variance by type. None where such a grouping
    is not the finest or the fixed columns change inside it, or where more than `MOST_ROWS` are left.
    """
    by_type = [g for g in groupings if g.name in split]
    rest = [g for g in groupings if g.name not in split]
    rows = by_type[0].codes if by_type else np.arange(len(types))
    sizes = np.bincount(rows).astype(float)
    first = np.empty(len(sizes), dtype=np.intp)
    first[rows[::-1]] = np.arange(len(rows))[::-1]
    nested = all(np.array_equal(g.codes[first][rows], g.codes) for g in rest)
    if len(by_type) > 1 or not nested or not np.array_equal(part.columns[first][rows], part.columns):
        return None
    kinds, classes = _distinct([types[first], sizes])
    shared, cells = _distinct([*(g.codes[first] for g in rest), classes])
    if len(shared) > MOST_ROWS:
        return None
    counts, q = np.bincount(cells).astype(float), part.q[first]
    means = _sums(q.T, cells, len(counts)).T / counts[:, None]
    turns = tuple(_directions((q - means[cells])[classes == d]) for d in range(len(kinds)))
    coupons = Coupons(rows, sizes, cells, classes, counts, types, turns)
    if sum(turn.shape[1] for turn in turns) + len(counts) > MOST_ROWS:
        return None
    return _made(coupons, q, means, kinds, shared, _linear(groupings, split, kinds, count))


def _distinct(columns: Sequence[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Distinct rows of some columns side by side, and the code of each row."""
    found, codes = np.unique(np.column_stack(columns), axis=0, return_inverse=True)
    return found, codes.ravel()


def _directions(deviations: np.ndarray) -> np.ndarray:
    """Orthonormal directions (coupons, .) that hold all columns of deviations (coupons, k).

    Of many coupons without the square matrix of them, whose work grows with their third power.
    """
    if len(deviations) > MOST_ROWS:
        left, lengths, _ = np.linalg.svd(deviations, full_matrices=False)
        return np.asarray(left[:, lengths**2 > SPANNED])
    values, vectors = np.linalg.eigh(deviations @ deviations.T)
    result: np.ndarray = vectors[:, values > SPANNED]
    return result


def _made(
    coupons: Coupons, q: np.ndarray, means: np.ndarray, kinds: np.ndarray, shared: np.ndarray, linear: np.ndarray
) -> Cells:
    """kinds (D, 2): type and size of each class; shared (G, groupings + 1): levels and class of each cell."""
    widths = [turn.shape[1] for turn in coupons.turns]
    own_class = [coupons.classes == d for d in range(len(kinds))]
    turned = [turn.T @ (q - means[coupons.cells])[at] for turn, at in zip(coupons.turns, own_class, strict=True)]
    classes = np.concatenate([np.repeat(np.arange(len(kinds)), widths), shared[:, -1].astype(int)])
    weight = np.concatenate([np.ones(sum(widths)), 1.0 / coupons.counts])
    own = (classes == np.arange(len(kinds))[:, None]) * weight
    above = [(codes[:, None] == np.unique(codes)).astype(float) for codes in shared[:, :-1].T]
    joint = tuple(np.vstack([np.zeros((sum(widths), z.shape[1])), z]) for z in above)
    left = [at.sum() - (shared[:, -1] == d).sum() - widths[d] for d, at in enumerate(own_class)]
    across = np.bincount(coupons.types) - np.bincount(kinds[coupons.classes, 0].astype(int))
    return Cells(coupons, np.vstack([*turned, means]), own, joint, np.array(left, float), across.astype(float), linear)


def _linear(groupings: Sequence[Grouping], split: Sequence[str], kinds: np.ndarray, count: int) -> np.ndarray:
    """Derivatives (t, r) of class and grouping variances in those of groupings, in order, and readings by type."""
    of_type = (kinds[:, 0] == np.arange(count)[:, None]).astype(float)
    rest = [g for g in groupings if g.name not in split]
    others = np.zeros((count, len(rest)))
    blocks = [
        np.hstack([of_type, others])
        if g.name in split
        else np.eye(1, len(kinds) + len(rest), len(kinds) + [r.name for r in rest].index(g.name))
        for g in groupings
    ]
    return np.vstack([*blocks, np.hstack([of_type / kinds[:, 1], others])])
