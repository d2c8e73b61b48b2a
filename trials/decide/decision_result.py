"""What a trial decides, as plain values: what to do, what it gains and costs, what would change it; words come last."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from trials.findings import Amount, Finding, Place
from trials.infer.answer import Answer


class Question(StrEnum):
    """What a trial asks, by its plan."""

    COMPARE = "compare"
    WINDOW = "window"
    LADDER = "ladder"
    LIFE = "life"


class Action(StrEnum):
    """What a manager does next with nozzle types."""

    CHANGE = "change"
    KEEP = "keep"
    CUT_MORE = "cut more"
    NOTHING = "nothing to compare"


class Because(StrEnum):
    """What a change rests on: a better edge, speed or life; a requirement that today's does not show to meet; money."""

    QUALITY = "quality"
    REQUIREMENT = "requirement"
    MONEY = "money"
    NONE = ""


class CostInput(StrEnum):
    """What goes into the cost of a metre."""

    SPEED = "speed_m_min"
    GAS = "gas_m3_h"
    FAILING = "failing"
    PRICE = "nozzle_price"
    LIFE = "nozzle_life_m"
    CHANGE = "change_minutes"
    LENS_PRICE = "lens_price"
    LENS_LIFE = "lens_life_m"
    MACHINE_HOUR = "machine_hour"
    GAS_M3 = "gas_m3"
    EDGE = "edge_m"
    LIFE_HOURS = "nozzle_life_hours"


class MoneyKind(StrEnum):
    """What there is to say beside figures of money."""

    NO_SPEED = "money_no_speed"
    GAS_NOT_KNOWN = "money_gas_not_known"
    GAS_NOT_COUNTED = "money_gas_not_counted"
    LENS_NOT_COUNTED = "money_lens_not_counted"
    REWORK_NOT_COUNTED = "money_rework_not_counted"
    FAILING_NOT_KNOWN = "money_failing_not_known"
    PRICE_NOT_STATED = "money_price_not_stated"
    LIFE_AT_LEAST = "money_life_at_least"
    LIVES_NOT_USED = "money_lives_not_used"
    AT_CLEAN_SPEEDS = "money_at_clean_speeds"


@dataclass(frozen=True)
class Span:
    """A figure with its 95 % limits."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> Span:
        """The figure in another unit; factor above zero."""
        return Span(self.value * factor, self.low * factor, self.high * factor)


@dataclass(frozen=True)
class FewerFail:
    """Of 100 edges: how many fail today, with a type, and how many fewer that is; below zero: more fail."""

    nozzle: str
    today: float
    with_it: float
    fewer: Span


@dataclass(frozen=True)
class Flip:
    """A value of one input of a type at which it costs as much as today's, the rest as it is; against: today's."""

    input: CostInput
    at: float
    against: float
    flips_at: float


@dataclass(frozen=True)
class TypeCost:
    """Cost of a metre of acceptable edge with one type; parts: machine, gas, nozzle, lens, rework."""

    nozzle: str
    cost: Span
    parts: Mapping[str, float]


@dataclass(frozen=True)
class CostAgainst:
    """Cost of a metre with one type less that with today's: below zero is cheaper.

    cheaper: chance that it is; per_year: None where no metres per year are stated; decides: the input behind most of
    the width of the interval, None where nothing is uncertain; flips: where the choice turns, the nearest first;
    life_ratio: of lives, from which on this nozzle is no dearer per metre for its own price and change.
    """

    nozzle: str
    against: str
    value: Span
    cheaper: float
    per_year: Span | None
    decides: CostInput | None
    decides_share: float
    flips: tuple[Flip, ...]
    life_ratio: float | None


@dataclass(frozen=True)
class Assumed:
    """An input that is not stated, with the figure of common practice taken instead."""

    input: CostInput
    value: float


@dataclass(frozen=True)
class Money:
    """Money where the trial states costs.

    place: the settings it holds for; types: in the order of the trial; against: each other type with today's; assumed:
    what common practice stands in for; lives: where lives came from, empty for none; said: what is left out and why;
    types and against are empty where nothing can be reckoned; metres: cut in a year, None where not stated.
    """

    currency: str
    place: Place
    types: tuple[TypeCost, ...] = ()
    against: tuple[CostAgainst, ...] = ()
    assumed: tuple[Assumed, ...] = ()
    lives: str = ""
    said: tuple[Finding, ...] = ()
    metres: float | None = None

    def of(self, nozzle: str) -> CostAgainst | None:
        """A type against today's."""
        return next((each for each in self.against if each.nozzle == nozzle), None)


@dataclass(frozen=True)
class MoreCutting:
    """The cutting that would most likely settle the answer.

    chance: of a settled answer; specimens: of each type in all, now: as cut; coupons: to be cut more; hours: at machine
    and bench; money: None where no costs are stated.
    """

    chance: float
    specimens: int
    now: int
    coupons: int
    machine_hours: float
    bench_hours: float
    money: float | None
    currency: str

    @property
    def hours(self) -> float:
        """All hours."""
        return self.machine_hours + self.bench_hours


@dataclass(frozen=True)
class SideEffect:
    """A secondary response that is worse by its worthwhile difference; proved: its interval leaves out none."""

    response: str
    symbol: str
    higher: bool
    proved: bool


@dataclass(frozen=True)
class Gain:
    """What is proved better of the type to change to; response: `clean_speed` for a ladder, `life` for lives."""

    response: str
    kind: str
    value: float
    low: float
    high: float
    confidence: float


@dataclass(frozen=True)
class Decision:
    """The decision of a trial: quality first, then money.

    Attributes:
        question: what the trial asks; action, nozzle: what to do, and with which type (that to change to, or today's
            where it stays); against: today's, empty where it stays; because: what a change rests on.
        place: the settings compared, of a window those to run; safe_speed: that 95 % of the mounts of the type keep
            clean at least, in a ladder.
        others: the remaining types by their answer, in the order of the trial, none twice.
        gains: what is proved better; of a window each type at its best, or today's best against today's setting.
        fewer_fail: of 100 edges; None where no requirement was measured, and of a window or a ladder.
        price, price_against: of a nozzle, None where not stated; money: of the type against today's, None without.
        worse: secondary responses that are worse; dominated: types no better than this on any count, worse on one.
        more: the cutting that would settle it, where something is open and that is known.
        unconfirmed: coupons are to confirm the place first, or did not confirm it.
    """

    question: Question
    action: Action
    nozzle: str = ""
    against: str = ""
    because: Because = Because.NONE
    place: Place | None = None
    safe_speed: Amount | None = None
    others: tuple[tuple[Answer, tuple[str, ...]], ...] = ()
    gains: tuple[Gain, ...] = ()
    fewer_fail: FewerFail | None = None
    price: float | None = None
    price_against: float | None = None
    currency: str = ""
    money: CostAgainst | None = None
    worse: tuple[SideEffect, ...] = ()
    dominated: tuple[str, ...] = ()
    more: MoreCutting | None = None
    unconfirmed: bool = False
