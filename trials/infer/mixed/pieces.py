"""Traces and cross-products of a mixed model with covariance H = I + sum of gamma_i G_i, without an (n, n) matrix.

G_i = Z_i Z_i' for a grouping i with indicator columns Z_i, and the identity for the residual. The rows are handled as
U units: the levels of the finest grouping (the carrier), or the rows themselves where there is none. The carrier's
part of the covariance of a unit of n_u rows has eigenvalue 1 + gamma n_u along its mean and 1 across it, so rows enter
through unit means, unit sizes and one within-unit cross-product.

With W = diag(w), w = n / (1 + gamma n), and Y = [Z A] the unit means of the remaining indicators and of A = [X y]:
C[s] = Y' diag(s) Y is a sum over the distinct unit sizes, formed once, so an evaluation touches neither rows nor units.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np


@dataclass(frozen=True)
class Pieces:
    """What criterion, derivatives and the Kenward-Roger adjustment need; t terms, c = k + 1 columns of A = [X y].

    log_det: log |H|. aha (c, c): A'H^-1 A. aga (t, c, c): A'H^-1 G_i H^-1 A. agga (t, t, c, c):
    A'H^-1 G_i H^-1 G_j H^-1 A. trace (t,): tr(H^-1 G_i). trace_pair (t, t): tr(H^-1 G_i H^-1 G_j).
    """

    log_det: float
    aha: np.ndarray
    aga: np.ndarray
    agga: np.ndarray
    trace: np.ndarray
    trace_pair: np.ndarray

    def put_pair(self, i: int, j: int, product: np.ndarray, trace: float) -> None:
        """Set A'H^-1 G_i H^-1 G_j H^-1 A and its trace, and the mirrored pair."""
        self.agga[i, j], self.agga[j, i] = product, product.T
        self.trace_pair[i, j] = self.trace_pair[j, i] = trace


class Kernel(Protocol):
    """Evaluates Pieces at variance ratios gamma (r,), groupings in their given order, the residual last if asked."""

    def evaluate(self, gamma: np.ndarray, residual: bool) -> Pieces:
        """Return the pieces at gamma."""


@dataclass(frozen=True)
class DenseKernel:
    """Pieces by dense algebra in the m levels of all groupings but the carrier.

    sizes (d,): the distinct unit sizes; counts (d,): units of each size; cross (d, m + c, m + c): Y'Y of unit means
    over the units of each size; within (m + c, m + c): Y'Y of the deviations inside units, zero in the random columns
    where the carrier nests in every grouping; blocks: slice of the m columns per grouping, None for
    the carrier; n: rows.
    """

    sizes: np.ndarray
    counts: np.ndarray
    cross: np.ndarray
    within: np.ndarray
    blocks: tuple[slice | None, ...]
    m: int
    n: int

    def evaluate(self, gamma: np.ndarray, residual: bool) -> Pieces:
        """Return the pieces at gamma (r,)."""
        diagonals = [(i, 0) for i, b in enumerate(self.blocks) if b is None]
        if residual:
            diagonals.append((len(self.blocks), 1))
        state = _State(self, gamma, [r for _, r in diagonals])
        t, c = len(self.blocks) + int(residual), len(self.within) - self.m
        shape = np.zeros((t, c, c)), np.zeros((t, t, c, c)), np.zeros(t), np.zeros((t, t))
        out = Pieces(state.log_det, state.aha(), *shape)
        state.fill_blocks(out)
        state.fill_diagonals(out, diagonals)
        if residual:
            across = self.n - float(self.counts.sum())
            out.trace[-1] += across
            out.trace_pair[-1, -1] += across
        return out


class _State:
    """The solves at one gamma that all pieces share: L = (Gamma^-1 + C)^-1 and J = L Gamma^-1 with C = Z'WZ.

    On unit means the carrier acts as the identity and the residual as diag(1 / sizes), so that all sums over units are
    C[w^p / sizes^r]: p counts factors of H^-1, r those of the residual. Deviations inside units pass where every factor
    between two H^-1 is the residual, r = p - 1.
    """

    def __init__(self, kernel: DenseKernel, gamma: np.ndarray, exponents: list[int]) -> None:
        self.kernel = kernel
        m, sizes = kernel.m, kernel.sizes
        ratio, carried = np.zeros(m), 0.0
        for g, block in zip(gamma, kernel.blocks, strict=True):
            if block is None:
                carried = g
            else:
                ratio[block] = g
        shrink = 1.0 + carried * sizes
        self.m, self.w = m, sizes / shrink
        keys = {(1, 0)} | {(2, r) for r in exponents} | {(3, r + q) for r in exponents for q in exponents}
        self.weights = {(p, r): self.w**p / sizes**r for p, r in keys}
        sums = np.array(list(self.weights.values())) @ kernel.cross.reshape(len(sizes), -1)
        self.sums = dict(zip(self.weights, sums.reshape(-1, *kernel.within.shape), strict=True))
        for p, r in self.sums:
            if r == p - 1:
                self.sums[p, r] += kernel.within
        total = self.sums[1, 0]
        self.czz, self.cza, self.caa = total[:m, :m], total[:m, m:], total[m:, m:]
        self.j, log_det = inverse_and_log_det(np.eye(m) + ratio[:, None] * self.czz)
        self.big_l = self.j * ratio
        self.log_det = log_det + float(kernel.counts @ np.log(shrink))
        self.v = np.vstack([-self.big_l @ self.cza, np.eye(len(self.caa))])
        self.b = self.j.T @ self.cza

    def aha(self) -> np.ndarray:
        result: np.ndarray = self.caa + self.cza.T @ self.v[: self.m]
        return result

    def fill_blocks(self, out: Pieces) -> None:
        t_rr = self.czz @ self.j
        for i, bi in enumerate(self.kernel.blocks):
            if bi is None:
                continue
            out.aga[i] = self.b[bi].T @ self.b[bi]
            out.trace[i] = np.diagonal(t_rr)[bi].sum()
            for j, bj in enumerate(self.kernel.blocks[: i + 1]):
                if bj is None:
                    continue
                part = t_rr[bi, bj]
                out.put_pair(i, j, self.b[bi].T @ part @ self.b[bj], np.vdot(part, part))

    def fill_diagonals(self, out: Pieces, diagonals: list[tuple[int, int]]) -> None:
        m, counts = self.m, self.kernel.counts
        second = {r: self.sums[2, r] @ self.v for _, r in diagonals}
        turned = {r: self.big_l @ self.sums[2, r][:m, :m] for _, r in diagonals}
        for i, r in diagonals:
            to_z = second[r][:m]
            out.aga[i] = self.v.T @ second[r]
            out.trace[i] = counts @ (self.weights[2, r] / self.w) - np.trace(turned[r])
            through = to_z.T @ self.j
            seen = self.sums[2, r][:m, :m] @ self.j
            for g, block in enumerate(self.kernel.blocks):
                if block is not None:
                    value = np.vdot(self.j[:, block], seen[:, block])
                    out.put_pair(i, g, through[:, block] @ self.b[block], value)
            for j, q in diagonals:
                if j > i:
                    continue
                third = self.sums[3, r + q]
                pair = self.v.T @ (third @ self.v) - to_z.T @ self.big_l @ second[q][:m]
                value = counts @ (self.weights[3, r + q] / self.w)
                value += np.vdot(turned[r].T, turned[q]) - 2.0 * np.vdot(self.big_l, third[:m, :m])
                out.put_pair(i, j, pair, value)


def inverse_and_log_det(matrix: np.ndarray) -> tuple[np.ndarray, float]:
    """Inverse and log determinant of a matrix with positive determinant."""
    return np.linalg.inv(matrix), float(np.linalg.slogdet(matrix)[1])
