"""Lives by type: ratio of two types, check of a common shape, product-limit table, bound when nothing failed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc, fdtrc, ndtri, stdtrit

from trials.errors import NotFinite, NotIdentifiable, WrongArgument, WrongShape
from trials.infer.life.regression import CHARACTERISTIC, LifeFit, fit_life


@dataclass(frozen=True)
class LifeRatio:
    """Ratio of the life of one type to that of another.

    Attributes:
        of, against: the types.
        quantile: share failed at the lives compared; 0.632 is the characteristic life.
        ratio: infinite (or 0) where one of the two never failed.
        low, high: profile limits; one-sided where the ratio has no finite estimate.
        p: of the likelihood-ratio test of equal lives.
        common_shape: True where all types share one Weibull shape.
        failures: of `of`, of `against`.
        shapes: the common Weibull shape, or that of `of` and that of `against`.
    """

    of: str
    against: str
    quantile: float
    ratio: float
    low: float
    high: float
    p: float
    common_shape: bool
    failures: tuple[int, int]
    shapes: tuple[float, ...]


@dataclass(frozen=True)
class ShapeCheck:
    """Likelihood-ratio check that all types share one shape; types without failures take no part."""

    statistic: float
    df: int
    p: float
    shapes: dict[str, float]


@dataclass(frozen=True)
class SurvivalTable:
    """Product-limit estimate at each time of failure (m,): at risk, failed, share still good, limits."""

    time: np.ndarray
    at_risk: np.ndarray
    failed: np.ndarray
    share: np.ndarray
    low: np.ndarray
    high: np.ndarray


def life_ratio(
    time: np.ndarray,
    failed: np.ndarray,
    types: np.ndarray,
    of: str,
    against: str,
    quantile: float = CHARACTERISTIC,
    common_shape: bool = True,
    confidence: float = 0.95,
) -> LifeRatio:
    """Ratio of lives of two types by Weibull regression on type.

    The limits are profile-likelihood limits with a cut that allows for few failures: with n failures and q types
    that failed, n log(1 + t**2 / (n - q)) in place of the chi-square point, which is exact for complete log-normal
    lives (with 8 lives per type the chi-square point holds in 91 % where it claims 95 %). `p` matches the limits.

    With a common shape every type given helps to estimate it, and the ratio is the same at every quantile.

    Raises
    ------
    NotIdentifiable
        If neither of the two failed, or with separate shapes one of them did not.
    WrongShape, WrongArgument, NotFinite
        As `fit_life`.
    WrongArgument
        If the type is unknown.
    """
    types = np.asarray(types).astype(str)
    time, failed = np.asarray(time, dtype=float), np.asarray(failed, dtype=float)
    if of == against or not {of, against} <= set(types):
        raise WrongArgument(
            f"Lives of '{of}' and '{against}' cannot be compared; the types are {', '.join(sorted(set(types)))}."
        )
    counts = int(np.sum(failed[types == of])), int(np.sum(failed[types == against]))
    if not any(counts):
        raise NotIdentifiable(
            f"Neither '{of}' nor '{against}' failed, so their lives cannot be compared; run them longer."
        )
    if common_shape:
        value, limits, p, shape = _common(time, failed, types, of, against, confidence)
        shapes: tuple[float, ...] = (shape,)
    else:
        if not all(counts):
            raise NotIdentifiable("A type without failures has no shape of its own; compare with a common shape.")
        first, second = (
            fit_life(time[types == k], failed[types == k], np.ones((np.sum(types == k), 1))) for k in (of, against)
        )
        value, limits, p = _separate(first, second, quantile, confidence)
        shapes = (first.shape, second.shape)
    ratio, low, high = np.exp([value, *limits])
    return LifeRatio(of, against, quantile, float(ratio), float(low), float(high), p, common_shape, counts, shapes)


def _common(
    time: np.ndarray, failed: np.ndarray, types: np.ndarray, of: str, against: str, confidence: float
) -> tuple[float, tuple[float, float], float, float]:
    """Log ratio, limits, p and shape under one shape."""
    kinds = sorted(set(types))
    fixed = (types[:, None] == np.array(kinds)).astype(float)
    fit = fit_life(time, failed, fixed)
    row = (np.array(kinds) == of).astype(float) - (np.array(kinds) == against).astype(float)
    merged = np.delete(fixed, kinds.index(of), axis=1)
    merged[types == of, [k for k in kinds if k != of].index(against)] = 1.0
    equal = fit_life(time, failed, merged)
    cut = _Cut(fit.failures, sum(bool(np.any(failed[types == k] == 1)) for k in kinds))
    limits = fit.limits_at_drop(row, CHARACTERISTIC, cut.drop(confidence))
    return fit.log_life(row)[0], limits, cut.p(fit.log_likelihood - equal.log_likelihood), fit.shape


@dataclass(frozen=True)
class _Cut:
    """How far the likelihood may fall, from the number of failures and of types that failed."""

    failures: int
    kinds: int

    @property
    def df(self) -> int:
        return max(self.failures - self.kinds, 1)

    def drop(self, confidence: float) -> float:
        if not 0 < confidence < 1:
            raise WrongArgument("The confidence must lie between 0 and 1; 0.95 is usual.")
        return 0.5 * self.failures * float(np.log1p(stdtrit(self.df, (1 + confidence) / 2) ** 2 / self.df))

    def p(self, fall: float) -> float:
        return float(fdtrc(1, self.df, self.df * np.expm1(2 * max(fall, 0.0) / self.failures)))


def _separate(
    first: LifeFit, second: LifeFit, quantile: float, confidence: float
) -> tuple[float, tuple[float, float], float]:
    """Log ratio of the quantile, limits and p when each type has its own shape."""
    from scipy.optimize import brentq

    one = np.array([1.0])
    (a, sa), (b, sb) = first.log_life(one, quantile), second.log_life(one, quantile)
    top, spread = first.log_likelihood + second.log_likelihood, float(np.hypot(sa, sb))

    def height(r: float) -> float:
        return first.height_beside(second, quantile, r)

    cut = _Cut(first.failures + second.failures, 2)
    drop = cut.drop(confidence)
    limits = []
    for way in (-1.0, 1.0):
        near, far = a - b, a - b + 2 * way * spread
        while height(far) - top + drop > 0:
            near, far = far, far + 2 * way * spread
        limits.append(float(brentq(lambda r: height(r) - top + drop, min(near, far), max(near, far), xtol=1e-8)))
    return a - b, (limits[0], limits[1]), cut.p(top - height(0.0))


def check_shape(time: np.ndarray, failed: np.ndarray, types: np.ndarray) -> ShapeCheck:
    """Compare one shape for all types with a shape for each.

    Raises
    ------
    NotIdentifiable
        If fewer than two types have failures, or one type's failures all tie.
    WrongShape, WrongArgument, NotFinite
        As `fit_life`.
    """
    types = np.asarray(types).astype(str)
    time, failed = np.asarray(time, dtype=float), np.asarray(failed, dtype=float)
    kinds = [str(k) for k in sorted(set(types)) if np.any(failed[types == k] == 1)]
    if len(kinds) < 2:
        raise NotIdentifiable("Fewer than two types have failures, so shapes cannot be compared; keep a common shape.")
    keep = np.isin(types, kinds)
    fixed = (types[keep, None] == np.array(kinds)).astype(float)
    common = fit_life(time[keep], failed[keep], fixed)
    each = {k: fit_life(time[types == k], failed[types == k], np.ones((np.sum(types == k), 1))) for k in kinds}
    statistic = max(0.0, 2 * float(sum(own.log_likelihood for own in each.values()) - common.log_likelihood))
    df = len(kinds) - 1
    return ShapeCheck(statistic, df, float(chdtrc(df, statistic)), {k: own.shape for k, own in each.items()})


def bound_without_failures(time: np.ndarray, shape: float, confidence: float = 0.95) -> float:
    """Lower bound of the characteristic life when nothing failed, for an assumed Weibull shape.

    (sum of time**shape / -log(1 - confidence)) ** (1 / shape), from the chance that all n outlast their time.

    Raises
    ------
    NotFinite
        If a time is NaN or infinite.
    WrongArgument
        If a time or the shape is not above zero, or confidence is outside (0, 1).
    """
    time = np.asarray(time, dtype=float)
    if not np.all(np.isfinite(time)) or not np.isfinite(shape):
        raise NotFinite("A life or the shape is missing or infinite; fill it or leave the row out.")
    if not len(time) or np.any(time <= 0) or shape <= 0 or not 0 < confidence < 1:
        raise WrongArgument("Lives and the assumed shape must be above zero and the confidence between 0 and 1.")
    longest = time.max()
    total = np.sum((time / longest) ** shape)
    return float(longest * (total / -np.log(1 - confidence)) ** (1 / shape))


def survival_table(time: np.ndarray, failed: np.ndarray, confidence: float = 0.95) -> SurvivalTable:
    """Product-limit estimate (Kaplan and Meier 1958) with limits on the log(-log) scale from Greenwood's variance.

    Censored lives at a time of failure count as at risk there. Where the share is 0 or 1 the limits are 0 and 1.

    Raises
    ------
    NotFinite
        If a time or mark is NaN or infinite.
    WrongShape
        If lengths differ.
    WrongArgument
        If confidence is outside (0, 1).
    """
    time, failed = np.asarray(time, dtype=float), np.asarray(failed, dtype=float)
    if time.ndim != 1 or failed.shape != time.shape:
        raise WrongShape("Times and failed marks must have one row per life; check their lengths.")
    if not 0 < confidence < 1:
        raise WrongArgument("The confidence must lie between 0 and 1; 0.95 is usual.")
    if not np.all(np.isfinite(time)) or not np.all(np.isfinite(failed)):
        raise NotFinite("A life or a failed mark is missing or infinite; fill it or leave the row out.")
    at = np.unique(time[failed == 1])
    deaths = np.array([np.sum((time == now) & (failed == 1)) for now in at], dtype=int)
    risk = np.array([np.sum(time >= now) for now in at], dtype=int)
    share = np.cumprod(1 - deaths / risk) if len(at) else np.zeros(0)
    inside = (share > 0) & (share < 1)
    greenwood = np.cumsum(deaths[inside] / (risk[inside] * (risk[inside] - deaths[inside])))
    spread = ndtri((1 + confidence) / 2) * np.sqrt(greenwood) / np.abs(np.log(share[inside]))
    low, high = np.zeros(len(at)), np.ones(len(at))
    low[inside], high[inside] = share[inside] ** np.exp(spread), share[inside] ** np.exp(-spread)
    return SurvivalTable(at, risk, deaths, share, low, high)
