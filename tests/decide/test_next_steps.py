"""What follows from a ladder and from a window: values made by hand, steps in their order."""

import dataclasses
import math
from types import SimpleNamespace

import pandas as pd
import pytest
from tests_support import TRIAL_TEXT

from trials.asked import BestBy
from trials.decide.advice import Advice
from trials.decide.decision_result import Action, Because
from trials.decide.evidence import Evidence
from trials.decide.kinds import StudyKind
from trials.decide.ladder import LadderAnswer, LadderComparison, LadderKind
from trials.decide.next_steps import next_steps
from trials.decide.results import Comparison, ResponseResult, State
from trials.decide.window_result import Best, Confirmation, TypeWindow, WindowStudy
from trials.findings import About, Amount, Finding, Place, PlaceKind, Weight
from trials.infer.answer import Answer
from trials.next_command import Blank, Command
from trials.plan.kinds import PlanKind
from trials.trial import parse

DONE = pd.DataFrame([("A1", "cut")], columns=["coupon", "outcome"])
TO_DOUBLE = Advice(Action.CHANGE, "double", Because.QUALITY)
ANYWHERE = Place(PlaceKind.STATED, ({"pressure": 0.7},), {"pressure": "bar"})
LADDER = TRIAL_TEXT.replace('method = "full"', 'method = "ladder"')
LADDER = LADDER.replace(
    '[factors.standoff]\nunit = "mm"\nlevels = [0.6, 1.0, 1.4]\ntoday = 1.0',
    '[factors.speed]\nunit = "m/min"\nlevels = [1.0, 2.0]\ntoday = 1.0',
).replace("speed_m_min = 1.1\n", "")


def evidence(**changes):
    return dataclasses.replace(Evidence({}, DONE, DONE, {}), **changes)


def faster(nozzle="double", answer=Answer.BETTER):
    sure = (1.2, 1.1, 1.3)
    return LadderComparison(
        nozzle, "cylindrical", ANYWHERE, "ratio", *sure, 0.01, answer, None, 0.95, (0.3, 0.2, 0.4), 2.0, 3.0
    )


def ladder(*comparisons, **changes):
    types = tuple(SimpleNamespace(nozzle=name, clean_95_low=v) for name, v in (("cylindrical", 1.3), ("double", 1.6)))
    made = LadderAnswer("speed", "m/min", "cylindrical", ANYWHERE, types, comparisons, steps=(1.0, 2.0))
    return dataclasses.replace(made, **changes)


def kinds(steps):
    return [step.finding.kind for step in steps]


def test_a_faster_type_is_considered_up_to_the_speed_that_most_mounts_keep_clean():
    trial = parse(LADDER)
    steps = ladder(faster(), faster("other", Answer.SAME))
    (step,) = next_steps(trial, (), evidence(), steps, advised=TO_DOUBLE)
    assert step.finding.kind is LadderKind.CONSIDER
    assert (step.finding.about.nozzle, step.finding.about.against) == ("double", "cylindrical")
    assert step.finding.about.place == ANYWHERE and step.finding.about.response == trial.clean_name
    facts = step.finding.facts
    assert (facts["safe"], facts["first"]) == (Amount(1.6, "m/min"), Amount(1.0, "m/min"))
    assert (facts["price"], facts["today_price"], facts["currency"]) == (31.0, 9.0, "EUR")


def test_of_faster_pieces_only_more_pieces_are_asked_for():
    found = ladder(faster(), pieces={"cylindrical": "C1", "double": "D1"})
    (step,) = next_steps(parse(LADDER), (), evidence(), found, advised=TO_DOUBLE)
    assert (step.finding.kind, step.command) == (StudyKind.REPEAT_WITH_PIECES, Command("extend", (Blank.FOLDER,)))
    assert step.finding.facts == {"piece": "D1", "against_piece": "C1"}


def test_a_ladder_that_ended_too_low_is_moved_before_more_is_cut():
    ends = tuple(
        Finding(kind) for kind in (LadderKind.CLEAN_TO_THE_LAST, LadderKind.JUDGED_BY, LadderKind.NOT_CLEAN_AT_ALL)
    )
    more = (Finding(PlanKind.NEEDED),)
    steps = next_steps(parse(LADDER), (), evidence(), ladder(faster(answer=Answer.NOT_SETTLED), said=ends, more=more))
    assert kinds(steps) == [LadderKind.CLEAN_TO_THE_LAST, LadderKind.NOT_CLEAN_AT_ALL, PlanKind.NEEDED]
    assert [step.command for step in steps] == [None, None, Command("extend", (Blank.FOLDER,))]
    # with nothing to add the ends alone ask for nothing
    (filed,) = next_steps(parse(LADDER), (), evidence(), ladder(said=ends))
    assert filed.finding.kind is StudyKind.FILE_VERDICT


# ---- windows ---------------------------------------------------------------------------------------------------------

CONFIRM = Confirmation({"pressure": 0.8}, 6, 3, 25.0, 31.0, 0.95)


def of_type(name, shown, likely=None, confirm=CONFIRM):
    best = Best({"pressure": 0.8, "standoff": 1.2, "speed": 3.0}, 0.95, 0.91, confirm=confirm)
    return TypeWindow(name, (), (), (), shown if likely is None else likely, shown, best, None, None, None, None, ())


def window(*types, asked=True):
    units = {"pressure": "bar", "standoff": "mm", "speed": "m/min"}
    return WindowStudy(
        ("pressure", "standoff"),
        units,
        {"speed": 3.0},
        0.9,
        (),
        (),
        {"pressure": 0.7, "standoff": 1.0},
        "roughness",
        "um",
        BestBy.CHANCE,
        types,
        asked=asked,
    )


BEST_PLACE = Place(
    PlaceKind.STATED,
    ({"pressure": 0.8, "standoff": 1.2},),
    {"pressure": "bar", "standoff": "mm", "speed": "m/min"},
)


def test_the_best_is_confirmed_before_its_type_is_considered(trial):
    found = window(of_type("cylindrical", 0.0), of_type("double", 0.4))
    confirm, consider = next_steps(trial, (), evidence(), window=found, advised=TO_DOUBLE)
    assert confirm.finding.kind is StudyKind.CONFIRM_BEST
    assert confirm.command == Command("extend", (Blank.FOLDER, "--confirm", "best"))
    assert confirm.finding.facts == {"coupons": 6}
    assert (confirm.finding.about.nozzle, confirm.finding.about.place) == ("double", BEST_PLACE)
    assert confirm.finding.about.response == consider.finding.about.response == "roughness"
    assert (consider.finding.kind, consider.finding.about.against) == (StudyKind.CHANGE_OVER, "cylindrical")
    assert consider.finding.about.place == BEST_PLACE and consider.finding.facts["price"] == 31.0


@pytest.mark.parametrize(
    ("kind", "step"),
    [
        (None, StudyKind.CHANGE_OVER),  # planned, not measured yet
        (StudyKind.BEST_CONFIRMED, StudyKind.CONSIDER),
        (StudyKind.BEST_NOT_CONFIRMED, StudyKind.BEST_NOT_CONFIRMED),
    ],
)
def test_what_coupons_did_not_confirm_is_not_gone_over_to(trial, kind, step):
    found = window(of_type("cylindrical", 0.0), of_type("double", 0.4))
    planned = evidence(promised=((2, Finding(PlanKind.CONFIRM_LIMITS)),))
    own, other = About(nozzle="double"), About(nozzle="cylindrical")
    told = () if kind is None else (Finding(kind, own), Finding(StudyKind.BEST_NOT_CONFIRMED, other))
    (only,) = next_steps(trial, (), planned, window=found, advised=TO_DOUBLE, confirmed=told)
    assert (only.finding.kind, only.finding.about.nozzle) == (step, "double")


@pytest.mark.parametrize("how", ["confirmed", "nothing to confirm", "unlikely"])
def test_nothing_is_confirmed_twice_or_where_nothing_is_likely(trial, how):
    types = {
        "confirmed": (of_type("cylindrical", 0.5), of_type("double", 0.4)),
        "nothing to confirm": (of_type("cylindrical", 0.5, confirm=None), of_type("double", 0.4)),
        "unlikely": (of_type("cylindrical", 0.0), of_type("double", 0.0)),
    }[how]
    given = evidence(promised={"A1": CONFIRM}) if how == "confirmed" else evidence()
    (step,) = next_steps(trial, (), given, window=window(*types))
    assert step.finding.kind is StudyKind.FILE_VERDICT  # today's type stays


def test_a_better_type_at_todays_setting_waits_for_the_window_that_was_asked_for(trial):
    better = Comparison("double", "cylindrical", ANYWHERE, "ratio", 0.8, 0.7, 0.9, 0.01, Answer.BETTER, None)
    rough = ResponseResult(
        "roughness", "roughness", "Rz5", "log", "um", True, 24, 8, State.COMPARED, comparisons=(better,)
    )
    kept = window(of_type("cylindrical", 0.5), of_type("double", 0.4))
    asked = next_steps(trial, (rough,), evidence(), window=kept)
    assert kinds(asked) == [StudyKind.CONFIRM_BEST]
    unasked = dataclasses.replace(kept, asked=False)
    beside = next_steps(trial, (rough,), evidence(), window=unasked, advised=TO_DOUBLE)
    assert kinds(beside) == [StudyKind.CONSIDER]


def test_centring_that_was_found_straight_is_no_step(trial):
    rough = ResponseResult("roughness", "roughness", "Rz5", "log", "um", True, 24, 8, State.COMPARED)
    for weight, steps in ((Weight.LOOK_AT, 1), (Weight.COULD_CHANGE, 1), (Weight.NOTHING_FOUND, 0)):
        checked = dataclasses.replace(rough, checks=(Finding(StudyKind.CENTRING, weight=weight),))
        found = next_steps(trial, (checked,), evidence())
        assert (StudyKind.CHECK_CENTRING in kinds(found)) == bool(steps)
    assert math.isfinite(CONFIRM.high)
