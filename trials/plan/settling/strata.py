"""How well a plan tells types apart, stratum by stratum: within mounts, between mounts, between specimens.

With equal coupons in every mount and equal mounts of every specimen the covariance of the coupons is
V = sum of lambda_s E_s over three strata (Nelder 1965, Proc. R. Soc. A 283, 147-162), so all that the analysis needs
of a plan is X'E_s X, a sum over its specimens. Sheets hold the types in equal proportion: they cost degrees of freedom
and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from trials.plan.settling.request import Pattern, coupon_variance

Array = np.ndarray
SPECIMEN, MOUNT, WITHIN = range(3)
SINGULAR = 1e-9  # smallest eigenvalue of a matrix of columns of length one


@dataclass(frozen=True)
class Precision:
    """Of B plans, for J comparisons with today's type.

    covariance (B, J, J) of the estimates; between (B, J): the part of each variance that rests on specimens, the rest
    on mounts and coupons; between_df (B,), rest_df (B, J): degrees of freedom of the two parts; usable (B,): False
    where the plan cannot estimate the curves of the trial, or nothing is left to judge types by.
    """

    covariance: Array
    between: Array
    between_df: Array
    rest_df: Array
    usable: Array


@dataclass(frozen=True)
class Strata:
    """Sums over specimens for one pattern.

    sums (types, specimens + 1, 3, k, k): X'E_s X of the first n specimens of a type; contrasts (J, k).
    """

    pattern: Pattern
    sums: Array
    contrasts: Array

    def precision(self, specimens: Array, sheets: Array, variances: Mapping[str, float]) -> Precision:
        """What plans with these specimens (B, types) on so many sheets (B,) know, at variances by source.

        Degrees of freedom by Satterthwaite (1946) from the information that restricted likelihood has of the strata.
        """
        lambdas = self._lambdas(variances)
        parts = sum(self.sums[kind, count] for kind, count in enumerate(specimens.T))
        scaled = parts / lambdas[:, None, None]
        whole = scaled.sum(axis=1)
        usable = _full_rank(whole)
        phi = np.linalg.inv(np.where(usable[:, None, None], whole, np.eye(whole.shape[1])))
        share = phi[:, None] @ scaled
        turned = self.contrasts @ phi
        covariance = turned @ self.contrasts.T
        by_stratum = np.einsum("bjk,bskl,bjl->bsj", turned, scaled, turned)
        ranks = self._ranks(specimens, sheets)
        usable &= ranks[:, SPECIMEN] > len(self.sums)
        cov = _log_covariance(share, ranks)
        rest = by_stratum[:, [MOUNT, WITHIN]]
        spread = np.einsum("bsj,bst,btj->bj", rest, cov[:, 1:, 1:], rest)
        total = rest.sum(axis=1)
        rest_df = np.where(spread > 1e-30, 2.0 * total**2 / np.maximum(spread, 1e-30), 1e6)
        between_df = np.clip(2.0 / cov[:, SPECIMEN, SPECIMEN], 1.0, 1e6)
        return Precision(covariance, by_stratum[:, SPECIMEN], between_df, np.clip(rest_df, 1.0, 1e6), usable)

    def _lambdas(self, variances: Mapping[str, float]) -> Array:
        """Variance of the strata in units of a coupon, (3,)."""
        coupon = coupon_variance(variances, self.pattern.readings)
        mount = coupon + self.pattern.coupons * variances.get("mount", 0.0)
        specimen = mount + self.pattern.coupons * self.pattern.mounts * variances.get("specimen", 0.0)
        return np.array([specimen, mount, coupon])

    def _ranks(self, specimens: Array, sheets: Array) -> Array:
        """Degrees of freedom of the strata before anything is estimated, (B, 3)."""
        pieces = specimens.sum(axis=1)
        mounts = pieces * self.pattern.mounts
        return np.stack([pieces - (sheets - 1), mounts - pieces, mounts * (self.pattern.coupons - 1)], axis=1)


def _full_rank(whole: Array) -> Array:
    """Which of the matrices (B, k, k) can be turned around."""
    length = np.sqrt(np.maximum(np.diagonal(whole, axis1=1, axis2=2), 1e-300))
    lowest = np.linalg.eigvalsh(whole / length[:, :, None] / length[:, None, :])[:, 0]
    return np.asarray(lowest > SINGULAR)


def _log_covariance(share: Array, ranks: Array) -> Array:
    """Covariance (B, 3, 3) of the logs of the estimated strata, from the restricted likelihood's information.

    A stratum without rows (mounts where each specimen has one) stays apart from the others.
    """
    cross = np.einsum("bskl,btlk->bst", share, share)
    own = ranks - 2.0 * np.einsum("bskk->bs", share)
    information = cross + own[:, :, None] * np.eye(3)
    empty = ranks < 1
    information = np.where(empty[:, :, None] | empty[:, None, :], 1e9 * np.eye(3), information)
    covariance = 2.0 * np.linalg.inv(information + 1e-9 * np.eye(3))
    low = np.diagonal(covariance, axis1=1, axis2=2) <= 0
    return np.where(low[:, :, None] & np.eye(3, dtype=bool), 2.0, covariance)


def build_strata(pattern: Pattern, rows: Sequence[Array], contrasts: Array) -> Strata:
    """Sums over specimens; rows: by type the model rows (mounts, coupons, k) in order of dealing."""
    k = contrasts.shape[1]
    sums = []
    for mounts in rows:
        stacked = mounts.reshape(-1, pattern.mounts, pattern.coupons, k)
        means = stacked.sum(axis=2)
        whole = means.sum(axis=1)
        gram = np.einsum("nmck,nmcl->nkl", stacked, stacked)
        of_mounts = np.einsum("nmk,nml->nkl", means, means) / pattern.coupons
        of_pieces = np.einsum("nk,nl->nkl", whole, whole) / (pattern.coupons * pattern.mounts)
        each = np.stack([of_pieces, of_mounts - of_pieces, gram - of_mounts], axis=1)
        sums.append(np.concatenate([np.zeros((1, 3, k, k)), np.cumsum(each, axis=0)]))
    return Strata(pattern, np.asarray(sums), contrasts)
