"""What a plan that settles rests on, as findings."""

from __future__ import annotations

from trials.findings import About, Amount, Fact, Finding, Weight
from trials.plan.kinds import PlanKind
from trials.plan.settling.costs import unstated
from trials.plan.settling.problem import Problem
from trials.plan.settling.request import Candidate, Goal, Space
from trials.plan.settling.search import Found
from trials.trial import Trial


def told(problem: Problem, goal: Goal, space: Space, found: Found) -> tuple[Finding, ...]:
    """What the reader has to know beside the plan, most important first."""
    trial, candidate = problem.trial, found.best.candidate
    said = [_out_of_reach(goal, found, space)] if not found.reached else []
    said += _pages_lost(candidate) if space.bare else [Finding(PlanKind.FLOORS)]
    said += _looks(trial) + _not_judged(problem) + _assumed(trial)
    said += [Finding(PlanKind.PIECES_COUNTED), Finding(PlanKind.FEWEST_SHEETS, facts={"sheets": candidate.sheets})]
    return tuple(said)


def _out_of_reach(goal: Goal, found: Found, space: Space) -> Finding:
    facts: dict[str, Fact] = {
        "asked": goal.chance,
        "best": found.best.chances.reached(goal),
        "most": space.most_specimens,
        "limits": tuple(space.most.items()),
    }
    return Finding(PlanKind.OUT_OF_REACH, facts=facts, weight=Weight.COULD_CHANGE)


def _pages_lost(candidate: Candidate) -> list[Finding]:
    facts: dict[str, Fact] = {
        "one_coupon": candidate.coupons < 2,
        "one_reading": candidate.readings < 2,
        "one_setting": candidate.repeats >= candidate.coupons,
    }
    return [Finding(PlanKind.PAGES_LOST, facts=facts, weight=Weight.LOOK_AT)] if any(facts.values()) else []


def _looks(trial: Trial) -> list[Finding]:
    shares = len(trial.primaries) * trial.plan.looks
    facts: dict[str, Fact] = {"primaries": len(trial.primaries), "looks": trial.plan.looks}
    return [Finding(PlanKind.LOOKS_SHARED, facts=facts)] if shares > 1 else []


def _not_judged(problem: Problem) -> list[Finding]:
    judged = {asked.response for asked in problem.question.asked}
    missing = [name for name in problem.trial.primaries if name not in judged]
    return [Finding(PlanKind.NOT_JUDGED, About(response=name), weight=Weight.LOOK_AT) for name in missing]


def _assumed(trial: Trial) -> list[Finding]:
    taken = unstated(trial)
    found = []
    if taken:
        prices = tuple(
            (name, Amount(figure, "min" if name.endswith("minutes") else "")) for name, figure in taken.items()
        )
        facts: dict[str, Fact] = {"taken": prices, "currency": trial.trial.currency}
        found.append(Finding(PlanKind.COSTS_ASSUMED, facts=facts))
    unpriced = tuple(nozzle.type for nozzle in trial.nozzles if nozzle.price is None)
    if unpriced:
        found.append(Finding(PlanKind.PRICE_UNKNOWN, About(nozzles=unpriced), weight=Weight.LOOK_AT))
    return found
