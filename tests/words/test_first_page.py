"""The answer in three lines: what to do, how sure in fractions that are never larger than proved, and the others."""

import dataclasses

import pytest

from trials.decide.advice import Action, advice
from trials.decide.chance_result import Asked, ChanceResult
from trials.decide.decision import decide
from trials.decide.kinds import StudyKind
from trials.decide.results import Comparison, NextStep, NozzleRow, ResponseResult, State, Study, Worded
from trials.findings import About, Finding, Place, PlaceKind
from trials.infer.answer import Added, Answer
from trials.plan.kinds import PlanKind
from trials.responses import QUANTITIES
from trials.words.decision import decision_sentence
from trials.words.first_page import (
    about_words,
    answer_box,
    answer_head,
    decision_lines,
    does_words,
    fails_of_hundred,
    fails_words,
    first_steps,
    floor_words,
    person,
    provisional_words,
    trial_size,
)
from trials.words.study import step_words

PLACE = Place(PlaceKind.TODAY, ({"pressure": 0.7},), {"pressure": "bar"})
BETTER, WORSE, SAME, OPEN = Answer.BETTER, Answer.WORSE, Answer.SAME, Answer.NOT_SETTLED
RATIOS = {BETTER: (0.668, 0.551, 0.809), WORSE: (1.4, 1.2, 1.6), SAME: (1.0, 0.92, 1.08), OPEN: (0.97, 0.8, 1.18)}


def ratio(nozzle: str, answer: Answer, sizes: tuple[float, float, float] | None = None, times: float = 1.0):
    return Comparison(
        nozzle, "today", PLACE, "ratio", *(sizes or RATIOS[answer]), 0.01, answer, None, times_worthwhile=times
    )


def made(*comparisons: Comparison, response: str = "roughness", **changed) -> Study:
    known = QUANTITIES[response]
    result = ResponseResult(
        response,
        known.label,
        known.short,
        str(known.scale),
        known.unit,
        True,
        30,
        10,
        State.COMPARED,
        comparisons=comparisons,
        worthwhile=0.1398,
    )
    rows = [NozzleRow("today", None, True, None, 3, 9, 0)]
    rows += [
        NozzleRow(c.nozzle, None, False, None, 3, 9, 0, answers=(Worded(response, c.answer, c.answer_adds),))
        for c in comparisons
    ]
    return dataclasses.replace(Study("t", "q?", (result,), tuple(rows)), **changed)


def lines(study: Study) -> tuple[str, str, str, str]:
    box = answer_box(study)
    return box.does, box.what, box.sure, box.others


@pytest.mark.parametrize(
    ("share", "about", "floor"),
    [
        (0.02, "less than a twentieth", ""),
        (0.05, "about a twentieth", "a twentieth"),
        (0.11, "about a tenth", "a tenth"),
        (0.16, "about a sixth", "an eighth"),
        (0.191, "about a fifth", "a sixth"),
        (0.2, "about a fifth", "a fifth"),
        (0.26, "about a quarter", "a quarter"),
        (0.332, "about a third", "a quarter"),
        (1 / 3, "about a third", "a third"),
        (0.41, "about two fifths", "two fifths"),
        (0.52, "about half", "half"),
        (0.61, "about three fifths", "three fifths"),
        (0.66, "about two thirds", "three fifths"),
        (0.75, "about three quarters", "three quarters"),
        (0.81, "about four fifths", "four fifths"),
        (0.9, "about nine tenths", "nine tenths"),
        (1.4, "about 140 %", "nine tenths"),
    ],
)
def test_shares_in_words(share, about, floor):
    assert about_words(share) == about
    assert floor_words(share) == floor


def test_better():
    study = made(ratio("double wall", BETTER), ratio("plated", OPEN), ratio("shower", OPEN))
    assert lines(study) == (
        "Change to",
        "Double wall",
        "The edge gets about a third smoother, surely more than a sixth.",  # 1 - 0.668; 1 - 0.809 = 0.191
        "Plated and Shower: no proof either way, which is not the same as equal.",
    )
    assert answer_box(study).figures == "Rz5 33 % lower, interval 19 to 45 %"
    assert decision_lines(study)[:2] == ["change to Double wall", "keep Today"]


@pytest.mark.parametrize(
    ("comparisons", "now", "open_"),
    [
        ((ratio("a", BETTER),), "Change to", "Would change to"),
        ((ratio("a", WORSE),), "Keep", "Would keep"),
        ((ratio("a", OPEN),), "Cut more", "Would cut more"),
        ((), "No answer", "No answer"),
    ],
)
def test_while_a_reading_is_open_the_box_says_what_the_answer_would_be(comparisons, now, open_):
    assert answer_box(made(*comparisons)).does == now
    assert answer_box(made(*comparisons, provisional=True)).does == open_
    assert provisional_words(made(*comparisons)) == ""
    assert "still open" in provisional_words(made(*comparisons, provisional=True))


def test_the_head_of_the_answers_says_what_they_go_by():
    assert answer_head(made(ratio("a", SAME))) == "Answer, by Rz5"
    assert answer_head(made()) == "Answer"
    edges = made(ratio("a", SAME))
    faster = Worded("clean_speed", SAME, None)
    rows = tuple(dataclasses.replace(row, answers=(*row.answers, faster)) for row in edges.nozzles)
    assert answer_head(dataclasses.replace(edges, nozzles=rows)) == "Answer"


def test_better_by_a_size_that_is_open():
    box = answer_box(made(ratio("a", BETTER, (0.8, 0.65, 0.98))))
    assert box.sure == "The edge gets about a fifth smoother; by how much for sure is open."
    assert box.others == "No other type was in the trial."


def test_the_largest_gain_is_advised_and_the_other_named():
    study = made(ratio("a", BETTER, times=1.2), ratio("b", BETTER, (0.5, 0.4, 0.6), times=3.0), ratio("c", WORSE))
    assert lines(study)[1] == "B"
    assert lines(study)[3] == "A: also better than Today. C: worse than Today."


def test_better_in_one_and_worse_in_another_is_not_advised():
    study = made(ratio("a", BETTER))
    row = dataclasses.replace(study.nozzles[1], answers=(Worded("roughness", BETTER), Worded("kerf", WORSE)))
    found = advice(dataclasses.replace(study, nozzles=(study.nozzles[0], row)))
    assert found.action == Action.KEEP and found.others == ((WORSE, ("a",)),)


def test_better_in_its_unit():
    gain = Comparison("a", "today", PLACE, "difference", -0.031, -0.05, -0.012, 0.01, BETTER, Added.HOW_MUCH_OPEN)
    box = answer_box(made(gain, response="squareness"))
    assert box.sure == "u gets about 0.031 mm lower, surely more than 0.01 mm."


def test_the_least_of_a_change_in_its_unit_is_never_rounded_up():
    gain = Comparison("a", "today", PLACE, "difference", -0.031, -0.05, -0.0196, 0.01, BETTER, None)
    assert "surely more than 0.01 mm" in answer_box(made(gain, response="squareness")).sure


def test_the_same_or_worse_keeps_todays():
    study = made(ratio("a", SAME), ratio("b", WORSE))
    assert lines(study) == (
        "Keep",
        "Today",
        "No other type is better by the 15 % that would be worth a change.",
        "A: the same as Today for practical purposes. B: worse than Today.",
    )
    assert lines(made(ratio("a", WORSE)))[2] == "Every other type is proved worse."


def test_nothing_settled_asks_for_more():
    facts = {"specimens": 3, "specimens_at_worthwhile": 10, "specimens_at_zero": 11}
    step = NextStep(Finding(PlanKind.NEEDED, facts=facts))
    does, what, sure, others = lines(made(ratio("a", OPEN), ratio("b", OPEN), next_steps=(step,)))
    assert (does, what) == ("Cut more", "nothing is settled yet; Today stays until then")
    assert "11 nozzles of each type instead of 3" in sure
    assert others == "A and B: no proof either way, which is not the same as equal."
    assert lines(made(ratio("a", OPEN), ratio("b", WORSE)))[1] == "no type is proved better; Today stays until then"


def test_one_type_and_no_comparison():
    study = made()
    assert lines(study)[:3] == (
        "No answer",
        "nothing was compared",
        "One nozzle type was cut, so there is nothing to compare.",
    )


def specimens(**counts: int) -> Study:
    study = made(*(ratio(name, SAME) for name in counts if name != "today"))
    rows = tuple(dataclasses.replace(row, n_specimens=counts[row.nozzle]) for row in study.nozzles)
    return dataclasses.replace(study, nozzles=rows)


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        ({"today": 3, "a": 3, "b": 3}, "Nozzles tried: 3 of each type"),
        ({"today": 11, "a": 5, "b": 5}, "Nozzles tried: 11 of today's, 5 of each other type"),
        ({"today": 4, "a": 2}, "Nozzles tried: 4 of today's, 2 of the other type"),
        ({"today": 2, "a": 3, "b": 4}, "Nozzles tried: Today 2, A 3, B 4"),
        ({"today": 0, "a": 3}, ""),
    ],
)
def test_how_many_nozzles_were_tried(counts, words):
    assert trial_size(specimens(**counts)) == words


def test_of_what_would_settle_it_the_first_page_says_the_nozzles_only():
    facts = {"chance": 0.8, "specimens": 3, "specimens_at_worthwhile": 10, "specimens_at_zero": 11, "most": 50}
    facts |= {"mounts": 1, "mounts_known": False, "mounts_at_worthwhile": None, "mounts_at_zero": None}
    step = NextStep(Finding(PlanKind.NEEDED, facts=facts))
    (said,) = first_steps(made(ratio("a", OPEN), next_steps=(step,)))
    assert said == (
        "For a chance of 80 % of a right answer: 10 specimens of each type instead of 3 if the true difference is the "
        "worthwhile one, 11 specimens of each type instead of 3 if there is none."
    )
    assert "mounts" in step_words(step)  # on the later pages


def test_a_setting_that_is_to_be_confirmed_is_not_changed_to_at_once():
    assert does_words(Action.CHANGE, False, True) == "Confirm, then change to"
    assert does_words(Action.CHANGE, True, True) == "Would confirm, then change to"
    assert does_words(Action.KEEP, False, True) == "Keep"
    about = About(nozzle="a", place=PLACE)
    waiting = made(ratio("a", BETTER), next_steps=(NextStep(Finding(StudyKind.CONFIRM_BEST, about, {"coupons": 6})),))
    assert decision_lines(waiting)[0] == "confirm, then change to A"
    assert decision_sentence(waiting).startswith("confirm, then change to A at pressure")
    for kind, unconfirmed in ((StudyKind.BEST_NOT_CONFIRMED, True), (StudyKind.CONSIDER, False)):
        step = NextStep(dataclasses.replace(waiting.next_steps[0].finding, kind=kind))
        assert decide(dataclasses.replace(waiting, next_steps=(step,))).unconfirmed is unconfirmed
    other = dataclasses.replace(waiting.next_steps[0].finding, about=About(nozzle="b", place=PLACE))
    assert decision_lines(dataclasses.replace(waiting, next_steps=(NextStep(other),)))[0] == "change to A"


def test_an_undeclared_look_is_only_a_hint():
    assert answer_box(made(ratio("a", BETTER), exploratory=True)).sure.startswith("Only a hint")


def test_pieces_are_not_types():
    study = made(ratio("a", BETTER))
    result = dataclasses.replace(study.results[0], replicated=False)
    assert "these nozzles only" in answer_box(dataclasses.replace(study, results=(result,))).sure


def test_names_as_a_person_writes_them():
    assert person("double-wall") == "Double-wall" and person("") == "" and person("3 mm") == "3 mm"


@pytest.mark.parametrize(
    ("estimate", "low", "numbers", "words"),
    [
        (0.961, 0.546, (4, 46), "about 4, at most 46"),
        (0.644, 0.0, (36, 100), "about 36, perhaps all"),
        (0.9999, 0.93, (0, 7), "hardly any, at most 7"),
        (0.9999, 1.0, (0, 0), "hardly any"),
        (float("nan"), 0.5, None, "–"),
    ],
)
def test_edges_that_fail_of_a_hundred(estimate, low, numbers, words):
    chance = ChanceResult("a", Asked(), PLACE, estimate, low)
    assert fails_of_hundred(chance) == numbers
    assert fails_words(chance) == words
    assert fails_words(None) == "–"
