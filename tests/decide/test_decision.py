"""The decision as values: quality first, then money, what else is worse, which types are dominated."""

import dataclasses

import pytest

from trials.decide.advice import Advice
from trials.decide.decision import _gains, decide, decide_lives
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
from trials.findings import Place, PlaceKind
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
