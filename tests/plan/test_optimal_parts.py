"""Parts of the search for a plan, each by hand: first candidates, neighbours, exchanges, efforts, ranking of plans.

A search that keeps to these rules gives the same plan for the same seed on any machine; the figures of its effort were
measured once and are fixed since, so they are stated here as they are.
"""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest

from trials.errors import Infeasible, NotFinite, WrongArgument, WrongShape
from trials.plan.optimal import efficiencies
from trials.plan.optimal.exchange import Selection, State, Work, improve
from trials.plan.optimal.pool import Neighbours, Swaps, _line_ends, _line_keys, coarse, coarse_columns
from trials.plan.optimal.request import Arguments, _settings, check, matrix, weights
from trials.plan.optimal.rows import _budgets, _first_pool, _some
from trials.plan.optimal.search import (
    WorkBudget,
    _file,
    better,
    draw,
    fresh_plan,
    grow,
    lift,
    make_pools,
    polish,
    search,
    shake,
    widen,
)

GRID = np.array([(a, b) for a in range(3) for b in range(4)])
X = np.linspace(-1.0, 1.0, 9)
LINE = np.column_stack([np.ones(9), X, X * X])


def task_of(rows, runs, use_variance=False, swap=None):
    return Selection(
        rows, np.zeros((0, rows.shape[1])), np.eye(runs), rows.T @ rows / len(rows), use_variance, runs, swap
    )


def whole(task):
    return make_pools(task, [(np.arange(len(task.rows)), np.arange(task.runs))])


# ---- which candidates come first -------------------------------------------------------------------------------------


def test_lines_share_all_settings_but_one():
    key = _line_keys(GRID, 0)
    assert len(set(key)) == 4 and all(len(set(GRID[key == k, 1])) == 1 for k in set(key))
    # levels beyond the range of a product are numbered anew, and lines stay apart
    wide = np.array([[i, j, k] for i in (0, 70_000) for j in (0, 70_000) for k in (0, 1)])
    assert len(set(_line_keys(wide, 2))) == 4 and len(set(_line_keys(wide, 0))) == 4


@pytest.mark.parametrize(
    ("levels", "kept"),
    [(3, {0, 1, 2}), (4, {0, 1, 2, 3}), (5, {0, 2, 4}), (6, {0, 2, 3, 5}), (7, {0, 3, 6}), (9, {0, 4, 8})],
)
def test_the_ends_and_the_one_or_two_middle_levels_are_kept(levels, kept):
    """Levels 0 to n - 1: the middle is one of an odd number, two of an even one."""
    x = np.linspace(-1.0, 1.0, levels)
    rows = np.column_stack([np.ones(levels), x, x * x])
    assert set(np.flatnonzero(coarse(rows, np.arange(levels)[:, None]))) == kept


def test_a_column_keeps_its_levels_where_three_would_lose_a_term():
    cubic = np.column_stack([LINE, X**3])
    assert coarse(cubic, np.arange(9)[:, None]).all()


def test_columns_stand_in_where_settings_are_not_known():
    kept = coarse_columns(LINE)
    # of x the ends, the value nearest to zero and the one halfway; of what is left every square is kept
    assert X[kept].tolist() == [-1.0, 0.0, 1.0]
    assert coarse_columns(LINE[[0, 4, 8]]) is None  # nothing is left out
    assert coarse_columns(np.column_stack([LINE, X**3])) is None  # the cubic term would be lost
    many = np.linspace(-1.0, 1.0, 61)
    assert coarse_columns(np.column_stack([np.ones(61), many])) is None  # 61 levels are no setting
    assert coarse_columns(np.column_stack([np.ones(60), many[:60]])) is not None
    four = np.array([0.0, 1.0, 2.0, 5.0, 9.0])
    # lowest, highest, nearest to zero (the lowest), and the third of five
    assert coarse_columns(np.column_stack([np.ones(5), four])).tolist() == [True, False, True, False, True]


def test_neighbours_differ_in_one_setting():
    near = {tuple(row) for row in GRID[Neighbours(GRID)(np.array([5]))]}
    assert near == {(1, b) for b in range(4)} | {(a, 1) for a in range(3)}


def test_one_run_has_nobody_to_exchange_with():
    swap = Swaps(GRID, [(np.arange(12), np.arange(1))])
    assert swap(np.array([3]), np.random.default_rng(1)).tolist() == [3]


def test_an_exchange_that_leads_to_what_is_not_allowed_is_left_out():
    """Runs 0 and 1 may be cut in the first and last row of settings alone; every mixture of these is forbidden."""
    groups = [(np.array([0, 11]), np.array([0, 1]))]
    swap, rng = Swaps(GRID, groups), np.random.default_rng(2)
    assert all(swap(np.array([0, 11]), rng).tolist() in ([0, 11], [11, 0]) for _ in range(30))
    off = Swaps(GRID[[0, 11]], [(np.arange(2), np.arange(2))])  # mixtures are no candidates at all
    assert all(sorted(off(np.array([0, 1]), rng)) == [0, 1] for _ in range(30))


def test_the_ends_of_a_line_of_one_are_itself():
    assert _line_ends(np.array([[0, 0], [0, 1]]), 0).all()


# ---- efforts ---------------------------------------------------------------------------------------------------------


def effort_of(k, runs, use_variance=False, correlated=False, candidates=100):
    task = SimpleNamespace(rows=np.zeros((candidates, k)), runs=runs, use_variance=use_variance)
    return _budgets(task, SimpleNamespace(correlated=correlated))


@pytest.mark.parametrize(
    ("asked", "seconds"),
    [
        ({"k": 6, "runs": 60}, 0.3),  # 360 and fewer: the least
        ({"k": 6, "runs": 120}, 0.6),
        ({"k": 6, "runs": 60, "use_variance": True}, 1.8),
        ({"k": 6, "runs": 60, "correlated": True}, 2.7),
        ({"k": 6, "runs": 60, "use_variance": True, "correlated": True}, 1.8),
        ({"k": 20, "runs": 400}, 6.0),  # no longer than this
        ({"k": 6, "runs": 60, "candidates": 3000}, 0.3),
        ({"k": 6, "runs": 60, "candidates": 3001}, 1.2),
        ({"k": 20, "runs": 400, "candidates": 3001}, 12.0),
    ],
)
def test_the_effort_of_a_search_by_hand(asked, seconds):
    assert effort_of(**asked) == pytest.approx([0.2 * seconds, 0.2 * seconds, 0.6 * seconds])


def test_effort_is_over_at_its_end():
    assert WorkBudget(1.0, 1.0).over and not WorkBudget(1.0, 0.999).over


def test_a_first_pool_without_settings_is_drawn_by_allowed_set():
    groups = [(np.arange(600), np.array([0])), (np.arange(600, 620), np.array([1]))]
    ask = SimpleNamespace(rows=np.ones((620, 1)), groups=groups, coordinates=None)
    kept = _some(ask, np.random.default_rng(1))
    assert kept[:600].sum() == 500 and kept[600:].all()
    assert (_first_pool(ask, np.random.default_rng(1)) == kept).all()  # one column of ones leaves out nothing
    line = SimpleNamespace(rows=LINE, groups=[(np.arange(9), np.arange(4))], coordinates=None)
    assert _first_pool(line, np.random.default_rng(1)).sum() == 3
    known = SimpleNamespace(rows=LINE, groups=line.groups, coordinates=np.arange(9)[:, None])
    assert np.flatnonzero(_first_pool(known, np.random.default_rng(1))).tolist() == [0, 4, 8]


# ---- plans against each other ----------------------------------------------------------------------------------------


@dataclass
class Scored:
    score: float
    variance: float
    log_det: float


@pytest.mark.parametrize(
    ("one", "other", "beats"),
    [
        ((1.0, 5.0, 0.0), (0.0, 1.0, 9.0), True),  # the criterion decides
        ((0.0, 1.0, 9.0), (1.0, 5.0, 0.0), False),
        ((1.0, 2.0, 0.0), (1.0, 3.0, 9.0), True),  # then the average variance
        ((1.0, 3.0, 9.0), (1.0, 2.0, 0.0), False),
        ((1.0 + 1e-9, 3.0, 0.0), (1.0, 2.0, 0.0), False),  # a difference of rounding is none
        ((1.0, 2.0, 1.0), (1.0, 2.0, 0.0), True),  # then the determinant
        ((1.0, 2.0, 1.0), (1.0, 2.0, 1.0), False),
        ((1.0, 2.0, 1.0 + 1e-9), (1.0, 2.0, 1.0), False),
    ],
)
def test_which_of_two_plans_is_better(one, other, beats):
    assert better(Scored(*one), Scored(*other)) is beats


def test_the_best_four_plans_are_kept_and_ties_once():
    plans = []
    for score in (1.0, 3.0, 2.0, 3.0, 0.0, 5.0, 4.0):
        _file(plans, Scored(score, 1.0, score))
    assert [plan.score for plan in plans] == [5.0, 4.0, 3.0, 2.0]


# ---- steps of the search ---------------------------------------------------------------------------------------------


def test_pools_are_cut_to_what_is_kept_or_whole_where_nothing_is_left():
    task = task_of(LINE, 4)
    groups = [(np.array([0, 1, 2]), np.array([0, 1])), (np.array([6, 7]), np.array([2, 3]))]
    keep = np.zeros(9, dtype=bool)
    keep[[1, 2, 8]] = True
    first, second = make_pools(task, groups, keep)
    assert first.index.tolist() == [1, 2] and second.index.tolist() == [6, 7]
    assert pytest.approx(LINE[[1, 2]]) == first.features[:3].T
    drawn = np.array([draw([first, second], np.arange(4), np.random.default_rng(seed)) for seed in range(20)])
    assert set(drawn[:, :2].ravel()) == {1, 2} and set(drawn[:, 2:].ravel()) == {6, 7}


def test_a_singular_plan_is_lifted_and_the_work_counted():
    task, effort = task_of(LINE, 4), WorkBudget(1.0)
    state = State(task, np.zeros(4, dtype=int))
    assert state.singular and lift(state, whole(task), effort, (1e-2, 1e-4, 1e-6))
    assert not state.singular and state.ridge == 0.0 and effort.spent > 0
    assert np.linalg.matrix_rank(LINE[state.chosen]) == 3
    lone = task_of(LINE[:2], 4)  # two settings cannot carry three columns
    assert not lift(State(lone, np.zeros(4, dtype=int)), whole(lone), WorkBudget(1.0), (1e-2,))
    assert fresh_plan(lone, whole(lone), np.random.default_rng(1), WorkBudget(1.0)) is None
    assert search(lone, whole(lone), [], np.random.default_rng(1), WorkBudget(1.0), 5, lambda _: None) == []


def test_a_shake_moves_at_least_one_run_and_at_most_a_quarter_and_one():
    task, moved = task_of(LINE, 8), []
    for seed in range(60):
        state = State(task, np.array([0, 0, 0, 4, 4, 8, 8, 8]))
        shake(state, whole(task), np.random.default_rng(seed))
        moved.append(int(np.sum(state.chosen != [0, 0, 0, 4, 4, 8, 8, 8])))
        assert state.matrix == pytest.approx(LINE[state.chosen])
    assert max(moved) == 3 and min(moved) <= 1 and len(set(moved)) > 2


def test_half_of_the_shakes_exchange_settings():
    calls = []

    def swap(chosen, rng):
        calls.append(1)
        return chosen[::-1].copy()

    task = task_of(LINE, 8, swap=swap)
    for seed in range(200):
        state = State(task, np.array([0, 0, 0, 4, 4, 8, 8, 7]))
        before = len(calls)
        shake(state, whole(task), np.random.default_rng(seed))
        if len(calls) > before:
            assert state.chosen.tolist() == [7, 8, 8, 4, 4, 0, 0, 0]
    assert 70 < len(calls) < 130  # four standard deviations of 200 throws of a coin


def test_polish_never_returns_a_worse_plan_and_ends_with_its_patience():
    task = task_of(LINE, 6)
    start = State(task, np.array([0, 1, 2, 3, 4, 5]))
    improve(start, whole(task))
    found = polish(start, whole(task), np.random.default_rng(3), WorkBudget(10.0), 30)
    assert found.score >= start.score
    # two runs at each end and two in the middle are D-optimal for a parabola (Fedorov 1972): det 32
    assert np.exp(found.log_det) == pytest.approx(32.0)
    spent = WorkBudget(1.0, 1.0)
    assert polish(start, whole(task), np.random.default_rng(3), spent, 30) is start


def test_plans_are_widened_to_every_candidate_until_the_effort_ends():
    task = task_of(LINE, 6)
    plans = [State(task, np.array(rows)) for rows in ([1, 1, 4, 4, 7, 7], [1, 1, 3, 3, 7, 7])]
    asked = []

    def nearby(chosen):
        asked.append(chosen.tolist())
        return whole(task)

    found = widen(plans, whole(task), nearby, WorkBudget(10.0))
    assert len(asked) == 2 and len(found) == 1  # both end in the same plan
    assert sorted(found[0].chosen) == [0, 0, 4, 4, 8, 8]
    asked.clear()
    more = [State(task, np.array(rows)) for rows in ([1, 1, 4, 4, 7, 7], [1, 1, 3, 3, 7, 7])]
    assert len(widen(more, whole(task), nearby, WorkBudget(0.0))) == 1 and len(asked) == 1  # the best at least


def test_improvement_counts_its_rounds_and_tries():
    task = task_of(LINE, 3)
    best = State(task, np.array([0, 4, 8]))
    done = improve(best, whole(task))
    assert (done.rounds, done.tries) == (1, 0)
    poor = State(task, np.array([3, 4, 5]))
    assert improve(poor, whole(task), rounds=1).rounds == 1
    assert improve(poor, whole(task)).rounds > 1 and sorted(poor.chosen) == [0, 4, 8]
    assert Work() == Work(0, 0)


# ---- what is asked ---------------------------------------------------------------------------------------------------


def test_settings_become_level_numbers():
    assert _settings(np.array([0.9, 0.5, 0.9, 0.7]), 4).tolist() == [[2], [0], [2], [1]]
    words = np.array([["b", "x"], ["a", "y"]], dtype=object)
    assert _settings(words, 2).tolist() == [[1, 0], [0, 1]]
    with pytest.raises(NotFinite, match="coordinates"):
        _settings(np.array([[0.5], [np.nan]]), 2)
    with pytest.raises(WrongShape):
        _settings(np.zeros((2, 2, 2)), 2)
    with pytest.raises(WrongArgument, match="array of numbers"):
        matrix("rows", [["a", "b"]])


def test_coupons_of_one_mount_resemble_each_other():
    """V = I + 2 within a mount of two; the inverse of [[3, 2], [2, 3]] is [[3, -2], [-2, 3]] / 5."""
    found = weights([(np.array(["m1", "m1", "m2"]), 2.0)], None, 3, 0)
    assert found == pytest.approx(np.array([[0.6, -0.4, 0], [-0.4, 0.6, 0], [0, 0, 1 / 3]]))
    kept = weights([(np.array(["m1"]), 2.0)], [np.array(["m1"])], 1, 1)
    assert kept == pytest.approx(np.array([[0.6, -0.4], [-0.4, 0.6]]))
    with pytest.raises(WrongShape, match="keep_strata 1"):
        weights([(np.array(["m1"]), 2.0)], [np.array(["m1", "m2"])], 1, 1)


def test_runs_are_grouped_by_what_they_may_use():
    asked = Arguments(LINE, 4, allowed=[None, [0, 4, 8, 4], np.array([0, 4, 8]), None])
    groups = {tuple(members): index.tolist() for index, members in check(asked).groups}
    assert groups == {(0, 3): list(range(9)), (1, 2): [0, 4, 8]}


def test_efficiencies_of_a_plan_by_hand():
    """Two runs at each end of a line: information diag(4, 4), so that D, A and G are one. Then one run is missing."""
    ends = np.array([[1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [1.0, 1.0]])
    found = efficiencies(ends)
    assert (found.log_det, found.d, found.a, found.g) == pytest.approx((np.log(16), 1.0, 1.0, 1.0))
    three = efficiencies(ends[:3])
    # information [[3, -1], [-1, 3]], determinant 8, inverse [[3, 1], [1, 3]] / 8
    assert three.log_det == pytest.approx(np.log(8)) and three.d == pytest.approx(np.sqrt(8) / 3)
    assert three.a == pytest.approx(2 / (3 * 6 / 8))
    # f' inverse f: (3 - 2 + 3) / 8 at the double end, (3 + 2 + 3) / 8 at the single one
    assert three.largest_variance == pytest.approx(1.0) and three.g == pytest.approx(2 / 3)
    assert three.average_variance == pytest.approx((0.5 + 0.5 + 1.0) / 3)
    with pytest.raises(Infeasible, match="cannot estimate all columns"):
        efficiencies(ends[:1])
    with pytest.raises(Infeasible, match="cannot estimate all columns"):
        efficiencies(np.column_stack([ends, np.zeros(4)]))


def test_a_pool_grows_by_what_the_best_plans_took(monkeypatch):
    """Two stages: three candidates and what was found since, then every candidate; a quarter more for widening."""
    task, seen, told = task_of(LINE, 6), [], []
    plan = State(task, np.array([0, 1, 4, 4, 8, 8]))

    def looked(task, pools, plans, rng, effort, patience, tell):
        seen.append((pools[0].index.tolist(), effort.budget, patience, list(plans)))
        effort.spent = 0.5 * effort.budget
        tell(plan)
        return [plan]

    def widened(plans, whole, nearby, effort):
        seen.append((effort.budget, nearby))
        return plans

    monkeypatch.setattr("trials.plan.optimal.search.search", looked)
    monkeypatch.setattr("trials.plan.optimal.search.widen", widened)
    keep = np.isin(np.arange(9), [0, 4, 8])
    groups = [(np.arange(9), np.arange(6))]

    def run(budgets, end_on_whole, keep=keep):
        seen.clear()
        told.clear()
        rng = np.random.default_rng(1)
        return grow(task, groups, keep, None, rng, budgets, end_on_whole, lambda share, _: told.append(share))

    assert run([1.0, 3.0], True) == [plan] and keep.sum() == 3  # what was given stays as it is
    assert seen == [([0, 4, 8], 1.0, 20, []), (1.25, None), (list(range(9)), 3.0, 60, [plan]), (3.75, None)]
    assert told == pytest.approx([0.5 / 4, 2.5 / 4])
    run([1.0, 3.0], False)
    assert seen[2] == ([0, 1, 4, 8], 3.0, 32, [plan])
    # every candidate on offer and effort left: nothing more is to be found
    run([1.0, 3.0], False, np.ones(9, dtype=bool))
    assert len(seen) == 1
