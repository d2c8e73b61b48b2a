"""What follows from lives: money, pieces that would settle it, what is not known, what to do next."""

import dataclasses
import math

import pytest

from trials.decide.lives import answer_lives
from trials.decide.lives_advice import (
    LifeTold,
    life_cost,
    more_pieces,
    next_for_lives,
    settling_number,
    told_by_trial,
    unknown_of_lives,
)
from trials.endings import Ended
from trials.findings import About, Finding
from trials.infer.life import LifeKind, study_lives
from trials.infer.life.regression import CHARACTERISTIC
from trials.record_kinds import RecordKind
from trials.trial import parse

PLAIN = [46.0, 65.0, 96.0, 107.0, 107.0, 112.0, 126.0, 144.0, 152.0, 174.0, 190.0, 206.0]
PLATED = [42.0, 139.0, 196.0, 203.0, 221.0, 227.0, 227.0, 246.0, 250.0, 250.0, 250.0, 250.0]
"""Lives of `example_data/nozzle_life`, invented; the last four were taken off while good."""
WORN, GOOD = Ended.WORN, Ended.TAKEN_OFF_GOOD


def lives(other=PLATED, good=4, worthwhile=0.25, prices=None, name="plated", shape=None, first=PLAIN, first_good=0):
    time, types = [*first, *other], ["plain"] * len(first) + [name] * len(other)
    ends = [WORN] * (len(first) - first_good) + [GOOD] * first_good + [WORN] * (len(other) - good) + [GOOD] * good
    study = study_lives(time, [end.failed for end in ends], types, "plain", shape=shape)
    found = answer_lives(study, "hours", worthwhile, types, ends)
    return dataclasses.replace(found, prices=prices or {}, currency="EUR")


@pytest.fixture(scope="module")
def better():
    return lives(prices={"plain": 9.0, "plated": 10.5})


def kinds(findings):
    return [finding.kind for finding in findings]


def steps(found):
    return [step.finding.kind for step in next_for_lives(found)]


def of_kind(findings, kind):
    (found,) = (finding for finding in findings if finding.kind == kind)
    return found


def test_money_of_a_longer_life(better):
    cost = life_cost(better, "plated")
    (c,) = better.comparisons
    assert cost.breaks_even == pytest.approx(10.5 / 9.0) and cost.proved is True and c.low > 10.5 / 9.0
    # the same work takes as many pieces fewer as each lasts longer
    assert cost.share.value == pytest.approx(10.5 / 9.0 / c.value)
    assert (cost.share.low, cost.share.high) == pytest.approx((10.5 / 9.0 / c.high, 10.5 / 9.0 / c.low))
    # mean of a Weibull life: characteristic life times gamma(1 + 1 / shape)
    mean = math.gamma(1.0 + 1.0 / better.study.shape)
    own, todays = (mean * each.at[0].life for each in reversed(better.study.types))
    assert better.study.types[0].at[0].quantile == CHARACTERISTIC and cost.work == 1000.0
    assert cost.money == pytest.approx((10.5 * 1000.0 / own, 9.0 * 1000.0 / todays))
    assert cost.money[0] / cost.money[1] == pytest.approx(cost.share.value)


@pytest.mark.parametrize(
    ("price", "proved", "weighed"),
    # limits of the ratio 1.30 to 2.63
    [(10.5, True, False), (9.0 * 1.5, None, True), (9.0 * 3.0, False, True)],
)
def test_whether_a_price_is_paid_back(price, proved, weighed):
    found = lives(prices={"plain": 9.0, "plated": price})
    assert life_cost(found, "plated").proved is proved
    assert (LifeTold.WEIGH_PRICE in steps(found)) is weighed
    if weighed:
        told = of_kind([step.finding for step in next_for_lives(found)], LifeTold.WEIGH_PRICE)
        assert told.facts["dearer"] is (proved is False)


@pytest.mark.parametrize("prices", [{}, {"plain": 9.0}, {"plain": 9.0, "plated": None}, {"plain": 0.0, "plated": 1.0}])
def test_no_money_without_both_prices(prices):
    assert life_cost(lives(prices=prices), "plated") is None


def test_a_type_that_never_failed_has_no_share_of_the_money_but_a_bound():
    cost = life_cost(lives([250.0] * 8, 8, prices={"plain": 9.0, "plated": 10.5}), "plated")
    assert cost.share is None and cost.money is None and cost.proved is True


def test_early_failures_that_are_open_are_told_though_the_type_lasts_longer(better):
    told = unknown_of_lives(better)
    early = of_kind(told, LifeTold.EARLY_OPEN)
    own = next(r for r in better.study.own_shapes if r.quantile == 0.1)
    assert early.facts == {"quantile": 0.1, "low": own.low, "high": own.high} and own.low < 1 < own.high
    assert told[0] == early and early.about == About(nozzle="plated", against="plain")
    first = of_kind(told, LifeTold.FAILED_FIRST)
    assert (first.facts["life"].value, first.facts["todays"].value) == (42.0, 46.0)


def test_early_failures_that_are_settled_are_not_called_open():
    told = kinds(unknown_of_lives(lives([10.0 * life for life in PLAIN], 0)))
    assert LifeTold.EARLY_OPEN not in told and LifeTold.FAILED_FIRST not in told


def test_only_a_small_share_failed_is_called_early(better):
    typical = next(r for r in better.study.own_shapes if r.quantile == 0.5)
    study = dataclasses.replace(better.study, own_shapes=(dataclasses.replace(typical, low=0.9),))
    assert LifeTold.EARLY_OPEN not in kinds(unknown_of_lives(dataclasses.replace(better, study=study)))


def test_nothing_is_said_of_early_failures_where_nothing_changes():
    assert not {LifeTold.EARLY_OPEN, LifeTold.FAILED_FIRST} & set(kinds(unknown_of_lives(lives(PLAIN, 0))))


def test_what_a_manager_cannot_use_stays_with_the_engineer(better):
    told = kinds(unknown_of_lives(better))
    assert not {LifeKind.SHAPES_ALIKE, LifeKind.BEYOND_LONGEST, LifeKind.SHAPES_NOT_CHECKED} & set(told)
    assert {LifeKind.TAKEN_OFF_LIKE_OTHERS, LifeTold.LIVES_ALONE, LifeTold.JOB_NOT_SAID} <= set(told)
    assert LifeKind.TAKEN_OFF_LIKE_OTHERS not in kinds(unknown_of_lives(lives([2 * life for life in PLAIN], 0)))


def test_lives_that_half_outlast_are_told_with_the_longest_seen():
    told = unknown_of_lives(lives([42.0, *[250.0] * 11], 10))
    assert of_kind(told, LifeTold.NONE_RAN_LONGER).facts["types"][0][0] == "plated"


def test_ages_that_differ_are_told():
    early_and_late = [2.0, 3.0, 5.0, 400.0, 420.0, 450.0, 460.0, 480.0, 1.0, 500.0]
    found = lives(early_and_late, 0)
    assert LifeKind.SHAPES_DIFFER in kinds(found.study.cautions)  # so the case is one
    assert LifeTold.AGES_DIFFER in kinds(unknown_of_lives(found))


def test_what_a_trial_does_not_say_takes_the_place_of_a_bare_table():
    job = Finding(LifeTold.KEEP_ON)
    told = unknown_of_lives(lives(), [job])
    assert told[-1] == job and LifeTold.JOB_NOT_SAID not in kinds(told)


def test_one_lot_and_another_job_are_told_of_a_trial(ready_made_life):
    lots = ready_made_life.replace("specimens = 15\ntoday", 'specimens = ["C1", "C2"]\nlots = ["L1", "L1"]\ntoday')
    names = [finding.kind.value for finding in told_by_trial(parse(lots), ["C1", "C2"])]
    assert names == ["one_lot", "other_jobs"]
    assert [f.kind.value for f in told_by_trial(parse(ready_made_life), ["C1"])] == ["other_jobs"]


@pytest.fixture(scope="module")
def ready_made_life():
    from pathlib import Path

    text = (Path(__file__).parents[2] / "designs" / "nozzle-life.toml").read_text(encoding="utf-8")
    assert "specimens = 15\ntoday" in text
    return text


def test_after_a_change_the_first_ones_are_watched_from_the_first_failure_on(better):
    told = [step.finding for step in next_for_lives(better)]
    assert kinds(told) == [LifeTold.CHANGE_OVER, LifeTold.WATCH_FIRST]
    assert told[1].facts["life"].value == 42.0
    assert steps(lives([250.0] * 8, 8)) == [LifeTold.CHANGE_OVER]


def test_an_open_reading_comes_first(better):
    slip = Finding(RecordKind.SLIP, About(coupons=("C4V",)))
    doubted = dataclasses.replace(better, open_readings=(slip,))
    first, *rest = next_for_lives(doubted)
    assert first.because == slip and first.command.arguments[1:] == ("C4V",)
    assert [step.finding.kind for step in rest] == steps(better) and doubted.doubted == ("C4V",)


def test_more_pieces_are_told_from_the_spread_never_from_the_difference():
    open_, wider = lives([1.1 * life for life in PLAIN], 0), lives([1.2 * life for life in PLAIN], 0)
    assert {found.comparisons[0].answer.value for found in (open_, wider)} == {"not settled"}
    needed, other = more_pieces(open_), more_pieces(wider)
    assert needed.counts.specimens == 12 and settling_number(needed) > 12
    # both types have lives of one shape, which a factor leaves as it is
    assert open_.study.shape == pytest.approx(wider.study.shape, rel=1e-3)
    assert (needed.at_worthwhile, needed.at_zero) == (other.at_worthwhile, other.at_zero)
    told = of_kind([step.finding for step in next_for_lives(open_)], LifeTold.MORE_PIECES)
    assert (told.facts["n"], told.facts["now"]) == (settling_number(needed), 12)


def test_more_pieces_of_a_life_trial_agree_with_the_plan(ready_made_life):
    """The plan reckons with a spread of log lives of 35 %, a Weibull shape of pi / (sqrt(6) sd): the same number."""
    from trials.plan.assess.pieces_alone import lives_settle
    from trials.trial import expected_spreads

    trial = parse(ready_made_life.replace("specimens = 15", "specimens = 12"))
    found = lives([1.1 * life for life in PLAIN], 0, worthwhile=0.30)
    sd = expected_spreads(trial, "life")["specimen"]
    same = dataclasses.replace(found, study=dataclasses.replace(found.study, shape=math.pi / (math.sqrt(6.0) * sd)))
    planned = lives_settle(trial, "life")
    assert settling_number(more_pieces(same)) == settling_number(planned) > 12


def test_no_number_is_told_where_none_up_to_the_most_will_do():
    found = lives([1.0 * life for life in PLAIN], 0, worthwhile=0.02)
    told = of_kind([step.finding for step in next_for_lives(found)], LifeTold.NO_NUMBER)
    assert told.facts["n"] is None and told.facts["most"] == 200


def test_nothing_more_is_asked_where_nothing_is_open(better):
    assert more_pieces(better) is None and more_pieces(lives(worthwhile=None)) is None


def test_without_a_failure_they_are_run_longer():
    found = lives([250.0, 260.0], 2, first=[100.0, 120.0], first_good=2, shape=2.0)
    assert steps(found) == [LifeTold.RUN_LONGER] and more_pieces(found) is None
    assert LifeTold.LEAST_ASSUMED in kinds(unknown_of_lives(found))


def test_a_type_that_stays_and_one_alone():
    assert steps(lives([0.4 * life for life in PLAIN], 0)) == [LifeTold.KEEP_ON]
    alone = answer_lives(study_lives(PLAIN, [True] * 12, ["plain"] * 12, "plain"), "hours", 0.25, ["plain"], [WORN])
    assert steps(alone) == [LifeTold.RUN_ANOTHER]


def test_early_failures_of_all_send_to_look_for_damage():
    early = [1.0, 1.1, 2.0, 40.0, 300.0, 700.0]
    assert LifeTold.NOT_BY_WEAR in steps(lives([1.2 * life for life in early], 0, first=early))
