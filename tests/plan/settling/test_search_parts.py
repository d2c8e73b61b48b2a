"""Parts of the search for a plan that settles, each by hand: patterns, lines of plans, what is close, what is kept."""

import math
from dataclasses import replace

import numpy as np
import pytest
from plan.settling.scenes import problem

from trials.errors import Infeasible
from trials.plan.settling.request import Asked, Candidate, Goal, Pattern, Space
from trials.plan.settling.search import _chunks, _frontier, _Search, _thinned, settle

SMALL = Space(mounts=(1, 2), coupons=(2, 3), repeats=(0, 1, 2), readings=(2, 3), most_specimens=9)


@pytest.fixture(scope="module")
def given():
    return problem(prices=(9, 14, 21))


def searching_in(given, goal=None, space=SMALL, **more):
    return _Search(given, goal or Goal(0.8), space, None, **more)


# ---- patterns --------------------------------------------------------------------------------------------------------


def test_every_pattern_leaves_a_coupon_at_another_setting(given):
    found = set(searching_in(given).patterns())
    by_hand = {Pattern(m, c, r, n) for m in (1, 2) for c, r in ((2, 0), (2, 1), (3, 0), (3, 1), (3, 2)) for n in (2, 3)}
    assert found == by_hand


def test_bare_patterns_go_down_to_one_coupon_and_one_reading_and_repeat_every_coupon(given):
    bare = Space(mounts=(1,), coupons=(2,), repeats=(0, 1, 2, 3), readings=(2,), most_specimens=9, bare=True)
    found = set(searching_in(given, space=bare).patterns())
    assert found == {Pattern(1, c, r, n) for c, r in ((1, 0), (1, 1), (2, 0), (2, 1), (2, 2)) for n in (1, 2)}


def test_without_a_factor_nothing_is_repeated():
    found = searching_in(problem(factors=0)).patterns()
    assert {pattern.repeats for pattern in found} == {0} and len(found) == 8


def test_one_piece_of_a_type_cannot_speak_for_it(given):
    with pytest.raises(Infeasible, match="One piece of 'bb'"):
        settle(given, Goal(0.8), replace(SMALL, most={"bb": 1}))
    assert searching_in(given, space=replace(SMALL, most={"bb": 2})).patterns()


def test_named_patterns_are_taken_as_they_are(given):
    only = (Pattern(1, 2, 1, 2),)
    assert searching_in(given, only=only).patterns() == list(only)


def test_likely_patterns_come_first(given):
    """The best number of coupons by cost and variance (Raudenbush 1997), one mount, few readings."""
    search = searching_in(given)
    prices, asked = given.prices, given.question.asked[0].variances
    for pattern in (Pattern(1, 2, 1, 2), Pattern(2, 3, 0, 3)):
        coupon = prices.minutes.coupon + pattern.readings * prices.minutes.reading
        group = prices.minutes.mount + 60 * np.mean([9, 14, 21]) / prices.machine_hour
        ratio = (asked["coupon"] + asked["reading"] / pattern.readings) / (asked["specimen"] + asked["mount"])
        wanted = math.sqrt(group / coupon * ratio)
        by_hand = abs(math.log(pattern.coupons * pattern.mounts / wanted)) + 0.2 * pattern.readings + pattern.mounts
        assert search._unlikely(pattern) == pytest.approx(by_hand)
    order = [search._unlikely(pattern) for pattern in search.patterns()]
    assert order == sorted(order)
    alike = replace(given.question.asked[0], variances={"coupon": 0.01})
    flat = replace(given, question=replace(given.question, asked=(alike,)))
    # pieces that do not differ want every coupon in one: fifty stand for that
    assert searching_in(flat)._unlikely(Pattern(1, 2, 1, 2)) == pytest.approx(math.log(25) + 0.4 + 1)


# ---- specimens of a pattern ------------------------------------------------------------------------------------------


def test_todays_type_has_its_own_number_up_to_what_can_be_had(given):
    search = searching_in(given, space=replace(SMALL, most={"bb": 4}))
    assert search._specimens(np.array([3, 8]), np.array([2, 6])).tolist() == [[3, 2, 2], [8, 4, 6]]


def looked_at(given, goal, space, pattern, run):
    """Rows of specimens that one round looks at, without stopping."""
    seen = []
    search = _Search(given, goal, space, None)
    search._evaluate = lambda pattern, rows, stop: seen.append(rows) or math.inf
    run(search, pattern)
    return {tuple(row) for row in seen[0]}


def test_the_first_round_grows_all_types_alike_and_todays_by_the_root(given):
    found = looked_at(given, Goal(0.8), SMALL, Pattern(1, 3, 1, 2), lambda s, p: s._first(p))
    alike = {(n, n, n) for n in range(2, 10)}
    # sqrt(2) times as many, to the nearest whole number, up to what can be had
    more = {(min(9, math.ceil(math.sqrt(2) * n - 0.5)), n, n) for n in range(2, 10)}
    assert found == alike | more


def test_the_second_round_looks_at_every_pair_nearby(given):
    found = looked_at(given, Goal(hours=9.0), SMALL, Pattern(1, 3, 1, 2), lambda s, p: s._second(p))
    by_hand = {
        (min(a, 9), b, b) for b in range(2, 10) for a in range(2, 19) if b - 2 <= a <= 1.5 * math.sqrt(2) * b + 1
    }
    assert found == by_hand


def test_the_second_round_leaves_out_what_costs_far_less_than_the_best(given):
    pattern = Pattern(1, 3, 1, 2)

    def second(search, pattern):
        search.best_money = 1000.0
        search._second(pattern)

    found = looked_at(given, Goal(0.8), SMALL, pattern, second)
    money = given.prices.money(pattern, np.array(sorted(found)))
    every = looked_at(given, Goal(0.8), SMALL, pattern, lambda s, p: s._second(p))
    assert money.min() > 750.0 and len(found) < len(every)
    assert {row for row in every if given.prices.money(pattern, np.array([row]))[0] > 750.0} == found


# ---- what is affordable, close, best ---------------------------------------------------------------------------------


def test_a_budget_may_be_spent_to_the_last(given):
    money, hours = np.array([99.0, 100.0, 101.0, 50.0]), np.array([1.0, 2.0, 1.0, 2.5])
    assert searching_in(given, Goal(money=100.0))._affordable(money, hours).tolist() == [True, True, False, True]
    both = searching_in(given, Goal(money=100.0, hours=2.0))
    assert both._affordable(money, hours).tolist() == [True, True, False, False]
    assert searching_in(given)._affordable(money, hours).all()


def test_patterns_within_thirty_per_cent_get_the_second_round(given):
    search = searching_in(given)
    search.best_money = 100.0
    assert [search._is_close(m) for m in (100.0, 130.0, 130.1, math.inf)] == [True, True, False, False]
    budget = searching_in(given, Goal(money=500.0))
    budget.best_chance = 0.8
    assert [budget._is_close(-c) for c in (0.8, 0.75, 0.735)] == [True, True, False]


def filled(given, goal, rows):
    """A search that has tried plans with (money, hours, chance), each of a pattern of its own."""
    search = searching_in(given, goal)
    for i, (money, hours, chance) in enumerate(rows):
        one = [np.array([value]) for value in (money, hours, chance)]
        search.tried.add(Pattern(1, 2 + i % 2, 0, 2 + i // 2), np.array([[3, 3, 3]]), *one)
    return search


def test_the_cheapest_that_reaches_the_chance_is_taken(given):
    search = filled(given, Goal(0.8), [(200, 9, 0.85), (150, 9, 0.8), (150, 9, 0.82), (90, 9, 0.79)])
    assert search.found().best.candidate.coupons == 2 and search.found().reached
    assert search.found().best.candidate.readings == 3  # of two that cost the same the better chance
    assert search.best_patterns(2) == (Pattern(1, 3, 0, 2), Pattern(1, 2, 0, 3))


def test_out_of_reach_a_plan_within_a_hundredth_of_the_best_chance_may_be_cheaper(given):
    search = filled(given, Goal(0.9), [(200, 9, 0.70), (150, 9, 0.692), (90, 9, 0.68)])
    assert not search.found().reached and search.found().best.candidate.coupons == 3
    assert search.best_patterns(1) == (Pattern(1, 2, 0, 2),)
    budget = filled(given, Goal(money=500.0), [(200, 9, 0.70), (150, 9, 0.699), (90, 9, 0.695)])
    assert budget.found().reached and budget.found().best.candidate.coupons == 3


def test_the_line_starts_with_what_eight_hours_buy():
    money = np.array([10.0, 20.0, 30.0, 40.0, 50.0])
    hours = np.array([2.0, 7.0, 8.0, 9.0, 12.0])
    chance = np.array([0.1, 0.3, 0.25, 0.5, 0.5])
    # the third is dearer and worse than the second, the last no better than the fourth
    assert _frontier(money, hours, chance, 8.0) == [1, 3]
    assert _frontier(money, hours, chance, 1.0) == [0, 1, 3]
    assert _frontier(money, hours, chance, 7.0) == [1, 3] and _frontier(money, hours, chance, 2.0) == [0, 1, 3]


def test_half_of_a_short_plan_stands_for_eight_hours(given):
    rows = [(10, 2, 0.2), (20, 4, 0.4), (30, 6, 0.6), (40, 10, 0.85)]
    line = filled(given, Goal(0.8), rows).found().frontier
    assert len(line) == 3  # from the plan of 4 hours on, 5 being half of 10


def test_a_long_line_is_thinned_evenly_in_money():
    money = np.array([0.0, 1.0, 2.0, 10.0, 20.0, 29.0, 40.0])
    assert _thinned([0, 1, 2, 3, 4, 5, 6], money, 4) == [0, 3, 4, 5]  # nearest to 0, 10, 20 and 30
    assert _thinned([0, 3, 6], money, 3) == [0, 3, 6]


def test_parts_of_a_line():
    assert [part.tolist() for part in _chunks(np.arange(5), 2)] == [[0, 1], [2, 3], [4]]


# ---- the whole -------------------------------------------------------------------------------------------------------


def test_only_plans_below_a_price_are_looked_at(given):
    best = settle(given, Goal(0.8), SMALL).best.bill.money
    with pytest.raises(Infeasible, match="can estimate the curves"):
        settle(given, Goal(0.8), SMALL, below=1.0)
    assert settle(given, Goal(0.8), SMALL, below=1.2 * best).best.bill.money == pytest.approx(best, rel=0.03)


def test_open_spreads_are_searched_again_with_the_best_patterns(given):
    asked = given.question.asked[0]
    wild = tuple({name: k * value for name, value in asked.variances.items()} for k in (0.7, 1.6))
    opened = replace(given, question=replace(given.question, asked=(replace(asked, open=wild),)))
    told = []
    found = settle(opened, Goal(0.75), SMALL, lambda *at: told.append(at))
    assert found.reached and opened.option(found.best.candidate, 9).chances == found.best.chances
    assert told[-1][0] == told[-1][1] and found.best.chances.reached(Goal(0.75)) >= 0.75


def test_specimens_that_are_said_to_differ_by_nothing_are_asked_for_twice():
    asked = Asked("roughness", {"coupon": 0.0001}, 0.14, 0.14)
    given = problem()
    sure = replace(given, question=replace(given.question, asked=(asked,)))
    found = settle(sure, Goal(0.8), SMALL)
    assert found.best.candidate == Candidate((2, 2), 1, 2, found.best.candidate.repeats, 2, 1)
