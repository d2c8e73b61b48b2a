"""Parts of the search for an extension, each by hand: kinds, lines, what is looked at, what is kept."""

import math
from dataclasses import replace

import numpy as np
import pytest
from plan.settling.scenes import text_of

from trials.findings import PlaceKind
from trials.plan.choose import make_plan
from trials.plan.settling.chance import Right
from trials.plan.settling.further import Further, FurtherSpace, Given, _kinds, _Search, settle_further
from trials.plan.settling.problem import problem_of
from trials.plan.settling.request import Goal
from trials.trial import parse


@pytest.fixture(scope="module")
def given():
    text = text_of(prices=(9, 14, 21), spreads=("6 %", "3 %", "8 %", "6 %"), plan="coupons_per_mount = 4\nrepeats = 2")
    trial = parse(text)
    return Given(problem_of(trial), make_plan(trial).coupons, {n.type: n.specimens for n in trial.nozzles})


def searching(given, goal=None, **space):
    return _Search(given, goal or Goal(0.8), FurtherSpace(given.types, **space), None)


def test_kinds_are_every_way_to_mount_and_to_repeat(given):
    expected = {(a, c, r) for a in (False, True) for c in (2, 3, 4, 5, 6) for r in (0, c - 1, c)}
    assert set(_kinds(given)) == expected
    average = replace(given.problem, question=replace(given.problem.question, at=PlaceKind.AVERAGE))
    assert {repeats for _, _, repeats in _kinds(replace(given, problem=average))} == {0}
    still = replace(given, coupons=given.coupons.assign(pressure_bar=0.7))
    assert not still.varied and {repeats for _, _, repeats in _kinds(still)} == {0}


def new_of(line):
    return [further.new for further in line]


def test_lines_grow_alike_by_the_root_and_on_one_side(given):
    alike, more = searching(given)._lines((False, 3, 2))
    assert new_of(alike) == [(n, n, n) for n in range(1, 41)]
    assert new_of(more) == [(min(40, math.ceil(math.sqrt(2) * n - 0.5)), n, n) for n in range(1, 41)]
    lines = [new_of(line) for line in searching(given)._lines((True, 3, 2))]
    # where pieces are mounted once more none has to be new, and one side may grow alone
    assert len(lines) == 4 and lines[0][0] == (0, 0, 0)
    assert lines[2] == [(n, 0, 0) for n in range(41)] and lines[3] == [(0, n, n) for n in range(41)]


def test_what_cannot_be_had_or_is_not_asked_for_gets_nothing_new(given):
    few = searching(given, most={"bb": 2})
    assert [few._count(name, 5, 7) for name in given.types] == [5, 2, 7]
    some = _Search(given, Goal(0.8), FurtherSpace(("aa", "cc")), None)
    assert [some._count(name, 5, 7) for name in given.types] == [5, 0, 7]


def test_the_neighbours_of_the_best(given):
    search = searching(given)
    near = search._near((False, 3, 2), Further((6, 4, 4), False, 3, 2, 1))
    expected = {(a, b, b) for b in range(1, 7) for a in range(2, 12)}
    assert set(new_of(near)) == expected
    low = search._near((True, 3, 2), Further((1, 0, 0), True, 3, 2, 1))
    assert set(new_of(low)) == {(a, b, b) for b in range(3) for a in range(7)}
    assert all(further.sheets == given.sheets(further) for further in near)


def taken(given, rows, search=None, goal=None):
    """A line of extensions (money, chance), looked at as one."""
    search = search or searching(given, goal)
    line = [Further((i, 0, 0), False, 3, 2, 1) for i in range(len(rows))]
    money, chances = np.array([m for m, _ in rows], dtype=float), np.array([c for _, c in rows])
    search._chances = lambda part: np.array([chances[further.new[0]] for further in part])
    found = search._take((False, 3, 2), line, money, list(range(len(rows))))
    return search, found


def test_the_cheapest_that_reaches_the_chance_is_kept(given):
    search, found = taken(given, [(90, 0.7), (200, 0.85), (150, 0.8), (120, 0.79)])
    assert found and search.reached
    assert (search.best.new, search.money, search.chance) == ((2, 0, 0), 150.0, 0.8)
    assert search.seen == {(False, 3, 2): (150.0, -0.8)}
    again, found = taken(given, [(160, 0.9), (140, 0.7)], search)
    assert found and again.money == 150.0 and again.seen == {(False, 3, 2): (150.0, -0.8)}


def test_out_of_reach_the_best_chance_is_kept_where_it_is_clearly_better(given):
    search, found = taken(given, [(90, 0.5), (95, 0.5049), (99, 0.5051), (120, 0.4)])
    assert not found and not search.reached
    assert (search.best.new, search.money, search.chance) == ((2, 0, 0), math.inf, 0.5051)
    assert search.seen[False, 3, 2] == (math.inf, -0.5051)


def test_kinds_are_ranked_by_money_then_by_chance(given):
    search = searching(given)
    search.seen = {(False, 2, 0): (math.inf, -0.7), (True, 3, 2): (150.0, -0.8), (True, 4, 0): (math.inf, -0.75)}
    assert search.best_kinds(2) == [(True, 3, 2), (True, 4, 0)]


def test_a_line_whose_dearest_end_is_short_of_the_chance_is_left(given):
    """Twenty extensions of rising money: the last is looked at first, then the cheapest twelve at a time."""
    line = [Further((n, 0, 0), False, 3, 2, 1) for n in range(1, 21)]

    def looked(chance_of, money_below=math.inf):
        search, asked = searching(given), []
        search.money = money_below

        def chances(part):
            asked.append([further.new[0] for further in part])
            return np.array([chance_of(further.new[0]) for further in part])

        search._chances = chances
        search._look((False, 3, 2), line)
        return search, asked

    search, asked = looked(lambda n: 0.5)
    assert asked == [[20]] and not search.reached
    search, asked = looked(lambda n: 0.5 + 0.02 * n)
    assert asked == [[20], list(range(1, 13)), list(range(13, 21))] and search.best.new == (15, 0, 0)
    search, asked = looked(lambda n: 0.8)
    assert asked == [[20], list(range(1, 13))] and search.best.new == (1, 0, 0)
    cheap = given.bill(line[3]).money
    _, asked = looked(lambda n: 0.8, cheap)
    assert asked[0] == [3] and asked[1] == [1, 2, 3]  # what costs as much as the best so far is no better


def test_chances_are_those_of_the_types_that_get_coupons(given, monkeypatch):
    right = Right(np.array([[0.9, 0.3]]), np.array([[0.8, 0.2]]), np.array([0.1]), np.array([0.1]))
    monkeypatch.setattr(Given, "right", lambda self, line, together=False: right)
    both = searching(given)
    one = _Search(given, Goal(0.8), FurtherSpace(("aa", "bb")), None)
    assert both._chances([None]) == pytest.approx([0.2]) and one._chances([None]) == pytest.approx([0.8])


def test_open_spreads_are_looked_at_again_with_the_three_best_kinds(given, monkeypatch):
    asked = given.problem.question.asked[0]
    wild = {source: 1.4 * variance for source, variance in asked.variances.items()}
    question = replace(given.problem.question, asked=(replace(asked, open=(asked.variances, wild)),))
    opened = replace(given, problem=replace(given.problem, question=question))
    runs, run = [], _Search.run

    def noted(self, kinds):
        runs.append(len(kinds))
        run(self, kinds)

    monkeypatch.setattr(_Search, "run", noted)
    monkeypatch.setattr("trials.plan.settling.further._kinds", lambda given: _kinds(given)[::6])
    found = settle_further(opened, Goal(0.6), FurtherSpace(opened.types))
    assert runs == [5, 3] and found.reached


def test_progress_of_an_extension_counts_its_kinds(given):
    told = []
    search = _Search(given, Goal(0.02), FurtherSpace(given.types), lambda *at: told.append(at))
    search.run([(False, 2, 2), (True, 2, 2)])
    assert told == [(1, 3), (2, 3), (3, 3)]
