"""Shares of coupons that came out as required, compared between types by their specimens.

A specimen's share is one figure; types are means of their specimens' shares and differ against the spread of shares
between specimens of one type. Where specimens are alike by luck (all of them at 0 or 1), their spread is not taken
below that of counting so many coupons: the binomial variance at the type's share, half a coupon added to each side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trials.errors import NotIdentifiable, WrongShape
from trials.infer.means.simultaneous import Simultaneous, against_reference

Array = NDArray[np.float64]
Labels = NDArray[np.object_]


@dataclass(frozen=True)
class ShareDifferences:
    """Differences in share from the reference: types (m,), values (m,), df, covariance (m, m) of the values.

    of_one: variance of one specimen's share, the mean over all types.
    """

    types: tuple[str, ...]
    values: Array
    covariance: Array
    df: int
    of_one: float

    def at(self, confidence: float) -> Simultaneous:
        """Limits of all differences that hold together at this confidence."""
        return against_reference(self.values, self.covariance, np.full(len(self.values), float(self.df)), confidence)


def share_differences(met: Array, tried: Array, types: Labels, reference: str) -> ShareDifferences:
    """Share of each type less that of the reference.

    met, tried (s,): coupons of each specimen that came out as required, and that were tried; types (s,): its label.

    Raises
    ------
    WrongShape
        If the arrays do not fit, a specimen has no coupon or more met than tried, or the reference is not among types.
    NotIdentifiable
        If no type has a second specimen.
    """
    _check(met, tried, types, reference)
    names = list(dict.fromkeys(types.tolist()))
    df = len(met) - len(names)
    if df < 1 or len(names) < 2:
        raise NotIdentifiable("Every type has one specimen, so shares cannot be compared; cut with more specimens.")
    shares = met / tried
    means = {name: float(shares[types == name].mean()) for name in names}
    within = sum(float(((shares[types == name] - means[name]) ** 2).sum()) for name in names) / df
    each = {name: max(within, _counting(met, tried, types == name)) for name in names}
    variance = {name: each[name] / int((types == name).sum()) for name in names}
    others = [name for name in names if name != reference]
    covariance = np.full((len(others), len(others)), variance[reference])
    covariance[np.diag_indices(len(others))] += [variance[name] for name in others]
    values = np.array([means[name] - means[reference] for name in others])
    return ShareDifferences(tuple(others), values, covariance, df, float(np.mean(list(each.values()))))


def _counting(met: Array, tried: Array, own: NDArray[np.bool_]) -> float:
    """Variance of one specimen's share by counting alone."""
    share = (met[own].sum() + 0.5) / (tried[own].sum() + 1.0)
    return float(share * (1.0 - share) * np.mean(1.0 / tried[own]))


def _check(met: Array, tried: Array, types: Labels, reference: str) -> None:
    if not met.shape == tried.shape == types.shape or met.ndim != 1:
        raise WrongShape("Coupons that met, coupons tried and types must be one figure for each specimen.")
    if not ((tried >= 1) & (met >= 0) & (met <= tried)).all():
        raise WrongShape("A specimen needs a coupon that was tried, and no more that met than that.")
    if reference not in types.tolist():
        raise WrongShape(f"There is no specimen of {reference!r} to compare with.")
