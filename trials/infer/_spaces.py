"""Projections on fixed columns and groupings, by sums per group: time and memory grow with the readings only.

A space is held as the level means of its finest grouping and a few columns beside them. A grouping that joins takes
over: what nests in it drops out, so that specimens in sheets or coupons in mounts never become columns.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy import sparse

ANGLE = 1e-8  # sine of the angle under which a column counts as lying in a space


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


def level_means(codes: np.ndarray, root: np.ndarray) -> sparse.csr_array:
    """Orthonormal columns (m, levels) whose projection replaces each cell by the mean of its level."""
    size = np.sqrt(np.bincount(codes, root**2))
    return sparse.csr_array((root / size[codes], (np.arange(len(codes)), codes)), shape=(len(codes), len(size)))


@dataclass(frozen=True)
class Space:
    """Span of `level` (m, levels), one column per group, and `beside` (m, r); all columns orthonormal."""

    level: sparse.csr_array
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
        return np.asarray(self.level.power(2).sum(axis=1) + np.sum(self.beside**2, axis=1))

    def join(self, level: sparse.csr_array) -> Space:
        """The space with the columns of a further grouping."""
        over = self.level - level @ (level.T @ self.level)
        crossed = np.flatnonzero(np.sqrt(over.power(2).sum(axis=0)) > ANGLE)
        beside = self.beside - level @ (level.T @ self.beside)
        columns = np.hstack([over[:, crossed].toarray(), beside])
        left, size, _ = np.linalg.svd(columns, full_matrices=False)
        return Space(level, left[:, size > ANGLE])


@dataclass(frozen=True)
class Gain:
    """What `after` spans beyond `before`, a part of it, seen in the rows `at` (m,) bool."""

    before: Space
    after: Space
    at: np.ndarray

    def share_of_groups(self, member: sparse.csr_array) -> float:
        """Squared length of the gained part of the columns `member` (m, levels) in these rows."""
        seen = [_Seen(space, member) for space in (self.before, self.after)]
        return sum(
            sign * _weighed(blocks, seen[i], seen[j]) for (i, j, sign), blocks in zip(_SIGNS, self.pairs, strict=True)
        )

    def share_of_rows(self, rows: np.ndarray) -> float:
        """Squared length of the gained part of the unit columns of `rows` (m,) bool in these rows."""
        there = self._pairs(rows)
        return sum(sign * _alike(a, b) for (_, _, sign), a, b in zip(_SIGNS, self.pairs, there, strict=True))

    @cached_property
    def pairs(self) -> list[_Blocks]:
        """Products of the columns of both spaces over these rows."""
        return self._pairs(self.at)

    def _pairs(self, rows: np.ndarray) -> list[_Blocks]:
        spaces = (self.before, self.after)
        return [_blocks(spaces[i], spaces[j], rows) for i, j, _ in _SIGNS]


# (after - before)' (after - before): before with itself, after with itself, less twice before with after.
_SIGNS: tuple[tuple[int, int, float], ...] = ((0, 0, 1.0), (1, 1, 1.0), (0, 1, -2.0))
_Blocks = tuple[sparse.csr_array, np.ndarray, np.ndarray, np.ndarray]


def _blocks(a: Space, b: Space, rows: np.ndarray) -> _Blocks:
    """Products of the columns of two spaces over some rows: level-level, level-beside, beside-level, beside-beside."""
    level, other = a.level[rows], b.level[rows]
    beside, further = a.beside[rows], b.beside[rows]
    return level.T @ other, level.T @ further, (other.T @ beside).T, beside.T @ further


def _alike(a: _Blocks, b: _Blocks) -> float:
    """Sum of the products, element by element."""
    return float((a[0] * b[0]).sum() + np.sum(a[1] * b[1]) + np.sum(a[2] * b[2]) + np.sum(a[3] * b[3]))


class _Seen:
    """A member (m, levels) seen from a space: products with its level columns and with those beside."""

    def __init__(self, space: Space, member: sparse.csr_array) -> None:
        self.level = space.level.T @ member
        self.beside = (member.T @ space.beside).T


def _weighed(blocks: _Blocks, a: _Seen, b: _Seen) -> float:
    """Sum over the member's levels of a' blocks b; the coarser space comes first, which keeps the products sparse."""
    levels, level_beside, beside_level, besides = blocks
    total = a.level.multiply(levels @ b.level).sum()
    total += np.sum((a.level.T @ level_beside) * b.beside.T)
    total += np.sum(a.beside * (b.level.T @ beside_level.T).T)
    return float(total + np.sum(a.beside * (besides @ b.beside)))
