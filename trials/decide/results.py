"""What a study of one trial says: frozen, plain values, ready for paper and for `--json`."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from trials.infer.answer import Answer


@dataclass(frozen=True)
class TermTest:
    """Test of one term; strata_* is the classical test of a balanced trial, omega2 the partial share it explains."""

    term: str
    df: int
    den_df: float
    F: float
    p: float
    strata_F: float | None = None
    strata_den_df: float | None = None
    strata_p: float | None = None
    omega2: float | None = None


@dataclass(frozen=True)
class Spread:
    """How much one source (sheet, specimen, mount, coupon, reading) varies, on the model's scale."""

    source: str
    sd: float
    share: float
    words: str


@dataclass(frozen=True)
class Mean:
    """Typical (median) edge of a nozzle type in the response's unit, with its 95 % interval."""

    nozzle: str
    settings: str
    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Comparison:
    """One nozzle type against another at stated settings.

    kind "ratio" (log scale) or "difference" (in the unit); value, low, high on that kind with the simultaneous
    interval; p adjusted for the number of comparisons; answer None for a secondary response. in_unit: value, low and
    high as a change in the response's unit. times_worthwhile, times_spread: size of the difference in worthwhile
    differences, and in standard deviations of one reading on the next edge.
    """

    nozzle: str
    against: str
    settings: str
    kind: Literal["ratio", "difference"]
    value: float
    low: float
    high: float
    p: float | None
    answer: Answer | None = None
    answer_adds: str | None = None
    confidence: float = 0.95
    in_unit: tuple[float, float, float] | None = None
    times_worthwhile: float | None = None
    times_spread: float | None = None


@dataclass(frozen=True)
class Check:
    """One check of the data or the model: a sentence for people, and whether it asks for attention."""

    name: str
    sentence: str
    flagged: bool = False
    coupons: tuple[str, ...] = ()
    nozzles: tuple[str, ...] = ()


@dataclass(frozen=True)
class ResponseResult:
    """Everything found about one response."""

    response: str
    label: str
    scale: str
    unit: str
    primary: bool
    n_readings: int
    n_coupons: int
    rests_on: str
    terms: tuple[TermTest, ...]
    spread: tuple[Spread, ...]
    means: tuple[Mean, ...]
    comparisons: tuple[Comparison, ...]
    pairs: tuple[Comparison, ...] = ()
    worthwhile: float | None = None
    worthwhile_words: str = ""
    checks: tuple[Check, ...] = ()
    more: tuple[str, ...] = ()
    said: tuple[str, ...] = ()
    other_means: tuple[Mean, ...] = ()
    reml_criterion: float | None = None


@dataclass(frozen=True)
class ChanceResult:
    """Chance that the next edge of a type meets one requirement (or all), at stated settings.

    low: 95 % confident lower bound; share_met of n_coupons: coupons that met everything, over all settings (for all
    together only); words: what is said of this row; assumed: what holds for rows like it.
    """

    nozzle: str
    requirement: str
    settings: str
    estimate: float
    low: float
    share_met: float | None
    n_coupons: int
    words: str = ""
    assumed: tuple[str, ...] = ()


@dataclass(frozen=True)
class NozzleRow:
    """One line of the manager's table of nozzle types."""

    nozzle: str
    described: str
    today: bool
    price: float | None
    n_specimens: int
    n_coupons: int
    n_lost: int
    means: dict[str, str] = field(default_factory=dict)
    range_words: str = ""
    share_met: str = ""
    answer: str = ""


@dataclass(frozen=True)
class Study:
    """The whole result of a trial: what `fit` prints and the verdict is written from."""

    title: str
    question: str
    sentence: str
    results: tuple[ResponseResult, ...]
    nozzles: tuple[NozzleRow, ...]
    chances: tuple[ChanceResult, ...] = ()
    departures: tuple[str, ...] = ()
    cannot_say: tuple[str, ...] = ()
    next_steps: tuple[str, ...] = ()
    exploratory: bool = False
