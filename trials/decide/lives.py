"""Lives weighed: each type against today's in the four words, and how the lives ended."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import TYPE_CHECKING, Literal

from trials.decide.typical_life import TypicalLife
from trials.endings import Ended, Part
from trials.errors import WrongArgument
from trials.findings import Finding, Place, PlaceKind, Weight
from trials.infer.answer import Added, Answer, answer
from trials.worthwhile import Margins

if TYPE_CHECKING:
    from trials.infer.life import CauseStudy, LifeAt, LifeRatio, LifeStudy, TypeLife

ANYWHERE = Place(PlaceKind.STATED, ({},))
"""A life is not compared at a setting: all specimens were given the same work."""


class LivesKind(StrEnum):
    """What is found when lives are weighed or read."""

    NO_WORTHWHILE = "lives_no_worthwhile"
    NOTE_MEANS_GOOD = "lives_note_means_good"
    CAUSES_APART = "lives_causes_apart"
    CLEANED_IS_ONE_LIFE = "lives_cleaned_is_one_life"
    PART_NOT_STUDIED = "lives_part_not_studied"


@dataclass(frozen=True)
class LifeComparison:
    """Life of one type over that of today's, as a comparison of edges has it.

    value, low, high: ratio of lives with limits at `confidence`; value is NaN where neither type failed, infinite
    where this one never did and 0 where today's never did; answer: None without a worthwhile difference.
    """

    nozzle: str
    against: str
    settings: Place
    kind: Literal["ratio"]
    value: float
    low: float
    high: float
    p: float | None
    answer: Answer | None
    answer_adds: Added | None
    confidence: float
    times_worthwhile: float | None = None


@dataclass(frozen=True)
class TypeEnds:
    """How many lives of one type ended in which way."""

    nozzle: str
    counts: Mapping[Ended, int]


@dataclass(frozen=True)
class TypeCare:
    """Upkeep of the pieces of one type: how many were cleaned or put back, and how often in all."""

    nozzle: str
    cleaned_pieces: int
    cleaned: int
    refitted_pieces: int
    refitted: int


@dataclass(frozen=True)
class LivesAnswer:
    """Lives with the word for each type.

    worthwhile: the share by which a life has to be longer to matter, None where none is declared; ends: by type, in
    the order of the study; said: what there is to say of the words and of what was read; part: whose lives they are, by
    the nozzle type in use; causes: each by itself, nothing where all ended in one way; care: none where nothing was
    cleaned or put back; beside: lives of lens and window under the same types; cautions: what these lives cannot say,
    beside those of the study; prices: of a piece by type, where they are known, in the currency; open_readings: that
    may be slips of the pen, so that the answer is provisional.
    """

    unit: str
    study: LifeStudy
    comparisons: tuple[LifeComparison, ...]
    worthwhile: float | None
    ends: tuple[TypeEnds, ...]
    said: tuple[Finding, ...] = ()
    part: Part = Part.NOZZLE
    causes: tuple[CauseStudy, ...] = ()
    care: tuple[TypeCare, ...] = ()
    beside: tuple[LivesAnswer, ...] = ()
    cautions: tuple[Finding, ...] = ()
    prices: Mapping[str, float | None] = field(default_factory=dict)
    currency: str = ""
    open_readings: tuple[Finding, ...] = ()

    @property
    def provisional(self) -> bool:
        """Whether a reading is still open."""
        return bool(self.open_readings)

    @property
    def doubted(self) -> tuple[str, ...]:
        """Coupons of which a reading is open."""
        return tuple(dict.fromkeys(name for finding in self.open_readings for name in finding.about.coupons))


@dataclass(frozen=True)
class Upkeep:
    """How often each life (n,) was cleaned and put back."""

    cleaned: Sequence[int]
    refitted: Sequence[int]


def typical_lives(found: LivesAnswer, source: str) -> tuple[TypicalLife, ...]:
    """Lives of each type as figures to reckon with, those of lens and window after those of the nozzle.

    The limits of mean and tenth take the Weibull shape as known.

    Raises
    ------
    WrongArgument
        If the study does not state the lives by which 10 and 50 % have failed.
    """
    own = tuple(_typical(each, found, source) for each in found.study.types)
    return (*own, *(life for part in found.beside for life in typical_lives(part, source)))


def _typical(each: TypeLife, found: LivesAnswer, source: str) -> TypicalLife:
    from trials.infer.life.regression import CHARACTERISTIC

    whole, half, tenth = (_at(each, quantile) for quantile in (CHARACTERISTIC, 0.5, 0.1))
    mean = math.gamma(1.0 + 1.0 / found.study.shape)
    return TypicalLife(
        nozzle=each.nozzle,
        part=found.part,
        unit=found.unit,
        median=half.life,
        low=half.low,
        high=half.high,
        mean=mean * whole.life,
        mean_low=mean * whole.low,
        mean_high=mean * whole.high,
        tenth=tenth.life,
        tenth_low=tenth.low,
        n=each.n,
        failures=each.failures,
        source=source,
    )


def _at(each: TypeLife, quantile: float) -> LifeAt:
    found = next((at for at in each.at if math.isclose(at.quantile, quantile, abs_tol=1e-9)), None)
    if found is None:
        raise WrongArgument(f"The study states no life by which {quantile:g} of them failed; ask for that share.")
    return found


def in_detail(found: LivesAnswer, causes: Sequence[CauseStudy], types: Sequence[str], kept: Upkeep) -> LivesAnswer:
    """The answer with its causes one by one, and with what was cleaned and put back.

    types, and both of kept (n,): label and upkeep of each life.
    """
    order = [each.nozzle for each in found.study.types]
    care = tuple(_care(name, types, kept) for name in order)
    any_care = any(each.cleaned_pieces or each.refitted_pieces for each in care)
    kinds = [*([LivesKind.CAUSES_APART] if causes else []), *([LivesKind.CLEANED_IS_ONE_LIFE] if any_care else [])]
    cautions = tuple(Finding(kind, weight=Weight.LOOK_AT) for kind in kinds)
    return replace(found, causes=tuple(causes), care=care if any_care else (), cautions=cautions)


def _care(name: str, types: Sequence[str], kept: Upkeep) -> TypeCare:
    cleaned = [n for kind, n in zip(types, kept.cleaned, strict=True) if kind == name]
    refitted = [n for kind, n in zip(types, kept.refitted, strict=True) if kind == name]
    return TypeCare(name, sum(n > 0 for n in cleaned), sum(cleaned), sum(n > 0 for n in refitted), sum(refitted))


def answer_lives(
    study: LifeStudy,
    unit: str,
    worthwhile: float | None,
    types: Sequence[str],
    ended: Sequence[Ended],
    said: Sequence[Finding] = (),
) -> LivesAnswer:
    """Give each type its word against today's, by the rule that edges are judged by.

    worthwhile: 0.25 where a life a quarter longer matters; types, ended (n,): label and end of each life.

    Raises
    ------
    WrongArgument
        If the worthwhile difference is not above zero, or a whole life or more.
    """
    found = [
        compare(wide, narrow, study.confidence, worthwhile)
        for wide, narrow in zip(study.ratios, study.narrow, strict=True)
    ]
    found += [_not_compared(name, study, worthwhile) for name in study.not_compared]
    order = [each.nozzle for each in study.types]
    silent = [] if worthwhile is not None else [Finding(LivesKind.NO_WORTHWHILE, weight=Weight.LOOK_AT)]
    return LivesAnswer(
        unit=unit,
        study=study,
        comparisons=tuple(sorted(found, key=lambda c: order.index(c.nozzle))),
        worthwhile=worthwhile,
        ends=tuple(_ends(name, types, ended) for name in order),
        said=(*silent, *said),
    )


def compare(wide: LifeRatio, narrow: LifeRatio, confidence: float, worthwhile: float | None) -> LifeComparison:
    """One ratio with its word. wide, narrow: the same ratio with limits for a difference, and for sameness."""
    word, adds, times = None, None, None
    if worthwhile is not None:
        sides, size = Margins.of_share(worthwhile, higher_is_better=True), _log(wide.ratio)
        word, adds = answer(_logs(wide), _logs(narrow), sides)
        times = abs(size) / (sides.better if size >= 0 else sides.worse)
    return LifeComparison(
        nozzle=wide.of,
        against=wide.against,
        settings=ANYWHERE,
        kind="ratio",
        value=wide.ratio,
        low=wide.low,
        high=wide.high,
        p=wide.p,
        answer=word,
        answer_adds=adds,
        confidence=confidence,
        times_worthwhile=times,
    )


def _not_compared(name: str, study: LifeStudy, worthwhile: float | None) -> LifeComparison:
    """Neither type failed: nothing bounds the ratio."""
    word: Answer | None = None if worthwhile is None else Answer.NOT_SETTLED
    return LifeComparison(
        name, study.today, ANYWHERE, "ratio", math.nan, 0.0, math.inf, None, word, None, study.confidence
    )


def _logs(ratio: LifeRatio) -> tuple[float, float]:
    """Improvement on the log scale: a longer life is better."""
    return _log(ratio.low), _log(ratio.high)


def _log(value: float) -> float:
    return math.log(value) if value > 0 else -math.inf


def _ends(name: str, types: Sequence[str], ended: Sequence[Ended]) -> TypeEnds:
    counts = Counter(end for kind, end in zip(types, ended, strict=True) if kind == name)
    return TypeEnds(name, {end: counts[end] for end in Ended if counts[end]})
