"""Lives weighed: each type against today's in the four words, and how the lives ended."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from trials.endings import Ended
from trials.findings import Finding, Place, PlaceKind, Weight
from trials.infer.answer import Added, Answer, answer
from trials.infer.life import LifeRatio, LifeStudy
from trials.worthwhile import Margins

ANYWHERE = Place(PlaceKind.STATED, ({},))
"""A life is not compared at a setting: all specimens were given the same work."""


class LivesKind(StrEnum):
    """What is found when lives are weighed or read."""

    NO_WORTHWHILE = "lives_no_worthwhile"
    NOTE_MEANS_GOOD = "lives_note_means_good"


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
class LivesAnswer:
    """Lives with the word for each type.

    worthwhile: the share by which a life has to be longer to matter, None where none is declared; ends: by type, in
    the order of the study; said: what there is to say of the words and of what was read.
    """

    unit: str
    study: LifeStudy
    comparisons: tuple[LifeComparison, ...]
    worthwhile: float | None
    ends: tuple[TypeEnds, ...]
    said: tuple[Finding, ...] = ()


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
