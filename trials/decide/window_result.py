"""What is said of an operating window and of each nozzle type at its best: values alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from trials.asked import BestBy
from trials.infer.answer import Added, Answer
from trials.infer.chance import Reach
from trials.trial import Level


@dataclass(frozen=True)
class Gain:
    """Typical edge at the best against today's setting, both with the same type.

    kind, value: as in a comparison, the optimism of a picked best taken off; low, high: hold whatever setting was
    picked; optimism: what was taken off, on the same kind.
    """

    kind: Literal["ratio", "difference"]
    value: float
    low: float
    high: float
    optimism: float

    @property
    def shown(self) -> bool:
        """Whether the interval leaves out that nothing is gained."""
        return not self.low <= (1.0 if self.kind == "ratio" else 0.0) <= self.high


@dataclass(frozen=True)
class Confirmation:
    """Coupons that would confirm the best: their settings, how many, and the limits that their mean must fall in.

    readings: of each coupon; low, high: in the unit, for the mean on the model's scale (the geometric mean where that
    is the logarithm), with `confidence` if the model and the estimates are right.
    """

    settings: Mapping[str, Level]
    coupons: int
    readings: int
    low: float
    high: float
    confidence: float


@dataclass(frozen=True)
class Best:
    """The best setting of a type by the declared aim.

    chance_low: holds whatever setting was picked. edge, edge_low, edge_high: typical edge of the decisive response
    there, with an interval that holds over the whole region, so that it may be read at a best that was picked;
    alone_low, alone_high: one that does not allow for that. alike: settings not shown to have a worse typical edge.
    """

    settings: Mapping[str, Level]
    chance: float
    chance_low: float
    edge: float | None = None
    edge_low: float | None = None
    edge_high: float | None = None
    alone_low: float | None = None
    alone_high: float | None = None
    alike: tuple[Mapping[str, Level], ...] = ()
    gain: Gain | None = None
    confirm: Confirmation | None = None


@dataclass(frozen=True)
class BestComparison:
    """A type at its best against today's type at its own best; fields as in a comparison, lower limit to answer.

    settings, against_settings: the two places; the interval allows for both having been picked.
    """

    nozzle: str
    against: str
    settings: Mapping[str, Level]
    against_settings: Mapping[str, Level]
    kind: Literal["ratio", "difference"]
    value: float
    low: float
    high: float
    answer: Answer
    answer_adds: Added | None
    confidence: float


@dataclass(frozen=True)
class TypeWindow:
    """One nozzle type.

    Attributes:
        settings, chance, low: every place of the grid inside the region that was cut, the chance there, and a lower
            bound that holds at all of them together, so that a place may be picked afterwards.
        share_estimate, share_bound: share of that region where the chance, or its lower bound, is high enough.
        best: the best setting, by the declared aim.
        today_chance, today_low: at today's setting, the bound for this one alone; None where it lies outside.
        border: the nearest place where the state of the place next to today's setting (safe or not, by the bound where
            any place is, else by the estimate) changes; None where there is none.
        reach: what would show the stated chance at the best, where it is estimated there but not shown.
        cut: the settings that were cut (n, 2) in the two factors.
    """

    nozzle: str
    settings: tuple[Mapping[str, Level], ...]
    chance: tuple[float, ...]
    low: tuple[float, ...]
    share_estimate: float
    share_bound: float
    best: Best
    today_chance: float | None
    today_low: float | None
    border: Mapping[str, Level] | None
    reach: Reach | None
    cut: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Elsewhere:
    """Shares of the map that are safe by estimate and by bound with one further factor at another level, by type."""

    factor: str
    level: float
    share_estimate: Mapping[str, float]
    share_bound: Mapping[str, float]


@dataclass(frozen=True)
class WindowStudy:
    """across: the two factors; units: of each factor; others: the rest, as held; wanted: the stated chance.

    x, y: settings of the grid; today: today's setting; response, unit: the decisive response and its unit, empty where
    it is a grade; best_by: the declared aim; comparisons: types at their own bests, by the decisive response; searched:
    factors over which the bests were sought; elsewhere: the same map with another factor at its ends; asked: whether
    the window is the question of the trial.
    """

    across: tuple[str, str]
    units: Mapping[str, str]
    others: Mapping[str, Level]
    wanted: float
    x: tuple[float, ...]
    y: tuple[float, ...]
    today: Mapping[str, Level]
    response: str
    unit: str
    best_by: BestBy
    types: tuple[TypeWindow, ...]
    comparisons: tuple[BestComparison, ...] = ()
    searched: tuple[str, ...] = ()
    elsewhere: tuple[Elsewhere, ...] = ()
    asked: bool = False

    @property
    def shown(self) -> bool:
        """Whether some type is shown to meet the requirement somewhere."""
        return any(each.share_bound > 0 for each in self.types)

    @property
    def likely(self) -> bool:
        """Whether some type is estimated to meet it somewhere."""
        return any(each.share_estimate > 0 for each in self.types)

    @property
    def widest(self) -> TypeWindow:
        """The type with the widest window that is shown; else that is estimated; else with the highest chance."""
        return max(self.types, key=lambda each: (each.share_bound, each.share_estimate, each.best.chance))
