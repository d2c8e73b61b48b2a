"""How many more specimens or mounts would settle an answer, if the true difference were worthwhile, or none.

The chance is that of the rule itself: the answer is settled when the simultaneous interval S against today's leaves
out zero, or the interval E lies within the worthwhile difference. The difference that was observed plays no part: a
plan made on it would repeat its luck.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from trials.errors import NotFinite, WrongShape
from trials.infer.means import against_reference
from trials.plan.power.balanced import percent

MOST = 200
"""Specimens or mounts beyond which the search stops."""


@dataclass(frozen=True)
class Needed:
    """Numbers per type (specimens) or per specimen (mounts) for the asked chance of a settled answer.

    at_worthwhile, at_zero: specimens per type if the true difference is the worthwhile one, or zero; mounts_*: mounts
    of each specimen already there; None where no number up to `MOST` will do. chance_*: with the counts as they are;
    sentence: all of it for people.
    """

    chance_at_worthwhile: float
    chance_at_zero: float
    at_worthwhile: int | None
    at_zero: int | None
    mounts_at_worthwhile: int | None
    mounts_at_zero: int | None
    sentence: str


@dataclass(frozen=True)
class Counts:
    """Balanced counts behind one comparison with today's nozzle.

    coupons may be a fraction: the number of coupons of a mount that the mean at the compared settings is worth.
    coupons_cut: the number really cut in a mount, if more; what the average over all of them leaves open then rests on
    the coupons, less `terms`, the number of terms estimated inside mounts. Without it all rests on the yardstick.
    """

    types: int
    specimens: int
    mounts: int = 1
    coupons: float = 1.0
    readings: int = 1
    sheets: int = 1
    coupons_cut: float | None = None
    terms: int = 0

    @property
    def yardstick_df(self) -> int:
        """Degrees of freedom of specimens within types, or of mounts where each type has one specimen."""
        if self.specimens > 1:
            return self.types * (self.specimens - 1) - (0 if self.mounts > 1 else self.sheets - 1)
        return self.types * (self.mounts - 1) - (self.sheets - 1)

    def variance(self, variances: Mapping[str, float]) -> float:
        """Variance of the difference of two types at the compared settings."""
        return self._variance(variances, self.coupons)

    def df(self, variances: Mapping[str, float]) -> float:
        """Degrees of freedom of that variance, by Satterthwaite (1946) where it rests on pieces and coupons."""
        if self.coupons_cut is None or self.coupons_cut <= self.coupons or self.yardstick_df < 1:
            return float(self.yardstick_df)
        within_df = self.types * self.specimens * self.mounts * (self.coupons_cut - 1.0) - self.terms
        whole, average = self.variance(variances), self._variance(variances, self.coupons_cut)
        if within_df < 1 or whole == 0.0:
            return float(self.yardstick_df)
        return whole**2 / (average**2 / self.yardstick_df + (whole - average) ** 2 / within_df)

    def _variance(self, variances: Mapping[str, float], coupons: float) -> float:
        part = {name: variances.get(name, 0.0) for name in ("specimen", "mount", "coupon", "reading")}
        mounts = self.specimens * self.mounts
        specimen = part["specimen"] / self.specimens if self.specimens > 1 else 0.0
        coupon = (part["coupon"] + part["reading"] / self.readings) / (mounts * coupons)
        return 2.0 * (specimen + part["mount"] / mounts + coupon)


def specimens_needed(
    variances: Mapping[str, float],
    worthwhile: float,
    counts: Counts,
    levels: tuple[float, float] = (0.95, 0.90),
    chance: float = 0.8,
) -> Needed:
    """Specimens per type, and mounts of those there are, for this chance of a settled answer.

    variances: by source, on the model's scale (log for roughness); worthwhile: D on that scale; levels: of the
    intervals S and E, with primaries and looks already counted in (1 - 0.05 / (m k), 1 - 0.10 / (m k)).

    Raises
    ------
    NotFinite
        If a variance or the worthwhile difference is NaN or infinite.
    WrongShape
        If the worthwhile difference is not above zero or a variance is negative.
    """
    _check(variances, worthwhile)
    now = [chance_settled(variances, true, worthwhile, counts, levels) for true in (worthwhile, 0.0)]
    found: dict[str, list[int | None]] = {"mounts": [None, None]}
    known = "mount" in variances
    for what in ("specimens", "mounts") if known else ("specimens",):
        found[what] = [_fewest(what, variances, true, worthwhile, counts, levels, chance) for true in (worthwhile, 0.0)]
    sentence = _sentence(found["specimens"], found["mounts"] if known else None, counts, chance)
    return Needed(now[0], now[1], *found["specimens"], *found["mounts"], sentence)


def chance_settled(
    variances: Mapping[str, float],
    true: float,
    worthwhile: float,
    counts: Counts,
    levels: tuple[float, float] = (0.95, 0.90),
) -> float:
    """Chance that one type's answer is better, worse or same if its true difference to today's is `true`.

    0 where nothing is left to estimate the spread from. Exact for the balanced rule up to quadrature (1e-6).
    """
    if counts.yardstick_df < 1 or counts.coupons <= 0:
        return 0.0
    df = round(counts.df(variances), 2)
    se = math.sqrt(counts.variance(variances))
    if se == 0.0:
        return 1.0
    scale, weights = _chi(df)
    s = se * scale
    significant = critical_value(counts.types - 1, df, levels[0]) * s
    within = np.minimum(worthwhile - critical_value(counts.types - 1, df, levels[1]) * s, significant)
    apart = special.ndtr((-significant - true) / se) + special.ndtr((true - significant) / se)
    same = np.where(within > 0, special.ndtr((within - true) / se) - special.ndtr((-within - true) / se), 0.0)
    return float(weights @ (apart + same))


@lru_cache(maxsize=512)
def critical_value(comparisons: int, df: float, level: float) -> float:
    """Two-sided critical value against today's for equal numbers: multivariate t, correlation one half."""
    covariance = (np.eye(comparisons) + 1.0) / 2.0
    found = against_reference(np.zeros(comparisons), covariance, np.full(comparisons, df, dtype=float), level)
    return float(found.critical[0])


@lru_cache(maxsize=512)
def _chi(df: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights of chi / sqrt(df): Gauss-Legendre over its quantiles, 128 points."""
    points, weights = np.polynomial.legendre.leggauss(128)
    return np.sqrt(special.chdtri(df, 1.0 - (points + 1.0) / 2.0) / df), weights / 2.0


def _fewest(
    what: str,
    variances: Mapping[str, float],
    true: float,
    worthwhile: float,
    counts: Counts,
    levels: tuple[float, float],
    chance: float,
) -> int | None:
    if what == "specimens" and counts.specimens < 2:
        return None
    start = getattr(counts, what)

    def enough(number: int) -> bool:
        changed = Counts(**{**vars(counts), what: number})
        return chance_settled(variances, true, worthwhile, changed, levels) >= chance

    if enough(start):
        return start
    low, high = start, start + 1
    while not enough(high):
        if high >= MOST:
            return None
        low, high = high, min(2 * high, MOST)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _check(variances: Mapping[str, float], worthwhile: float) -> None:
    for source, value in {**variances, "worthwhile difference": worthwhile}.items():
        if not math.isfinite(value):
            raise NotFinite(f"{source} is {value}; give a finite number.")
        if value < 0:
            raise WrongShape(f"{source} is {value:g}; give zero or more.")
    if worthwhile == 0:
        raise WrongShape("the worthwhile difference is zero; state one above zero in the trial file.")


def _sentence(specimens: list[int | None], mounts: list[int | None] | None, counts: Counts, chance: float) -> str:
    """The numbers in words; mounts None where their own spread was not estimated."""
    lead = f"For a chance of {percent(chance)} of a settled answer"
    if counts.specimens < 2 and mounts is not None:
        return (
            "With one specimen per type no number of mounts of these specimens will do for the types; "
            f"for these nozzles, {lead[0].lower()}{lead[1:]}: {_words(mounts, counts.mounts, 'mounts of each')}."
        )
    more = f"{lead}: {_words(specimens, counts.specimens, 'specimens of each type')}"
    if mounts is None:
        return f"{more}; how much further mounts would help is not known, since each specimen was mounted once."
    if all(number is None for number in mounts):
        return f"{more}; no number of mounts of these specimens will do."
    return f"{more}; or with these specimens {_words(mounts, counts.mounts, 'mounts of each')}."


def _words(numbers: list[int | None], now: int, what: str) -> str:
    def one(number: int | None) -> str:
        if number is None:
            return f"no number up to {MOST} {what}"
        return f"the {number} {what} as now" if number == now else f"{number} {what} instead of {now}"

    at_worthwhile, at_zero = (one(number) for number in numbers)
    return f"{at_worthwhile} if the true difference is the worthwhile one, {at_zero} if there is none"
