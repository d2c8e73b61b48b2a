"""Lower limit of a share, such as the coupons that met the requirement out of those cut."""

from __future__ import annotations

from scipy.special import betaincinv

from trials.errors import WrongArgument


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
