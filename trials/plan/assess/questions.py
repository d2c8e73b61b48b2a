"""What a plan is asked: each question as contrasts of the model, with the patterns of differences it is judged by."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from trials.plan.assess.frame import NOZZLE, Frame, Question
from trials.plan.power import pattern_means
from trials.plan.power.balanced import PATTERNS
from trials.trial import Level, Trial

Array = np.ndarray


def questions_of(trial: Trial, frame: Frame) -> tuple[Question, ...]:
    """What the plan is asked, nozzle types first; only what its model can estimate."""
    terms = {term.name for term in frame.model.terms}
    found = []
    if NOZZLE in terms:
        found.append(_type_question(frame, frame.common_settings(), "nozzle types, averaged over the settings"))
        if trial.factors and trial.plan.compare_at == "today":
            found.append(_type_question(frame, [trial.today_settings], "nozzle types at today's settings", "both"))
    factors = [name for name in trial.factors if name in terms]
    found += [_factor_question(trial, frame, name) for name in factors]
    found += [_change_question(trial, frame, name) for name in factors if f"{NOZZLE} x {name}" in terms]
    return tuple(found)


def _type_question(
    frame: Frame, settings: list[Mapping[str, Level]], name: str, rests_on: str = "yardstick"
) -> Question:
    means = {pattern: pattern_means(len(frame.types), pattern) for pattern in PATTERNS}
    effects = {pattern: m[1:] - m[0] for pattern, m in means.items()}
    if len(frame.types) == 2:
        effects = {"one type against the other": effects[PATTERNS[0]]}
    contrast = frame.type_contrast(settings)
    piece = frame.structure.yardstick
    if frame.yardstick_df < 1 and frame.structure.replicated:
        sentence = f"{name}: no test, the sheets leave nothing to judge the types by."
    elif frame.yardstick_df < 1:
        sentence = f"{name}: nothing above the coupon is repeated, so differences come without a test."
    elif rests_on == "both":
        sentence = f"{name}: judged against {piece}s and coupons together."
    else:
        count = len(set(frame.labels[piece]))
        sentence = f"{name}: {len(contrast)} and {frame.yardstick_df} degrees of freedom, from {count} {piece}s."
    return Question(name, contrast, effects, rests_on, rests_on == "yardstick", sentence)


def _ends(trial: Trial, name: str) -> list[Level]:
    levels = trial.factors[name].levels
    return list(levels) if trial.factors[name].is_text else [min(levels), max(levels)]


def _moved(frame: Frame, nozzle: str, name: str, levels: list[Level]) -> Array:
    """Change (levels - 1, k) of one type's mean from the first level to each other, averaged over the settings."""
    base = frame.common_settings()
    rows = np.array([frame.rows(nozzle, [{**point, name: level} for point in base]) for level in levels])
    return rows[1:] - rows[0]


def _factor_question(trial: Trial, frame: Frame, name: str) -> Question:
    levels = _ends(trial, name)
    contrast = np.mean([_moved(frame, t, name, levels) for t in frame.types], axis=0)
    if trial.factors[name].is_text:
        means = {pattern: pattern_means(len(levels), pattern) for pattern in PATTERNS}
        effects = {pattern: m[1:] - m[0] for pattern, m in means.items()}
    else:
        effects = {"lowest against highest level": np.ones(1)}
    sentence = f"{name}: {len(contrast)} and {frame.coupon_df} degrees of freedom, from the coupons inside mounts."
    return Question(name, contrast, effects, "coupons", True, sentence)


def _change_question(trial: Trial, frame: Frame, name: str) -> Question:
    levels = [_ends(trial, name)[0], _ends(trial, name)[-1]]
    moves = np.vstack([_moved(frame, t, name, levels) for t in frame.types])
    means = pattern_means(len(frame.types))
    sentence = (
        f"{NOZZLE} x {name}: {len(moves) - 1} and {frame.coupon_df} degrees of freedom, from the coupons inside mounts."
    )
    effects = {"the effect of two types apart, that of the others half-way": means[1:] - means[0]}
    return Question(f"{NOZZLE} x {name}", moves[1:] - moves[0], effects, "coupons", True, sentence)
