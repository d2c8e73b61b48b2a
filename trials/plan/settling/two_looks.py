"""Two looks beside one: a first part is cut and asked; the rest is cut only where something is not settled."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from trials.infer.answer import levels
from trials.plan.settling.problem import Problem
from trials.plan.settling.request import Candidate, Goal, Pattern, Space

SHARES = (0.4, 0.5, 0.6, 0.7, 0.8)
"""Shares of the specimens that are cut before the first look."""
LOOKS = 2
Array = np.ndarray


@dataclass(frozen=True)
class TwoLooks:
    """A plan in two parts with the same coupons for each specimen; both looks share the confidence.

    first, whole: specimens by type; stop_different, stop_same: chances that every comparison ends right at the first
    look; expected_different, expected_same: mean money with that chance of stopping; most: money if nothing stops it.
    """

    first: tuple[int, ...]
    whole: tuple[int, ...]
    stop_different: float
    stop_same: float
    expected_different: float
    expected_same: float
    most: float

    @property
    def expected(self) -> float:
        """The larger of both means."""
        return max(self.expected_different, self.expected_same)


def two_looks(problem: Problem, goal: Goal, space: Space, one: Candidate) -> TwoLooks | None:
    """The pair of looks with the least expected money, each specimen as in the plan for one look; None out of reach.

    The whole plan alone has the asked chance at its look; stopping rightly before can only add to it.
    """
    shared = levels(len(problem.trial.primaries), LOOKS)
    asked = replace(problem, question=replace(problem.question, levels=shared))
    found = [made for share in SHARES if (made := _at(asked, goal, space, one, share)) is not None]
    return min(found, key=lambda made: made.expected, default=None)


def _at(problem: Problem, goal: Goal, space: Space, one: Candidate, share: float) -> TwoLooks | None:
    pattern, prices = Pattern(one.mounts, one.coupons, one.repeats, one.readings), problem.prices
    wholes = _grown(one, space.limits(problem.question.types))
    firsts = np.minimum(np.maximum(np.ceil(share * wholes - 1e-9).astype(int), 2), wholes)
    rests = wholes - firsts
    sheets = prices.sheets(pattern, firsts) + prices.sheets(pattern, rests)
    most = int(wholes.max())
    right = problem.evaluate(pattern, wholes, most, goal.all_of_them, sheets)
    if right is None or not (right.reached(goal) >= goal.chance).any():
        return None
    at = int(np.argmax(right.reached(goal) >= goal.chance))
    if not rests[at].any():  # the first part is all of it
        return None
    early = problem.evaluate(pattern, firsts[at : at + 1], most, together=True)
    if early is None:
        return None
    before, after = (float(prices.money(pattern, part[at : at + 1])[0]) for part in (firsts, rests))
    different, same = float(early.all_different[0]), float(early.all_same[0])
    return TwoLooks(
        tuple(map(int, firsts[at])),
        tuple(map(int, wholes[at])),
        different,
        same,
        before + (1.0 - different) * after,
        before + (1.0 - same) * after,
        before + after,
    )


def _grown(one: Candidate, limits: tuple[int, ...]) -> Array:
    """Specimens (B, types) that grow in the proportions of a plan, from three of a type on."""
    ratios = np.array(one.specimens) / min(one.specimens)
    rows = np.ceil(np.arange(3, max(limits) + 1)[:, None] * ratios - 0.5).astype(int)
    return np.unique(np.minimum(rows, limits), axis=0)
