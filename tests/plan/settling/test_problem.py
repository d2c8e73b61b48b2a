"""What a trial asks of a plan that settles: refusals, prices by hand, places of comparison, chances that are asked."""

from dataclasses import replace

import numpy as np
import pytest
from plan.settling.scenes import problem, text_of

from trials.errors import Infeasible, InputError
from trials.findings import PlaceKind
from trials.plan.settling.chance import Right, _shared
from trials.plan.settling.costs import unstated
from trials.plan.settling.problem import problem_of
from trials.plan.settling.request import Bill, Candidate, Chances, Goal, If, Pattern, Space
from trials.trial import Curves, parse


def posed(**asked):
    return problem_of(parse(text_of(**asked)))


# ---- what cannot be asked --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('method = "full"', 'method = "life"', "asks another question"),
        ('level = 35.0\nspecimen = "3 %"\nmount = "2 %"\ncoupon = "6 %"\nreading = "5 %"', "level = 35.0", "no chance"),
        ('coupon = "6 %"\nreading = "5 %"', "", "no chance can be stated"),
    ],
)
def test_what_poses_no_problem_is_refused(old, new, says):
    text = text_of()
    assert old in text
    with pytest.raises(Infeasible, match=says):
        problem_of(parse(text.replace(old, new)))


def test_one_type_is_compared_with_none():
    with pytest.raises(Infeasible, match="compared with none"):
        posed(prices=(9,))


def test_readings_alone_are_a_spread_between_coupons():
    asked = posed(spreads=("3 %", "", "", "5 %")).question.asked[0]
    assert set(asked.variances) == {"specimen", "reading"}


def test_a_sheet_is_no_part_of_a_comparison_and_a_spread_that_cannot_be_read_is_one_line():
    asked = problem_of(parse(text_of() + '\nsheet = "9 %"\n')).question.asked[0]
    assert "sheet" not in asked.variances
    with pytest.raises(InputError, match="specimen"):
        posed(spreads=("wide", "2 %", "6 %", "5 %"))


def test_types_without_a_setting_in_common_have_no_average():
    limits = (
        'limits = [{ nozzle = "aa", factor = "pressure", at_most = 0.6 }, '
        '{ nozzle = "bb", factor = "pressure", at_least = 0.7 }]\ncompare_at = "average"'
    )
    text = text_of(plan=limits).replace("today = 0.7", "today = 0.5")
    with pytest.raises(Infeasible, match="no average over settings"):
        problem_of(parse(text)).option(Candidate((3, 3), 1, 3, 0, 2))


def test_coupons_that_cannot_carry_the_curves_are_refused():
    with pytest.raises(Infeasible, match="cannot estimate the curves"):
        problem(factors=2).option(Candidate((2, 2), 1, 2, 1, 2))
    # every coupon at today's setting needs no curves
    assert problem(factors=2).option(Candidate((2, 2), 1, 2, 2, 2)).chances.same > 0


# ---- where types are compared ----------------------------------------------------------------------------------------


def test_the_same_question_elsewhere():
    given = posed()
    assert given.question.at is PlaceKind.TODAY
    average = given.elsewhere(PlaceKind.AVERAGE, Curves.COMMON)
    assert average.question.at is PlaceKind.AVERAGE and average.trial.plan.curves is Curves.COMMON
    assert given.elsewhere(PlaceKind.AVERAGE).trial.plan.curves is given.trial.plan.curves
    stated = posed(plan='compare_at = "average"')
    candidate = Candidate((5, 4), 1, 3, 0, 2)
    assert given.elsewhere(PlaceKind.AVERAGE).option(candidate).chances == stated.option(candidate).chances


def test_sheets_are_as_few_as_hold_the_coupons_unless_they_are_named():
    given, pattern, rows = posed(), Pattern(1, 3, 1, 2), np.array([[3, 3]])
    fewest = given.prices.sheets(pattern, rows)
    named = given.evaluate(pattern, rows, 3, sheets=fewest)
    assert named.different == pytest.approx(given.evaluate(pattern, rows, 3).different)
    more = given.evaluate(pattern, rows, 3, sheets=fewest + 2)
    assert (more.different < named.different).all()  # each costs a degree of freedom
    none = given.evaluate(pattern, rows, 3, sheets=fewest + 4)
    assert (none.different == 0).all() and (none.same == 0).all()  # nothing is left to judge types by


def test_the_weakest_primary_decides():
    second = (
        '[responses.squareness]\nprimary = true\nreadings = 2\nworthwhile = "0.03 mm"\n'
        '[responses.squareness.expected]\nlevel = 0.3\nspecimen = "{0} mm"\ncoupon = "{0} mm"\n'
    )
    candidate = Candidate((5, 4), 1, 3, 1, 2)
    easy, hard = (problem_of(parse(text_of() + second.format(sd))).option(candidate).chances for sd in ("0.001", "0.1"))
    assert hard.same < 0.3 < easy.same


# ---- prices ----------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def priced():
    costs = "[costs]\nmachine_hour = 100\nbench_hour = 50\nsheet_m2 = 90\ngas_m3 = 2\nmount_minutes = 10\n"
    return problem_of(parse(text_of(prices=(9, 21)) + costs)).prices


def test_a_bill_by_hand(priced):
    """Three and two pieces, two mounts of each, four coupons in a mount, three readings on each."""
    candidate = Candidate((3, 2), 2, 4, 1, 3)
    bill = priced.bill(candidate)
    mounts, coupons = 10, 40
    seconds = 4 + 60 * 0.2 / 1.1  # piercing, and 0.2 m at 1.1 m/min
    machine = (mounts * 10 + 20 + coupons * (3 + seconds / 60)) / 60  # one sheet of 20 minutes
    bench = coupons * (3 + 0.1) * 4 / 60  # one coupon in ten once more
    assert (bill.machine_hours, bill.bench_hours) == pytest.approx((machine, bench))
    assert bill.hours == pytest.approx(machine + bench)
    gas = sum(n * 8 * amount for n, amount in zip((3, 2), priced.gas, strict=True))
    area = coupons * 0.072 * 0.052  # 60 x 40 mm and 12 mm between them
    money = machine * 100 + bench * 50 + area * 90 + gas * 2 + 3 * 9 + 2 * 21
    assert bill.money == pytest.approx(money)
    pattern = Pattern(2, 4, 1, 3)
    assert priced.money(pattern, np.array([[3, 2]]))[0] == pytest.approx(money)


def test_a_mount_stays_whole_on_a_sheet(priced):
    held = priced.per_sheet
    assert held == 360  # 18 columns of 20 places on the usual sheet
    for coupons, sheets in ((held, 5), (held // 2, 3), (held // 2 + 1, 5), (1, 1)):
        assert priced.sheets(Pattern(1, coupons, 0, 2), np.array([[3, 2]]))[0] == sheets
    # a mount that fits on none is priced out of reach
    assert priced.sheets(Pattern(1, held + 1, 0, 2), np.array([[3, 2]]))[0] == 10**6


def test_what_is_not_stated_is_named_with_the_figure_taken():
    assert unstated(parse(text_of())) == {
        "machine_hour": 120.0,
        "bench_hour": 55.0,
        "sheet_m2": 95.0,
        "gas_m3": 0.9,
        "mount_minutes": 12.0,
        "coupon_minutes": 3.0,
        "reading_minutes": 4.0,
    }
    assert set(unstated(parse(text_of() + "[costs]\nmachine_hour = 100\n"))) >= {"bench_hour", "mount_minutes"}
    assert "machine_hour" not in unstated(parse(text_of() + "[costs]\nmachine_hour = 100\n"))


def test_a_piece_without_a_price_and_gas_that_is_not_known_cost_nothing():
    text = text_of().replace('gas = "oxygen"', 'gas = ""').replace("\nprice = 9", "")
    prices = problem_of(parse(text)).prices
    assert prices.nozzle == (0.0, 21.0) and prices.gas == (0.0, 0.0)


# ---- what is asked for -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("truth", "together", "chance"),
    [
        (If.DIFFERENT, False, 0.7),
        (If.SAME, False, 0.8),
        (If.BOTH, False, 0.7),
        (If.DIFFERENT, True, 0.5),
        (If.SAME, True, 0.4),
        (If.BOTH, True, 0.4),
    ],
)
def test_the_chance_that_a_goal_is_about(truth, together, chance):
    goal = Goal(0.8, truth, together)
    assert Chances(0.7, 0.8, 0.5, 0.4).reached(goal) == chance
    right = Right(np.array([[0.9, 0.7]]), np.array([[0.8, 0.85]]), np.array([0.5]), np.array([0.4]))
    assert right.reached(goal) == pytest.approx([chance])
    named = right.reached(goal, np.array([True, False]))
    alone = {If.DIFFERENT: 0.9, If.SAME: 0.8, If.BOTH: 0.8}[truth]
    assert named == pytest.approx([chance if together else alone])


def test_counts_of_a_candidate_and_limits_of_a_space():
    candidate = Candidate((5, 4), 2, 3, 1, 2)
    assert (candidate.n_mounts, candidate.n_coupons) == (18, 54)
    assert Space(most_specimens=7, most={"a": 3, "b": 9}).limits(("a", "b", "c")) == (3, 7, 7)
    assert not Goal().has_budget and Goal(hours=1.0).has_budget and Goal(money=1.0).has_budget
    assert Bill(1.5, 2.0, 9.0).hours == 3.5
    usual = Space()
    assert (usual.mounts, usual.coupons) == ((1, 2), (2, 3, 4, 5, 6, 7, 8))
    assert (usual.repeats, usual.readings, usual.most_specimens) == ((0, 1, 2, 3, 4, 5), (2, 3, 4), 40)
    made = Pattern(2, 3, 1, 4).candidate((5, 4), 6)
    assert made == Candidate((5, 4), 2, 3, 1, 4, 6)


# ---- what comparisons share ------------------------------------------------------------------------------------------


def test_comparisons_share_the_mean_of_today():
    """Variances 2 and 8 with a covariance of 1: correlation 1 / 4; two that agree nearly share almost all of it."""
    found = _shared(np.array([[[2.0, 1.0], [1.0, 8.0]], [[1.0, 0.9995], [0.9995, 1.0]], [[1.0, -0.4], [-0.4, 1.0]]]))
    assert found[0] == pytest.approx([0.25, 0.95, 0.05])  # the table of critical values ends there
    assert found[1] == pytest.approx([1.0, 0.999, 0.0])
    alone = _shared(np.array([[[2.0]], [[3.0]]]))
    assert alone[0].tolist() == [0.5, 0.5] and alone[1].tolist() == [0.0, 0.0]


def test_open_spreads_are_averaged_over_in_a_plan():
    given = posed()
    asked = given.question.asked[0]
    sets = tuple({name: k * value for name, value in asked.variances.items()} for k in (0.5, 1.0, 1.5, 2.0, 4.0))

    def at(one):
        question = replace(given.question, asked=(one,))
        return replace(given, question=question).option(Candidate((5, 4), 1, 3, 1, 2)).chances

    each = [at(replace(asked, variances=one)) for one in sets]
    opened = at(replace(asked, open=sets))
    for name in ("different", "same", "all_different", "all_same"):
        assert getattr(opened, name) == pytest.approx(np.mean([getattr(one, name) for one in each]))
    stated = problem_of(given.trial, {"roughness": sets}).question.asked[0]
    assert stated.open == sets and problem_of(given.trial, {"other": sets}).question.asked[0].open == ()
