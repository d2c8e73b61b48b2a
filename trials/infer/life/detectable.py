"""What ratio of lives a plan can detect."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from trials.errors import WrongArgument


def detectable_ratio(sd: float, failures: int) -> float:
    """Ratio of two characteristic lives that is detected with 80 % chance at level 0.05, two-sided.

    sd: standard deviation of log life between specimens, turned into a Weibull shape pi / (sqrt(6) sd); failures: of
    each of the two types. Normal approximation with the shape known: the log characteristic life of n failures has
    variance 1 / (n shape**2) (that of exponential lives raised to a power; from memory).

    Raises
    ------
    WrongArgument
        If the spread is not above zero or there is no failure.
    """
    if not sd > 0 or failures < 1:
        raise WrongArgument("A spread above zero and a failure or more are needed; state the expected spread of lives.")
    scale = sd * np.sqrt(6.0) / np.pi
    return float(np.exp((ndtri(0.975) + ndtri(0.8)) * scale * np.sqrt(2.0 / failures)))
