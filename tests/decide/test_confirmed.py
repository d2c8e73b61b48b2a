"""Coupons cut to confirm a best, against limits by hand: the mean of their means, on the scale of the model."""

import math

import pandas as pd
import pytest

from trials.decide.confirmed import confirmed
from trials.decide.kinds import StudyKind
from trials.findings import About, Amount, Finding, Weight


def promise(low, high, response="roughness", nozzle="double"):
    facts = {"low": Amount(low, "um"), "high": Amount(high, "um"), "coupons": 2}
    return Finding(StudyKind.BEST_CONFIRMED, About(response=response, nozzle=nozzle), facts)


def table(*rows):
    return pd.DataFrame(rows, columns=["block", "nozzle", "coupon", "value"])


# of block 2: one coupon with two readings of 20, one with 45: the geometric mean of the coupons is 30, of readings 26
CUT = table(
    (2, "double", "A", 20.0), (2, "double", "A", 20.0), (2, "double", "B", 45.0),
    (1, "double", "C", 900.0), (2, "cylindrical", "D", 900.0),
)  # fmt: skip


@pytest.mark.parametrize(
    ("low", "high", "inside"),
    [(29.0, 31.0, True), (30.0 + 1e-9, 40.0, False), (20.0, 30.0 - 1e-9, False), (25.0, 27.0, False)],
)
def test_the_mean_of_coupons_is_held_against_the_limits(trial, low, high, inside):
    (found,) = confirmed(trial, [(2, promise(low, high))], {"roughness": CUT})
    assert found.kind == (StudyKind.BEST_CONFIRMED if inside else StudyKind.BEST_NOT_CONFIRMED)
    assert found.weight == (Weight.NOTHING_FOUND if inside else Weight.COULD_CHANGE)
    mean = found.facts["mean"]
    assert (mean.value, mean.unit) == (pytest.approx(30.0, rel=1e-12), "um")
    assert (found.facts["block"], found.facts["measured"], found.facts["coupons"]) == (2, 2, 2)
    assert found.about.nozzle == "double"


@pytest.mark.parametrize(("low", "high", "inside"), [(0.5, 0.6, True), (0.1, 0.5, True), (0.51, 0.6, False)])
def test_on_the_scale_as_measured_it_is_the_plain_mean_and_a_limit_counts_as_inside(trial, low, high, inside):
    rows = table((2, "double", "A", 0.25), (2, "double", "A", 0.25), (2, "double", "B", 0.75))
    (found,) = confirmed(trial, [(2, promise(low, high, "squareness"))], {"squareness": rows})
    assert found.facts["mean"] == Amount(0.5, "mm")
    assert found.kind == (StudyKind.BEST_CONFIRMED if inside else StudyKind.BEST_NOT_CONFIRMED)


def test_limits_whose_coupons_have_no_readings_wait(trial):
    waiting = [(3, promise(1.0, 2.0)), (2, promise(1.0, 2.0, nozzle="third")), (2, promise(1.0, 2.0, "squareness"))]
    bare = Finding(StudyKind.BEST_CONFIRMED, About(response="roughness", nozzle="double"), {"low": 1.0, "high": 2.0})
    found = confirmed(trial, [*waiting, (2, bare), (2, promise(29.0, 31.0))], {"roughness": CUT})
    assert [finding.kind for finding in found] == [StudyKind.BEST_CONFIRMED]
    assert math.isclose(found[0].facts["low"].value, 29.0)
