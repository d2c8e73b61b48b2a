"""Many responses cut to one plan, each against its own yardstick: what simulated trials need, all at once.

The same figures as `YardstickDesign.fit` gives one by one (yardstick.py tells what they are); here the contrasts are
named beforehand, so that every matrix is as small as the contrasts or the cells of the plan.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import special

from trials.errors import NotFinite, TrialError, WrongShape
from trials.infer.mixed import FixedPart
from trials.infer.mixed.cells import Cells, in_cells
from trials.infer.mixed.scoring import Scores, score, search
from trials.infer.yardstick import Estimates, Yardstick, YardstickDesign, length

CHUNK = 100  # responses at a time: enough to keep loops out, few enough to stay in a processor's cache


@dataclass(frozen=True)
class Judgements:
    """Contrasts of many responses.

    estimates: values (B, q), covariance (B, q, q), dfs (B, q). The joint test that all are zero goes by the inverse
    (B, q, q) of their covariance at the weights of the fit, the stretch (B,) of its scale, and den_df (B,).
    """

    estimates: Estimates
    inverse: np.ndarray
    stretch: np.ndarray
    den_df: np.ndarray

    def p(self, moved: np.ndarray | float = 0.0) -> np.ndarray:
        """The p (B,) that all contrasts are zero, had every response a true difference that moves them by (q,) more."""
        values = self.estimates.values + moved
        q = values.shape[1]
        f = np.einsum("bi,bij,bj->b", values, self.inverse, values) / q / self.stretch
        result: np.ndarray = special.fdtrc(q, self.den_df, f)
        return result


@dataclass(frozen=True, eq=False)
class ManyDesign:
    """A yardstick's plan made ready for many responses; cells None where each is fitted alone."""

    design: YardstickDesign
    part: FixedPart
    cells: Cells | None
    nu: int

    @classmethod
    def build(cls, design: YardstickDesign) -> ManyDesign:
        """Make a yardstick ready; nothing is checked that it has not checked."""
        typed = design.typed
        if typed is not None:
            return cls(design, typed.design.fixed_part, typed.cells, typed.design.nu)
        pooled = design.pooled
        finest = max(pooled.groupings, key=lambda g: g.levels, default=None)
        one = np.zeros(len(pooled.fixed_part.q), dtype=np.intp)
        split = () if finest is None else (finest.name,)
        return cls(design, pooled.fixed_part, in_cells(pooled.fixed_part, pooled.groupings, one, 1, split), pooled.nu)

    def fit(self, responses: np.ndarray) -> ManyFits:
        """Fit responses (B, n); those that leave nothing to judge by are left out where each is fitted alone.

        Raises:
            WrongShape: responses is not (B, n).
            NotFinite: a value is missing or infinite.
        """
        y, n = np.asarray(responses, dtype=float), len(self.part.q)
        if y.ndim != 2 or y.shape[1] != n:
            raise WrongShape(f"the responses have shape {y.shape}, expected (B, {n}); give a row per response")
        if not np.isfinite(y).all():
            raise NotFinite("a response holds a value that is not a finite number; leave the response out")
        if self.cells is None:
            return ManyFits(self, (), tuple(self._one_by_one(y)))
        chunks = [self._together(self.cells, y[i : i + CHUNK]) for i in range(0, len(y), CHUNK)]
        return ManyFits(self, tuple(chunks), ())

    def _together(self, cells: Cells, y: np.ndarray) -> _Chunk:
        q = self.part.q
        weights = y @ q
        rest = y - weights @ q.T
        again = rest @ q
        rest = rest - again @ q.T
        unit = np.sqrt((rest**2).sum(axis=1) / self.nu)
        data = cells.reduced(rest / unit[:, None])
        found = score(cells, data, search(cells, data)[0])
        beta = found.phi @ (found.vx.transpose(0, 2, 1) @ data.values[..., None])
        return _Chunk(found, weights + again + unit[:, None] * beta[..., 0], found.rss / self.nu * unit**2)

    def _one_by_one(self, y: np.ndarray) -> Iterator[Yardstick]:
        for each in y:
            try:
                yield self.design.fit(each)
            except TrialError:
                continue  # nothing to judge by


@dataclass(frozen=True)
class _Chunk:
    """Responses fitted together: coefficients (B, k) of the orthonormal columns and residual variances (B,)."""

    found: Scores
    coefficients: np.ndarray
    sigma2: np.ndarray


@dataclass(frozen=True, eq=False)
class ManyFits:
    """Many responses measured against their yardsticks, together or each alone."""

    design: ManyDesign
    chunks: tuple[_Chunk, ...]
    alone: tuple[Yardstick, ...]

    def judge(self, contrasts: np.ndarray) -> Judgements:
        """Contrasts (q, k), independent of each other.

        Raises:
            WrongShape: contrasts is not (q, k).
            NotFinite: a weight is not a finite number.
        """
        design, rows = self.design, np.asarray(contrasts, dtype=float)
        k = design.part.q.shape[1] - design.design.added
        if rows.ndim != 2 or rows.shape[1] != k:
            raise WrongShape(f"the contrasts have shape {rows.shape}, expected (q, {k})")
        if not np.isfinite(rows).all():
            raise NotFinite("a contrast holds a value that is not a finite number; give plain weights")
        if design.cells is None:
            return _joined([_alone(one, rows) for one in self.alone], len(rows))
        wide = np.hstack([rows, np.zeros((len(rows), design.design.added))])
        turned = np.linalg.solve(design.part.r.T, (wide / design.part.scale).T).T
        return _joined([_judged(design.cells, chunk, turned, design.nu) for chunk in self.chunks], len(rows))


def _judged(cells: Cells, chunk: _Chunk, turned: np.ndarray, nu: int) -> Judgements:
    """Contrasts in terms of orthonormal columns turned (q, k)."""
    found, sigma2 = chunk.found, chunk.sigma2[:, None, None]
    w = 2.0 * np.linalg.inv(found.information)
    free = cells.linear.T @ (0.5 * w @ (found.quadratic * (nu / found.rss)[:, None])[..., None])
    w = cells.linear.T @ w @ cells.linear
    rows = turned @ found.phi
    bounded = rows @ turned.T
    y = found.vx @ rows.transpose(0, 2, 1)
    gy = cells.turned(y)
    parts = y.transpose(0, 2, 1)[:, None] @ gy  # minus Phi P_i Phi of Kenward and Roger, between contrasts
    weighted = np.einsum("brs,bsnq->brnq", w, gy)
    more = (gy.transpose(0, 1, 3, 2) @ (found.p[:, None] @ weighted)).sum(axis=1)
    length_free = np.einsum("br,brij->bij", free[..., 0], parts) + 0.5 * (more + more.transpose(0, 2, 1))
    single = np.diagonal(parts, axis1=2, axis2=3) / np.diagonal(bounded, axis1=1, axis2=2)[:, None]
    dfs = 2.0 / np.einsum("bri,brs,bsi->bi", single, w, single)
    own = length(np.diagonal(length_free, axis1=1, axis2=2) / np.diagonal(bounded, axis1=1, axis2=2), dfs)
    inverse, q = np.linalg.inv(bounded), len(turned)
    traces = np.einsum("bij,brji->br", inverse, parts)
    den_df = 2.0 * q**2 / np.einsum("br,brs,bs->b", traces, w, traces)
    stretch = length(np.einsum("bij,bji->b", inverse, length_free) / q, den_df)
    root = np.sqrt(own)
    covariance = bounded * root[:, :, None] * root[:, None, :] * sigma2
    return Judgements(Estimates(chunk.coefficients @ turned.T, covariance, dfs), inverse / sigma2, stretch, den_df)


def _alone(yardstick: Yardstick, rows: np.ndarray) -> Judgements:
    """One response as a stack of one."""
    found = yardstick.estimates(rows)
    inverse, stretch, den_df = yardstick.joint(rows)
    one = Estimates(found.values[None], found.covariance[None], found.dfs[None])
    return Judgements(one, inverse[None], np.array([stretch]), np.array([den_df]))


def _joined(parts: list[Judgements], q: int) -> Judgements:
    """Stacks of q contrasts as one."""
    none = Judgements(
        Estimates(np.empty((0, q)), np.empty((0, q, q)), np.empty((0, q))),
        np.empty((0, q, q)),
        np.empty(0),
        np.empty(0),
    )
    parts, each = [none, *parts], [p.estimates for p in (none, *parts)]
    return Judgements(
        Estimates(
            np.concatenate([e.values for e in each]),
            np.concatenate([e.covariance for e in each]),
            np.concatenate([e.dfs for e in each]),
        ),
        np.concatenate([p.inverse for p in parts]),
        np.concatenate([p.stretch for p in parts]),
        np.concatenate([p.den_df for p in parts]),
    )
