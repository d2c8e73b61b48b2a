"""What a fitted response shows, number by number, against sums by hand."""

import dataclasses
import itertools
import math

import numpy as np
import pytest

from trials.decide import judged, measured
from trials.decide.kinds import StudyKind
from trials.decide.prepare import prepare
from trials.errors import NotIdentifiable
from trials.findings import PlaceKind
from trials.infer.answer import Added, Answer, levels
from trials.infer.means import Interval
from trials.worthwhile import Margins

ALL = list(itertools.product((0.5, 0.7, 0.9), (0.6, 1.0, 1.4)))
ALLOWED = {"cylindrical": ALL, "double": ALL}
SIDES, EVEN = Margins(better=0.163, worse=0.140), Margins(0.1, 0.1)


def fitted(trial, table, name="roughness"):
    found = judged.fitted(prepare(trial, name, table))
    return found, found.ready, found.fit


def average(trial):
    return measured.places(trial, ALLOWED)["average"]


def interval(low, high):
    return Interval(value=(low + high) / 2, low=low, high=high, p=0.04, df=4.0)


def test_places_are_today_and_the_settings_that_all_types_cut(trial):
    found = measured.places(trial, {"cylindrical": [*ALL, ALL[0]], "double": ALL[:4]})
    assert found["today"].settings == ({"pressure": 0.7, "standoff": 1.0},)
    assert found["average"].kind == PlaceKind.AVERAGE
    assert [tuple(s.values()) for s in found["average"].settings] == ALL[:4]
    assert found["average"].units == {"pressure": "bar", "standoff": "mm"}
    assert set(measured.places(trial, {"cylindrical": ALL, "double": ALL[:1]})) == {"today"}
    assert set(measured.places(trial, {"cylindrical": ALL[:2], "double": ALL[:2]})) == {"today", "average"}


def test_a_balanced_mean_and_ratio_are_those_of_the_logs(trial, make_table):
    table = make_table(effect=(0.0, -0.3))
    found_by, ready, fit = fitted(trial, table)
    logs = np.log(table["value"]).groupby(table["nozzle"]).mean()
    found = measured.mean_table(ready, fit, average(trial))
    # all combinations with equal counts: the model's average is the plain average
    for mean in found:
        assert mean.mean == pytest.approx(math.exp(logs[mean.nozzle]), rel=1e-9)
        assert mean.low < mean.mean < mean.high
        assert mean.low * mean.high == pytest.approx(mean.mean**2, rel=1e-9)  # even about it on the log scale
    (c,) = measured.compare(found_by, average(trial), levels(1), SIDES, True)
    gap = logs["double"] - logs["cylindrical"]
    assert c.value == pytest.approx(math.exp(gap), rel=1e-9) and c.kind == "ratio"
    assert c.in_unit[0] == pytest.approx(math.exp(logs["double"]) - math.exp(logs["cylindrical"]), rel=1e-9)
    assert c.in_unit[1] == pytest.approx(math.exp(logs["cylindrical"]) * (c.low - 1), rel=1e-9)
    assert c.in_unit[2] == pytest.approx(math.exp(logs["cylindrical"]) * (c.high - 1), rel=1e-9)
    assert c.times_worthwhile == pytest.approx(abs(gap) / SIDES.better, rel=1e-9)
    assert c.times_spread == pytest.approx(abs(gap) / math.sqrt(sum(fit.variances.values())), rel=1e-9)
    (secondary,) = measured.compare(found_by, average(trial), levels(1), None, False)
    assert (secondary.answer, secondary.times_worthwhile) == (None, None)
    (open_,) = measured.compare(found_by, average(trial), levels(1), None, True)
    assert (open_.answer, open_.answer_adds) == (Answer.NOT_SETTLED, None)


def test_a_difference_as_measured_stays_in_its_unit(trial, make_table):
    table = make_table(effect=(0.0, -0.3))
    table["value"] /= 200.0
    found_by, ready, fit = fitted(trial, table, "squareness")
    (c,) = measured.compare(found_by, average(trial), levels(1), Margins(0.03, 0.03), False)
    means = table.groupby("nozzle")["value"].mean()
    assert c.kind == "difference" and c.value == pytest.approx(means["double"] - means["cylindrical"], rel=1e-9)
    assert c.in_unit == (c.value, c.low, c.high)
    assert measured.mean_table(ready, fit, average(trial))[0].mean == pytest.approx(means["cylindrical"], rel=1e-9)


def test_less_is_better_turns_the_interval_over(trial, make_table):
    _, ready, _ = fitted(trial, make_table())
    assert measured._improvement(interval(-0.4, -0.2), ready) == (0.2, 0.4)
    more = dataclasses.replace(ready, quantity=dataclasses.replace(ready.quantity, higher_is_better=True))
    assert measured._improvement(interval(-0.4, -0.2), more) == (-0.4, -0.2)
    assert measured._word(ready, interval(-0.4, -0.2), interval(-0.4, -0.2), EVEN) == (Answer.BETTER, Added.BY_AT_LEAST)
    assert measured._word(more, interval(-0.4, -0.2), interval(-0.4, -0.2), EVEN)[0] == Answer.WORSE


def test_shares_of_spread_add_up(trial, make_table):
    _, _, fit = fitted(trial, make_table())
    found = measured.spreads(fit)
    assert sum(s.share for s in found) == pytest.approx(1.0, abs=1e-12)
    for s in found:
        assert s.sd**2 == pytest.approx(fit.variances[s.source], rel=1e-12)
        assert s.share == pytest.approx(fit.variances[s.source] / sum(fit.variances.values()), rel=1e-12)


def test_one_piece_of_each_leaves_the_type_untested(trial, make_table):
    found_by, ready, fit = fitted(trial, make_table(specimens=1, sheets=1, effect=(0.0, -0.5)))
    tests = {t.term: t for t in measured.term_tests(found_by)}
    assert math.isnan(tests["nozzle"].p) and tests["nozzle"].F_classical is None
    assert 0 <= tests["pressure"].p <= 1 and tests["nozzle"].df == 1
    (c,) = measured.compare(found_by, average(trial), levels(1), EVEN, True)
    assert c.p is None and math.isnan(c.high) and math.isnan(c.in_unit[2]) and math.isfinite(c.in_unit[0])
    assert c.answer_adds == Added.NO_REPLICATION


def test_nothing_is_compared_without_todays_type_or_a_second_one(trial, make_table):
    table = make_table()
    found_by, ready, fit = fitted(trial, table[table["nozzle"] == "cylindrical"])
    assert measured.compare(found_by, average(trial), levels(1), EVEN, True) == ()
    both, _, _ = fitted(trial, table)
    assert measured.all_comparisons(both, average(trial), 0.95) == ()  # one pair is the comparison with today's


def test_a_type_that_passes_todays_is_named_with_both_ends(trial, make_table):
    table = make_table(spread=(0.02, 0.03, 0.0, 0.03, 0.02))
    slope = np.where(table["nozzle"] == "double", 0.5 * (table["pressure_bar"] - 0.7) / 0.2, 0.0)
    found_by, ready, fit = fitted(trial, table.assign(value=table["value"] * np.exp(slope)))
    today = measured.places(trial, ALLOWED)["today"]
    (found,) = measured.order_changes(found_by, measured.term_tests(found_by), today)
    assert (found.kind, found.about.nozzle, found.about.against) == (StudyKind.ORDER_CHANGES, "double", "cylindrical")
    assert found.facts == {"factor": "pressure", "unit": "bar", "low_at": 0.5, "high_at": 0.9}
    # a product that shows without a passing: better everywhere, by more at one end
    shifted = table.assign(value=table["value"] * np.exp(slope - 1.0 * (table["nozzle"] == "double")))
    found_by, ready, fit = fitted(trial, shifted)
    assert measured.order_changes(found_by, measured.term_tests(found_by), today) == ()


def test_a_grade_is_shown_inside_its_own_steps(trial, make_table):
    table = make_table()
    table["value"] = 1.0 + (np.arange(len(table)) % 2)
    ready = prepare(trial, "dross", table)
    assert measured.back(-0.2, ready) == ready.quantity.low and measured.back(99.0, ready) == ready.quantity.high
    assert measured.back(1.25, ready) == 1.25


def test_one_spread_for_all_where_the_one_by_type_cannot_be_fitted(monkeypatch, trial, make_table):
    ready, real = prepare(trial, "roughness", make_table()), judged.design_of

    def design_of(ready, by_type):
        if by_type:
            raise NotIdentifiable("nothing to judge by")
        return real(ready, by_type)

    assert judged.fitted(ready).judged.by_type
    monkeypatch.setattr(judged, "design_of", design_of)
    found = judged.fitted(ready).judged
    assert found.by_type is False and found.between is found.headline
    assert found.said[-1].kind == StudyKind.ONE_SPREAD_FOR_ALL
