"""What is said beside a plan that settles: each finding where it is due, and nowhere else."""

from dataclasses import replace

import pytest
from plan.settling.scenes import problem, text_of

from trials.findings import Amount, Weight
from trials.plan.kinds import PlanKind
from trials.plan.settling.problem import problem_of
from trials.plan.settling.request import Bill, Candidate, Chances, Goal, Option, Space
from trials.plan.settling.search import Found
from trials.plan.settling.told import told
from trials.trial import parse

PLAN = Candidate((5, 4), 1, 3, 1, 2, sheets=2)
PRICED = "[costs]\nmachine_hour = 100\nbench_hour = 50\nsheet_m2 = 90\ngas_m3 = 1\n"
TIMED = PRICED + "mount_minutes = 12\ncoupon_minutes = 3\nreading_minutes = 4\n"


def found(candidate=PLAN, reached=True):
    best = Option(candidate, Chances(0.75, 0.7, 0.5, 0.4), Bill(1.0, 2.0, 3.0))
    return Found(best, reached, (best,), 1)


def said(given, space=None, **changes):
    return {one.kind: one for one in told(given, Goal(0.8), space or Space(), found(**changes))}


@pytest.fixture(scope="module")
def stated():
    """A trial whose prices are all stated."""
    return problem_of(parse(text_of() + TIMED))


def test_a_plain_plan_is_told_its_floors_pieces_and_sheets(stated):
    one = told(stated, Goal(0.8), Space(), found())
    assert [each.kind for each in one] == [PlanKind.FLOORS, PlanKind.PIECES_COUNTED, PlanKind.FEWEST_SHEETS]
    assert one[-1].facts == {"sheets": 2}


def test_out_of_reach_comes_first_with_what_can_be_had(stated):
    one = said(stated, Space(most_specimens=7, most={"bb": 3}), reached=False)
    assert next(iter(one)) is PlanKind.OUT_OF_REACH
    assert one[PlanKind.OUT_OF_REACH].facts == {"asked": 0.8, "best": 0.7, "most": 7, "limits": (("bb", 3),)}
    assert one[PlanKind.OUT_OF_REACH].weight is Weight.COULD_CHANGE


@pytest.mark.parametrize(
    ("candidate", "lost"),
    [
        (replace(PLAN, coupons=1, repeats=0), {"one_coupon"}),
        (replace(PLAN, readings=1), {"one_reading"}),
        (replace(PLAN, coupons=2, repeats=2), {"one_setting"}),
        (replace(PLAN, coupons=2, repeats=1), set()),
    ],
)
def test_a_bare_plan_is_told_which_pages_it_loses(stated, candidate, lost):
    one = said(stated, Space(bare=True), candidate=candidate)
    assert PlanKind.FLOORS not in one and (PlanKind.PAGES_LOST in one) == bool(lost)
    if lost:
        assert {name for name, gone in one[PlanKind.PAGES_LOST].facts.items() if gone} == lost
        assert set(one[PlanKind.PAGES_LOST].facts) == {"one_coupon", "one_reading", "one_setting"}


def test_the_confidence_that_primaries_and_looks_share_is_said():
    two = problem_of(parse(text_of(plan="looks = 2") + TIMED))
    assert said(two)[PlanKind.LOOKS_SHARED].facts == {"primaries": 1, "looks": 2}
    second = '[responses.squareness]\nprimary = true\nreadings = 2\nworthwhile = "0.03 mm"\n'
    pair = said(problem_of(parse(text_of() + second + TIMED)))
    assert pair[PlanKind.LOOKS_SHARED].facts == {"primaries": 2, "looks": 1}
    assert pair[PlanKind.NOT_JUDGED].about.response == "squareness"  # it has no expected spreads


def test_figures_that_are_assumed_are_named_with_their_units():
    taken = said(problem_of(parse(text_of() + PRICED)))[PlanKind.COSTS_ASSUMED].facts["taken"]
    assert dict(taken) == {
        "mount_minutes": Amount(12.0, "min"),
        "coupon_minutes": Amount(3.0, "min"),
        "reading_minutes": Amount(4.0, "min"),
    }
    every = said(problem())[PlanKind.COSTS_ASSUMED].facts
    assert dict(every["taken"])["machine_hour"] == Amount(120.0, "") and len(every["taken"]) == 7
    assert every["currency"] == "EUR"


def test_types_without_a_price_are_named():
    bare = text_of().replace("\nprice = 21", "") + TIMED
    one = said(problem_of(parse(bare)))
    assert one[PlanKind.PRICE_UNKNOWN].about.nozzles == ("bb",)
