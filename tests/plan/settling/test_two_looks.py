"""Two looks beside one: chances by direct evaluation, money added up by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from plan.settling.scenes import problem

from trials.infer.answer import Levels
from trials.plan.settling.request import Candidate, Goal, Pattern, Space
from trials.plan.settling.two_looks import SHARES, two_looks

ONE = Candidate((6, 4, 4), 1, 3, 2, 2)
PATTERN = Pattern(1, 3, 2, 2)
GOAL = Goal(0.8)


@pytest.fixture(scope="module")
def given():
    return problem(prices=(9, 14, 21))


@pytest.fixture(scope="module")
def found(given):
    return two_looks(given, GOAL, Space(most_specimens=20), ONE)


def whole_plan(others):
    """Today's type in the proportion 6 to 4, rounded halves down."""
    return (math.ceil(1.5 * others - 0.5), others, others)


def first_part(share, whole):
    return tuple(max(2, math.ceil(share * n - 1e-9)) for n in whole)


def chances(given, specimens, sheets):
    """At the confidence that two looks share: 0.05 / 2 and 0.10 / 2."""
    question = replace(given.question, levels=Levels(0.975, 0.95))
    shared = replace(given, question=question)
    return shared.evaluate(PATTERN, np.array([specimens]), 20, True, np.array([sheets]))


def money(given, specimens):
    return float(given.prices.money(PATTERN, np.array([specimens]))[0])


def test_the_whole_plan_is_the_smallest_that_reaches_the_chance(given, found):
    # each part is cut on a sheet of its own
    others = found.whole[1]
    assert found.whole == whole_plan(others)
    assert chances(given, found.whole, 2).reached(GOAL)[0] >= 0.8
    assert chances(given, whole_plan(others - 1), 2).reached(GOAL)[0] < 0.8


def test_money_and_chances_of_stopping_are_those_of_the_first_part(given, found):
    early = chances(given, found.first, 1)
    assert found.stop_different == pytest.approx(early.all_different[0])
    assert found.stop_same == pytest.approx(early.all_same[0])
    before = money(given, found.first)
    after = money(given, tuple(a - b for a, b in zip(found.whole, found.first, strict=True)))
    assert found.most == pytest.approx(before + after)
    assert found.expected_different == pytest.approx(before + (1 - early.all_different[0]) * after)
    assert found.expected_same == pytest.approx(before + (1 - early.all_same[0]) * after)
    assert found.expected == max(found.expected_different, found.expected_same) < found.most


def test_no_other_share_is_expected_to_cost_less(given, found):
    costs = {}
    for first in {first_part(share, found.whole) for share in SHARES}:
        early = chances(given, first, 1)
        before, rest = money(given, first), tuple(a - b for a, b in zip(found.whole, first, strict=True))
        stopped = min(early.all_different[0], early.all_same[0])
        costs[first] = before + (1 - stopped) * money(given, rest)
    assert found.first in costs and len(costs) > 2
    assert found.expected == pytest.approx(min(costs.values()))


def test_out_of_reach_there_are_no_two_looks(given):
    assert two_looks(given, GOAL, Space(most_specimens=4), ONE) is None
