"""Limits for a share, such as the coupons that met the requirement out of those cut."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.special import betaincinv

from trials.errors import WrongArgument

METHODS = {"wilson": "wilson", "exact": "beta"}


@dataclass(frozen=True)
class Share:
    """Count, total, share, limits, confidence."""

    count: int
    total: int
    share: float
    low: float
    high: float
    confidence: float


def share_limits(count: int, total: int, confidence: float = 0.95, method: str = "wilson") -> Share:
    """Two-sided limits: "wilson" (Wilson 1927) or "exact" (Clopper and Pearson 1934).

    A one-sided 95 % limit is the matching end at a confidence of 0.90.

    Raises
    ------
    WrongArgument
        If count is outside 0 .. total, total is under 1, confidence is outside (0, 1), or the method is unknown.
    """
    from statsmodels.stats.proportion import proportion_confint

    if total < 1 or not 0 <= count <= total:
        raise WrongArgument(f"{count} out of {total} is no share; count each coupon once.")
    if not 0 < confidence < 1 or method not in METHODS:
        raise WrongArgument(f"Confidence must lie between 0 and 1 and the method be one of {', '.join(METHODS)}.")
    low, high = proportion_confint(count, total, alpha=1 - confidence, method=METHODS[method])
    low, high = (0.0 if count == 0 else float(low)), (1.0 if count == total else float(high))
    return Share(count, total, count / total, low, high, confidence)


def lowest_share(count: int, total: int, confidence: float = 0.95) -> float:
    """One-sided exact lower limit of a share: a beta quantile (Clopper and Pearson 1934, Biometrika 26).

    Raises
    ------
    WrongArgument
        If count is outside 0 .. total, total is under 1, or confidence is outside (0, 1).
    """
    if total < 1 or not 0 <= count <= total or not 0 < confidence < 1:
        raise WrongArgument(
            f"{count} out of {total} at a confidence of {confidence:g} is no share; count each piece once."
        )
    return float(betaincinv(count, total - count + 1, 1 - confidence)) if count else 0.0
