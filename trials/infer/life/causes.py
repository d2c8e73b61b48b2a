"""Causes of the end that compete: how many lives each has ended so far, and the ratio of lives each would leave alone.

A life can end in one way only, so lives that ended otherwise are no longer there to end in this one. The share ended by
a cause is the estimate of Aalen and Johansen (1978, Scand. J. Stat. 5, 141); the Weibull life under one cause takes the
other ends as censored (Prentice et al. 1978, Biometrics 34, 541), which holds where the causes do not hang together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from trials.errors import NotFinite, TrialError, WrongShape
from trials.infer.life.ratio import LifeRatio, life_ratio
from trials.infer.life.regression import fit_life

Array = NDArray[np.float64]
FEW = 5
"""Ends of two types by one cause below which no ratio is given (common practice, no source)."""


@dataclass(frozen=True)
class Incidence:
    """Share of lives that one cause has ended by each time of an end (m,), with limits."""

    cause: str
    time: Array
    share: Array
    low: Array
    high: Array

    def by(self, time: float) -> tuple[float, float, float]:
        """Share ended by a time, with its limits; 0 to 1 before the first end."""
        at = int(np.searchsorted(self.time, time, side="right")) - 1
        return (0.0, 0.0, 1.0) if at < 0 else (float(self.share[at]), float(self.low[at]), float(self.high[at]))


@dataclass(frozen=True)
class CauseLife:
    """Lives of one type under one cause alone.

    ends: how many ended so; ended, low, high: share ended so by the longest time that every type was watched;
    life: characteristic life if no other cause ended lives, infinite where this one ended none of the type.
    """

    nozzle: str
    ends: int
    ended: float
    low: float
    high: float
    life: float


@dataclass(frozen=True)
class CauseStudy:
    """One cause: by type, and the ratio of lives to today's type if no other cause ended lives.

    by: the time to which `CauseLife.ended` is counted; shape: Weibull shape of the cause, None where its lives fix
    none; not_compared: types that with today's ended so too seldom for a ratio.
    """

    cause: str
    by: float
    shape: float | None
    types: tuple[CauseLife, ...]
    ratios: tuple[LifeRatio, ...]
    not_compared: tuple[str, ...]


def cumulative_incidence(time: Array, cause: Sequence[str], confidence: float = 0.95) -> tuple[Incidence, ...]:
    """Share of lives ended by each cause over time, in the order in which the causes come.

    time (n,) above zero; cause (n,): name of the cause, empty where the piece was still good. Limits on the
    log(-log) scale from the variance of Marubini and Valsecchi (1995, ch. 10), which, unlike the one at hand in
    statsmodels, is there at the last time too. Where a share is 1 the limits are 0 and 1; where it is 0 the upper one
    is that of Clopper and Pearson among the lives still at risk.

    Raises
    ------
    NotFinite
        If a time is NaN or infinite.
    WrongShape
        If the lengths differ, a time is not above zero, or the confidence is outside (0, 1).
    """
    times, names = _checked(time, cause, confidence), tuple(dict.fromkeys(one for one in cause if one))
    labels = np.asarray(cause, dtype=object)
    at = np.unique(times[labels != ""])
    risk = np.array([np.sum(times >= now) for now in at], dtype=float)
    ends = {name: np.array([np.sum((times == now) & (labels == name)) for now in at], dtype=float) for name in names}
    gone = np.sum(list(ends.values()), axis=0) if names else np.zeros(0)
    before = np.concatenate([[1.0], np.cumprod(1.0 - gone / risk)[:-1]])
    found = []
    for name, own in ends.items():
        share = np.cumsum(before * own / risk)
        spread = np.sqrt(_variance(share, before, _Counts(risk, gone, own)))
        low, high = _limits(share, spread, confidence)
        none = share == 0
        high[none] = 1.0 - (0.5 * (1.0 - confidence)) ** (1.0 / risk[none])
        found.append(Incidence(name, at, share, low, high))
    return tuple(found)


def _checked(time: Array, cause: Sequence[str], confidence: float) -> Array:
    times = np.asarray(time, dtype=float)
    if times.ndim != 1 or len(times) != len(cause) or not 0 < confidence < 1:
        raise WrongShape("Times and causes must have one row per life and the confidence lie between 0 and 1.")
    if not np.all(np.isfinite(times)):
        raise NotFinite("A life is missing or infinite; fill it or leave the row out.")
    if np.any(times <= 0):
        raise WrongShape("Every life must be above zero; leave out what never ran or record the shortest step.")
    return times


@dataclass(frozen=True)
class _Counts:
    """At each time of an end (m,): at risk, ended by any cause, ended by one."""

    risk: Array
    gone: Array
    own: Array


def _variance(share: Array, before: Array, n: _Counts) -> Array:
    """Variance of the share (m,) by the delta method; a term whose factor is zero drops, also where none is left."""
    left = n.risk - n.gone
    all_causes = np.divide(n.gone, n.risk * left, out=np.zeros_like(left), where=left > 0)
    own = before**2 * n.own * (n.risk - n.own) / n.risk**3
    both = before * n.own / n.risk**2
    rise = np.tril(share[:, None] - share[None, :])
    variance = rise**2 @ all_causes + np.cumsum(own) - 2.0 * rise @ both
    return np.asarray(np.maximum(variance, 0.0), dtype=float)


def _limits(share: Array, se: Array, confidence: float) -> tuple[Array, Array]:
    """Limits of shares on the log(-log) scale; 0 to 1 where the share is 1."""
    low, high = np.zeros(len(share)), np.ones(len(share))
    known = (share > 0) & (share < 1)
    p = share[known]
    half = ndtri((1 + confidence) / 2) * se[known] / (p * np.abs(np.log(p)))
    low[known], high[known] = p ** np.exp(half), p ** np.exp(-half)
    return low, high


def study_causes(
    time: Array, cause: Sequence[str], types: Sequence[str], today: str, confidence: float
) -> tuple[CauseStudy, ...]:
    """Each cause by itself, the most frequent first; nothing where all lives ended in one way.

    time, cause, types (n,): as `cumulative_incidence`, and the type of each; confidence: of all ratios together, shared
    out over the causes.

    Raises
    ------
    NotFinite, WrongShape
        As `cumulative_incidence`.
    """
    times, labels = np.asarray(time, dtype=float), np.asarray(types).astype(str)
    counts = {name: list(cause).count(name) for name in dict.fromkeys(one for one in cause if one)}
    if len(counts) < 2:
        return ()
    each = 1.0 - (1.0 - confidence) / len(counts)
    order = sorted(counts, key=lambda name: -counts[name])
    return tuple(_one(times, np.asarray(cause), labels, today, name, each) for name in order)


def _one(
    time: Array, cause: NDArray[np.str_], types: NDArray[np.str_], today: str, name: str, confidence: float
) -> CauseStudy:
    names = tuple(dict.fromkeys(types.tolist()))
    by = float(min(time[types == kind].max() for kind in names))
    failed = (cause == name).astype(float)
    lives, shape = _lives(time, failed, types, names)
    ratios, without = [], []
    for kind in (kind for kind in names if kind != today):
        if failed[(types == kind) | (types == today)].sum() < FEW:
            without.append(kind)
            continue
        try:
            ratios.append(life_ratio(time, failed, types, kind, today, confidence=confidence))
        except TrialError:
            without.append(kind)
    rows = []
    for kind, life in zip(names, lives, strict=True):
        own = types == kind
        rows.append(CauseLife(kind, int(failed[own].sum()), *_ended(time[own], cause[own].tolist(), name, by), life))
    return CauseStudy(name, by, shape, tuple(rows), tuple(ratios), tuple(without))


def _ended(time: Array, cause: list[str], name: str, by: float) -> tuple[float, float, float]:
    """Share of one type that a cause ended by a time, with limits."""
    found = next((one for one in cumulative_incidence(time, cause) if one.cause == name), None)
    if found is not None:
        return found.by(by)
    return 0.0, 0.0, 1.0 - 0.025 ** (1.0 / len(time))


def _lives(
    time: Array, failed: Array, types: NDArray[np.str_], names: Sequence[str]
) -> tuple[list[float], float | None]:
    """Characteristic life of each type under one cause, and the shape; NaN and None where the lives fix neither."""
    try:
        fit = fit_life(time, failed, (types[:, None] == np.array(names)).astype(float))
    except TrialError:
        return [np.nan] * len(names), None
    return [float(one) for one in np.exp(fit.coefficients)], fit.shape
