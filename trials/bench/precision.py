"""Precision of several laboratories or inspectors on one material: s_r, s_R, Mandel's h and k, Cochran, Grubbs.

ISO 5725-2:1994 and ASTM E691; critical values by their formulas, since no table was at hand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trials.errors import InputError, NotFinite, WrongShape

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Precision:
    """Precision of p laboratories with n readings each, in the unit of the readings.

    s_r repeatability and s_R reproducibility standard deviations; laboratories (p,) sorted, means and sds (p,), h and k
    (p,) Mandel's statistics with their critical values at `significance`; cochran the largest variance over the sum of
    variances and grubbs the largest distance of a mean from the general mean in standard deviations, each with its
    critical value at 1 %.
    """

    laboratories: tuple[str, ...]
    readings: int
    mean: float
    s_r: float
    s_R: float
    means: FloatArray
    sds: FloatArray
    h: FloatArray
    k: FloatArray
    h_critical: float
    k_critical: float
    cochran: float
    cochran_critical: float
    grubbs: float
    grubbs_critical: float
    significance: float

    @property
    def out_of_line(self) -> tuple[str, ...]:
        """Laboratories whose h or k is beyond its critical value."""
        beyond = (np.abs(self.h) > self.h_critical) | (self.k > self.k_critical)
        return tuple(name for name, flag in zip(self.laboratories, beyond, strict=True) if flag)


def precision(values: npt.ArrayLike, laboratory: npt.ArrayLike, significance: float = 0.005) -> Precision:
    """Precision of readings (m,) by laboratory (m,), one material, equally many readings in each.

    s_r pools the variances within laboratories; s_R^2 = s_xbar^2 + s_r^2 (n - 1) / n, at least s_r^2 (ASTM E691).

    Raises
    ------
    NotFinite
        If a reading is NaN or infinite.
    WrongShape
        If the columns differ in length, counts are unequal, or there are under 3 laboratories or 2 readings in each.
    """
    found, names = np.asarray(values, dtype=float), np.asarray(laboratory).astype(str)
    if found.ndim != 1 or found.shape != names.shape:
        raise WrongShape(f"{found.shape} readings and {names.shape} laboratories; give one name for each reading.")
    if not np.isfinite(found).all():
        raise NotFinite("A reading is not a number; leave the row out or correct it.")
    labels, place, counts = np.unique(names, return_inverse=True, return_counts=True)
    p, n = len(labels), int(counts[0])
    if p < 3 or n < 2 or (counts != n).any():
        raise WrongShape(
            f"Found {p} laboratories with {counts.min()} to {counts.max()} readings; "
            "give 3 laboratories or more with the same number of readings, 2 or more."
        )
    cells = found[np.argsort(place, kind="stable")].reshape(p, n)
    means, sds = cells.mean(axis=1), cells.std(axis=1, ddof=1)
    s_r, s_means = float(np.sqrt(np.mean(sds**2))), float(means.std(ddof=1))
    if s_r == 0 or s_means == 0:
        raise InputError("the readings do not vary", do="Give readings with enough digits.")
    h = (means - means.mean()) / s_means
    return Precision(
        laboratories=tuple(labels.tolist()),
        readings=n,
        mean=float(means.mean()),
        s_r=s_r,
        s_R=max(s_r, math.sqrt(s_means**2 + s_r**2 * (n - 1) / n)),
        means=means,
        sds=sds,
        h=h,
        k=sds / s_r,
        h_critical=mandel_h_critical(p, significance),
        k_critical=mandel_k_critical(p, n, significance),
        cochran=float(sds.max() ** 2 / np.sum(sds**2)),
        cochran_critical=cochran_critical(p, n, 0.01),
        grubbs=float(np.abs(h).max()),
        grubbs_critical=grubbs_critical(p, 0.01),
        significance=significance,
    )


def mandel_h_critical(laboratories: int, significance: float = 0.005) -> float:
    """Critical |h|: (p - 1) t / sqrt(p (t^2 + p - 2)), t two-sided with p - 2 degrees of freedom (ASTM E691)."""
    from scipy.stats import t as student

    t = float(student.ppf(1 - significance / 2, laboratories - 2))
    return (laboratories - 1) * t / math.sqrt(laboratories * (t**2 + laboratories - 2))


def mandel_k_critical(laboratories: int, readings: int, significance: float = 0.005) -> float:
    """Critical k: sqrt(p / (1 + (p - 1) / F)), F upper with n - 1 and (p - 1)(n - 1) degrees of freedom (ASTM E691)."""
    from scipy.stats import f as fisher

    ratio = float(fisher.ppf(1 - significance, readings - 1, (laboratories - 1) * (readings - 1)))
    return math.sqrt(laboratories / (1 + (laboratories - 1) / ratio))


def cochran_critical(laboratories: int, readings: int, significance: float = 0.05) -> float:
    """Critical value of Cochran's test for the largest of p variances of n readings (ISO 5725-2:1994, 7.3.3).

    1 / (1 + (p - 1) / F), F upper at significance / p with n - 1 and (p - 1)(n - 1) degrees of freedom.
    """
    from scipy.stats import f as fisher

    ratio = float(fisher.ppf(1 - significance / laboratories, readings - 1, (laboratories - 1) * (readings - 1)))
    return 1 / (1 + (laboratories - 1) / ratio)


def grubbs_critical(laboratories: int, significance: float = 0.05) -> float:
    """Critical value of Grubbs' test for one outlying mean of p, both sides (ISO 5725-2:1994, 7.3.4)."""
    return mandel_h_critical(laboratories, significance / laboratories)
