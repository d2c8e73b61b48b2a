"""How many more specimens or mounts would settle an answer, if the true difference were worthwhile, or none.

The chance is that of the rule itself: the answer is settled when the simultaneous interval S against today's leaves
out zero, or the interval E lies within the worthwhile difference. The difference that was observed plays no part: a
plan made on it would repeat its luck.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache

import numpy as np
from scipy import special

from trials.errors import NotFinite, WrongArgument
from trials.findings import Fact, Finding
from trials.infer.answer import Levels, levels
from trials.infer.means import against_reference
from trials.plan.kinds import PlanKind
from trials.plan.power.balanced import Part

MOST = 200
"""Specimens or mounts beyond which the search stops."""


@dataclass(frozen=True)
class Counts:
    """Counts behind one comparison with today's nozzle: specimens of the other types, `today` times as many of today's.

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
    today: float = 1.0

    @property
    def pieces(self) -> float:
        """Specimens of all types."""
        return (self.types - 1 + self.today) * self.specimens

    @property
    def yardstick_df(self) -> int:
        """Degrees of freedom of specimens within types, or of mounts where each type has one specimen."""
        if self.specimens > 1:
            return round(self.pieces) - self.types - (0 if self.mounts > 1 else self.sheets - 1)
        return self.types * (self.mounts - 1) - (self.sheets - 1)

    def variance(self, variances: Mapping[str, float]) -> float:
        """Variance of the difference of two types at the compared settings."""
        return self._variance(variances, self.coupons)

    def df(self, variances: Mapping[str, float]) -> float:
        """Degrees of freedom of that variance, by Satterthwaite (1946) where it rests on pieces and coupons."""
        if self.coupons_cut is None or self.coupons_cut <= self.coupons or self.yardstick_df < 1:
            return float(self.yardstick_df)
        within_df = self.pieces * self.mounts * (self.coupons_cut - 1.0) - self.terms
        whole, average = self.variance(variances), self._variance(variances, self.coupons_cut)
        if within_df < 1 or whole == 0.0:
            return float(self.yardstick_df)
        return whole**2 / (average**2 / self.yardstick_df + (whole - average) ** 2 / within_df)

    def _variance(self, variances: Mapping[str, float], coupons: float) -> float:
        part = {name: variances.get(name, 0.0) for name in ("specimen", "mount", "coupon", "reading")}
        mounts = self.specimens * self.mounts
        specimen = part["specimen"] / self.specimens if self.specimens > 1 else 0.0
        coupon = (part["coupon"] + part["reading"] / self.readings) / (mounts * coupons)
        return (1.0 + 1.0 / self.today) * (specimen + part["mount"] / mounts + coupon)


@dataclass(frozen=True)
class Needed:
    """Numbers per type (specimens) or per specimen (mounts) for the asked chance that an answer ends right.

    chance: what was asked for; counts: as they are; chance_*: with these counts, if the true difference is the
    worthwhile one, or zero. at_*: specimens per type; None where no number up to `MOST` will do, or with one specimen
    per type, which cannot speak for its type. mounts_*: mounts of each specimen already there, None where no number
    will do; mounts_known: False where mounts have no spread of their own, so that nothing is known of further mounts;
    mounts_apply: False where a piece is not mounted again (lives) or gives one figure (shares).
    """

    chance: float
    counts: Counts
    chance_at_worthwhile: float
    chance_at_zero: float
    at_worthwhile: int | None
    at_zero: int | None
    mounts_known: bool
    mounts_at_worthwhile: int | None = None
    mounts_at_zero: int | None = None
    mounts_apply: bool = True

    def finding(self) -> Finding:
        """What would bring the chance of a right answer to the asked one, as a finding."""
        facts: dict[str, Fact] = {
            "chance": self.chance,
            "specimens": self.counts.specimens,
            "today": self.counts.today,
            "specimens_at_worthwhile": self.at_worthwhile,
            "specimens_at_zero": self.at_zero,
            "mounts": self.counts.mounts,
            "mounts_known": self.mounts_known,
            "mounts_apply": self.mounts_apply,
            "mounts_at_worthwhile": self.mounts_at_worthwhile,
            "mounts_at_zero": self.mounts_at_zero,
            "most": MOST,
        }
        return Finding(PlanKind.NEEDED, facts=facts)


def specimens_needed(
    variances: Mapping[str, float],
    worthwhile: float,
    counts: Counts,
    confidence: Levels | None = None,
    chance: float = 0.8,
    wider: float | None = None,
) -> Needed:
    """Specimens per type, and mounts of those there are, for this chance that an answer ends right.

    variances: by source, on the model's scale (log for roughness); worthwhile: D on that scale, the smaller of the pair
    for better and worse, wider: the larger one (the same where None); confidence: of the intervals S and E, shared out
    over primaries and looks (`trials.infer.answer.levels`; one of each where None).

    Raises
    ------
    NotFinite
        If a variance or the worthwhile difference is NaN or infinite.
    WrongArgument
        If the worthwhile difference is not above zero or a variance is negative.
    """
    _check(variances, worthwhile)
    shared = confidence or levels(1)
    at_worthwhile, at_zero = (
        _Question(variances, true, worthwhile, counts, shared, chance, wider) for true in (worthwhile, 0.0)
    )
    known = "mount" in variances
    return Needed(
        chance=chance,
        counts=counts,
        chance_at_worthwhile=at_worthwhile.chance_now(),
        chance_at_zero=at_zero.chance_now(),
        at_worthwhile=at_worthwhile.fewest(Part.SPECIMENS),
        at_zero=at_zero.fewest(Part.SPECIMENS),
        mounts_known=known,
        mounts_at_worthwhile=at_worthwhile.fewest(Part.MOUNTS) if known else None,
        mounts_at_zero=at_zero.fewest(Part.MOUNTS) if known else None,
    )


def chance_right(
    variances: Mapping[str, float],
    true: float,
    worthwhile: float,
    counts: Counts,
    confidence: Levels | None = None,
    wider: float | None = None,
) -> float:
    """Chance that one type's answer ends right if its true difference to today's is `true`.

    Right is what the settling plans mean by it: better (or worse) for a true difference above zero, same for none.
    `true` above zero is towards the smaller side of the worthwhile pair, `wider` is the other side. 0
    where nothing is left to estimate the spread from. Exact for the balanced rule up to quadrature (1e-6).
    """
    if counts.yardstick_df < 1 or counts.coupons <= 0:
        return 0.0
    shared, df = confidence or levels(1), round(counts.df(variances), 2)
    se = math.sqrt(counts.variance(variances))
    if se == 0.0:
        return 1.0
    scale, weights = _chi(df)
    s = se * scale
    correlation = round(1.0 / (1.0 + counts.today), 4)
    significant = critical_value(counts.types - 1, df, shared.difference, correlation) * s
    alike = critical_value(counts.types - 1, df, shared.sameness, correlation) * s
    near, far = worthwhile - alike, (wider or worthwhile) - alike
    if true > 0:
        return float(weights @ special.ndtr((true - np.maximum(significant, near)) / se))
    return float(weights @ np.maximum(special.ndtr(near / se) - special.ndtr(-far / se), 0.0))


@lru_cache(maxsize=512)
def critical_value(comparisons: int, df: float, level: float, correlation: float = 0.5) -> float:
    """Two-sided critical value against today's: multivariate t, correlation one half where numbers are equal."""
    covariance = correlation + (1.0 - correlation) * np.eye(comparisons)
    found = against_reference(np.zeros(comparisons), covariance, np.full(comparisons, df, dtype=float), level)
    return float(found.critical[0])


@lru_cache(maxsize=512)
def _chi(df: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights of chi / sqrt(df): Gauss-Legendre over its quantiles, 128 points."""
    points, weights = _legendre()
    return np.sqrt(special.chdtri(df, 1.0 - (points + 1.0) / 2.0) / df), weights / 2.0


@cache
def _legendre() -> tuple[np.ndarray, np.ndarray]:
    """Gauss-Legendre, 128 points."""
    points, weights = np.polynomial.legendre.leggauss(128)
    return points, weights


@dataclass(frozen=True)
class _Question:
    """How many are needed for a chance of a right answer at one true difference."""

    variances: Mapping[str, float]
    true: float
    worthwhile: float
    counts: Counts
    confidence: Levels
    chance: float
    wider: float | None = None

    def chance_now(self) -> float:
        return self._chance(self.counts)

    def _chance(self, counts: Counts) -> float:
        return chance_right(self.variances, self.true, self.worthwhile, counts, self.confidence, self.wider)

    def fewest(self, part: Part) -> int | None:
        """The smallest count from that of the plan on that reaches the chance; None where none up to `MOST` does."""
        if part is Part.SPECIMENS and self.counts.specimens < 2:
            return None

        def enough(count: int) -> bool:
            return self._chance(replace(self.counts, **{part.value: count})) >= self.chance

        start: int = getattr(self.counts, part.value)
        if enough(start):
            return start
        if start >= MOST:
            return None
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
            raise WrongArgument(f"{source} is {value:g}; give zero or more.")
    if worthwhile == 0:
        raise WrongArgument("the worthwhile difference is zero; state one above zero in the trial file.")
