"""Chances of trials in which each mount or piece gives one figure: ladders of speeds and lives."""

from __future__ import annotations

import math
from dataclasses import replace

from trials.infer.answer import levels
from trials.plan.choose import Plan
from trials.plan.power import Counts, Needed, specimens_needed
from trials.trial import Trial, expected_spreads, worthwhile_margins
from trials.units import step_difference


def ladder_settles(trial: Trial, plan: Plan) -> Needed | None:
    """Chance that the fastest clean cut of one type against today's ends right; None where no spread is expected.

    A limit known to a step stands for one known exactly with a twelfth of the step squared added to its variance
    (Sheppard 1898, Proc. London Math. Soc. 29, 353-380); a share is taken at the expected level.
    """
    asked = trial.clean
    if asked is None or asked.expected is None:
        return None
    expected, unit = asked.expected, trial.factors[trial.rising].unit
    worthwhile, kind = step_difference(asked.worthwhile, unit, f"responses.{trial.clean_name}.worthwhile")
    scale = expected.level if kind == "ratio" else 1.0

    def variance(typed: str | None) -> float:
        if typed is None:
            return 0.0
        size, of = step_difference(typed, unit, f"responses.{trial.clean_name}.expected")
        return ((size * expected.level if of == "ratio" else size) / scale) ** 2

    speeds = sorted(set(plan.coupons[trial.factor_column(trial.rising)]))
    step = (speeds[-1] - speeds[0]) / (len(speeds) - 1) / scale
    variances = {"specimen": variance(expected.specimen), "mount": variance(expected.mount) + step**2 / 12.0}
    if kind == "ratio":
        return _needed(trial, variances, math.log1p(worthwhile), -math.log1p(-worthwhile), trial.deciding)
    return _needed(trial, variances, worthwhile, worthwhile, trial.deciding)


def lives_settle(trial: Trial, name: str) -> Needed | None:
    """Chance that the lives of one type against today's end right, if all specimens fail; None where it is unknown.

    Lives are Weibull with one shape: the log of a ratio of lives has a variance of scale^2 (1 / n + 1 / m), with the
    scale sd sqrt(6) / pi of log lives whose standard deviation is sd (see `trials.infer.life.detectable_ratio`).
    """
    spreads, sides = expected_spreads(trial, name), worthwhile_margins(trial, name)
    if "specimen" not in spreads or sides is None:
        return None
    scale = spreads["specimen"] * math.sqrt(6.0) / math.pi
    both = sides.smaller, max(sides.better, sides.worse)
    needed = _needed(trial, {"specimen": scale**2}, *both, len(trial.primaries))
    return None if needed is None else replace(needed, mounts_apply=False)


def _needed(trial: Trial, variances: dict[str, float], worthwhile: float, wider: float, deciding: int) -> Needed | None:
    """The chance, and the numbers that would bring it to 80 %; None where fewer than two pieces of a type speak."""
    pieces = {nozzle.type: len(nozzle.specimens) for nozzle in trial.nozzles}
    today = pieces.pop(trial.today.type)
    fewest = min(pieces.values(), default=0)
    if min(today, fewest) < 2:
        return None
    mounts = trial.plan.mounts_per_specimen
    counts = Counts(len(trial.types), fewest, mounts, sheets=trial.plan.sheets, today=today / fewest)
    shared = levels(max(deciding, 1), trial.plan.looks)
    return specimens_needed(variances, worthwhile, counts, shared, wider=wider)
