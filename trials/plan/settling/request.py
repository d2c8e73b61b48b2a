"""What is asked of a plan to settle, and what a plan to settle is."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from trials.errors import NotFinite, WrongArgument
from trials.findings import PlaceKind
from trials.infer.answer import Levels


class If(StrEnum):
    """For which truth the chance is asked: types differ by the worthwhile difference, do not differ, or either."""

    DIFFERENT = "different"
    SAME = "same"
    BOTH = "both"


@dataclass(frozen=True)
class Asked:
    """One primary response: variances by source on the model's scale, and the worthwhile pair (better, worse) on it.

    open: other sets of variances that a pilot leaves possible, equally likely; the chance is then the mean over them.

    Raises
    ------
    NotFinite
        If a spread is no finite number.
    WrongArgument
        If a spread is negative, the worthwhile difference is zero, or no spread between coupons is known.
    """

    response: str
    variances: Mapping[str, float]
    better: float
    worse: float
    open: tuple[Mapping[str, float], ...] = ()

    def __post_init__(self) -> None:
        """Refuse figures that plan nothing."""
        for source, value in {**self.variances, "better": self.better, "worse": self.worse}.items():
            if not math.isfinite(value):
                raise NotFinite(f"{self.response}: {source} is {value}; give a finite number.")
            if value < 0:
                raise WrongArgument(f"{self.response}: {source} is {value:g}; give zero or more.")
        if min(self.better, self.worse) == 0.0:
            raise WrongArgument(f"{self.response}: the worthwhile difference is zero; state one above zero.")
        if coupon_variance(self.variances, 1) == 0.0:
            raise WrongArgument(f"{self.response}: no spread of coupon or reading is expected; state one above zero.")


def coupon_variance(variances: Mapping[str, float], readings: int) -> float:
    """Variance of a coupon's mean within its mount."""
    return variances.get("coupon", 0.0) + variances.get("reading", 0.0) / readings


@dataclass(frozen=True)
class Candidate:
    """One plan: specimens by type in the order of the trial, and what each of them gets.

    coupons: in each mount, `repeats` of them at today's setting; readings: places on each coupon; sheets: as few as
    hold the coupons.
    """

    specimens: tuple[int, ...]
    mounts: int = 1
    coupons: int = 1
    repeats: int = 0
    readings: int = 1
    sheets: int = 1

    @property
    def n_mounts(self) -> int:
        """Mounts of the whole plan."""
        return sum(self.specimens) * self.mounts

    @property
    def n_coupons(self) -> int:
        """Coupons of the whole plan."""
        return self.n_mounts * self.coupons


@dataclass(frozen=True)
class Pattern:
    """What every specimen of a plan gets; see `Candidate`."""

    mounts: int
    coupons: int
    repeats: int
    readings: int

    def candidate(self, specimens: tuple[int, ...], sheets: int) -> Candidate:
        """The plan with so many specimens of each type."""
        return Candidate(specimens, self.mounts, self.coupons, self.repeats, self.readings, sheets)


@dataclass(frozen=True)
class Space:
    """Where plans are looked for.

    most: specimens of a type that can be had, by type; bare: below two coupons a mount and two readings a coupon.
    """

    mounts: tuple[int, ...] = (1, 2)
    coupons: tuple[int, ...] = (2, 3, 4, 5, 6, 7, 8)
    repeats: tuple[int, ...] = (0, 1, 2, 3, 4, 5)
    readings: tuple[int, ...] = (2, 3, 4)
    most_specimens: int = 40
    most: Mapping[str, int] = field(default_factory=dict)
    bare: bool = False

    def limits(self, types: tuple[str, ...]) -> tuple[int, ...]:
        """Most specimens of each type."""
        return tuple(min(self.most_specimens, self.most.get(kind, self.most_specimens)) for kind in types)


@dataclass(frozen=True)
class Goal:
    """The chance asked for, for which truth, of one comparison or of all of the trial; or what may be spent."""

    chance: float = 0.8
    truth: If = If.BOTH
    all_of_them: bool = False
    hours: float | None = None
    money: float | None = None

    @property
    def has_budget(self) -> bool:
        """True where the best chance for a budget is asked for."""
        return self.hours is not None or self.money is not None


@dataclass(frozen=True)
class Chances:
    """Chances that the answers come out right.

    different, same: of the weakest comparison with today's type, if the true difference is the worthwhile one or none;
    all_different, all_same: of all comparisons of the trial at once.
    """

    different: float
    same: float
    all_different: float
    all_same: float

    def reached(self, goal: Goal) -> float:
        """The chance that the goal is about: the lower one where both truths are asked for."""
        different = self.all_different if goal.all_of_them else self.different
        same = self.all_same if goal.all_of_them else self.same
        return {If.DIFFERENT: different, If.SAME: same, If.BOTH: min(different, same)}[goal.truth]


@dataclass(frozen=True)
class Bill:
    """What a plan takes: hours at machine and bench, money in the currency of the trial."""

    machine_hours: float
    bench_hours: float
    money: float

    @property
    def hours(self) -> float:
        """All hours."""
        return self.machine_hours + self.bench_hours


@dataclass(frozen=True)
class Option:
    """A plan with its chances and its bill."""

    candidate: Candidate
    chances: Chances
    bill: Bill


@dataclass(frozen=True)
class Question:
    """Who is compared with whom, where, at which confidence; types in the order of the trial, today: today's index."""

    types: tuple[str, ...]
    today: int
    at: PlaceKind
    levels: Levels
    asked: tuple[Asked, ...]
