"""Two looks beside one: chances by direct evaluation, money added up by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from plan.settling.scenes import problem

from trials.infer.answer import Levels
from trials.plan.settling.request import Candidate, Goal, Pattern, Space
from trials.plan.settling.two_looks import SHARES, _at, _grown, two_looks

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


@pytest.mark.parametrize("chance", [0.65, 0.7, 0.75, 0.8, 0.85, 0.9])
def test_the_whole_plan_is_the_smallest_that_reaches_the_chance(given, chance):
    # each part is cut on a sheet of its own
    goal = Goal(chance)
    whole = two_looks(given, goal, Space(most_specimens=20), ONE).whole
    assert whole == whole_plan(whole[1])
    assert chances(given, whole, 2).reached(goal)[0] >= chance
    assert chances(given, whole_plan(whole[1] - 1), 2).reached(goal)[0] < chance


def test_the_second_part_is_cut_on_a_sheet_of_its_own(given, found):
    """A chance that the plan would have on one sheet, but not on two, takes more specimens."""
    one, two = (float(chances(given, found.whole, sheets).reached(GOAL)[0]) for sheets in (1, 2))
    assert one > two + 1e-4
    assert two_looks(given, Goal((one + two) / 2), Space(most_specimens=20), ONE).whole > found.whole


def test_plans_grow_in_proportion_up_to_what_can_be_had():
    # five to three: 5, 6.67, 8.33 and 10 of today's beside 3, 4, 5 and 6, to the nearest whole number
    grown = _grown(Candidate((5, 3, 3), 1, 3, 2, 2), (9, 6, 5))
    assert grown.tolist() == [[5, 3, 3], [7, 4, 4], [8, 5, 5], [9, 6, 5]]


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


def test_a_first_part_that_is_all_of_it_is_not_two_looks(given):
    """Of three specimens of each type 0.7 or 0.8 are three: nothing would be left for the second look."""
    found = two_looks(given, Goal(0.01), Space(most_specimens=3), Candidate((3, 3, 3), 1, 3, 2, 2))
    assert (found.first, found.whole) == ((2, 2, 2), (3, 3, 3))
    assert _at(given, Goal(0.01), Space(most_specimens=3), Candidate((3, 3, 3), 1, 3, 2, 2), 0.7) is None


def test_the_first_part_takes_no_more_than_can_be_had(given):
    """Of the third type one can be had, where two of the others are the fewest for a first look."""
    space = Space(most_specimens=6, most={"cc": 1})
    found = _at(given, Goal(0.0), space, Candidate((3, 3, 3), 1, 3, 2, 2), 0.4)
    assert (found.first, found.whole) == ((2, 2, 1), (3, 3, 1))
