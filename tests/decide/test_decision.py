"""The decision as values: quality first, then money, what else is worse, which types are dominated."""

import dataclasses
import math
from types import SimpleNamespace

import pytest

from trials.decide.advice import Advice
from trials.decide.decision import _counts, _gains, decide, decide_lives
from trials.decide.decision_result import (
    Action,
    Because,
    CostAgainst,
    FewerFail,
    Money,
    MoreCutting,
    Question,
    Span,
)
from trials.decide.ladder import LadderAnswer, LadderComparison
from trials.decide.lives import ANYWHERE, LifeComparison, LivesAnswer
from trials.decide.results import Comparison, Mean, NozzleRow, ResponseResult, State, Study, Worded
from trials.findings import Amount, Place, PlaceKind
from trials.infer.answer import Answer
from trials.infer.life import LifeStudy
from trials.trial import CLEAN_SPEED

PLACE = Place(PlaceKind.TODAY, ({"pressure": 0.7},), {"pressure": "bar"})
BETTER, WORSE, SAME, OPEN = Answer.BETTER, Answer.WORSE, Answer.SAME, Answer.NOT_SETTLED
RATIOS = {BETTER: (0.67, 0.55, 0.81), WORSE: (1.4, 1.2, 1.6), SAME: (1.0, 0.92, 1.08), OPEN: (0.97, 0.8, 1.18)}
MORE = MoreCutting(0.8, 11, 3, 288, 22.0, 60.0, None, "EUR")


def rough(words: dict[str, Answer]) -> ResponseResult:
    found = tuple(
        Comparison(name, "today", PLACE, "ratio", *RATIOS[word], 0.01, word, None, times_worthwhile=2.0)
        for name, word in words.items()
    )
    means = tuple(Mean(name, PLACE, 40 * RATIOS[word][0], 1, 99) for name, word in words.items())
    bare = ResponseResult("roughness", "roughness", "Rz5", "log", "um", True, 30, 10, State.COMPARED)
    return dataclasses.replace(bare, comparisons=found, means=(Mean("today", PLACE, 40.0, 1, 99), *means))


def square(sizes: dict[str, tuple[float, float, float]]) -> ResponseResult:
    found = tuple(
        Comparison(name, "today", PLACE, "difference", *size, 0.01, times_worthwhile=abs(size[0]) / 0.03)
        for name, size in sizes.items()
    )
    means = tuple(Mean(name, PLACE, 0.1 + size[0], 0, 1) for name, size in sizes.items())
    bare = ResponseResult("squareness", "squareness", "u", "as measured", "mm", False, 30, 10, State.COMPARED)
    return dataclasses.replace(bare, comparisons=found, means=(Mean("today", PLACE, 0.1, 0, 1), *means))


def made(words: dict[str, Answer], prices: dict[str, float] | None = None, **changed) -> Study:
    known = {"today": 9.0, **dict.fromkeys(words, 9.0), **(prices or {})}
    rows = [NozzleRow("today", None, True, known["today"], 3, 9, 0)]
    rows += [
        NozzleRow(name, None, False, known[name], 3, 9, 0, answers=(Worded("roughness", word),))
        for name, word in words.items()
    ]
    study = Study("t", "q?", (rough(words),), tuple(rows), currency="EUR")
    return dataclasses.replace(study, **changed)


def costs(**sizes: tuple[float, float, float]) -> Money:
    against = tuple(
        CostAgainst(name, "today", Span(*size), 0.5, None, None, 0.0, (), None) for name, size in sizes.items()
    )
    return Money("EUR", PLACE, against=against)


def test_quality_decides_before_money():
    fewer = FewerFail("a", 36.0, 4.0, Span(32.0, -9.0, 71.0))
    dear = costs(a=(0.5, 0.4, 0.6), b=(-0.5, -0.6, -0.4))
    found = decide(made({"a": BETTER, "b": SAME}, {"a": 24.0}, fewer=(fewer,), money=dear))
    assert (found.action, found.nozzle, found.against) == (Action.CHANGE, "a", "today")
    assert found.because == Because.QUALITY and found.fewer_fail == fewer and found.place == PLACE
    assert (found.price, found.price_against, found.money.value.value) == (24.0, 9.0, 0.5)
    assert [(gain.response, gain.value, gain.low, gain.high) for gain in found.gains] == [
        ("roughness", *RATIOS[BETTER])
    ]


def test_the_same_for_surely_less_is_a_change_for_money():
    found = decide(made({"a": SAME, "b": SAME}, money=costs(a=(-0.2, -0.4, -0.1), b=(-0.3, -0.7, 0.1))))
    assert (found.action, found.nozzle, found.because) == (Action.CHANGE, "a", Because.MONEY)
    assert found.gains == () and found.others == ((SAME, ("b",)),)


@pytest.mark.parametrize("size", [(-0.2, -0.5, 0.1), (0.2, 0.1, 0.3)])
def test_the_same_without_sure_savings_keeps_todays(size):
    found = decide(made({"a": SAME}, money=costs(a=size)))
    assert (found.action, found.nozzle, found.because, found.money) == (Action.KEEP, "today", Because.NONE, None)


def test_a_cheaper_type_that_is_not_settled_is_no_change():
    found = decide(made({"a": OPEN}, money=costs(a=(-0.2, -0.4, -0.1)), more=MORE))
    assert found.action == Action.CUT_MORE and found.nozzle == "today" and found.more == MORE


def test_what_would_settle_it_is_left_out_where_nothing_is_open():
    assert decide(made({"a": BETTER, "b": WORSE}, more=MORE)).more is None
    assert decide(made({"a": BETTER, "b": OPEN}, more=MORE)).more == MORE


@pytest.mark.parametrize(
    ("size", "worse"),
    [
        ((0.04, 0.02, 0.06), [("squareness", True, True)]),
        ((0.04, -0.01, 0.09), [("squareness", True, False)]),
        ((0.02, 0.01, 0.03), []),  # sure, but below the worthwhile 0.03
        ((-0.04, -0.06, -0.02), []),
    ],
)
def test_a_secondary_response_worse_by_its_worthwhile_difference_is_named(size, worse):
    study = made({"a": BETTER})
    study = dataclasses.replace(study, results=(*study.results, square({"a": size})))
    assert [(each.response, each.higher, each.proved) for each in decide(study).worse] == worse


def test_a_type_no_better_on_any_count_is_dominated():
    prices = {"a": 24.0, "b": 31.0, "c": 8.0}
    study = made({"a": BETTER, "b": OPEN, "c": OPEN}, prices)
    assert decide(study).dominated == ("b",)  # c is cheaper
    straighter = square({"a": (0.0, -0.1, 0.1), "b": (-0.01, -0.1, 0.1), "c": (0.0, -0.1, 0.1)})
    assert decide(dataclasses.replace(study, results=(*study.results, straighter))).dominated == ()


def test_estimates_alone_dominate_nobody():
    study = made({"a": BETTER, "b": OPEN}, {"a": 9.0, "b": 9.0})
    assert decide(study).dominated == ()  # rougher by estimate, but no interval and no price shows it


def test_nothing_compared():
    found = decide(Study("t", "q?", (), (NozzleRow("today", None, True, None, 3, 9, 0),)))
    assert found.action == Action.NOTHING and found.question == Question.COMPARE


def life(word: Answer, *size: float, prices: dict[str, float] | None = None) -> LivesAnswer:
    found = LifeComparison("plated", "plain", ANYWHERE, "ratio", *size, 0.01, word, None, 0.95)
    study = LifeStudy("plain", 2.0, False, ())
    return LivesAnswer("pierces", study, (found,), 0.25, (), prices=prices or {}, currency="EUR")


def test_a_longer_life_decides_a_life_trial():
    found = decide_lives(life(BETTER, 2.0, 1.4, 2.9, prices={"plain": 1.0, "plated": 1.15}))
    assert (found.question, found.action, found.nozzle) == (Question.LIFE, Action.CHANGE, "plated")
    assert (found.price, found.price_against, found.gains[0].value) == (1.15, 1.0, 2.0)
    assert decide_lives(life(OPEN, 1.2, 0.8, 1.7)).action == Action.CUT_MORE
    assert decide_lives(life(WORSE, 0.5, 0.3, 0.8)).nozzle == "plain"


@pytest.mark.parametrize(
    ("pair", "dominated"),
    [
        (("b", "a", 1.4, 1.2, 1.6), ("b",)),
        (("b", "a", 1.4, 0.9, 1.9), ()),
        (("a", "b", 0.7, 0.6, 0.8), ("b",)),
        (("a", "b", 0.7, 0.6, 1.1), ()),
        (("c", "a", 1.4, 1.2, 1.6), ()),
    ],
)
def test_a_pair_of_equal_price_dominates_where_both_limits_show_it(pair, dominated):
    study = made({"a": BETTER, "b": OPEN}, {"a": 9.0, "b": 9.0})
    shown = Comparison(*pair[:2], PLACE, "ratio", *pair[2:], 0.01)
    result = dataclasses.replace(study.results[0], pairs=(shown,))
    assert decide(dataclasses.replace(study, results=(result,))).dominated == dominated


def test_the_gain_in_speed_is_that_of_the_type_changed_to():
    study = made({"a": BETTER, "b": SAME})
    size = (0.01, BETTER, None, 0.95, (0.5, 0.3, 0.7), 2.0, 2.0)
    faster = tuple(
        LadderComparison(name, "today", PLACE, "difference", value, value - 0.2, value + 0.2, *size)
        for name, value in (("b", 0.9), ("a", 0.5))
    )
    ladder = LadderAnswer("speed", "m/min", "today", PLACE, comparisons=faster)
    gains = _gains(dataclasses.replace(study, ladder=ladder), Advice(Action.CHANGE, "a"))
    assert [(gain.response, gain.value, gain.low, gain.high) for gain in gains] == [(CLEAN_SPEED, 0.5, 0.3, 0.7)]


def ladder_of(*comparisons, **lows):
    types = tuple(SimpleNamespace(nozzle=name, clean_95_low=low, typical=low + 0.5) for name, low in lows.items())
    return LadderAnswer("speed", "m/min", "today", LADDER_PLACE, types=types, comparisons=comparisons)


LADDER_PLACE = Place(PlaceKind.STATED, ({"pressure": 0.9},), {"pressure": "bar"})


@pytest.mark.parametrize(("low", "safe"), [(3.5, Amount(3.5, "m/min")), (math.nan, None), (-math.inf, None)])
def test_a_ladder_states_the_speed_that_is_safe_and_where_it_was_cut(low, safe):
    found = decide(made({"a": SAME}, ladder=ladder_of(today=low, a=9.0)))
    assert (found.nozzle, found.safe_speed, found.place) == ("today", safe, LADDER_PLACE)
    assert decide(made({"a": SAME})).safe_speed is None
    assert decide(made({"a": SAME}, ladder=ladder_of(a=9.0))).safe_speed is None  # today's has no ladder


def test_edges_that_fail_at_one_speed_are_nothing_that_a_ladder_asks():
    fewer = (FewerFail("a", 36.0, 4.0, Span(32.0, -9.0, 71.0)),)
    assert decide(made({"a": BETTER}, fewer=fewer)).fewer_fail == fewer[0]
    assert decide(made({"a": BETTER}, fewer=fewer, asks=Question.LADDER)).fewer_fail is None


def test_the_place_is_that_of_a_decisive_response_first():
    study = made({"a": SAME})
    elsewhere = Place(PlaceKind.AVERAGE, ({"pressure": 0.5},), {"pressure": "bar"})
    moved = tuple(dataclasses.replace(c, settings=elsewhere) for c in square({"a": (0.0, -0.1, 0.1)}).comparisons)
    beside = dataclasses.replace(square({"a": (0.0, -0.1, 0.1)}), comparisons=moved)
    assert decide(dataclasses.replace(study, results=(beside, *study.results))).place == PLACE
    assert decide(dataclasses.replace(study, results=(beside,))).place == elsewhere
    assert decide(dataclasses.replace(study, results=())).place is None


def test_every_count_speaks_for_or_against_a_type():
    """Speed counts turned around, today's share of edges that fail too; a price or a cost only where it is known."""
    fewer = (FewerFail("a", 36.0, 4.0, Span(32.0, -9.0, 71.0)),)
    study = made({"a": BETTER}, {"a": 24.0}, fewer=fewer, ladder=ladder_of(today=3.0, a=4.0))
    assert _counts(study, "a") == {
        "roughness": pytest.approx(40 * 0.67),
        CLEAN_SPEED: -4.5,
        "fails": 4.0,
        "price": 24.0,
    }
    assert _counts(study, "today") == {"roughness": 40.0, CLEAN_SPEED: -3.5, "fails": 36.0, "price": 9.0}
    higher = dataclasses.replace(study.results[0], higher_is_better=True)
    assert _counts(dataclasses.replace(study, results=(higher,)), "today")["roughness"] == -40.0


def test_one_count_says_nothing_of_a_trade():
    """With the edge alone known of both, the rougher is shown worse but not called dominated; a price makes two."""
    shown = Comparison("b", "a", PLACE, "ratio", 1.4, 1.2, 1.6, 0.01)

    def dominated(prices):
        study = made({"a": BETTER, "b": OPEN}, prices)
        result = dataclasses.replace(study.results[0], pairs=(shown,))
        return decide(dataclasses.replace(study, results=(result,))).dominated

    assert dominated({"a": None, "b": None}) == ()
    assert dominated({"a": 9.0, "b": 9.0}) == ("b",)
    assert dominated({"a": 9.0, "b": None}) == ()  # too little is known of b
    assert dominated({"a": None, "b": 9.0}) == ()


def test_a_response_of_which_more_is_better_is_worse_when_it_falls():
    study = made({"a": BETTER})
    falls = dataclasses.replace(square({"a": (-0.04, -0.06, -0.02)}), higher_is_better=True)
    found = decide(dataclasses.replace(study, results=(*study.results, falls)))
    assert [(each.response, each.higher, each.proved) for each in found.worse] == [("squareness", False, True)]


def test_words_of_a_life_trial_are_ordered_and_none_decide_nothing():
    sizes = {"b": (BETTER, 3.0), "c": (BETTER, 2.0), "d": (WORSE, 0.5), "e": (SAME, 1.0), "f": (OPEN, 1.1)}
    found = dataclasses.replace(
        life(BETTER, 2.0, 1.4, 2.9),
        comparisons=tuple(
            LifeComparison(name, "plain", ANYWHERE, "ratio", v, v / 2, 2 * v, 0.01, word, None, 0.95)
            for name, (word, v) in sizes.items()
        ),
    )
    decision = decide_lives(found)
    assert (decision.nozzle, decision.against, decision.because) == ("b", "plain", Because.QUALITY)
    assert decision.others == ((BETTER, ("c",)), (SAME, ("e",)), (OPEN, ("f",)), (WORSE, ("d",)))
    assert (decision.price, decision.price_against) == (None, None)
    silent = decide_lives(life(None, 2.0, 1.4, 2.9))
    assert (silent.action, silent.nozzle, silent.others) == (Action.NOTHING, "plain", ())
    kept = decide_lives(life(SAME, 1.0, 0.9, 1.1, prices={"plain": 2.0}))
    assert (kept.action, kept.nozzle, kept.against, kept.price) == (Action.KEEP, "plain", "", 2.0)
