"""Which type is advised, by the gains alone: the largest first, in worthwhile differences where they are stated."""

import pytest

from trials.decide.advice import Action, Because, advice
from trials.decide.ladder import LadderAnswer, LadderComparison
from trials.decide.results import Comparison, NozzleRow, ResponseResult, State, Study, Worded
from trials.findings import Place, PlaceKind
from trials.infer.answer import Answer

PLACE = Place(PlaceKind.TODAY, ({"pressure": 0.7},), {"pressure": "bar"})
B, S, W, OPEN = Answer.BETTER, Answer.SAME, Answer.WORSE, Answer.NOT_SETTLED


def result(name, words, primary=True, **sizes):
    """One response; sizes: by type (value, times worthwhile, times spread)."""
    found = tuple(
        Comparison(
            kind, "today", PLACE, "difference", sizes[kind][0], -1.0, 1.0, 0.01, word,
            times_worthwhile=sizes[kind][1], times_spread=sizes[kind][2],
        )
        for kind, word in words.items()
    )  # fmt: skip
    return ResponseResult(name, name, "u", "as measured", "mm", primary, 30, 10, State.COMPARED, comparisons=found)


def study(answers, *results, **changed):
    rows = [NozzleRow("today", None, True, None, 3, 9, 0)]
    for kind, words in answers.items():
        rows.append(NozzleRow(kind, None, False, None, 3, 9, 0, answers=tuple(Worded(n, w) for n, w in words.items())))
    return Study("t", "q?", results, tuple(rows), **changed)


@pytest.mark.parametrize(
    ("a", "b", "to"),
    [
        ((-0.1, 2.0, 9.0), (-0.9, 1.5, 9.9), "a"),  # by worthwhile differences
        ((-0.1, None, 2.0), (-0.9, None, 1.5), "a"),  # by spreads where none is stated
        ((-0.8, None, None), (-0.7, None, None), "a"),  # as it is
        ((-0.1, 1.0, 0.0), (-0.1, 1.2, 0.0), "b"),
    ],
)
def test_the_largest_proved_gain_is_advised(a, b, to):
    answers = {kind: {"u": B} for kind in "ab"}
    found = advice(study(answers, result("u", {"a": B, "b": B}, a=a, b=b)))
    assert (found.action, found.to, found.reason) == (Action.CHANGE, to, Because.QUALITY)
    assert [c.nozzle for _, c in found.because] == [to] and found.others == ((B, ("b" if to == "a" else "a",)),)


def test_gains_of_the_ladder_count_and_what_is_not_decisive_does_not():
    answers = {kind: {"u": B} for kind in "ab"}
    small = result("u", {"a": B, "b": B}, a=(-0.1, 0.5, None), b=(-0.1, 0.4, None))
    aside = result("r", {"a": B, "b": B}, primary=False, a=(-9.0, 0.1, None), b=(-9.0, 9.0, None))
    assert advice(study(answers, small, aside)).to == "a"
    size = (-0.2, 0.9, 0.01, B, None, 0.95, (0.1, 0.0, 0.2))
    ladder = LadderAnswer(
        "speed", "m/min", "today", PLACE,
        comparisons=(LadderComparison("b", "today", PLACE, "difference", 0.3, *size, 0.8, 0.8),),
    )  # fmt: skip
    assert advice(study(answers, small, ladder=ladder)).to == "b"
    # a gain that is no longer on record is none
    assert advice(study(answers, result("u", {"b": B}, b=(-0.1, 0.4, None)))).to == "b"


def test_one_answer_for_all_decisive_responses():
    answers = {"a": {"u": B, "r": W}, "b": {"u": S, "r": OPEN}, "c": {"u": S, "r": S}, "d": {"u": B, "r": OPEN}}
    gains = result("u", {"d": B}, d=(-0.1, 1.0, None))
    found = advice(study(answers, gains))
    assert found.to == "d" and found.others == ((S, ("c",)), (OPEN, ("b",)), (W, ("a",)))
    del answers["d"]
    assert advice(study(answers)).action == Action.CUT_MORE
    del answers["b"]
    assert advice(study(answers)).action == Action.KEEP and advice(study({})).action == Action.NOTHING
