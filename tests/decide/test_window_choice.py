"""What a window speaks for: the requirement first, then the edge of each at its best; made by hand."""

import dataclasses
from types import SimpleNamespace

import pytest

from trials.asked import BestBy
from trials.decide.decision import _place, decide
from trials.decide.decision_result import Action, Because, CostAgainst, Money, Question, Span
from trials.decide.results import NozzleRow, Study, Worded
from trials.decide.window_choice import best_place, choose
from trials.decide.window_result import Best, BestComparison, Gain, TypeWindow, WindowStudy
from trials.findings import Place, PlaceKind
from trials.infer.answer import Answer

BETTER, WORSE, SAME, OPEN = Answer.BETTER, Answer.WORSE, Answer.SAME, Answer.NOT_SETTLED
BESTS = {"today": 11.0, "a": 14.0, "b": 15.0}


def of_type(name: str, shown: float, likely: float | None = None, gain: Gain | None = None) -> TypeWindow:
    best = Best({"pressure": BESTS[name], "standoff": 0.7, "speed": 3.0}, 0.95, 0.91, gain=gain)
    return TypeWindow(name, (), (), (), shown if likely is None else likely, shown, best, None, None, None, None, ())


def window(words: dict[str, tuple[Answer, float]], *types: TypeWindow, asked: bool = True) -> WindowStudy:
    compared = tuple(
        BestComparison(name, "today", {}, {}, "ratio", size, size - 0.1, size + 0.1, word, None, 0.975)
        for name, (word, size) in words.items()
    )
    units = {"pressure": "bar", "standoff": "mm", "speed": "m/min"}
    today = {"pressure": 13.0, "standoff": 0.9, "speed": 3.0}
    across = ("pressure", "standoff")
    return WindowStudy(
        across,
        units,
        {"speed": 3.0},
        0.9,
        (),
        (),
        today,
        "roughness",
        "um",
        BestBy.CHANCE,
        types,
        compared,
        asked=asked,
    )


def bare_study(words: dict[str, Answer], **changed) -> Study:
    rows = [NozzleRow("today", None, True, None, 3, 9, 0)]
    rows += [
        NozzleRow(name, None, False, None, 3, 9, 0, answers=(Worded("roughness", word),))
        for name, word in words.items()
    ]
    return dataclasses.replace(Study("t", "q?", (), tuple(rows), currency="EUR"), **changed)


def chosen(found: WindowStudy) -> tuple[Action, str, Because]:
    got = choose(found, "today")
    return got.action, got.chosen.nozzle, got.reason


@pytest.mark.parametrize(
    ("words", "shown", "expected"),
    [
        # shown where today's is not: the widest of them, whatever its edge, but never one that is worse
        ({"a": OPEN, "b": OPEN}, (0.0, 0.2, 0.3), (Action.CHANGE, "b", Because.REQUIREMENT)),
        ({"a": OPEN, "b": WORSE}, (0.0, 0.2, 0.3), (Action.CHANGE, "a", Because.REQUIREMENT)),
        # both shown: the better edge at its best, the larger gain first
        ({"a": BETTER, "b": BETTER}, (0.5, 0.2, 0.1), (Action.CHANGE, "b", Because.QUALITY)),
        ({"a": BETTER, "b": BETTER}, (0.5, 0.2, 0.0), (Action.CHANGE, "a", Because.QUALITY)),
        # better, but not shown to meet the requirement where today's is
        ({"a": BETTER, "b": OPEN}, (0.5, 0.0, 0.6), (Action.KEEP, "today", Because.NONE)),
        ({"a": SAME, "b": WORSE}, (0.1, 0.9, 0.9), (Action.KEEP, "today", Because.NONE)),
    ],
)
def test_the_requirement_first_then_the_edge(words, shown, expected):
    sizes = {"a": 0.85, "b": 0.70}
    types = [of_type(name, share) for name, share in zip(("today", "a", "b"), shown, strict=True)]
    assert chosen(window({name: (word, sizes[name]) for name, word in words.items()}, *types)) == expected


def test_without_any_that_is_shown():
    likely = (of_type("today", 0.0, 0.2), of_type("a", 0.0, 0.4))
    assert chosen(window({"a": (OPEN, 0.9)}, *likely)) == (Action.CUT_MORE, "a", Because.NONE)
    assert chosen(window({"a": (BETTER, 0.8)}, *likely)) == (Action.CHANGE, "a", Because.QUALITY)
    nowhere = (of_type("today", 0.0, 0.0), of_type("a", 0.0, 0.0))
    assert chosen(window({"a": (OPEN, 0.9)}, *nowhere)) == (Action.KEEP, "today", Because.NONE)


def test_the_larger_gain_counts_alike_in_both_directions():
    types = [of_type(name, 0.5) for name in ("today", "a", "b")]
    assert chosen(window({"a": (BETTER, 1.3), "b": (BETTER, 0.8)}, *types))[1] == "a"  # 1 / 0.8 = 1.25
    assert chosen(window({"a": (BETTER, 1.3), "b": (BETTER, 0.75)}, *types))[1] == "b"  # 1 / 0.75 = 1.33


def test_the_place_of_a_best_names_what_was_searched():
    found = window({}, of_type("a", 0.5))
    place = best_place(found, "a")
    assert place.kind == PlaceKind.STATED and place.settings == ({"pressure": 14.0, "standoff": 0.7},)
    wide = best_place(dataclasses.replace(found, searched=("pressure", "standoff", "speed")), "a")
    assert wide.settings == ({"pressure": 14.0, "standoff": 0.7, "speed": 3.0},)


def test_a_decision_of_a_window_runs_at_the_best():
    found = window({"a": (BETTER, 0.85), "b": (OPEN, 1.0)}, *(of_type(n, 0.5) for n in BESTS))
    got = decide(bare_study({"a": BETTER, "b": OPEN}, window=found, asks=Question.WINDOW))
    assert (got.action, got.nozzle, got.against, got.because) == (Action.CHANGE, "a", "today", Because.QUALITY)
    assert got.place.settings == ({"pressure": 14.0, "standoff": 0.7},) and got.fewer_fail is None and got.more is None
    assert [(g.response, g.value, g.low, g.high, g.confidence) for g in got.gains] == [
        ("roughness", 0.85, 0.75, 0.95, 0.975)
    ]
    assert got.others == ((OPEN, ("b",)),)


def test_where_todays_stays_its_best_is_set_against_todays_setting():
    moved = Gain("ratio", 0.88, 0.86, 0.90, 1.0)
    found = window({"a": (OPEN, 1.0)}, of_type("today", 0.5, gain=moved), of_type("a", 0.9))
    got = decide(bare_study({"a": OPEN}, window=found, asks=Question.WINDOW))
    assert (got.action, got.nozzle, got.against) == (Action.KEEP, "today", "")
    assert got.place.settings == ({"pressure": 11.0, "standoff": 0.7},)
    assert [(g.value, g.low, g.high) for g in got.gains] == [(0.88, 0.86, 0.90)]


def test_a_window_beside_another_question_decides_nothing():
    beside = window({"a": (OPEN, 1.0)}, of_type("today", 0.0), of_type("a", 0.9), asked=False)
    assert decide(bare_study({"a": SAME}, window=beside)).action == Action.KEEP


@pytest.mark.parametrize(
    ("word", "shown", "cheaper", "expected"),
    [
        (SAME, 0.9, True, (Action.CHANGE, "a", Because.MONEY)),
        (SAME, 0.0, True, (Action.KEEP, "today", Because.NONE)),  # the same, but not shown to meet the requirement
        (OPEN, 0.9, True, (Action.KEEP, "today", Because.NONE)),  # shown, but not the same
        (SAME, 0.9, False, (Action.KEEP, "today", Because.NONE)),
    ],
)
def test_of_types_that_are_shown_and_the_same_the_surely_cheaper_is_taken(word, shown, cheaper, expected):
    found = window({"a": (word, 1.0)}, of_type("today", 0.5), of_type("a", shown))
    size = Span(-0.2, -0.4, -0.1) if cheaper else Span(-0.2, -0.4, 0.1)
    against = (CostAgainst("a", "today", size, 0.5, None, None, 0.0, (), None),)
    place = best_place(found, "today")
    study = bare_study({"a": word}, window=found, asks=Question.WINDOW, money=Money("EUR", place, against=against))
    got = decide(study)
    assert (got.action, got.nozzle, got.because) == expected


def test_a_window_without_the_chosen_type_has_no_place_for_it():
    best = SimpleNamespace(nozzle="a", best=SimpleNamespace(settings={"pressure": 0.7, "speed": 2.0}))
    window = SimpleNamespace(asked=True, types=(best,), across=("pressure",), searched=(), units={"pressure": "bar"})
    study, found = SimpleNamespace(window=window, ladder=None, results=()), SimpleNamespace(because=())
    assert _place(study, found, "a") == Place(PlaceKind.STATED, ({"pressure": 0.7},), {"pressure": "bar"})
    assert _place(study, found, "b") is None
