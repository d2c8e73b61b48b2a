"""The chances of a plan that is laid out already, however its coupons were chosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from trials.findings import PlaceKind
from trials.plan.assess.effort import Effort, effort
from trials.plan.assess.frame import Frame, build_frame
from trials.plan.choose import Plan
from trials.plan.settling.chance import chances_right
from trials.plan.settling.problem import Problem
from trials.plan.settling.request import Asked, Bill, Candidate, Chances
from trials.plan.settling.strata import Precision
from trials.trial import Trial


@dataclass(frozen=True)
class Judged:
    """A plan as laid out: chances (None where nothing is left to judge types by), bill, effort, pieces by type."""

    chances: Chances | None
    bill: Bill
    effort: Effort
    specimens: Mapping[str, int]


def judge_plan(problem: Problem, plan: Plan) -> Judged:
    """Chances, hours and money of a plan of the problem's trial; coupons that are dealt are judged as in the search."""
    trial, spent = problem.trial, effort(problem.trial, plan)
    pieces = plan.mounts.drop_duplicates("specimen").groupby("nozzle").size()
    counts = {kind: int(pieces.get(kind, 0)) for kind in trial.types}
    dealt = candidate_of(trial)
    if dealt is None or min(dealt.specimens) < 2:
        chances = chances_of(problem, build_frame(trial, plan))
    else:
        chances = problem.option(dealt).chances
    return Judged(chances, bill_of(problem, spent, counts), spent, counts)


def candidate_of(trial: Trial) -> Candidate | None:
    """The plan that a trial file with coupons per mount asks for; None where coupons are chosen otherwise."""
    plan, readings = trial.plan, {trial.responses[name].readings for name in trial.primaries}
    if plan.coupons_per_mount is None or len(readings) > 1:
        return None
    specimens = tuple(len(nozzle.specimens) for nozzle in trial.nozzles)
    each, again = plan.coupons_per_mount, plan.repeats
    return Candidate(specimens, plan.mounts_per_specimen, each, again, readings.pop(), plan.sheets)


def bill_of(problem: Problem, spent: Effort, specimens: Mapping[str, int]) -> Bill:
    """Hours and money of work and material that were counted; gas that is not known costs nothing."""
    prices = problem.prices
    machine, bench = spent.machine_minutes / 60.0, spent.bench_minutes / 60.0
    material = spent.sheet_area_m2 * prices.sheet_m2 + (spent.gas_m3 or 0.0) * prices.gas_m3
    pieces = sum(specimens[kind] * price for kind, price in zip(problem.trial.types, prices.nozzle, strict=True))
    return Bill(machine, bench, machine * prices.machine_hour + bench * prices.bench_hour + material + pieces)


def chances_of(problem: Problem, frame: Frame) -> Chances | None:
    """Chances that the answers of a plan come out right; the lowest over types and primaries."""
    if frame.yardstick_df < 1 or len(frame.types) < 2 or frame.structure.pieces_only:
        return None
    found = [_of_response(problem, frame, asked) for asked in problem.question.asked]
    return Chances(*(min(values) for values in zip(*found, strict=True)))


def _of_response(problem: Problem, frame: Frame, asked: Asked) -> tuple[float, float, float, float]:
    each = []
    for variances in asked.open or (asked.variances,):
        known = _precision(problem, frame, {source: value**0.5 for source, value in variances.items()}, asked.response)
        right = chances_right(known, asked.better, asked.worse, problem.question.levels, together=True)
        each.append((right.different.min(), right.same.min(), right.all_different[0], right.all_same[0]))
    one, two, three, four = np.mean(each, axis=0)
    return float(one), float(two), float(three), float(four)


def _precision(problem: Problem, frame: Frame, spreads: Mapping[str, float], response: str) -> Precision:
    """Covariance of the comparisons, its part that rests on pieces, and degrees of freedom as `Frame` counts them."""
    readings = problem.trial.responses[response].readings
    covariance = frame.covariance(spreads, readings)
    today = frame.types.index(problem.trial.today.type) if problem.trial.today.type in frame.types else 0
    at_today = problem.question.at is PlaceKind.TODAY
    compared = _against(frame, today, at_today) @ covariance @ _against(frame, today, at_today).T
    average = _against(frame, today, False) @ covariance @ _against(frame, today, False).T
    between = np.minimum(np.diagonal(average), np.diagonal(compared))[None]
    rest = np.full_like(between, max(frame.coupon_df, 1))
    usable = np.array([True])
    return Precision(compared[None], between, np.array([float(frame.yardstick_df)]), rest, usable)


def _against(frame: Frame, today: int, at_today: bool) -> np.ndarray:
    """Contrast (J, k) of each other type against today's, at today's settings or averaged."""
    settings = [frame.trial.today_settings] if at_today else frame.common_settings()
    rows = np.array([frame.rows(kind, settings) for kind in frame.types])
    return np.asarray(np.delete(rows, today, axis=0) - rows[today])
