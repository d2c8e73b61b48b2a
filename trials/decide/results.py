"""What a study of one trial says: frozen values, ready for paper and for `--json`; words are made of them last."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from trials.decide.chance_result import ChanceResult
from trials.decide.decision_result import FewerFail, Money, MoreCutting, Question
from trials.decide.ladder import LadderAnswer
from trials.decide.window_result import WindowStudy
from trials.findings import Finding, Place
from trials.infer.answer import Added, Answer
from trials.infer.model.structure import RestsOn
from trials.next_command import Command
from trials.nozzles import Nozzle


class State(StrEnum):
    """How far a response could be studied."""

    COMPARED = "compared"
    ONE_TYPE = "one type"
    NOT_STUDIED = "not studied"


@dataclass(frozen=True)
class TermTest:
    """Test of one term, `parts` named as in the model (a part twice is its square).

    The nozzle is judged by the yardstick, the other terms by Kenward and Roger. *_classical: the test by the strata of
    a balanced trial; *_kenward_roger: beside the nozzle's own test.
    """

    term: str
    df: int
    den_df: float
    F: float
    p: float
    F_classical: float | None = None
    den_df_classical: float | None = None
    p_classical: float | None = None
    F_kenward_roger: float | None = None
    den_df_kenward_roger: float | None = None
    p_kenward_roger: float | None = None
    parts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Spread:
    """How much one source (sheet, specimen, mount, coupon, reading) varies, on the model's scale."""

    source: str
    sd: float
    share: float


@dataclass(frozen=True)
class Mean:
    """Typical (median) edge of a nozzle type in the response's unit, with its 95 % interval."""

    nozzle: str
    settings: Place
    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Effect:
    """What one unit more of a setting does to the edge of a nozzle type, at a place, with its own 95 % interval.

    kind: `ratio` of the typical edge on the log scale, else `difference` in the response's unit; unit: of the setting.
    """

    nozzle: str
    factor: str
    unit: str
    settings: Place
    kind: Literal["difference", "ratio"]
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Comparison:
    """One nozzle type against another at stated settings.

    kind "ratio" (log scale), "difference" (in the unit) or "share" (of coupons at the required grade, higher is better,
    0.2 for 20 of 100 more); value, low, high on that kind with the simultaneous
    interval; p adjusted for the number of comparisons; answer None for a secondary response. in_unit: value, low and
    high as a change in the response's unit. times_worthwhile, times_spread: size of the difference in worthwhile
    differences, and in standard deviations of one reading on the next edge.
    """

    nozzle: str
    against: str
    settings: Place
    kind: Literal["ratio", "difference", "share"]
    value: float
    low: float
    high: float
    p: float | None
    answer: Answer | None = None
    answer_adds: Added | None = None
    confidence: float = 0.95
    in_unit: tuple[float, float, float] | None = None
    times_worthwhile: float | None = None
    times_spread: float | None = None


@dataclass(frozen=True)
class ResponseResult:
    """Everything found about one response.

    symbol: as in a sentence; replicated: something above the coupon was repeated; pieces: by nozzle type its one
    specimen, where the result is about these pieces and not about types; block: how a sheet is called; exploratory:
    an undeclared look; criterion: -2 log restricted likelihood. worthwhile: the smaller of the two sides on the model's
    scale; worthwhile_level: the level at which they become figures in the unit. spread_by_type: coupons and readings
    have a spread for each type in the comparisons.
    """

    response: str
    label: str
    symbol: str
    scale: str
    unit: str
    primary: bool
    n_readings: int
    n_coupons: int
    state: State
    rests_on: RestsOn | None = None
    replicated: bool = True
    pieces: Mapping[str, str] = field(default_factory=dict)
    block: str = "sheet"
    exploratory: bool = False
    terms: tuple[TermTest, ...] = ()
    spread: tuple[Spread, ...] = ()
    means: tuple[Mean, ...] = ()
    comparisons: tuple[Comparison, ...] = ()
    pairs: tuple[Comparison, ...] = ()
    worthwhile: float | None = None
    worthwhile_better: float | None = None
    worthwhile_worse: float | None = None
    worthwhile_level: float | None = None
    higher_is_better: bool = False
    spread_by_type: bool = False
    checks: tuple[Finding, ...] = ()
    more: tuple[Finding, ...] = ()
    said: tuple[Finding, ...] = ()
    other_means: tuple[Mean, ...] = ()
    effects: tuple[Effect, ...] = ()
    criterion: float | None = None


@dataclass(frozen=True)
class Share:
    """Coupons that met the requirement among those judged, and how many of these are undecided."""

    met: int
    judged: int
    undecided: int


@dataclass(frozen=True)
class Worded:
    """The word for a nozzle type in one primary response."""

    response: str
    answer: Answer
    adds: Added | None = None


@dataclass(frozen=True)
class NozzleRow:
    """One line of the manager's table of nozzle types; form: what is known of it; means: typical edge by response."""

    nozzle: str
    form: Nozzle | None
    today: bool
    price: float | None
    n_specimens: int
    n_coupons: int
    n_lost: int
    means: Mapping[str, float] = field(default_factory=dict)
    share_met: Share | None = None
    answers: tuple[Worded, ...] = ()


@dataclass(frozen=True)
class NextStep:
    """One thing to do next: what, because of what, and the command that does it; None where a person does it."""

    finding: Finding
    because: Finding | None = None
    command: Command | None = None


@dataclass(frozen=True)
class HonestyRow:
    """One type against today's: shares of the trials in which its word was each of the four, by what is true.

    at_none: without a difference; at_worthwhile: if the type is better by the worthwhile difference; keys are words.
    """

    nozzle: str
    at_none: Mapping[Answer, float]
    at_worthwhile: Mapping[Answer, float]


@dataclass(frozen=True)
class OwnHonesty:
    """How often the rule would have spoken wrongly in trials like this one, and how often it would have settled.

    trials: how many were simulated; wrong_at_none: share in which some type is called better or worse though none
    differs; wrong_at_worthwhile: in which some type is called worse or the same though all are better by the worthwhile
    difference; settled_*: share of the words that are settled and right (same without a difference, better with one).
    """

    response: str
    trials: int
    wrong_at_none: float
    wrong_at_worthwhile: float
    settled_at_none: float
    settled_at_worthwhile: float
    rows: tuple[HonestyRow, ...]


@dataclass(frozen=True)
class Study:
    """The whole result of a trial: what `fit` prints and the verdict is written from.

    exploratory: the look was not declared before cutting; provisional: a reading is still open; honesty: of each
    decisive response, where a verdict was made; ladder: the fastest clean cut, where the trial is a ladder. asks: which
    kind of question; fewer: edges that fail, each type against today's; money: where costs are stated; more: the
    cutting that would settle what is open; currency: of prices. window: the operating window, where the trial asks for
    it and in every verdict that can tell it; confirmed: whether coupons cut to confirm a best fell within their limits.
    """

    title: str
    question: str
    results: tuple[ResponseResult, ...]
    nozzles: tuple[NozzleRow, ...]
    chances: tuple[ChanceResult, ...] = ()
    departures: tuple[Finding, ...] = ()
    cannot_say: tuple[Finding, ...] = ()
    next_steps: tuple[NextStep, ...] = ()
    exploratory: bool = False
    provisional: bool = False
    honesty: tuple[OwnHonesty, ...] = ()
    ladder: LadderAnswer | None = None
    asks: Question = Question.COMPARE
    fewer: tuple[FewerFail, ...] = ()
    money: Money | None = None
    more: MoreCutting | None = None
    currency: str = ""
    window: WindowStudy | None = None
    confirmed: tuple[Finding, ...] = ()
