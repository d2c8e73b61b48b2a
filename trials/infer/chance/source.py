"""Which mean squares the chances of a response rest on, and how the responses of one coupon move together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trials.errors import NotIdentifiable, TrialError
from trials.infer.chance.joint import effect_correlation
from trials.infer.chance.mean_squares import READING, Layers, find_layers
from trials.infer.chance.next_edge import NextEdge, next_edge
from trials.infer.checks import coupon_means

Array = NDArray[np.float64]
Labels = NDArray[np.object_]
FROM_THE_TOP = ("sheet", "specimen", "mount", "coupon")
OF_TYPE = ("coupon", READING)  # layers with enough members of one type to have a spread of its own
LEVELS = ("specimen", "coupon")


@dataclass(frozen=True)
class SpreadSource:
    """Mean squares of one response; by_type: coupons and readings spread by type, else pooled over the types."""

    layers: Layers
    by_type: bool

    def edge(self, row: Array, of_type: str, mean: float, se: float) -> NextEdge:
        """The next edge of a type at settings row (k,), with the mean of the mixed model and its standard error."""
        return next_edge(self.layers, row, of_type if self.by_type else None, mean, se)


def find_source(response: Array, fixed: Array, groups: Mapping[str, Labels], types: Labels) -> SpreadSource:
    """Mean squares with the spread of coupons and readings by type where the records carry that, else pooled.

    response (n,) on the model scale; fixed (n, k); groups {layer: labels (n,)}, any order; types: labels (n,).

    Raises
    ------
    NotIdentifiable
        If no row is left to judge even the pooled spread by.
    """
    ordered = {name: groups[name] for name in FROM_THE_TOP if name in groups}
    own = tuple(name for name in OF_TYPE if name in ordered or name == READING)
    try:
        return SpreadSource(find_layers(response, fixed, ordered, types, own), by_type=True)
    except NotIdentifiable:
        return SpreadSource(find_layers(response, fixed, ordered, types), by_type=False)


@dataclass(frozen=True)
class CouponResponse:
    """One response as read.

    y (n,) on the model scale; coupon: labels (n,); fixed (n, k); groups {layer: labels (n,)}; coupon_variance: of the
    coupon effects, 0 where it is not known.
    """

    y: Array
    coupon: Labels
    fixed: Array
    groups: Mapping[str, Labels]
    coupon_variance: float = 0.0


def correlations(responses: Sequence[CouponResponse]) -> dict[str, Array]:
    """Correlation matrices (m, m) of the responses' effects at "specimen" and "coupon", from the coupons they share.

    Zero where the shared coupons cannot tell.
    """
    found = {level: np.eye(len(responses)) for level in LEVELS}
    for i, one in enumerate(responses):
        for j, other in enumerate(responses[:i]):
            for level, value in _pair(one, other).items():
                found[level][i, j] = found[level][j, i] = value
    return found


def _pair(one: CouponResponse, other: CouponResponse) -> dict[str, float]:
    first, means, _ = coupon_means(one.y, one.coupon)
    second, values, _ = coupon_means(other.y, other.coupon)
    known = dict(zip(other.coupon[second].astype(str), values, strict=True))
    beside = np.array([known.get(name, np.nan) for name in one.coupon[first].astype(str)])
    keep = np.isfinite(beside)
    if not keep.any():
        return {}
    groups = {layer: labels[first][keep] for layer, labels in one.groups.items() if layer != "coupon"}
    own = (one.coupon_variance, other.coupon_variance)
    try:
        return effect_correlation(
            means[keep], beside[keep], one.fixed[first][keep], groups, own if min(own) > 0 else None
        )
    except TrialError:
        return {}
