"""What a balanced plan can detect: exactly, by noncentral F and noncentral t, from counts and spreads alone.

A nozzle type is judged against how much its specimens differ, so the chance to see a difference hangs on the number of
specimens first, on mounts second, and hardly on readings. Spreads are standard deviations on the scale of the model
(log for roughness). The sheet spread cancels: each sheet holds every type equally often.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache

import numpy as np
import pandas as pd
from scipy import special

from trials.errors import NotFinite, NotIdentifiable, WrongArgument

SOURCES = ("specimen", "mount", "coupon", "reading")


class Pattern(StrEnum):
    """How true means lie when their highest and lowest differ by one: two apart and the others half-way, or half each.

    With two means, or for a slope from lowest to highest level, there is one pattern only.
    """

    LEAST_FAVOURABLE = "least favourable"
    TYPICAL = "typical"
    ONE_PAIR = "one pair"
    END_TO_END = "end to end"


PATTERNS = (Pattern.LEAST_FAVOURABLE, Pattern.TYPICAL)


class Part(StrEnum):
    """What of a plan is varied: its counts one at a time, or specimens that share the coupons there are."""

    SPECIMENS = "specimens"
    MOUNTS = "mounts"
    COUPONS = "coupons"
    READINGS = "readings"
    SPREAD_OUT = "specimens, same coupons"


COUNTED = (Part.SPECIMENS, Part.MOUNTS, Part.COUPONS, Part.READINGS)
COUNTS = (1, 2, 3, 4, 6, 8, 12, 16)
"""Counts at which a curve is drawn."""


@dataclass(frozen=True)
class Balanced:
    """Counts of a balanced plan: specimens per type, mounts per specimen, coupons per mount, readings per coupon.

    Raises
    ------
    WrongArgument
        If a count is below one (two for the types) or is no whole number.
    """

    types: int
    specimens: int
    mounts: int = 1
    coupons: int = 1
    readings: int = 1
    sheets: int = 1

    def __post_init__(self) -> None:
        """Refuse counts that are no plan."""
        for name, least in (("types", 2), *((name, 1) for name in ("specimens", "mounts", "coupons", "readings"))):
            if getattr(self, name) < least or getattr(self, name) != int(getattr(self, name)):
                raise WrongArgument(f"{name} is {getattr(self, name)}; give a whole number of {least} or more.")
        if self.sheets < 1:
            raise WrongArgument(f"sheets is {self.sheets}; give 1 or more.")

    @property
    def units(self) -> int:
        """Independent pieces per type that the type is tested against: specimens, or mounts where there is one."""
        return self.specimens if self.specimens > 1 else self.mounts

    @property
    def df(self) -> int:
        """Degrees of freedom the nozzle test rests on.

        Where the tested piece stays on one sheet, the sheets take one each but the first: 4 types x 3 specimens leave
        8 on one sheet and 6 on three.
        """
        moves = self.specimens > 1 and self.mounts > 1
        return self.types * (self.units - 1) - (0 if moves else self.sheets - 1)

    @property
    def n_coupons(self) -> int:
        """Coupons in the whole plan."""
        return self.types * self.specimens * self.mounts * self.coupons

    def variance_of_mean(self, spreads: Mapping[str, float]) -> float:
        """Variance of the mean of one type; with one specimen per type its spread is left out (these nozzles only)."""
        sd = checked_spreads(spreads)
        specimen = sd["specimen"] ** 2 / self.specimens if self.specimens > 1 else 0.0
        n_mounts = self.specimens * self.mounts
        coupon = sd["coupon"] ** 2 + sd["reading"] ** 2 / self.readings
        return specimen + sd["mount"] ** 2 / n_mounts + coupon / (n_mounts * self.coupons)


def checked_spreads(spreads: Mapping[str, float]) -> dict[str, float]:
    """Spreads by source, zero where none is given.

    Raises
    ------
    NotFinite
        If a spread is NaN or infinite.
    WrongArgument
        If a spread is negative or its source is not specimen, mount, coupon or reading.
    """
    for source, value in spreads.items():
        if source not in (*SOURCES, "sheet"):
            raise WrongArgument(f"spread of {source!r} is unknown; use {', '.join(SOURCES)}.")
        if not math.isfinite(value):
            raise NotFinite(f"the spread of {source} is {value}; give a finite standard deviation.")
        if value < 0:
            raise WrongArgument(f"the spread of {source} is {value:g}; give zero or more.")
    return {source: float(spreads.get(source, 0.0)) for source in SOURCES}


def pattern_means(types: int, pattern: Pattern = Pattern.LEAST_FAVOURABLE) -> np.ndarray:
    """Means (types,) of a pattern whose highest and lowest differ by one, centred on zero mean.

    Raises
    ------
    WrongArgument
        If the pattern is not one of `PATTERNS`.
    """
    means = np.zeros(types)
    if pattern == Pattern.LEAST_FAVOURABLE:
        means[0], means[-1] = -0.5, 0.5
    elif pattern == Pattern.TYPICAL:
        means[: types // 2], means[types // 2 :] = -0.5, 0.5
    else:
        raise WrongArgument(f"pattern {str(pattern)!r} is unknown; use one of: {', '.join(PATTERNS)}.")
    return np.asarray(means - means.mean())


def detectable_balanced(
    plan: Balanced,
    spreads: Mapping[str, float],
    pattern: Pattern = Pattern.LEAST_FAVOURABLE,
    chance: float = 0.8,
    alpha: float = 0.05,
) -> float:
    """Smallest difference between highest and lowest type that the nozzle test sees with this chance; 0 at no spread.

    Exact by noncentral F, on the scale of the spreads; noncentrality is the sum of squares of the pattern over the
    variance of a type's mean (Searle, Casella and McCulloch 1992, section 4.3).

    Raises
    ------
    NotIdentifiable
        If nothing is replicated above the coupon, so that there is nothing to test a type against.
    NotFinite, WrongArgument
        If a spread, the pattern or the chance is unusable.
    """
    _need_df(plan)
    needed = noncentrality_needed(plan.types - 1, plan.df, chance, alpha)
    signal = float(np.sum(pattern_means(plan.types, pattern) ** 2))
    return math.sqrt(needed * plan.variance_of_mean(spreads) / signal)


@lru_cache(maxsize=4096)
def noncentrality_needed(df: int, den_df: float, chance: float = 0.8, alpha: float = 0.05) -> float:
    """Noncentrality at which an F test on df and den_df degrees of freedom rejects with this chance.

    Raises
    ------
    WrongArgument
        Unless alpha < chance < 1.
    """
    from scipy import optimize

    if not 0 < alpha < chance < 1:
        raise WrongArgument(f"chance {chance:g} and level {alpha:g} do not fit; use 0 < level < chance < 1.")
    high = 10.0
    while chance_f(high, df, den_df, alpha) < chance:
        high *= 2.0
    return float(optimize.brentq(lambda nc: chance_f(nc, df, den_df, alpha) - chance, 0.0, high, xtol=1e-10))


def chance_f(noncentrality: float, df: int, den_df: float, alpha: float = 0.05) -> float:
    """Chance that an F test on df and den_df degrees of freedom comes out at level alpha."""
    if noncentrality < 1e-12:
        return alpha
    critical = special.fdtri(df, den_df, 1.0 - alpha)
    return float(1.0 - special.ncfdtr(df, den_df, noncentrality, float(critical)))


def _need_df(plan: Balanced) -> None:
    if plan.df < 1:
        raise NotIdentifiable(
            f"{plan.units} piece(s) per type on {plan.sheets} sheet(s) leave nothing to test a nozzle type "
            "against; add specimens or mounts, or use fewer sheets."
        )


def curve(
    plan: Balanced, spreads: Mapping[str, float], pattern: Pattern = Pattern.LEAST_FAVOURABLE, chance: float = 0.8
) -> pd.DataFrame:
    """Detectable difference against specimens, mounts, coupons and readings, one of them varied at a time.

    Columns: varied (a `Part`), count, coupons and readings (in the whole plan), df, detectable, planned (the plan as
    it is). `Part.SPREAD_OUT` shares the coupons of the plan out among more specimens. Counts at which nothing can be
    tested are left out.
    """
    rows = []
    for varied, count, changed in _variations(plan):
        if changed.df < 1:
            continue
        rows.append(
            {
                "varied": varied.value,
                "count": count,
                "coupons": changed.n_coupons,
                "readings": changed.n_coupons * changed.readings,
                "df": changed.df,
                "detectable": detectable_balanced(changed, spreads, pattern, chance),
                "planned": changed == plan,
            }
        )
    columns = ["varied", "count", "coupons", "readings", "df", "detectable", "planned"]
    return pd.DataFrame(rows, columns=columns)


def _variations(plan: Balanced) -> list[tuple[Part, int, Balanced]]:
    found = []
    for part in COUNTED:
        for count in sorted({*COUNTS, getattr(plan, part.value)}):
            found.append((part, count, replace(plan, **{part.value: count})))
    total = plan.specimens * plan.coupons
    for count in range(1, total + 1):
        if total % count == 0 and count % plan.sheets == 0:
            found.append((Part.SPREAD_OUT, count, replace(plan, specimens=count, coupons=total // count)))
    return found


@dataclass(frozen=True)
class Minutes:
    """Time one step takes, in minutes (common practice, no source).

    mount: change, centring, height calibration, bore check; coupon: pierce, cut, pick up, cool, mark; reading: one
    side of one coupon measured and written down.
    """

    mount: float = 12.0
    coupon: float = 3.0
    reading: float = 4.0

    def of(self, plan: Balanced) -> float:
        """Minutes the whole plan takes at machine and bench."""
        mounts = plan.types * plan.specimens * plan.mounts
        return mounts * self.mount + plan.n_coupons * (self.coupon + plan.readings * self.reading)


@dataclass(frozen=True)
class Step:
    """One more of a part of the plan: minutes of extra work, detectable difference after it, gain per hour.

    less: share by which the detectable difference falls; gain_per_hour: that share over the hours.
    """

    more: Part
    minutes: float
    detectable: float
    less: float

    @property
    def gain_per_hour(self) -> float:
        """Share by which the detectable difference falls, per hour of extra work."""
        return self.less / (self.minutes / 60.0)


def next_steps(
    plan: Balanced,
    spreads: Mapping[str, float],
    minutes: Minutes | None = None,
    pattern: Pattern = Pattern.LEAST_FAVOURABLE,
) -> tuple[Step, ...]:
    """What one more of each would bring, the most rewarding hour first.

    One more specimen of each type, one more mount of each specimen, one more coupon in each mount, one more reading on
    each coupon. Where no spread is expected nothing is gained.
    """
    cost = minutes or Minutes()
    now, steps = detectable_balanced(plan, spreads, pattern), []
    for part in COUNTED:
        changed = replace(plan, **{part.value: getattr(plan, part.value) + 1})
        after = detectable_balanced(changed, spreads, pattern)
        steps.append(Step(part, cost.of(changed) - cost.of(plan), after, (now - after) / now if now > 0 else 0.0))
    return tuple(sorted(steps, key=lambda step: -step.gain_per_hour))
