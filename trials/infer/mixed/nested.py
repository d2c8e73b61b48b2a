"""Pieces of a mixed model for many levels, by absorbing nested groupings one after the other.

The finest grouping nests in the next, that one in the next, and so on; what is left at the top may cross and is
handled densely. Units j of a level lie in units p of the level above. With v the precision a unit's mean brings to the
level above, s_p = sum of v over its units, phi_j = v_j / s_p and Pi the block diagonal matrix
diag(v) - v v' / s_p of each p, T = Z'H^-1 Z of a level follows from that of the level above:

    T = Pi + Phi T_above Phi'.

So traces of products of T run over diagonals and sums inside parents only: vectors of the length of a level. Work and
memory grow with rows and levels, and with the square and cube of the levels at the top.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from trials.infer.mixed.groupings import Grouping
from trials.infer.mixed.pieces import Pieces, inverse_and_log_det


@dataclass(frozen=True)
class Level:
    """Units of one level, sorted by their parents: starts (P,) of each parent's units, parent (U,) of each unit."""

    starts: np.ndarray
    parent: np.ndarray

    def sums(self, values: np.ndarray) -> np.ndarray:
        """Sum of values (U, ...) over the units of each parent."""
        return np.add.reduceat(values, self.starts, axis=0)


@dataclass(frozen=True)
class Top:
    """Groupings that stay: codes (g, U) of the last level's units, blocks of columns, their term indices."""

    codes: np.ndarray
    blocks: tuple[slice, ...]
    terms: tuple[int, ...]
    indicators: sparse.csr_array

    def crossed(self, weights: np.ndarray) -> sparse.csr_array:
        """Z' diag(weights) Z; sparse, since one grouping fills its diagonal only."""
        weighted = self.indicators.copy()
        weighted.data = np.repeat(weights, len(self.blocks))
        result: sparse.csr_array = (self.indicators.T @ weighted).tocsr()
        return result


@dataclass(frozen=True)
class ChainKernel:
    """Pieces by absorption.

    sizes (U,): rows of each unit of the first level; means (U, c) of A = [X y] over them; within (c, c): cross-product
    of A inside them; chain_terms: the grouping of each absorbed level, None where units are rows; levels[i] takes the
    units of level i one level up; n rows; terms: how many groupings.
    """

    sizes: np.ndarray
    means: np.ndarray
    within: np.ndarray
    chain_terms: tuple[int | None, ...]
    levels: tuple[Level, ...]
    top: Top
    n: int
    terms: int

    def evaluate(self, gamma: np.ndarray, residual: bool) -> Pieces:
        """Return the pieces at gamma (r,)."""
        return Pass(self, gamma).pieces(self.terms + int(residual), residual)


Entering = list[tuple[int, np.ndarray, np.ndarray]]  # term, weights a (U,), columns x (U, c) on a level


class Pass:
    """One evaluation: up to absorb, solve the top, down for Z'H^-1A and the diagonal of T, up again for the traces."""

    def __init__(self, kernel: ChainKernel, gamma: np.ndarray) -> None:
        """Evaluate the kernel at gamma (r,)."""
        self.kernel, self.gamma = kernel, gamma
        self.aha, self.log_det = self.across_units()
        self.v: list[np.ndarray] = []
        self.s: list[np.ndarray] = []
        self.inside: list[np.ndarray] = []
        self._absorb()
        self._solve_top()
        self._descend()

    def across_units(self) -> tuple[np.ndarray, float]:
        """Cross-product of A inside units in the metric of the readings, and log determinant of their variances."""
        return self.kernel.within.copy(), 0.0

    def precision(self) -> np.ndarray:
        """What each unit's mean is worth beside its readings alone."""
        return self.kernel.sizes

    def ratio(self, i: int) -> float | np.ndarray:
        """Variance ratio on level i, one or one per unit."""
        term = self.kernel.chain_terms[i]
        return 0.0 if term is None else self.gamma[term]

    def entering(self, i: int, residual: bool) -> Entering:
        """Terms that start on level i."""
        term = self.kernel.chain_terms[i]
        found = [] if term is None else [(term, np.ones(len(self.v[i])), self.b[i])]
        if residual and i == 0:
            weight = 1.0 / self.kernel.sizes
            found.append((self.kernel.terms, weight, weight[:, None] * self.b[0]))
        return found

    def add_inside(self, out: Pieces) -> None:
        """Add what the readings give inside units."""
        across = self.kernel.n - len(self.kernel.sizes)
        out.aga[-1] += self.kernel.within
        out.agga[-1, -1] += self.kernel.within
        out.trace[-1] += across
        out.trace_pair[-1, -1] += across

    def _absorb(self) -> None:
        precision, mean = self.precision(), self.kernel.means
        for i in range(len(self.kernel.chain_terms)):
            shrink = 1.0 + self.ratio(i) * precision
            self.log_det += float(np.log(shrink).sum())
            v = precision / shrink
            self.v.append(v)
            if i == len(self.kernel.levels):
                self.last_mean = mean
                return
            level = self.kernel.levels[i]
            s = level.sums(v)
            above = level.sums(v[:, None] * mean) / s[:, None]
            inside = mean - above[level.parent]
            self.aha += inside.T @ (v[:, None] * inside)
            self.s.append(s)
            self.inside.append(inside)
            precision, mean = s, above

    def _solve_top(self) -> None:
        top, v = self.kernel.top, self.v[-1]
        if not top.blocks:
            self.b_last = v[:, None] * self.last_mean
            self.aha += self.last_mean.T @ self.b_last
            return
        ratio = np.zeros(top.indicators.shape[1])
        for block, term in zip(top.blocks, top.terms, strict=True):
            ratio[block] = self.gamma[term]
        self.c = top.crossed(v)
        self.j, log_det = _bordered_inverse(ratio, self.c.toarray(), top.blocks[0].stop)
        self.big_l = self.j * ratio
        self.log_det += log_det
        weighted = v[:, None] * self.last_mean
        cza = top.indicators.T @ weighted
        self.aha += self.last_mean.T @ weighted - cza.T @ self.big_l @ cza
        self.b_top = self.j.T @ cza
        self.b_last = weighted - v[:, None] * (top.indicators @ (self.big_l @ cza))

    def _descend(self) -> None:
        top, v = self.kernel.top, self.v[-1]
        own = sum((self.big_l[a, b] for a in top.codes for b in top.codes), np.zeros(len(v)))
        b, diagonal = self.b_last, v - v**2 * own
        self.b, self.diagonal = [b], [diagonal]
        for i in range(len(self.kernel.levels) - 1, -1, -1):
            parent, v = self.kernel.levels[i].parent, self.v[i]
            phi = v / self.s[i][parent]
            b = v[:, None] * self.inside[i] + phi[:, None] * b[parent]
            diagonal = v - v * phi + phi**2 * diagonal[parent]
            self.b.insert(0, b)
            self.diagonal.insert(0, diagonal)

    def pieces(self, t: int, residual: bool) -> Pieces:
        """The pieces of t terms."""
        c = self.kernel.within.shape[0]
        out = Pieces(self.log_det, self.aha, np.zeros((t, c, c)), np.zeros((t, t, c, c)), np.zeros(t), np.zeros((t, t)))
        live: Entering = []
        for i in range(len(self.kernel.chain_terms)):
            entering = self.entering(i, residual)
            for index, a, x in entering:
                out.aga[index] = x.T @ self.b[i]
                out.trace[index] = a @ self.diagonal[i]
            live += entering
            if i < len(self.kernel.levels):
                live = self._push(i, live, out)
        self._finish(live, out)
        if residual:
            self.add_inside(out)
        return out

    def _push(self, i: int, live: Entering, out: Pieces) -> Entering:
        """Add what this level gives to each pair of terms and take their weights and columns one level up."""
        level, v, s, above = self.kernel.levels[i], self.v[i], self.s[i], self.diagonal[i + 1]
        phi = v / s[level.parent]
        sums = [(level.sums(v**2 * a), level.sums(v * phi * a), level.sums(v[:, None] * x)) for _, a, x in live]
        for p, (ti, a, x) in enumerate(live):
            for q, (tj, b, y) in enumerate(live[: p + 1]):
                if sums[p][0] @ sums[q][0] == 0.0:
                    continue  # terms of types that share no parent
                pair = x.T @ (v[:, None] * y) - sums[p][2].T @ (sums[q][2] / s[:, None])
                ab = a * b
                value = ab @ (v**2) - 2.0 * (ab * v**2) @ phi + (sums[p][0] / s) @ (sums[q][0] / s)
                inner = level.sums(ab * v * phi**2) - sums[p][1] * sums[q][1] / s
                _add(out, ti, tj, pair, value + 2.0 * float(inner @ above))
        return [(t, level.sums(phi**2 * a), level.sums(phi[:, None] * x)) for t, a, x in live]

    def _finish(self, live: Entering, out: Pieces) -> None:
        """Pairs of terms on the last level and with the groupings at the top."""
        top, v = self.kernel.top, self.v[-1]
        if not top.blocks:
            self._finish_alone(live, out)
            return
        crossed = [top.crossed(v**2 * a) for _, a, _ in live]
        seen = [top.indicators.T @ (v[:, None] * x) for _, _, x in live]
        turned = [c @ self.big_l for c in crossed]
        for p, (ti, a, x) in enumerate(live):
            for q, (tj, b, y) in enumerate(live[: p + 1]):
                pair = x.T @ (v[:, None] * y) - seen[p].T @ self.big_l @ seen[q]
                ab = a * b
                third = top.crossed(v**3 * ab)
                value = ab @ (v**2) - 2.0 * third.multiply(self.big_l).sum() + np.vdot(turned[p].T, turned[q])
                _add(out, ti, tj, pair, float(value))
            for block, tj in zip(top.blocks, top.terms, strict=True):
                pair = (seen[p].T @ self.j[:, block]) @ self.b_top[block]
                _add(out, ti, tj, pair, float(np.vdot(self.j[:, block], crossed[p] @ self.j[:, block])))
        t_rr = self.c @ self.j
        for g, (bi, ti) in enumerate(zip(top.blocks, top.terms, strict=True)):
            out.aga[ti] = self.b_top[bi].T @ self.b_top[bi]
            out.trace[ti] = np.trace(t_rr[bi, bi])
            for bj, tj in zip(top.blocks[: g + 1], top.terms[: g + 1], strict=True):
                part = t_rr[bi, bj]
                _add(out, ti, tj, self.b_top[bi].T @ part @ self.b_top[bj], float(np.vdot(part, part)))

    def _finish_alone(self, live: Entering, out: Pieces) -> None:
        """Pairs of terms on the last level where nothing is above it."""
        v = self.v[-1]
        for p, (ti, a, x) in enumerate(live):
            for tj, b, y in live[: p + 1]:
                if a @ b > 0.0:
                    _add(out, ti, tj, x.T @ (v[:, None] * y), float((a * b) @ v**2))


def _bordered_inverse(ratio: np.ndarray, c: np.ndarray, d: int) -> tuple[np.ndarray, float]:
    """(I + diag(ratio) C)^-1 and its log determinant; the leading (d, d) block of C is diagonal."""
    lead = 1.0 / (1.0 + ratio[:d] * np.diagonal(c)[:d])
    across = (lead * ratio[:d])[:, None] * c[:d, d:]
    back = ratio[d:, None] * c[d:, :d]
    rest = np.eye(len(c) - d) + ratio[d:, None] * c[d:, d:] - back @ across
    small, log_det = inverse_and_log_det(rest)
    back = small @ back * lead
    corner = across @ back
    corner[np.diag_indices(d)] += lead
    return np.block([[corner, -across @ small], [-back, small]]), log_det - float(np.log(lead).sum())


def _add(out: Pieces, i: int, j: int, pair: np.ndarray, value: float) -> None:
    out.agga[i, j] += pair
    out.trace_pair[i, j] += value
    if i != j:
        out.agga[j, i] += pair.T
        out.trace_pair[j, i] += value


@dataclass(frozen=True)
class Chain:
    """Who is absorbed, in order, and who stays at the top."""

    absorbed: tuple[int, ...]
    top: tuple[int, ...]


def chain_of(groupings: Sequence[Grouping], carried: bool) -> Chain:
    """Longest run from the finest grouping in which each nests in all that come after it."""
    order = sorted(range(len(groupings)), key=lambda i: -groupings[i].levels)
    at = 0
    while carried and at < len(order):
        here = groupings[order[at]]
        if not all(here.nests_in(groupings[i]) for i in order[at + 1 :]):
            break
        at += 1
    return Chain(tuple(order[:at]), tuple(order[at:]))


def chain_order(groupings: Sequence[Grouping], chain: Chain, n: int) -> np.ndarray:
    """Order (n,) of rows in which the units of every absorbed level stand together."""
    if not chain.absorbed:
        return np.arange(n)
    return np.lexsort([groupings[i].codes for i in chain.absorbed])


def levels_of(groupings: Sequence[Grouping], chain: Chain, first: np.ndarray) -> tuple[tuple[Level, ...], Top]:
    """Levels above the first and the top; first (U,): a row of each unit of the first level, in chain order."""
    levels = []
    for term in chain.absorbed[1:]:
        codes = groupings[term].codes[first]
        starts = np.flatnonzero(np.concatenate([[True], codes[1:] != codes[:-1]]))
        parent = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, len(codes))))
        levels.append(Level(starts, parent))
        first = first[starts]
    blocks, at, codes = [], 0, []
    for term in chain.top:
        codes.append(at + groupings[term].codes[first])
        blocks.append(slice(at, at + groupings[term].levels))
        at += groupings[term].levels
    table = np.array(codes, dtype=np.intp).reshape(len(codes), len(first))
    return tuple(levels), Top(table, tuple(blocks), chain.top, indicator_columns(table, at))


def indicator_columns(codes: np.ndarray, columns: int) -> sparse.csr_array:
    """Indicator columns (U, columns) for codes (g, U) that count columns."""
    g, units = codes.shape
    pointers = np.arange(units + 1) * g
    return sparse.csr_array((np.ones(g * units), codes.T.ravel(), pointers), shape=(units, columns))
