"""Traces and cross-products of a mixed model with covariance H = I + sum of gamma_i G_i, without an (n, n) matrix.

G_i = Z_i Z_i' for a grouping i with indicator columns Z_i, and the identity for the residual. The rows are handled as
U units that share everything random: the levels of the finest grouping where it nests in all the others (the
carrier), else the rows themselves. For a carrier the covariance of a unit of n_u rows has eigenvalue 1 + gamma n_u
along its mean and 1 across it, so rows enter through unit means, unit sizes and one within-unit cross-product.

With W = diag(w), w = n / (1 + gamma n), and Y = [Z A] the unit means of the remaining indicators and of A = [X y]:
C[s] = Y' diag(s) Y is a sum over the distinct unit sizes, formed once, so an evaluation touches neither rows nor units.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.linalg import lapack


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


class Kernel(Protocol):
    """Evaluates Pieces at variance ratios gamma (r,), groupings in their given order, the residual last if asked."""

    def evaluate(self, gamma: np.ndarray, residual: bool) -> Pieces:
        """Return the pieces at gamma."""


@dataclass(frozen=True)
class DenseKernel:
    """Pieces by dense algebra in the m levels of all groupings but the carrier.

    sizes (d,): the distinct unit sizes; counts (d,): units of each size; cross (d, m + c, m + c): Y'Y over the units
    of each size; within (c, c): cross-product of A inside units; blocks: slice of the m columns per grouping, None
    for the carrier; n: rows.
    """

    sizes: np.ndarray
    counts: np.ndarray
    cross: np.ndarray
    within: np.ndarray
    blocks: tuple[slice | None, ...]
    n: int

    @property
    def m(self) -> int:
        """Number of random columns left beside the carrier."""
        return self.cross.shape[1] - self.within.shape[0]

    def evaluate(self, gamma: np.ndarray, residual: bool) -> Pieces:
        """Return the pieces at gamma (r,)."""
        state = _State(self, gamma)
        diagonals = [(i, np.ones_like(self.sizes)) for i, b in enumerate(self.blocks) if b is None]
        if residual:
            diagonals.append((len(self.blocks), 1.0 / self.sizes if self.has_carrier else np.ones_like(self.sizes)))
        t = len(self.blocks) + int(residual)
        c = self.within.shape[0]
        out = Pieces(
            state.log_det, state.aha(), np.empty((t, c, c)), np.empty((t, t, c, c)), np.empty(t), np.empty((t, t))
        )
        state.fill_blocks(out)
        state.fill_diagonals(out, diagonals)
        if residual:
            across = self.n - float(self.counts.sum())
            out.aga[-1] += self.within
            out.agga[-1, -1] += self.within
            out.trace[-1] += across
            out.trace_pair[-1, -1] += across
        return out

    @property
    def has_carrier(self) -> bool:
        """Whether units are the levels of a grouping rather than rows."""
        return any(b is None for b in self.blocks)


class _State:
    """The solves at one gamma that all pieces share: L = (Gamma^-1 + C)^-1 and J = L Gamma^-1 with C = Z'WZ."""

    def __init__(self, kernel: DenseKernel, gamma: np.ndarray) -> None:
        self.kernel = kernel
        m, sizes = kernel.m, kernel.sizes
        carried = sum(g for g, b in zip(gamma, kernel.blocks, strict=True) if b is None)
        shrink = 1.0 + carried * sizes
        self.w = sizes / shrink if kernel.has_carrier else np.ones_like(sizes)
        ratio = np.zeros(m)
        for g, block in zip(gamma, kernel.blocks, strict=True):
            if block is not None:
                ratio[block] = g
        total = self.weighted(self.w)
        self.czz, self.cza, self.caa = total[:m, :m], total[:m, m:], total[m:, m:]
        self.j, log_det = inverse_and_log_det(np.eye(m) + ratio[:, None] * self.czz)
        self.big_l = self.j * ratio
        self.log_det = log_det + float(kernel.counts @ np.log(shrink))
        self.v = np.vstack([-self.big_l @ self.cza, np.eye(self.caa.shape[0])])
        self.b = self.j.T @ self.cza

    def weighted(self, s: np.ndarray) -> np.ndarray:
        cross = self.kernel.cross
        return s[0] * cross[0] if len(s) == 1 else np.tensordot(s, cross, axes=1)

    def aha(self) -> np.ndarray:
        return self.kernel.within + self.caa + self.cza.T @ self.v[: self.kernel.m]

    def fill_blocks(self, out: Pieces) -> None:
        t_rr = self.czz @ self.j
        for i, bi in enumerate(self.kernel.blocks):
            if bi is None:
                continue
            out.aga[i] = self.b[bi].T @ self.b[bi]
            out.trace[i] = np.trace(t_rr[bi, bi])
            for j, bj in enumerate(self.kernel.blocks[: i + 1]):
                if bj is None:
                    continue
                part = t_rr[bi, bj]
                pair = self.b[bi].T @ part @ self.b[bj]
                out.agga[i, j], out.agga[j, i] = pair, pair.T
                out.trace_pair[i, j] = out.trace_pair[j, i] = np.vdot(part, part)

    def fill_diagonals(self, out: Pieces, diagonals: list[tuple[int, np.ndarray]]) -> None:
        m, w, counts = self.kernel.m, self.w, self.kernel.counts
        second = {i: self.weighted(w**2 * d) for i, d in diagonals}
        to_z = {i: second[i][:m] @ self.v for i, _ in diagonals}
        l_c = {i: self.big_l @ second[i][:m, :m] for i, _ in diagonals}
        for i, di in diagonals:
            out.aga[i] = self.v.T @ (second[i] @ self.v)
            out.trace[i] = counts @ (w * di) - np.trace(l_c[i])
            through = to_z[i].T @ self.j
            seen = second[i][:m, :m] @ self.j
            for g, block in enumerate(self.kernel.blocks):
                if block is None:
                    continue
                pair = through[:, block] @ self.b[block]
                out.agga[i, g], out.agga[g, i] = pair, pair.T
                out.trace_pair[i, g] = out.trace_pair[g, i] = np.vdot(self.j[:, block], seen[:, block])
            for j, dj in diagonals:
                if j > i:
                    continue
                third = self.weighted(w**3 * di * dj)
                pair = self.v.T @ (third @ self.v) - to_z[i].T @ self.big_l @ to_z[j]
                out.agga[i, j], out.agga[j, i] = pair, pair.T
                value = counts @ (w**2 * di * dj) - 2.0 * np.vdot(self.big_l, third[:m, :m]) + np.vdot(l_c[i].T, l_c[j])
                out.trace_pair[i, j] = out.trace_pair[j, i] = value


def inverse_and_log_det(matrix: np.ndarray) -> tuple[np.ndarray, float]:
    """Inverse and log determinant of a matrix with positive determinant, by one LU factorisation."""
    if matrix.shape[0] == 0:
        return matrix, 0.0
    lu, pivots, _ = lapack.dgetrf(matrix)
    inverse, _ = lapack.dgetri(lu, pivots)
    return inverse, float(np.log(np.abs(np.diagonal(lu))).sum())
