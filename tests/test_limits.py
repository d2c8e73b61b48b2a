"""Limits: what they forbid, how far a setting is beyond them, and where they are met."""

import math

import pytest

from trials.limits import Limit

SETTING = {"pressure": 0.7, "standoff": 1.0}


@pytest.mark.parametrize(
    ("limit", "excess"),
    [
        (Limit(factor="pressure", at_most=0.5), 0.2),
        (Limit(factor="pressure", at_least=1.0), 0.3),
        (Limit(factor="pressure", at_least=0.1, at_most=0.6), 0.1),
        (Limit(factors=("pressure", "standoff"), product_at_most=0.4), 0.3),
        (Limit(factors=("pressure", "standoff"), weights=(2.0, 1.0), sum_at_most=2.0), 0.4),
        (Limit(factors=("pressure", "standoff"), sum_at_most=1.5), 0.2),
    ],
)
def test_excess_by_hand(limit, excess):
    # less the allowance for a value on the limit, 1e-9 of a limit of two at most
    assert limit.excess("double", SETTING) == pytest.approx(excess, abs=2.1e-9)
    assert limit.forbids("double", SETTING)


def test_a_limit_of_another_type_is_far_away():
    limit = Limit(nozzle="double", factor="pressure", at_most=0.1)
    assert limit.excess("conical", SETTING) == -math.inf and not limit.forbids("conical", SETTING)
    assert limit.forbids("double", SETTING)


@pytest.mark.parametrize("value", [0.3, 0.1 + 0.2, 0.3 + 1e-10])
def test_a_value_on_the_limit_may_be_cut(value):
    assert not Limit(factor="pressure", at_most=0.3).forbids("", {"pressure": value})
    assert Limit(factor="pressure", at_most=0.3).forbids("", {"pressure": value + 1e-8})


@pytest.mark.parametrize(
    ("limit", "name", "value"),
    [
        (Limit(factor="pressure", at_most=0.5), "pressure", 0.5),
        (Limit(factor="pressure", at_least=0.9), "pressure", 0.9),
        (Limit(factor="pressure", at_most=0.9), "pressure", 0.7),
        (Limit(factors=("pressure", "standoff"), product_at_most=0.5), "pressure", 0.5),
        (Limit(factors=("pressure", "standoff"), product_at_most=1.4), "standoff", 2.0),
        (Limit(factors=("pressure", "standoff"), weights=(2.0, 1.0), sum_at_most=2.0), "pressure", 0.5),
        (Limit(factors=("pressure", "standoff"), weights=(2.0, 1.0), sum_at_most=2.0), "standoff", 0.6),
        (Limit(factors=("pressure", "standoff"), weights=(0.0, 1.0), sum_at_most=0.5), "pressure", None),
    ],
)
def test_the_value_that_lies_on_the_limit(limit, name, value):
    found = limit.onto(SETTING, name)
    assert found is None if value is None else found == pytest.approx(value, rel=1e-12)


def test_no_value_lies_on_a_product_with_a_zero():
    limit = Limit(factors=("pressure", "standoff"), product_at_most=1.0)
    assert limit.onto({"pressure": 0.7, "standoff": 0.0}, "pressure") is None


@pytest.mark.parametrize(
    ("limit", "formula"),
    [
        (Limit(nozzle="double", factor="pressure", at_most=0.8), "double: pressure <= 0.8"),
        (Limit(factor="pressure", at_least=0.2, at_most=0.8), "0.2 <= pressure <= 0.8"),
        (Limit(factors=("pressure", "standoff"), product_at_most=1.2), "pressure x standoff <= 1.2"),
        (Limit(factors=("a", "b"), weights=(2.0, 1.0), sum_at_most=4.0), "2 a + 1 b <= 4"),
    ],
)
def test_the_formula_names_all_of_it(limit, formula):
    assert limit.formula == formula
