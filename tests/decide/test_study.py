"""The parts of a study that need no fit: the manager's table, what it cannot say, what comes next."""

import dataclasses

import pandas as pd
import pytest
from tests_support import TRIAL_TEXT

from trials.decide.advice import Advice
from trials.decide.decision_result import Action, Because
from trials.decide.evidence import Evidence
from trials.decide.kinds import StudyKind
from trials.decide.next_steps import next_steps
from trials.decide.results import Comparison, Mean, ResponseResult, Share, State, Worded
from trials.decide.study import cannot_say, nozzle_rows, share_met
from trials.findings import About, Amount, Finding, Place, PlaceKind, Weight
from trials.infer.answer import Added, Answer
from trials.infer.model import RestsOn
from trials.next_command import Blank, Command
from trials.plan.kinds import PlanKind
from trials.trial import parse

TO_DOUBLE = Advice(Action.CHANGE, "double", Because.QUALITY)
TODAY = Place(PlaceKind.TODAY, ({"pressure": 0.7, "standoff": 1.0},), {"pressure": "bar", "standoff": "mm"})
COUPONS = pd.DataFrame(
    [
        ("A1", "cylindrical", "C1", "cut"),
        ("A2", "cylindrical", "C1", "cut"),
        ("A3", "cylindrical", "C2", "scrapped"),
        ("A4", "cylindrical", "C2", "not cut yet"),
        ("B1", "double", "D1", "cut"),
        ("B2", "double", "D2", "not_severed"),
        ("B3", "double", "D3", "aborted"),
        ("B4", "double", "", "cut"),
    ],
    columns=["coupon", "nozzle", "specimen", "outcome"],
)
GRADES = COUPONS.assign(meets=["yes", "undecided", "no", "no", "yes", "no", "no", "yes"])


def evidence(**changes):
    return dataclasses.replace(Evidence({}, COUPONS, GRADES, {}), **changes)


def compared(nozzle="double", answer=Answer.BETTER, adds=Added.BY_AT_LEAST):
    return Comparison(nozzle, "cylindrical", TODAY, "ratio", 0.8, 0.7, 0.9, 0.01, answer, adds)


def result(response="roughness", primary=True, **changes):
    means = (Mean("cylindrical", TODAY, 35.0, 33.0, 37.0), Mean("double", TODAY, 28.0, 26.0, 30.0))
    made = ResponseResult(response, response, "Rz5", "log", "um", primary, 24, 8, State.COMPARED, means=means)
    return dataclasses.replace(made, **changes)


def kinds(findings):
    return [finding.kind for finding in findings]


def test_lines_of_the_table_are_counted_by_hand(trial):
    results = (result(comparisons=(compared(),)), result("squareness", False, comparisons=(compared(),)))
    plain, double = nozzle_rows(trial, results, evidence())
    assert (plain.nozzle, plain.today, plain.price) == ("cylindrical", True, 9.0)
    assert (double.nozzle, double.today, double.price) == ("double", False, 31.0)
    assert (plain.n_specimens, plain.n_coupons, plain.n_lost) == (2, 2, 1)
    assert (double.n_specimens, double.n_coupons, double.n_lost) == (3, 2, 2)  # an empty mark is no specimen
    assert plain.means == {"roughness": 35.0, "squareness": 35.0} and double.means["roughness"] == 28.0
    # only the primary response gives a word, and today's type has none
    assert plain.answers == () and double.answers == (Worded("roughness", Answer.BETTER, Added.BY_AT_LEAST),)
    assert nozzle_rows(trial, (result(comparisons=(compared(answer=None),)),), evidence())[1].answers == ()


def test_share_met_leaves_out_scrapped_and_uncut_and_counts_lost_cuts(trial):
    assert share_met(trial, GRADES, COUPONS["coupon"][:4]) == Share(met=1, judged=2, undecided=1)
    assert share_met(trial, GRADES, COUPONS["coupon"][4:]) == Share(met=2, judged=4, undecided=0)
    assert share_met(trial, GRADES, COUPONS["coupon"][2:4]) is None
    bare = parse("\n".join(line for line in TRIAL_TEXT.splitlines() if not line.startswith("required")))
    assert share_met(bare, GRADES, COUPONS["coupon"]) is None


def test_what_it_cannot_say(trial):
    basis = RestsOn("specimen", 6, 3, "sheet", 2.0)
    plain = cannot_say(
        trial,
        (result(rests_on=basis),),
        evidence(confounded=(Finding(StudyKind.REFUSED, facts={"text": "style and orifice"}),)),
    )
    assert kinds(plain) == [StudyKind.REFUSED, StudyKind.OTHER_JOBS, StudyKind.OTHER_SETTINGS, StudyKind.NOT_MEASURED]
    assert plain[1].facts == {"thickness": Amount(12.0, "mm"), "material": "S235", "gas": "oxygen"}
    assert plain[2].facts == {"ranges": (("pressure", "bar", (0.5, 0.9)), ("standoff", "mm", (0.6, 1.4)))}
    pieces = cannot_say(trial, (result(rests_on=basis, replicated=False),), evidence())
    assert kinds(pieces)[0] == StudyKind.ONLY_THESE_PIECES
    assert StudyKind.ONLY_THESE_PIECES not in kinds(cannot_say(trial, (result(replicated=False),), evidence()))


@pytest.mark.parametrize(("primaries", "said"), [(2, False), (3, True)])
def test_more_than_two_primary_responses_are_too_many(primaries, said):
    text = TRIAL_TEXT.replace('worthwhile = "0.03 mm"', 'worthwhile = "0.03 mm"\nprimary = true')
    if primaries == 3:
        text = text.replace("[responses.dross]\n", '[responses.dross]\nprimary = true\nworthwhile = "1"\n')
    trial = parse(text)
    assert len(trial.primaries) == primaries
    assert (StudyKind.MANY_PRIMARIES in kinds(cannot_say(trial, (), evidence()))) is said


def test_how_many_more_is_not_told_while_a_reading_is_open(trial):
    slip = Finding(StudyKind.REFUSED, About(coupons=("A1", "1")))
    rough = result(more=(Finding(PlanKind.NEEDED), Finding(StudyKind.ONE_PIECE_OF_EACH)))
    told = [step.finding.kind for step in next_steps(trial, (rough,), evidence(open_slips=(slip,)))]
    assert told == [StudyKind.SETTLE_READING, StudyKind.NOT_RECORDED_AS_CUT, StudyKind.ONE_PIECE_OF_EACH]
    assert PlanKind.NEEDED in [step.finding.kind for step in next_steps(trial, (rough,), evidence())]


def test_next_steps_come_most_urgent_first_and_once(trial):
    slip = Finding(StudyKind.REFUSED, About(coupons=("A1", "1")), {"text": "341 um"})
    more = Finding(StudyKind.ONE_PIECE_OF_EACH)
    leaning = Finding(StudyKind.CENTRING, weight=Weight.LOOK_AT)
    rough = result(comparisons=(compared(),), more=(more, more), checks=(leaning,))
    results = (rough, result("u", primary=False, more=(slip,)))
    steps = next_steps(trial, results, evidence(open_slips=(slip,)), advised=TO_DOUBLE)
    assert [step.finding.kind for step in steps] == [
        StudyKind.SETTLE_READING,
        StudyKind.NOT_RECORDED_AS_CUT,
        StudyKind.CONSIDER,
        StudyKind.ONE_PIECE_OF_EACH,
        StudyKind.CHECK_CENTRING,
    ]
    assert steps[0].command == Command("correct", (Blank.FOLDER, "A1", "1"))
    assert (steps[1].command, steps[1].finding.facts) == (Command("cut", (Blank.FOLDER, Blank.FILE)), {"n": 1})
    assert steps[2].finding.facts == {"price": 31.0, "today_price": 9.0, "currency": trial.trial.currency}
    assert (steps[3].command, steps[4].because) == (Command("extend", (Blank.FOLDER,)), leaning)


BOTH_BETTER = (compared("shower"), compared("double"))


def test_the_type_of_the_answer_comes_first_and_others_that_are_better_ask_for_nothing(trial):
    advised = dataclasses.replace(TO_DOUBLE, others=((Answer.BETTER, ("shower",)), (Answer.WORSE, ("plated",))))
    done = evidence(coupons=COUPONS[COUPONS["outcome"] == "cut"])
    found = next_steps(trial, (result(comparisons=BOTH_BETTER),), done, advised=advised)
    assert [step.finding.kind for step in found] == [StudyKind.CONSIDER, StudyKind.ALSO_BETTER]
    consider, other = (step.finding.about for step in found)
    assert consider.nozzle == "double" and (other.nozzle, other.nozzles) == ("double", ("shower",))


def test_a_change_for_money_is_a_step_too(trial):
    done = evidence(coupons=COUPONS[COUPONS["outcome"] == "cut"])
    same = result(comparisons=(compared(answer=Answer.SAME),))
    (step,) = next_steps(trial, (same,), done, advised=Advice(Action.CHANGE, "double", Because.MONEY))
    assert (step.finding.kind, step.finding.about.nozzle) == (StudyKind.CONSIDER, "double")


@pytest.mark.parametrize("action", [Action.KEEP, Action.CUT_MORE])
def test_a_verdict_that_is_filed_says_what_becomes_of_todays_type(trial, action):
    done = evidence(coupons=COUPONS[COUPONS["outcome"] == "cut"])
    (step,) = next_steps(trial, (result(),), done, advised=Advice(action))
    assert step.finding.kind is StudyKind.FILE_VERDICT and step.finding.facts == {"action": action}


@pytest.mark.parametrize("answer", [Answer.WORSE, Answer.SAME, Answer.NOT_SETTLED])
def test_only_a_better_type_is_considered(trial, answer):
    straight = Finding(StudyKind.CENTRING, weight=Weight.NOTHING_FOUND)
    done = evidence(coupons=COUPONS[COUPONS["outcome"] != "not cut yet"])
    (step,) = next_steps(trial, (result(comparisons=(compared(answer=answer),), checks=(straight,)),), done)
    assert (step.finding.kind, step.command) == (StudyKind.FILE_VERDICT, Command("verdict", (Blank.FOLDER,)))


def test_a_better_piece_asks_for_more_pieces(trial):
    pieces = {"cylindrical": "C1", "double": "D1"}
    done = evidence(coupons=COUPONS[COUPONS["outcome"] == "cut"])
    (step,) = next_steps(trial, (result(comparisons=(compared(),), pieces=pieces),), done, advised=TO_DOUBLE)
    assert (step.finding.kind, step.command) == (StudyKind.REPEAT_WITH_PIECES, Command("extend", (Blank.FOLDER,)))
    assert step.finding.facts == {"piece": "D1", "against_piece": "C1"}


@pytest.mark.parametrize(
    ("lots", "named"),
    [
        # of the double nozzle D1, D2 and D3 were cut, of the cylindrical one C1 and C2
        ({"double": ["L1", "L1", "L1"]}, {"double": "L1"}),
        ({"double": ["L1", "L1", "L2"]}, {}),
        ({"double": ["L1"] * 3, "cylindrical": ["L7", "L7", "L8"]}, {"double": "L1", "cylindrical": "L7"}),
        ({}, {}),
    ],
)
def test_one_lot_of_a_type_is_said(lots, named):
    text = TRIAL_TEXT
    for nozzle in parse(TRIAL_TEXT).nozzles:
        if nozzle.type in lots:
            marks = str(list(nozzle.specimens)).replace("'", '"')
            assert f"specimens = {marks}" in text
            text = text.replace(f"specimens = {marks}", f"specimens = {marks}\nlots = {lots[nozzle.type]}", 1)
    found = [
        f
        for f in cannot_say(parse(text), [result(comparisons=(compared(),))], evidence())
        if f.kind == StudyKind.ONE_LOT
    ]
    assert [dict(f.facts["lots"]) for f in found] == ([named] if named else [])
    assert all(f.weight == Weight.COULD_CHANGE and set(f.about.nozzles) == set(named) for f in found)
