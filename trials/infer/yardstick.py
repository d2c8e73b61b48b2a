"""The yardstick: nozzle types judged by how much specimens (or mounts) differ, whatever that spread is estimated as.

A spread cannot be below zero, its estimate can. Where specimens happen to look alike, holding the estimate at zero
makes the yardstick too long: the Kenward-Roger test then errs in 0.3 % instead of 5 %. Here the fit under the bound
only says how to weigh the readings; how long the yardstick is comes from quadratic forms at those weights, free to
fall below zero and unbiased (Rao 1971, J. Multivariate Analysis 1, 257-275). In a balanced trial these are the mean
squares of the classical strata, so F and degrees of freedom are the classical ones at any weights; a contrast that
mixes strata gets its part of each (Satterthwaite 1946, Biometrics Bulletin 2, 110-114). Elsewhere half of the
adjustment of Kenward and Roger (1997, eq. 3), the one for estimated weights, is added.

Groupings that do not nest in the unit (sheets) are taken out one by one as fixed columns, one rule whatever their
spread: what crosses the unit never lends it degrees of freedom. 12 specimens of 4 types on 3 sheets leave 6.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from trials.errors import WrongArgument, WrongShape
from trials.infer.mixed import Estimate, FTest, MixedDesign, MixedFit, interval
from trials.infer.mixed.by_type import TypedDesign
from trials.infer.mixed.groupings import RESIDUAL, Grouping, Labels, finest_codes, numbers, read_groupings
from trials.infer.mixed.kenward_roger import a1_a2
from trials.infer.mixed.kernel import read_fixed

BY_TYPE = ("coupon",)  # groupings that differ by type along with readings; specimens and mounts are pooled
SPANNED = 1e-10  # mean square of a unit column outside the fixed columns that is rounding
OUT_OF_REACH = 1e-6  # a yardstick shorter than chi-square / df is with this chance is no estimate


@dataclass(frozen=True)
class Estimates:
    """Several contrasts at once: values (q,), covariance (q, q), dfs (q,)."""

    values: np.ndarray
    covariance: np.ndarray
    dfs: np.ndarray


@dataclass(frozen=True, eq=False)
class Yardstick:
    """One response measured against its yardstick.

    fit: the model behind it, with k + added columns; added: columns of the groupings taken out.
    """

    fit: MixedFit
    added: int

    def test(self, contrast: np.ndarray) -> FTest:
        """Test that every row of contrast (q, k) gives zero; dependent rows are reduced and df says so.

        Raises
        ------
        WrongShape
            If contrast is not (q, k).
        WrongArgument
            If all rows of contrast are zero.
        NotFinite
            If contrast holds a value that is not a number.
        """
        rows, values = self.fit.reduced(self._padded(contrast))
        q = len(rows)
        stretch, df = self._stretch(rows)
        f = float(values @ values) / q / stretch
        return FTest(f, q, df, float(special.fdtrc(q, df, f)))

    def joint(self, contrasts: np.ndarray) -> tuple[np.ndarray, float, float]:
        """What a test of independent contrasts (q, k) goes by, whatever their values.

        Returns the inverse (q, q) of their covariance at the weights of the fit, what the yardstick is longer by, and
        its degrees of freedom; raises as test.
        """
        rows, _ = self.fit.reduced(self._padded(contrasts))
        turned = np.array([self.fit.single(row)[0] for row in self._padded(contrasts)])
        return np.linalg.inv(turned @ self.fit.adjustment.phi @ turned.T), *self._stretch(rows)

    def _stretch(self, rows: np.ndarray) -> tuple[float, float]:
        """Length of the yardstick of rows (q, k + added) of unit covariance, and its degrees of freedom."""
        q = len(rows)
        a1, _ = a1_a2(self.fit.adjustment, rows)
        df = 2.0 * q**2 / a1
        return float(length(np.trace(self._covariance(rows)) / q, df)), df

    def estimate(self, contrast: np.ndarray, confidence: float = 0.95) -> Estimate:
        """Estimate contrast (k,) @ coefficients with its interval; raises as test, and where confidence is no share."""
        turned, value = self.fit.single(self._padded(contrast))
        variance, df = self._variance(turned)
        return interval(value, float(np.sqrt(variance)), df, confidence)

    def estimates(self, contrasts: np.ndarray) -> Estimates:
        """Estimates of contrasts (q, k) with what simultaneous intervals need; raises as test.

        Correlations are those at the weights of the fit; each contrast has its own variance and degrees of freedom.
        """
        rows = self._padded(contrasts)
        if rows.ndim != 2 or not np.all(rows.any(axis=1)):
            raise WrongShape("contrasts must be rows (q, k) that are not all zero; leave out those that ask nothing")
        turned, values = self.fit.anchored.turned(rows), self.fit.anchored.values(rows)
        bounded = turned @ self.fit.adjustment.phi @ turned.T
        variances, dfs = self._variances(turned, np.diagonal(bounded))
        stretch = np.sqrt(variances / np.diagonal(bounded))
        return Estimates(values, bounded * np.outer(stretch, stretch), dfs)

    def _variances(self, turned: np.ndarray, bounded: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Variances (q,) of contrasts (q, k + added) one by one, and their degrees of freedom; see _variance."""
        parts = self.fit.adjustment
        each = np.einsum("qa,tab,qb->tq", turned, parts.turned, turned, optimize=True)
        dfs = 2.0 / np.einsum("tq,tu,uq->q", each, parts.w, each, optimize=True) * bounded**2
        free = -parts.free @ each + 0.5 * np.sum(turned @ (parts.phi_adjusted - parts.phi) * turned, axis=1)
        return bounded * length(free / bounded, dfs), dfs

    def _padded(self, contrast: np.ndarray) -> np.ndarray:
        rows = numbers(contrast, "the contrast")
        k = len(self.fit.coefficients) - self.added
        if not rows.ndim or rows.shape[-1] != k:
            raise WrongShape(f"the contrast has shape {rows.shape}, expected (q, k) or (k,) with k = {k}")
        return np.concatenate([rows, np.zeros((*rows.shape[:-1], self.added))], axis=-1)

    def _covariance(self, turned: np.ndarray) -> np.ndarray:
        """Covariance of contrasts (q, k + added) in terms of orthonormal columns, not held at zero spread."""
        parts = self.fit.adjustment
        free = -np.tensordot(parts.free, turned @ parts.turned @ turned.T, 1)
        return np.asarray(free + 0.5 * turned @ (parts.phi_adjusted - parts.phi) @ turned.T)

    def _variance(self, turned: np.ndarray) -> tuple[float, float]:
        """Variance of one contrast (k + added,) and its degrees of freedom."""
        row = turned[None, :]
        _, a2 = a1_a2(self.fit.adjustment, row)
        bounded = float(turned @ self.fit.adjustment.phi @ turned)
        return bounded * float(length(self._covariance(row)[0, 0] / bounded, 2.0 / a2)), 2.0 / a2


def length(ratio: np.ndarray | float, df: np.ndarray | float) -> np.ndarray:
    """Ratio of a free variance to the bounded one, or 1 where the ratio is none that a variance could have."""
    return np.where(ratio > special.chdtri(df, 1.0 - OUT_OF_REACH) / df, ratio, 1.0)


@dataclass(frozen=True, eq=False)
class YardstickDesign:
    """Fixed columns, groupings and unit made ready once, for any number of responses cut to the same plan.

    typed: with variances by type, None where there is one spread for all; added: columns of the groupings taken out.
    """

    pooled: MixedDesign
    typed: TypedDesign | None
    added: int

    @classmethod
    def build(
        cls,
        fixed: np.ndarray,
        groups: Mapping[str, Labels],
        unit: str = "specimen",
        types: Labels | None = None,
    ) -> YardstickDesign:
        """Check and prepare; arguments and errors as judge and estimate_between."""
        x = numbers(fixed, "the fixed part")
        if x.ndim != 2:
            raise WrongShape(f"the fixed columns have shape {x.shape}, expected (n, k)")
        found = {g.name: g for g in read_groupings(groups, len(x))}
        if unit not in (*found, RESIDUAL):
            raise WrongArgument(f"the unit {unit!r} is not among the groupings {sorted(found)}; name one of them")
        within = {name: unit != RESIDUAL and g.nests_in(found[unit]) for name, g in found.items()}
        inside = [g for name, g in found.items() if within[name]]
        wide, staying = _taken_out(x, [g for name, g in found.items() if not within[name]], finest_codes(inside))
        kept = {g.name: g.codes for g in (*inside, *staying)}
        added = wide.shape[1] - x.shape[1]
        if types is None:
            return cls(MixedDesign.build(wide, kept, dense=False), None, added)
        typed = TypedDesign.build(wide, kept, types, [name for name in BY_TYPE if name != unit])
        return cls(typed.design, typed, added)

    def fit(self, response: np.ndarray) -> Yardstick:
        """Measure one response (n,); raises as MixedDesign.fit."""
        return Yardstick((self.typed or self.pooled).fit(response), self.added)


def _taken_out(
    x: np.ndarray, groupings: Sequence[Grouping], codes: np.ndarray | None
) -> tuple[np.ndarray, list[Grouping]]:
    """Fixed columns with those of the groupings beside them, coded sum to zero, and the groupings that stay random.

    codes (n,): levels in which rows may repeat.

    One whose columns could not be told from the fixed columns asked about stays random: its spread then counts against
    them. What the constant or a grouping taken out before it gives adds nothing.
    """
    own, staying, wide = x, [], x
    for grouping in groupings:
        part = read_fixed(wide, codes)
        coding = np.vstack([np.eye(grouping.levels - 1), -np.ones(grouping.levels - 1)])
        columns = coding[grouping.codes]
        seen = part.q.T @ columns
        rest = columns - part.q @ seen
        values, vectors = np.linalg.eigh(rest.T @ rest / len(x))
        spanned = values <= SPANNED
        shared = own @ part.coefficients(seen @ vectors[:, spanned])[: own.shape[1]]
        if np.any(shared.var(axis=0) > SPANNED):
            staying.append(grouping)
        elif not spanned.all():
            wide = np.hstack([wide, (coding @ vectors[:, ~spanned])[grouping.codes]])
    return wide, staying


def judge(
    response: np.ndarray,
    fixed: np.ndarray,
    groups: Mapping[str, Labels],
    contrast: np.ndarray,
    unit: str = "specimen",
    types: Labels | None = None,
) -> FTest:
    """Test of a contrast among types against the unit: in a balanced trial the classical test of its stratum.

    Args:
        response: (n,) readings on the model scale.
        fixed: (n, k) model matrix of full column rank, any coding.
        groups: name -> labels (n,), as for fit_mixed; groupings inside the unit carry a variance, others (sheets) are
            taken out one by one, unless that would take a fixed column along.
        contrast: (q, k) what is zero if types do not differ.
        unit: the grouping that types are judged against, or "reading".
        types: (n,) type of each reading where the spread of coupons and readings differs by type.

    Raises
    ------
    WrongShape
        If arrays do not fit together.
    WrongArgument
        If unit is not among the groupings.
    NotFinite
        If a value or label is missing or infinite.
    NotIdentifiable
        As fit_mixed; or a type has too few rows to show its spread.
    """
    return YardstickDesign.build(fixed, groups, unit, types).fit(response).test(contrast)


def estimate_between(
    response: np.ndarray,
    fixed: np.ndarray,
    groups: Mapping[str, Labels],
    contrast: np.ndarray,
    unit: str = "specimen",
    types: Labels | None = None,
    confidence: float = 0.95,
) -> Estimate:
    """Estimate of contrast (k,) @ coefficients against the unit; arguments and errors as judge.

    A contrast at one setting lies between units in part and inside them in part; its interval is approximate.
    """
    return YardstickDesign.build(fixed, groups, unit, types).fit(response).estimate(contrast, confidence)
