"""What a plan can and cannot show, said before any sheet is cut.

The plan is judged under the model that will analyse it: nozzle types against their specimens or mounts, settings
against coupons, sheets taken out. Chances come from the noncentral F at the expected spreads; `trials` > 0 adds the
real analysis of that many simulated trials.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.errors import TrialError
from trials.findings import Finding
from trials.plan.assess.effort import Effort, effort
from trials.plan.assess.frame import Frame, Question, build_frame
from trials.plan.assess.questions import questions_of
from trials.plan.choose import Plan
from trials.plan.confounding import confounded
from trials.plan.power import (
    Counts,
    Minutes,
    Needed,
    Simulated,
    chance_f,
    curve,
    next_hour,
    noncentrality_needed,
    percent,
    simulate_tests,
    specimens_needed,
)
from trials.responses import Quantity
from trials.trial import Trial, amount_on_scale, worthwhile_on_scale
from trials.units import shown

NO_QUESTIONS = ("life", "bench")
"""Methods whose coupons are not there to compare edges at settings."""
SOURCES = ("sheet", "specimen", "mount", "coupon", "reading")


@dataclass(frozen=True)
class Detectable:
    """The smallest difference that a question detects with 80 % chance, for one response.

    size on the model's scale, words in per cent or in units; den_df: degrees of freedom it is judged on, at the
    expected spreads; exact: balanced, by noncentral F without approximation;
    chance_at_worthwhile: of the test coming out if the difference is the worthwhile one (None if none is stated);
    simulated: the same size from simulated trials with the real analysis (None if exact, or not asked for).
    """

    response: str
    question: str
    pattern: str
    size: float
    words: str
    den_df: float
    exact: bool
    chance_at_worthwhile: float | None
    simulated: float | None = None


@dataclass(frozen=True)
class Assessment:
    """A plan judged before cutting.

    terms: what can be estimated; dropped: what cannot; questions: with their degrees of freedom; confounded: sentences;
    settle: per primary response, chance of a settled answer and what it would take; effective_coupons: per response,
    how many coupons, each cut with a specimen and mount of its own, those of one type are worth; curves: detectable
    difference of the nearest balanced plan; prediction: standard error over the settings, `response, nozzle, factor
    columns, se` of the typical edge on the model's scale; said: the sentences that need no table;
    findings: what the random structure of the plan leaves out.
    """

    terms: tuple[str, ...]
    dropped: tuple[str, ...]
    questions: tuple[Question, ...]
    confounded: tuple[str, ...]
    detectable: tuple[Detectable, ...]
    settle: dict[str, Needed]
    effective_coupons: dict[str, float]
    efficiency: float | None
    curves: dict[str, pd.DataFrame]
    prediction: pd.DataFrame
    effort: Effort
    next_hour: dict[str, str]
    said: tuple[str, ...]
    findings: tuple[Finding, ...]


def assess(
    trial: Trial,
    plan: Plan,
    trials: int = 0,
    progress: Callable[[int, int], None] | None = None,
    minutes: Minutes | None = None,
) -> Assessment:
    """Judge a plan at the expected spreads of the trial file.

    trials: simulated trials per response, analysed as real ones, for what is not exact (0: none); seeded by the plan.

    Raises
    ------
    TrialError
        If the plan's tables and the trial do not belong together.
    """
    frame = build_frame(trial, plan)
    questions = questions_of(trial, frame) if trial.plan.method not in NO_QUESTIONS else ()
    parts = {name: _response(trial, frame, questions, name, trials, progress, minutes) for name in _measured(trial)}
    known = {name: part for name, part in parts.items() if part is not None}
    work = effort(trial, plan, minutes)
    predicted = [part.prediction for part in known.values()]
    return Assessment(
        terms=tuple(term.name for term in frame.model.terms),
        dropped=frame.model.dropped,
        questions=questions,
        confounded=tuple(confounded(trial)) + frame.confounded,
        detectable=tuple(line for part in known.values() for line in part.detectable),
        settle={name: part.settle for name, part in known.items() if part.settle is not None},
        effective_coupons={name: part.effective for name, part in known.items() if part.effective is not None},
        efficiency=frame.efficiency(),
        curves={name: part.curve for name, part in known.items() if part.curve is not None},
        prediction=pd.concat(predicted, ignore_index=True) if predicted else pd.DataFrame(),
        effort=work,
        next_hour={name: part.next_hour for name, part in known.items() if part.next_hour},
        said=_said(trial, frame, questions, parts, work),
        findings=frame.findings,
    )


@dataclass(frozen=True)
class _Part:
    detectable: tuple[Detectable, ...]
    settle: Needed | None
    effective: float | None
    curve: pd.DataFrame | None
    prediction: pd.DataFrame
    next_hour: str
    said: tuple[str, ...]


def _measured(trial: Trial) -> list[str]:
    return [name for name in trial.responses if trial.quantity(name).scale != "grade"]


def expected_spreads(trial: Trial, name: str) -> dict[str, float]:
    """Expected standard deviations by source on the model's scale; only those that the trial file states."""
    asked, quantity = trial.responses[name].expected, trial.quantity(name)
    if asked is None:
        return {}
    stated = {source: getattr(asked, source) for source in SOURCES}
    return {
        source: amount_on_scale(text, quantity, asked.level, f"responses.{name}.expected.{source}")
        for source, text in stated.items()
        if text is not None
    }


def _response(
    trial: Trial,
    frame: Frame,
    questions: tuple[Question, ...],
    name: str,
    trials: int,
    progress: Callable[[int, int], None] | None,
    minutes: Minutes | None,
) -> _Part | None:
    spreads = expected_spreads(trial, name)
    readings = trial.responses[name].readings
    if not spreads or frame.coupon_variance(spreads, readings) == 0.0:
        return None
    worthwhile = worthwhile_on_scale(trial, name)
    covariance = frame.covariance(spreads, readings)
    open_ones = tuple(q for q in questions if not (frame.balanced and q.exact))
    simulated = _simulate(trial, frame, open_ones, spreads, readings, trials, progress) if trials else {}
    lines = [
        _detectable(trial, name, question, pattern, covariance, worthwhile, frame, spreads, simulated)
        for question in questions
        for pattern in question.patterns
        if frame.den_df(question, covariance, spreads) >= 1.0
    ]
    layout = frame.layout(readings)
    testable = layout is not None and layout.df >= 1
    return _Part(
        detectable=tuple(lines),
        settle=_settle(trial, frame, name, covariance, spreads, worthwhile),
        effective=frame.effective_coupons(spreads, readings),
        curve=curve(layout, spreads) if testable else None,
        prediction=_prediction(trial, frame, name, spreads),
        next_hour=next_hour(layout, spreads, minutes) if testable else "",
        said=_spread_words(name, spreads, trial),
    )


def _detectable(
    trial: Trial,
    name: str,
    question: Question,
    pattern: str,
    covariance: np.ndarray,
    worthwhile: float | None,
    frame: Frame,
    spreads: dict[str, float],
    simulated: dict,
) -> Detectable:
    effect = question.effect(pattern)
    spread = question.contrast @ covariance @ question.contrast.T
    per_unit = float(effect @ np.linalg.solve(spread, effect))
    den_df = frame.den_df(question, covariance, spreads)
    size = math.sqrt(noncentrality_needed(question.df, den_df) / per_unit)
    chance = None if worthwhile is None else chance_f(worthwhile**2 * per_unit, question.df, den_df)
    found = simulated[question.name].detectable(effect) if question.name in simulated else None
    exact = frame.balanced and question.exact
    words = _amount(trial.quantity(name), size)
    return Detectable(name, question.name, pattern, size, words, den_df, exact, chance, found)


def _amount(quantity: Quantity, size: float) -> str:
    if quantity.scale == "log":
        return percent(math.expm1(size), 1)
    return f"{size:.2g} {shown(quantity.unit)}".strip()


def _simulate(
    trial: Trial,
    frame: Frame,
    questions: tuple[Question, ...],
    spreads: dict[str, float],
    readings: int,
    trials: int,
    progress: Callable[[int, int], None] | None,
) -> dict[str, Simulated]:
    """Simulated tests by question; empty where the real analysis cannot be run on this plan."""
    fixed, groups = frame.reading_rows(readings)
    contrasts = {question.name: question.contrast for question in questions}
    filled = frame.spreads_of_groups(groups, spreads, readings)
    try:
        return simulate_tests(fixed, groups, filled, contrasts, trials, seed=trial.plan.seed, progress=progress)
    except TrialError:
        return {}


def _settle(
    trial: Trial, frame: Frame, name: str, covariance: np.ndarray, spreads: dict[str, float], worthwhile: float | None
) -> Needed | None:
    """Chance of a settled answer for one type against today's, and the numbers that would bring it to 80 %."""
    readings = trial.responses[name].readings
    counts = frame.counts(covariance, spreads, readings)
    if not trial.responses[name].primary or worthwhile is None or counts is None:
        return None
    share = max(len(trial.primaries), 1) * trial.plan.looks
    variances = {source: sd**2 for source, sd in spreads.items() if source != "sheet"}
    return specimens_needed(variances, worthwhile, Counts(**counts), (1.0 - 0.05 / share, 1.0 - 0.10 / share))


def _prediction(trial: Trial, frame: Frame, name: str, spreads: dict[str, float]) -> pd.DataFrame:
    table, rows = frame.grid_rows()
    covariance = frame.covariance(spreads, trial.responses[name].readings, sheets_out=False)
    errors = np.sqrt(np.einsum("ij,jk,ik->i", rows, covariance, rows))
    renamed = table.rename(columns={factor: trial.factor_column(factor) for factor in trial.factors})
    renamed.insert(0, "response", name)
    return renamed.assign(se=errors)


def _spread_words(name: str, spreads: dict[str, float], trial: Trial) -> tuple[str, ...]:
    missing = [s for s in SOURCES if s not in spreads and s != "sheet"]
    source = trial.responses[name].expected.source
    said = [f"{name}: expected spreads from {'an ' if source[0] == 'e' else 'a '}{source}."]
    if missing:
        said.append(f"{name}: no spread is stated for {', '.join(missing)}; it was taken as none.")
    return tuple(said)


def _said(
    trial: Trial, frame: Frame, questions: tuple[Question, ...], parts: dict[str, _Part | None], work: Effort
) -> tuple[str, ...]:
    lines = [*frame.said, *frame.confounded]
    lines += [question.sentence for question in questions]
    for name, part in parts.items():
        if part is None:
            lines.append(
                f"{name}: what the plan detects cannot be said, no expected spread is stated; cut a pilot, or state "
                f"responses.{name}.expected in the trial file."
            )
            continue
        lines += list(part.said)
        lines += _part_words(trial, name, part)
    lines.append(work.sentence)
    return tuple(dict.fromkeys(lines))


def _simulated_words(trial: Trial, name: str, line: Detectable) -> str:
    if line.simulated is None:
        return "approximately"
    return f"approximately; {_amount(trial.quantity(name), line.simulated)} in simulated trials"


def _part_words(trial: Trial, name: str, part: _Part) -> list[str]:
    lines = []
    for line in part.detectable:
        if line.question.startswith("nozzle types"):
            chance = (
                ""
                if line.chance_at_worthwhile is None
                else (
                    f" The worthwhile difference ({trial.responses[name].worthwhile}) comes out with a chance of "
                    f"{percent(line.chance_at_worthwhile)}."
                )
            )
            how = "exactly" if line.exact else _simulated_words(trial, name, line)
            lines.append(
                f"{name}, {line.question}: a difference of {line.words} is detected with a chance of 80 %, {how}, on "
                f"{line.den_df:.3g} degrees of freedom; {line.pattern}.{chance}"
            )
    if part.effective is not None:
        lines.append(
            f"{name}: for the nozzle type the coupons of one type are worth {part.effective:.1f} coupons that each had "
            "a specimen and mount of their own."
        )
    if part.settle is not None:
        lines.append(
            f"{name}: chance of a settled answer {percent(part.settle.chance_at_worthwhile)} if a type truly differs "
            f"by the worthwhile difference, {percent(part.settle.chance_at_zero)} if it does not differ. "
            f"{part.settle.sentence}"
        )
    return [*lines, *([f"{name}: {part.next_hour}"] if part.next_hour else [])]
