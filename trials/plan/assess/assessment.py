"""What a plan can and cannot show, judged before any sheet is cut.

The plan is judged under the model that will analyse it: nozzle types against their specimens or mounts, settings
against coupons, sheets taken out. Chances come from the noncentral F at the expected spreads; simulated trials add the
real analysis.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.errors import TrialError
from trials.findings import About, Fact, Finding, Weight, each_once
from trials.infer.answer import levels
from trials.infer.life import detectable_ratio
from trials.plan.assess.effort import Effort, effort
from trials.plan.assess.frame import Frame, build_frame
from trials.plan.assess.pieces_alone import ladder_settles, lives_settle
from trials.plan.assess.questions import Question, Subject, questions_of
from trials.plan.choose import Plan
from trials.plan.confounding import confounded
from trials.plan.kinds import PlanKind
from trials.plan.power import (
    Balanced,
    Minutes,
    Needed,
    Pattern,
    Simulated,
    Simulation,
    Step,
    chance_f,
    curve,
    next_steps,
    noncentrality_needed,
    simulate_tests,
    specimens_needed,
)
from trials.responses import Scale
from trials.trial import SOURCES, Method, Trial, expected_spreads, worthwhile_margins, worthwhile_on_scale

NO_QUESTIONS = (Method.LIFE, Method.BENCH)
"""Methods whose coupons are not there to compare edges at settings."""
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Detectable:
    """The smallest difference that a question detects with 80 % chance, for one response.

    size on the model's scale; df, den_df: degrees of freedom it is judged on, at the expected spreads; exact: balanced,
    by noncentral F without approximation; chance_at_worthwhile: of the test coming out if the difference is the
    worthwhile one (None if none is stated); simulated: the same size from simulated trials with the real analysis
    (None if exact, or not asked for).
    """

    response: str
    subject: Subject
    pattern: Pattern
    size: float
    df: int
    den_df: float
    exact: bool
    chance_at_worthwhile: float | None
    simulated: float | None = None


@dataclass(frozen=True)
class Assessment:
    """A plan judged before cutting.

    terms: what can be estimated; dropped: what cannot; questions: with their degrees of freedom; confounded: what the
    nozzles and the layout cannot tell apart; settle: per primary response, chance that an answer ends right and what it
    would take; effective_coupons: per response, how many coupons, each with a specimen and mount of its own, those of
    one type are worth; curves: detectable difference of the nearest balanced plan; prediction: standard error over the
    settings, `response, nozzle, factor columns, se` of the typical edge on the model's scale; next_steps: per response,
    what one more of each part brings, the most rewarding hour first; found: what needs no table.
    """

    terms: tuple[str, ...]
    dropped: tuple[str, ...]
    questions: tuple[Question, ...]
    confounded: tuple[Finding, ...]
    detectable: tuple[Detectable, ...]
    settle: dict[str, Needed]
    effective_coupons: dict[str, float]
    efficiency: float | None
    curves: dict[str, pd.DataFrame]
    prediction: pd.DataFrame
    effort: Effort
    next_steps: dict[str, tuple[Step, ...]]
    found: tuple[Finding, ...]


def assess(
    trial: Trial, plan: Plan, trials: int = 0, progress: Progress | None = None, minutes: Minutes | None = None
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
    judge = _Judge(trial, frame, questions, trials, progress, minutes)
    names = [name for name in trial.responses if trial.quantity(name).scale is not Scale.GRADE]
    known = {name: part for name in names if (part := judge.response(name)) is not None}
    predicted = [part.prediction for part in known.values()]
    return Assessment(
        terms=tuple(term.name for term in frame.model.terms),
        dropped=frame.model.dropped,
        questions=questions,
        confounded=(*confounded(trial), *frame.confounded),
        detectable=tuple(line for part in known.values() for line in part.detectable),
        settle=_settle(trial, plan, known),
        effective_coupons={name: part.effective for name, part in known.items() if part.effective is not None},
        efficiency=frame.efficiency(),
        curves={name: part.curve for name, part in known.items() if part.curve is not None},
        prediction=pd.concat(predicted, ignore_index=True) if predicted else pd.DataFrame(),
        effort=effort(trial, plan, minutes),
        next_steps={name: part.next_steps for name, part in known.items() if part.next_steps},
        found=_found(trial, frame, names, known),
    )


@dataclass(frozen=True)
class _Part:
    """What is known of one response."""

    spreads: Mapping[str, float]
    detectable: tuple[Detectable, ...]
    settle: Needed | None
    effective: float | None
    curve: pd.DataFrame | None
    prediction: pd.DataFrame
    next_steps: tuple[Step, ...]


@dataclass(frozen=True)
class _Judge:
    """One plan, asked about one response after the other."""

    trial: Trial
    frame: Frame
    questions: tuple[Question, ...]
    trials: int
    progress: Progress | None
    minutes: Minutes | None

    def response(self, name: str) -> _Part | None:
        """What the plan shows of a response; None where no spread between coupons is expected."""
        spreads, readings = expected_spreads(self.trial, name), self.trial.responses[name].readings
        if not spreads or self.frame.coupon_variance(spreads, readings) == 0.0:
            return None
        covariance = self.frame.covariance(spreads, readings)
        nearest = self._testable(readings)
        return _Part(
            spreads=spreads,
            detectable=self._detectable(name, spreads, covariance),
            settle=self._settle(name, spreads, covariance),
            effective=self.frame.effective_coupons(spreads, readings),
            curve=None if nearest is None else curve(nearest, spreads),
            prediction=self._prediction(name, spreads),
            next_steps=() if nearest is None else next_steps(nearest, spreads, self.minutes),
        )

    def _testable(self, readings: int) -> Balanced | None:
        nearest = self.frame.nearest_balanced(readings)
        return nearest if nearest is not None and nearest.df >= 1 else None

    def _detectable(self, name: str, spreads: Mapping[str, float], covariance: np.ndarray) -> tuple[Detectable, ...]:
        worthwhile, simulated = worthwhile_on_scale(self.trial, name), self._simulated(name, spreads)
        found = []
        for question in self.questions:
            den_df = question.den_df(self.frame, covariance)
            if den_df < 1.0:
                continue
            spread = question.contrast @ covariance @ question.contrast.T
            exact = self.frame.balanced and question.exact
            for pattern, effect in question.effects.items():
                unit = float(effect @ np.linalg.solve(spread, effect))
                size = math.sqrt(noncentrality_needed(question.df, den_df) / unit)
                chance = None if worthwhile is None else chance_f(worthwhile**2 * unit, question.df, den_df)
                real = simulated[question.subject].detectable(effect) if question.subject in simulated else None
                line = Detectable(name, question.subject, pattern, size, question.df, den_df, exact, chance, real)
                found.append(line)
        return tuple(found)

    def _simulated(self, name: str, spreads: Mapping[str, float]) -> dict[Subject, Simulated]:
        """Simulated tests of what is not exact; empty where the real analysis cannot be run on this plan."""
        contrasts = {q.subject: q.contrast for q in self.questions if not (self.frame.balanced and q.exact)}
        if not self.trials or not contrasts:
            return {}
        readings = self.trial.responses[name].readings
        fixed, groups = self.frame.reading_rows(readings)
        filled = self.frame.spreads_of_groups(groups, spreads, readings)
        asked = Simulation(self.trials, self.trial.plan.seed)
        try:
            return simulate_tests(fixed, groups, filled, contrasts, asked, self.progress)
        except TrialError:
            return {}

    def _settle(self, name: str, spreads: Mapping[str, float], covariance: np.ndarray) -> Needed | None:
        """Chance that one type's answer against today's ends right, and the numbers that would bring it to 80 %."""
        worthwhile = worthwhile_margins(self.trial, name)
        counts = self.frame.counts(covariance, spreads, self.trial.responses[name].readings)
        if not self.trial.responses[name].primary or worthwhile is None or counts is None:
            return None
        shared = levels(max(len(self.trial.primaries), 1), self.trial.plan.looks)
        variances = {source: sd**2 for source, sd in spreads.items() if source != "sheet"}
        wider = max(worthwhile.better, worthwhile.worse)
        return specimens_needed(variances, worthwhile.smaller, counts, shared, wider=wider)

    def _prediction(self, name: str, spreads: Mapping[str, float]) -> pd.DataFrame:
        table, rows = self.frame.grid_rows()
        covariance = self.frame.covariance(spreads, self.trial.responses[name].readings, sheets_out=False)
        errors = np.sqrt(np.einsum("ij,jk,ik->i", rows, covariance, rows))
        renamed = table.rename(columns={factor: self.trial.factor_column(factor) for factor in self.trial.factors})
        renamed.insert(0, "response", name)
        return renamed.assign(se=errors)


def _settle(trial: Trial, plan: Plan, known: Mapping[str, _Part]) -> dict[str, Needed]:
    """Chances by what decides: responses of edges, the fastest clean cut of a ladder, lives."""
    found = {name: part.settle for name, part in known.items()}
    if trial.plan.method is Method.LIFE:
        found |= {name: lives_settle(trial, name) for name in trial.primaries}
    if trial.clean is not None:
        found[trial.clean_name] = ladder_settles(trial, plan)
    return {name: needed for name, needed in found.items() if needed is not None}


def _found(trial: Trial, frame: Frame, names: list[str], known: Mapping[str, _Part]) -> tuple[Finding, ...]:
    """What has to be said beside the tables: how it will be analysed, what is missing, where the spreads come from."""
    if trial.plan.method is Method.LIFE:
        return tuple(_life_ratio(trial, name) for name in trial.primaries)
    found = list(frame.structure.said)
    if frame.model.dropped:
        found.append(Finding(PlanKind.NOT_ESTIMATED, facts={"terms": frame.model.dropped}))
    if trial.clean is not None and trial.clean.expected is None:
        found.append(Finding(PlanKind.NO_EXPECTED_SPREAD, About(response=trial.clean_name), weight=Weight.LOOK_AT))
    for name in names:
        if name in known:
            found += _of_response(trial, name, known[name])
        else:
            found.append(Finding(PlanKind.NO_EXPECTED_SPREAD, About(response=name), weight=Weight.LOOK_AT))
    return each_once(found)


def _life_ratio(trial: Trial, name: str) -> Finding:
    """The ratio of lives that a life trial detects, from the spread expected between specimens."""
    sd = expected_spreads(trial, name).get("specimen")
    if sd is None:
        return Finding(PlanKind.LIFE_SPREAD_UNKNOWN, About(response=name))
    fewest = min(len(nozzle.specimens) for nozzle in trial.nozzles)
    facts: dict[str, Fact] = {"specimens": fewest, "ratio": detectable_ratio(sd, fewest), "chance": 0.8}
    return Finding(PlanKind.LIFE_RATIO, About(response=name), facts)


def _of_response(trial: Trial, name: str, part: _Part) -> list[Finding]:
    about, asked = About(response=name), trial.responses[name].expected
    source: dict[str, Fact] = {"source": None if asked is None else asked.source}
    found = [Finding(PlanKind.SPREAD_SOURCE, about, source)]
    missing = tuple(s for s in SOURCES if s not in part.spreads and s != "sheet")
    if missing:
        found.append(Finding(PlanKind.SPREAD_MISSING, about, {"sources": missing}, Weight.LOOK_AT))
    if part.effective is not None:
        found.append(Finding(PlanKind.EFFECTIVE_COUPONS, about, {"coupons": part.effective}))
    return found
