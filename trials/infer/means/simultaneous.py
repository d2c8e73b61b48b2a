"""Intervals that hold together: several contrasts against one reference, or all pairs of several means.

Against one reference: two-sided limits from the multivariate t of the contrasts' own correlation, each contrast at
its own degrees of freedom (Dunnett 1955, 1964, with the exact integral). All pairs: Tukey (1953) and Kramer (1956)
at each pair's own degrees of freedom. No random draws: the same input gives the same bytes. Critical values are good to
1e-6 where the correlation has the form r_ij = l_i l_j, to 1e-5 for up to six contrasts of any correlation, and to 5e-4
from seven on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from trials.errors import NotFinite, WrongArgument, WrongShape
from trials.infer.means.box import BoxCurve, box_curve, range_curve

CHI_POINTS = 128
CHI_DEPTH = 25.0  # log of the density given up at both ends of the chi integral
REPEATED = 1e-9  # contrasts correlated closer to +-1 than this count once


@dataclass(frozen=True)
class Simultaneous:
    """Limits low, high (m,) that hold together; p (m,) adjusted; critical (m,): limit = value +- critical * se."""

    low: np.ndarray
    high: np.ndarray
    p: np.ndarray
    critical: np.ndarray


def against_reference(
    values: np.ndarray, covariance: np.ndarray, dfs: np.ndarray, confidence: float = 0.95
) -> Simultaneous:
    """Two-sided intervals for m contrasts that share a reference.

    Args:
        values: (m,) estimates.
        covariance: (m, m) of the estimates; its correlation is that of the multivariate t.
        dfs: (m,) degrees of freedom of each estimate.
        confidence: that all m intervals hold at once.

    Raises
    ------
    WrongShape
        If shapes disagree.
    WrongArgument
        If a variance or df is not above zero, or confidence is not between 0 and 1.
    NotFinite
        If an input holds a value that is not a number.
    """
    values, covariance, dfs = _checked(values, covariance, dfs, confidence)
    m = len(values)
    if m == 0:
        empty = np.empty(0)
        return Simultaneous(empty, empty, empty, empty)
    se = np.sqrt(np.diagonal(covariance))
    correlation = covariance / np.outer(se, se)
    kept = _distinct(correlation)
    t = np.abs(values) / se
    if len(kept) == 1:
        critical, p = _alone(t, dfs, confidence)
    else:
        critical, p = _judged(box_curve(correlation[np.ix_(kept, kept)]), t, dfs, confidence, len(kept))
    return Simultaneous(values - critical * se, values + critical * se, p, critical)


def critical_values(correlation: np.ndarray, dfs: np.ndarray, confidence: float = 0.95) -> np.ndarray:
    """Two-sided critical value of two contrasts or more with this correlation (m, m), at each of some dfs (n,).

    Raises
    ------
    WrongShape
        If correlation is not (m, m) with m above one.
    WrongArgument
        If a df is not above zero, or confidence is not between 0 and 1.
    NotFinite
        If an input holds a value that is not a number.
    """
    correlation = np.atleast_2d(np.asarray(correlation, dtype=float))
    m = len(correlation)
    if m < 2:
        raise WrongShape("one contrast needs no common critical value; use Student's t")
    _checked(np.zeros(m), correlation, np.full(m, np.min(dfs)), confidence)
    return _critical(box_curve(correlation), np.asarray(dfs, dtype=float), 1.0 - confidence, m)


def beyond_critical(sizes: np.ndarray, covariances: np.ndarray, dfs: np.ndarray, confidences: np.ndarray) -> np.ndarray:
    """Whether sizes of |t| lie beyond the critical values of `against_reference`, for many sets of contrasts at once.

    The critical value lies between that of one contrast and Bonferroni's, and a chance is worked out only between them.

    Args:
        sizes: (B, m, J) sizes asked about.
        covariances: (B, m, m) of the contrasts of each set.
        dfs: (B, m) degrees of freedom.
        confidences: (J,) that all m intervals of a set hold at once.
    """
    m, alpha = sizes.shape[1], 1.0 - confidences
    beyond: np.ndarray = sizes > special.stdtrit(dfs[..., None], 1.0 - alpha / (2.0 * m))
    unclear = ~beyond & (sizes > special.stdtrit(dfs[..., None], 1.0 - alpha / 2.0))
    for b in np.flatnonzero(unclear.any(axis=(1, 2))):
        i, j = np.nonzero(unclear[b])
        se = np.sqrt(np.diagonal(covariances[b]))
        correlation = covariances[b] / np.outer(se, se)
        kept = _distinct(correlation)
        if len(kept) == 1:
            beyond[b, i, j] = True
            continue
        curve = box_curve(correlation[np.ix_(kept, kept)])
        beyond[b, i, j] = _exceed(curve, sizes[b, i, j], *_chi_nodes(dfs[b, i]))[0] < alpha[j]
    return beyond


def all_pairs(
    values: np.ndarray, errors: np.ndarray, dfs: np.ndarray, means: int, confidence: float = 0.95
) -> Simultaneous:
    """Two-sided intervals for the differences of all pairs of several means.

    Args:
        values: (pairs,) differences.
        errors: (pairs,) their standard errors.
        dfs: (pairs,) degrees of freedom of each difference.
        means: how many means the pairs were taken from.
        confidence: that all intervals hold at once.

    Raises
    ------
    WrongShape
        If shapes disagree.
    WrongArgument
        If there are fewer than two means, an error or df is not above zero, or confidence is not between 0 and 1.
    NotFinite
        If an input holds a value that is not a number.
    """
    errors = np.atleast_1d(np.asarray(errors, dtype=float))
    values, covariance, dfs = _checked(values, np.diag(errors**2), dfs, confidence)
    if means < 2:
        raise WrongArgument(f"pairs of {means} means do not exist; give two means or more")
    if means == 2:
        critical, p = _alone(np.abs(values) / errors, dfs, confidence)
    else:
        critical, p = _judged(range_curve(means), np.abs(values) / errors, dfs, confidence, means * (means - 1) // 2)
    return Simultaneous(values - critical * errors, values + critical * errors, p, critical)


def _alone(t: np.ndarray, dfs: np.ndarray, confidence: float) -> tuple[np.ndarray, np.ndarray]:
    return special.stdtrit(dfs, 0.5 + confidence / 2.0), 2.0 * special.stdtr(dfs, -t)


def _judged(
    curve: BoxCurve, t: np.ndarray, dfs: np.ndarray, confidence: float, m: int
) -> tuple[np.ndarray, np.ndarray]:
    """Critical values and adjusted p of |t| (contrasts,) among m contrasts, between the plain and the Bonferroni p."""
    _, single = _alone(t, dfs, confidence)
    joint = _exceed(curve, t, *_chi_nodes(dfs))[0]
    return _critical(curve, dfs, 1.0 - confidence, m), np.clip(joint, single, np.minimum(1.0, m * single))


def _checked(
    values: np.ndarray, covariance: np.ndarray, dfs: np.ndarray, confidence: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    values = np.atleast_1d(np.asarray(values, dtype=float))
    covariance = np.atleast_2d(np.asarray(covariance, dtype=float))
    dfs = np.atleast_1d(np.asarray(dfs, dtype=float))
    m = len(values)
    if values.shape != (m,) or dfs.shape != (m,) or (m and covariance.shape != (m, m)):
        raise WrongShape(
            f"values {values.shape}, covariance {covariance.shape} and df {dfs.shape} do not fit; "
            "expected (m,), (m, m) and (m,)"
        )
    if not (np.isfinite(values).all() and np.isfinite(covariance).all() and not np.isnan(dfs).any()):
        raise NotFinite("a contrast, its covariance or its degrees of freedom is not a finite number; check the fit")
    if m and (np.diagonal(covariance).min() <= 0 or dfs.min() <= 0):
        raise WrongArgument("every contrast needs a variance and degrees of freedom above zero; leave out the others")
    if not 0.0 < confidence < 1.0:
        raise WrongArgument(f"confidence is {confidence}, expected a figure between 0 and 1 such as 0.95")
    return values, covariance, dfs


def _distinct(correlation: np.ndarray) -> list[int]:
    kept: list[int] = []
    for i, row in enumerate(correlation):
        if all(abs(row[j]) < 1.0 - REPEATED for j in kept):
            kept.append(i)
    return kept


def _chi_nodes(dfs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points s (m, K) and weights (m, K) of chi / sqrt(df), by the trapezoid rule in log s; s = 1 at infinite df."""
    nu = np.minimum(dfs, 1e9)[:, None]
    depth = CHI_DEPTH / nu
    left = -(depth + np.sqrt(depth))
    right = np.minimum(np.sqrt(depth), 0.5 * np.log(2.0 * depth + 4.0) + 0.3)
    x = left + (right - left) * np.linspace(0.0, 1.0, CHI_POINTS)
    weight = np.exp(nu * (x - 0.5 * np.expm1(2.0 * x)))
    return np.exp(x), weight / weight.sum(axis=1, keepdims=True)


def _exceed(curve: BoxCurve, c: np.ndarray, s: np.ndarray, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Chance that some |t| exceeds c (m,) at each df, and its slope in c."""
    value, slope = curve.exceed(c[:, None] * s)
    return (value * weight).sum(axis=1), (slope * s * weight).sum(axis=1)


def _critical(curve: BoxCurve, dfs: np.ndarray, alpha: float, m: int) -> np.ndarray:
    """Equal-coordinate two-sided critical value at each df, by Newton's method on the log chance."""
    distinct, which = np.unique(dfs, return_inverse=True)
    s, weight = _chi_nodes(distinct)
    low = special.stdtrit(distinct, 1.0 - alpha / 2.0)
    high = special.stdtrit(distinct, 1.0 - alpha / (2.0 * m))
    c = high
    for _ in range(60):
        chance, slope = _exceed(curve, c, s, weight)
        step = np.log(chance / alpha) * chance / slope
        following = np.clip(c - step, low, high)
        done = np.abs(following - c).max() < 1e-9
        c = following
        if done:
            break
    return c[which]
