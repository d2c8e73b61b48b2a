"""Projections on fixed columns and groupings, by sums per group: time and memory grow with the readings only.

A space is held as the level means of its finest grouping and a few columns beside them. A grouping that joins takes
over: what nests in it drops out, so that specimens in sheets or coupons in mounts never become columns.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from scipy import sparse

ANGLE = 1e-8  # sine of the angle under which a column counts as lying in a space
FEW = 150  # up to as many cells full matrices are quicker than sparse ones

Matrix = Any  # numpy array or scipy sparse array; both carry the operations used here


@dataclass(frozen=True)
class Cells:
    """Readings alike in everything but their value, collapsed to one row each.

    Attributes:
        root: (m,) root of the number of readings of each cell.
        response: (m,) mean of the cell times its root.
        within: (m,) sum of squares of the readings around their cell's mean.
        fixed: (m, k) fixed columns times the root.
        groups: {layer: codes (m,)}.
        types: (m,) type as text, empty without types.
    """

    root: np.ndarray
    response: np.ndarray
    within: np.ndarray
    fixed: np.ndarray
    groups: dict[str, np.ndarray]
    types: np.ndarray

    @property
    def count(self) -> int:
        """Number of cells m."""
        return len(self.root)


def collapse(
    response: np.ndarray, fixed: np.ndarray, groups: Mapping[str, np.ndarray], types: np.ndarray | None
) -> Cells:
    """Collapse n readings: response (n,), fixed (n, k), labels (n,) of each grouping, types (n,) or None."""
    coded = {layer: pd.factorize(np.asarray(labels).astype(str))[0] for layer, labels in groups.items()}
    kinds = np.full(len(response), "") if types is None else np.asarray(types).astype(str)
    cell = np.zeros(len(response), dtype=np.int64)
    for codes in (*coded.values(), pd.factorize(kinds)[0], *(pd.factorize(column)[0] for column in fixed.T)):
        cell = pd.factorize(cell * (codes.max() + 1) + codes)[0]
    _, first = np.unique(cell, return_index=True)
    count = np.bincount(cell)
    mean = np.bincount(cell, response) / count
    root = np.sqrt(count)
    return Cells(
        root=root,
        response=root * mean,
        within=np.bincount(cell, (response - mean[cell]) ** 2),
        fixed=root[:, None] * fixed[first],
        groups={layer: codes[first] for layer, codes in coded.items()},
        types=kinds[first],
    )


def indicator(codes: np.ndarray, weights: np.ndarray) -> Matrix:
    """One column per level (m, levels) that holds the weights of its rows."""
    shape = (len(codes), int(codes.max()) + 1)
    if len(codes) > FEW:
        return sparse.csr_array((weights, (np.arange(len(codes)), codes)), shape=shape)
    out = np.zeros(shape)
    out[np.arange(len(codes)), codes] = weights
    return out


def level_means(codes: np.ndarray, root: np.ndarray) -> Matrix:
    """Orthonormal columns (m, levels) whose projection replaces each cell by the mean of its level."""
    return indicator(codes, root / np.sqrt(np.bincount(codes, root**2))[codes])


@dataclass(frozen=True)
class Space:
    """Span of `level` (m, levels), one column per group, and `beside` (m, r); all columns orthonormal."""

    level: Matrix
    beside: np.ndarray

    @property
    def rank(self) -> int:
        """Dimension of the space."""
        return int(self.level.shape[1] + self.beside.shape[1])

    def project(self, vector: np.ndarray) -> np.ndarray:
        """Part of a vector (m,) that lies in the space."""
        return np.asarray(self.level @ (self.level.T @ vector) + self.beside @ (self.beside.T @ vector))

    def leverage(self) -> np.ndarray:
        """Diagonal (m,) of the projection."""
        return np.asarray(_lengths(self.level.T) ** 2 + np.sum(self.beside**2, axis=1))

    def join(self, level: Matrix) -> Space:
        """The space with the columns of a further grouping."""
        over = self.level - level @ (level.T @ self.level)
        apart = over[:, np.flatnonzero(_lengths(over) > ANGLE)]
        beside = self.beside - level @ (level.T @ self.beside)
        columns = np.hstack([apart if isinstance(apart, np.ndarray) else apart.toarray(), beside])
        left, size, _ = np.linalg.svd(columns, full_matrices=False)
        return Space(level, left[:, size > ANGLE])


@dataclass(frozen=True)
class Gain:
    """What `after` spans beyond `before`, a part of it, seen in some rows.

    members: {name: (m, levels)}; rows: {name: (m,) bool}. Products that several results need are kept.
    """

    before: Space
    after: Space
    members: Mapping[str, Matrix]
    rows: Mapping[str, np.ndarray]
    _blocks: dict[str, list[_Blocks]] = field(default_factory=dict)
    _seen: dict[str, list[_Seen]] = field(default_factory=dict)

    def of_groups(self, member: str, rows: str) -> float:
        """Squared length, in these rows, of the gained part of the member's columns."""
        if member not in self._seen:
            self._seen[member] = [_Seen(space, self.members[member]) for space in (self.before, self.after)]
        seen = self._seen[member]
        pairs = zip(_SIGNS, self._pairs(rows), strict=True)
        return sum(sign * _weighed(blocks, seen[i], seen[j]) for (i, j, sign), blocks in pairs)

    def of_rows(self, units: str, rows: str) -> float:
        """Squared length, in these rows, of the gained part of the unit columns of the rows `units`."""
        pairs = zip(_SIGNS, self._pairs(rows), self._pairs(units), strict=True)
        return sum(sign * _alike(a, b) for (_, _, sign), a, b in pairs)

    def _pairs(self, rows: str) -> list[_Blocks]:
        if rows not in self._blocks:
            spaces, at = (self.before, self.after), self.rows[rows]
            self._blocks[rows] = [_products(spaces[i], spaces[j], at) for i, j, _ in _SIGNS]
        return self._blocks[rows]


# (after - before)' (after - before): before with itself, after with itself, less twice before with after.
_SIGNS: tuple[tuple[int, int, float], ...] = ((0, 0, 1.0), (1, 1, 1.0), (0, 1, -2.0))
_Blocks = tuple[Matrix, np.ndarray, np.ndarray, np.ndarray]


def _products(a: Space, b: Space, rows: np.ndarray) -> _Blocks:
    """Products of the columns of two spaces over some rows: level-level, level-beside, beside-level, beside-beside."""
    level, other = a.level[rows], b.level[rows]
    beside, further = a.beside[rows], b.beside[rows]
    levels: Matrix = level.T @ other
    return levels, level.T @ further, (other.T @ beside).T, beside.T @ further


def _alike(a: _Blocks, b: _Blocks) -> float:
    """Sum of the products, element by element."""
    return float((a[0] * b[0]).sum() + np.sum(a[1] * b[1]) + np.sum(a[2] * b[2]) + np.sum(a[3] * b[3]))


class _Seen:
    """A member (m, levels) seen from a space: products with its level columns and with those beside."""

    def __init__(self, space: Space, member: Matrix) -> None:
        self.level = space.level.T @ member
        self.beside = (member.T @ space.beside).T


def _weighed(blocks: _Blocks, a: _Seen, b: _Seen) -> float:
    """Sum over the member's levels of a' blocks b; the coarser space comes first, which keeps the products sparse."""
    levels, level_beside, beside_level, besides = blocks
    total = (a.level * (levels @ b.level)).sum()
    total += np.sum((a.level.T @ level_beside) * b.beside.T)
    total += np.sum(a.beside * (b.level.T @ beside_level.T).T)
    return float(total + np.sum(a.beside * (besides @ b.beside)))


def _lengths(matrix: Matrix) -> np.ndarray:
    """Length of every column."""
    squares = matrix * matrix if isinstance(matrix, np.ndarray) else matrix.power(2)
    return np.asarray(np.sqrt(np.asarray(squares.sum(axis=0)).ravel()))
