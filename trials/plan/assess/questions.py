"""What a plan is asked: each question as contrasts of the model, with the patterns of differences it is judged by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np

from trials.findings import Fact, Finding, PlaceKind
from trials.plan.kinds import PlanKind
from trials.plan.power import PATTERNS, Pattern, pattern_means
from trials.trial import CompareAt, Level, Trial

if TYPE_CHECKING:
    from trials.plan.assess.frame import Frame

NOZZLE = "nozzle"
Array = np.ndarray


class Asks(StrEnum):
    """What is asked: do nozzle types differ, does a factor matter, does its effect change from type to type."""

    TYPES = "types"
    FACTOR = "factor"
    CHANGE = "change"


class RestsOn(StrEnum):
    """What a question is judged against: the pieces that types are tested by, coupons inside mounts, or both."""

    YARDSTICK = "yardstick"
    COUPONS = "coupons"
    BOTH = "both"


@dataclass(frozen=True)
class Subject:
    """What a question is about: types at a place, or a factor."""

    asks: Asks
    at: PlaceKind | None = None
    factor: str | None = None


@dataclass(frozen=True)
class Question:
    """One thing that a plan is asked.

    contrast (q, k) of the model's coefficients; effects: pattern -> true contrast values (q,) of a difference of one;
    exact: no approximation where the plan is balanced; finding: the degrees of freedom it is judged on, or why not.
    """

    subject: Subject
    contrast: Array
    effects: Mapping[Pattern, Array]
    rests_on: RestsOn
    exact: bool
    finding: Finding

    @property
    def df(self) -> int:
        """Degrees of freedom of the question itself."""
        return len(self.contrast)

    def den_df(self, frame: Frame, covariance: Array) -> float:
        """Denominator degrees of freedom at a covariance of the coefficients."""
        if self.rests_on is RestsOn.COUPONS:
            return float(frame.coupon_df)
        if self.rests_on is RestsOn.YARDSTICK:
            return float(frame.yardstick_df)
        return frame.mixed_df(self.contrast, covariance)


def questions_of(trial: Trial, frame: Frame) -> tuple[Question, ...]:
    """What the plan is asked, nozzle types first; only what its model can estimate."""
    terms = {term.name for term in frame.model.terms}
    found = []
    if NOZZLE in terms:
        found.append(_type_question(frame, frame.common_settings(), PlaceKind.AVERAGE))
        if trial.factors and trial.plan.compare_at is CompareAt.TODAY:
            found.append(_type_question(frame, [trial.today_settings], PlaceKind.TODAY))
    factors = [name for name in trial.factors if name in terms]
    found += [_factor_question(trial, frame, name) for name in factors]
    found += [_change_question(trial, frame, name) for name in factors if f"{NOZZLE} x {name}" in terms]
    return tuple(found)


def _type_question(frame: Frame, settings: Sequence[Mapping[str, Level]], at: PlaceKind) -> Question:
    contrast = frame.type_contrast(settings)
    rests_on = RestsOn.YARDSTICK if at is PlaceKind.AVERAGE else RestsOn.BOTH
    effects = _effects(len(frame.types))
    finding = _how_judged(frame, len(contrast), at)
    return Question(Subject(Asks.TYPES, at), contrast, effects, rests_on, rests_on is RestsOn.YARDSTICK, finding)


def _effects(means: int) -> dict[Pattern, Array]:
    """Differences from the first of so many means by pattern; one pattern where there are two."""
    found = {pattern: pattern_means(means, pattern) for pattern in PATTERNS}
    differences = {pattern: m[1:] - m[0] for pattern, m in found.items()}
    return differences if means > 2 else {Pattern.ONE_PAIR: differences[Pattern.LEAST_FAVOURABLE]}


def _how_judged(frame: Frame, df: int, at: PlaceKind) -> Finding:
    piece = frame.structure.yardstick
    facts: dict[str, Fact] = {"at": at}
    if frame.yardstick_df < 1:
        kind = PlanKind.NO_TEST_SHEETS if frame.structure.replicated else PlanKind.NO_TEST_REPEATED
        return Finding(kind, facts=facts)
    facts["piece"] = piece
    if at is PlaceKind.TODAY:
        return Finding(PlanKind.JUDGED_BY_BOTH, facts=facts)
    facts |= {"df": df, "den_df": frame.yardstick_df, "pieces": len(set(frame.labels[piece]))}
    return Finding(PlanKind.JUDGED_BY_PIECES, facts=facts)


def _ends(trial: Trial, name: str) -> list[Level]:
    asked = trial.factors[name]
    return list(asked.levels) if asked.is_text else [min(asked.numbers), max(asked.numbers)]


def _moved(frame: Frame, nozzle: str, name: str, levels: Sequence[Level]) -> Array:
    """Change (levels - 1, k) of one type's mean from the first level to each other, averaged over the settings."""
    base = frame.common_settings()
    rows = np.array([frame.rows(nozzle, [{**point, name: level} for point in base]) for level in levels])
    return np.asarray(rows[1:] - rows[0])


def _factor_question(trial: Trial, frame: Frame, name: str) -> Question:
    levels = _ends(trial, name)
    contrast = np.mean([_moved(frame, t, name, levels) for t in frame.types], axis=0)
    ends: dict[Pattern, Array] = {Pattern.END_TO_END: np.ones(1)}
    effects = _effects(len(levels)) if trial.factors[name].is_text else ends
    return _of_coupons(frame, Subject(Asks.FACTOR, factor=name), contrast, effects)


def _change_question(trial: Trial, frame: Frame, name: str) -> Question:
    levels = [_ends(trial, name)[0], _ends(trial, name)[-1]]
    moves = np.vstack([_moved(frame, t, name, levels) for t in frame.types])
    means = pattern_means(len(frame.types))
    effects = {Pattern.LEAST_FAVOURABLE: means[1:] - means[0]}
    return _of_coupons(frame, Subject(Asks.CHANGE, factor=name), moves[1:] - moves[0], effects)


def _of_coupons(frame: Frame, subject: Subject, contrast: Array, effects: Mapping[Pattern, Array]) -> Question:
    facts: dict[str, Fact] = {
        "asks": subject.asks,
        "factor": subject.factor,
        "df": len(contrast),
        "den_df": frame.coupon_df,
    }
    finding = Finding(PlanKind.JUDGED_BY_COUPONS, facts=facts)
    return Question(subject, contrast, effects, RestsOn.COUPONS, True, finding)
