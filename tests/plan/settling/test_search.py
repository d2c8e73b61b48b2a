"""The search against looking at every plan of small spaces; budgets, limits and what cannot be had."""

import itertools

import numpy as np
import pytest
from plan.settling.scenes import problem

from trials.errors import Infeasible, NotFinite, WrongArgument
from trials.plan.settling.request import Asked, Candidate, Goal, If, Pattern, Space
from trials.plan.settling.search import settle

SMALL = Space(mounts=(1, 2), coupons=(2, 3), repeats=(0, 1, 2), readings=(2, 3), most_specimens=9)
SCENARIOS = [
    ({}, SMALL, Goal(0.8)),
    ({"prices": (9, 14, 21), "plan": 'compare_at = "average"'}, SMALL, Goal(0.7)),
    ({"prices": (9, 90), "spreads": ("2 %", "5 %", "6 %", "8 %")}, SMALL, Goal(0.8, If.SAME)),
    ({"prices": (9, 14, 14, 200)}, SMALL, Goal(0.7, If.DIFFERENT)),
    (
        {"plan": 'limits = [{ nozzle = "bb", factor = "pressure", at_most = 0.8 }]', "factors": 2},
        Space((1,), (3, 4), (1, 2), (2,), 9, {"bb": 5}),
        Goal(0.6),
    ),
    ({"prices": (9, 10, 11, 12, 13, 14), "spreads": ("4 %", "", "5 %", "4 %")}, SMALL, Goal(0.6, all_of_them=True)),
]


def cheapest(given, space, goal):
    """Money of the cheapest plan of the whole space with the asked chance."""
    kinds, most, best = len(given.question.types), space.limits(given.question.types), np.inf
    pairs = np.array(list(itertools.product(range(2, 2 * space.most_specimens), range(2, space.most_specimens + 1))))
    rows = np.repeat(pairs[:, 1:], kinds, axis=1)
    rows[:, given.question.today] = pairs[:, 0]
    rows = np.unique(np.minimum(rows, most), axis=0)
    for mounts, coupons, repeats, readings in itertools.product(*space_parts(space)):
        if repeats >= coupons:
            continue
        pattern = Pattern(mounts, coupons, repeats, readings)
        money = given.prices.money(pattern, rows)
        right = given.evaluate(pattern, rows, int(rows.max()), goal.all_of_them)
        if right is None:
            continue
        different = right.all_different if goal.all_of_them else right.different.min(axis=1)
        same = right.all_same if goal.all_of_them else right.same.min(axis=1)
        chance = {If.DIFFERENT: different, If.SAME: same, If.BOTH: np.minimum(different, same)}[goal.truth]
        best = min(best, money[chance >= goal.chance].min(initial=np.inf))
    return best


def space_parts(space):
    return space.mounts, space.coupons, space.repeats, space.readings


@pytest.mark.parametrize(("asked", "space", "goal"), SCENARIOS)
def test_at_most_three_per_cent_dearer_than_the_best_of_all(asked, space, goal):
    given = problem(**asked)
    found = settle(given, goal, space)
    best = cheapest(given, space, goal)
    assert np.isfinite(best) and found.reached
    assert best * (1 - 1e-9) <= found.best.bill.money <= 1.03 * best
    assert found.best.chances.reached(goal) >= goal.chance


def test_the_line_of_chance_against_money_rises_to_the_plan():
    found = settle(problem(prices=(9, 14, 21)), Goal(0.8), SMALL)
    money = [option.bill.money for option in found.frontier]
    chance = [option.chances.reached(Goal(0.8)) for option in found.frontier]
    assert len(money) > 3 and money == sorted(money) and chance == sorted(chance)
    assert found.frontier[-1] == found.best


def test_todays_nozzle_gets_more_pieces_the_more_types_there_are():
    found = settle(problem(prices=(9, 10, 11, 12, 13)), Goal(0.8), SMALL).best.candidate.specimens
    assert found[0] > found[1]


@pytest.mark.parametrize("goal", [Goal(hours=9.0), Goal(money=700.0)])
def test_a_budget_is_kept_and_used(goal):
    given = problem()
    found = settle(given, goal, SMALL).best
    assert found.bill.hours <= (goal.hours or np.inf) and found.bill.money <= (goal.money or np.inf)
    poorer = settle(given, Goal(hours=goal.hours and 6.0, money=goal.money and 450.0), SMALL).best
    assert poorer.chances.reached(goal) < found.chances.reached(goal)


def test_pieces_that_cannot_be_had():
    given = problem(spreads=("12 %", "5 %", "10 %", "7 %"))
    space = Space((1,), (2, 3), (1,), (2,), 9, {"bb": 3})
    found = settle(given, Goal(0.9), space)
    assert not found.reached
    assert found.best.candidate.specimens[1] <= 3 and found.best.chances.reached(Goal()) < 0.9


def test_floors_hold_unless_bare():
    given = problem(spreads=("6 %", "", "3 %", "2 %"))
    floored, bare = (settle(given, Goal(0.7), Space((1,), (2, 3), (0, 1, 2), (2,), 20, bare=b)) for b in (False, True))
    assert floored.best.candidate.coupons >= 2 and floored.best.candidate.readings >= 2
    assert floored.best.candidate.repeats < floored.best.candidate.coupons
    assert bare.best.bill.money < floored.best.bill.money
    assert bare.best.candidate.coupons == 1 or bare.best.candidate.readings == 1


def test_nothing_to_buy_with_the_budget():
    with pytest.raises(Infeasible, match="budget buys no plan"):
        settle(problem(), Goal(hours=0.5), SMALL)


def test_plan_that_cannot_carry_the_curves():
    with pytest.raises(Infeasible, match="curves"):
        problem(factors=2).option(Candidate((2, 2), 1, 1, 1, 2), 2).chances and problem(factors=2).option(
            Candidate((2, 2), 1, 2, 1, 2)
        )


@pytest.mark.parametrize(
    ("changed", "error", "line"),
    [
        ({"variances": {"coupon": float("nan")}}, NotFinite, "coupon is nan"),
        ({"variances": {"coupon": 1.0, "specimen": -1.0}}, WrongArgument, "specimen is -1"),
        ({"better": 0.0}, WrongArgument, "worthwhile difference is zero"),
        ({"variances": {"specimen": 1.0}}, WrongArgument, "no spread of coupon or reading"),
    ],
)
def test_figures_that_plan_nothing_are_refused(changed, error, line):
    with pytest.raises(error, match=line):
        Asked(**{"response": "roughness", "variances": {"reading": 1.0}, "better": 0.1, "worse": 0.1} | changed)


def test_progress_rises_to_its_end():
    seen = []
    settle(problem(prices=(9, 14)), Goal(0.8), SMALL, lambda done, of: seen.append((done, of)))
    done, of = zip(*seen, strict=True)
    assert list(done) == sorted(done) and done[0] > 0 and done[-1] == of[-1] and len(set(of)) == 1


def test_the_chance_of_all_together_is_counted_only_where_it_is_asked_for():
    given, pattern, rows = problem(prices=(9, 14, 21)), Pattern(1, 3, 1, 2), np.array([[4, 4, 4]])
    alone, together = given.evaluate(pattern, rows, 4), given.evaluate(pattern, rows, 4, True)
    assert np.isnan(alone.all_different).all() and np.isnan(alone.all_same).all()
    assert (together.all_different <= together.different.min(axis=1)).all()
    assert np.array_equal(alone.different, together.different)
