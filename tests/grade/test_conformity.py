"""Yes, no or undecided by ISO 14253-1."""

import numpy as np
import pytest

from trials.errors import InputError, NotFinite
from trials.findings import Amount
from trials.grade.conformity import (
    Uncertainty,
    decide,
    demands,
    execution_class,
    guard_factor,
    limits_of,
    zones,
)
from trials.grade.kinds import Item
from trials.trial import Requirement


def test_guard_factor_is_the_one_sided_normal_quantile():
    # printed as 1.645 in ISO 14253-1; the quantile has 1.644854
    assert guard_factor() == pytest.approx(1.644854, abs=1e-6)
    assert guard_factor(0.5) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("value", "rule", "expected"),
    [
        # limit 0.2, U 0.02, so u_c 0.01 and guard band 0.016449
        (0.18, "guard band", 1),
        (0.1836, "guard band", 0),
        (0.2, "guard band", 0),
        (0.2164, "guard band", 0),
        (0.2165, "guard band", -1),
        (0.2, "simple acceptance", 1),
        (0.2001, "simple acceptance", -1),
        (float("nan"), "guard band", 0),
    ],
)
def test_zones(value, rule, expected):
    assert int(decide(value, 0.2, Uncertainty(0.02).standard(), rule)) == expected


def test_without_uncertainty_the_guard_band_vanishes():
    assert decide([0.071, 0.0711], 0.05 + 0.003 * 7).tolist() == [1, -1]


def test_only_the_repeatability_part_averages_out():
    doubt = Uncertainty(expanded=2.0, repeatability_sd=0.6)
    # by hand: u_c = 1, the rest is 0.8; four readings leave sqrt(0.64 + 0.36 / 4) = 0.854400
    assert doubt.standard([1, 4]) == pytest.approx([1.0, 0.8544003745], rel=1e-9)
    assert Uncertainty(2.0).standard(9) == pytest.approx(1.0, rel=1e-12)


def test_the_tightest_of_several_limits_holds():
    asked = Requirement(squareness_range=3, u_mm=0.3, rz5_um=60.0, execution_class="EXC3")
    limits = limits_of(asked, [6.0, 12.0])
    assert limits.squareness_mm.tolist() == [0.3, 0.3]
    assert limits.roughness_um.tolist() == [60.0, 60.0]
    alone = limits_of(Requirement(execution_class="EXC2"), [10.0])
    assert (alone.squareness_mm.tolist(), alone.roughness_um.tolist(), alone.dross_grade) == ([1.55], [128.0], None)


def test_execution_class_names_its_edition():
    assert execution_class("exc4").edition == "2018+A1:2024"
    assert execution_class("EXC4 2008").squareness_range == 3
    assert execution_class("EXC4 (2008+A1:2011)").squareness_range == 3


def test_a_requirement_is_told_part_by_part_as_values():
    found = demands(Requirement(execution_class="EXC4 2008", dross_grade=0, rz5_um=30.0))
    assert [(part.item, part.range, part.limit) for part in found] == [
        (Item.ROUGHNESS, None, Amount(30.0, "um")),
        (Item.DROSS, None, Amount(0)),
        (None, None, None),
    ]
    assert found[2].execution_class == execution_class("EXC4 2008")
    ranges = demands(Requirement(squareness_range=3, roughness_range=4, u_mm=0.2))
    assert [(part.item, part.range, part.limit) for part in ranges] == [
        (Item.SQUARENESS, 3, None),
        (Item.SQUARENESS, None, Amount(0.2, "mm")),
        (Item.ROUGHNESS, 4, None),
    ]
    assert demands(Requirement()) == ()


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: execution_class("EXC5"), InputError, "unknown execution class of EN 1090-2; found 'EXC5'"),
        (lambda: execution_class("EXC2 1999"), InputError, "found 'EXC2 1999'"),
        (lambda: decide(1.0, 2.0, rule="by eye"), InputError, "unknown rule; found 'by eye'"),
        (lambda: decide(float("inf"), 2.0), NotFinite, "infinite"),
        (lambda: guard_factor(95), InputError, "not a confidence; found 95"),
        (lambda: guard_factor(1.0), InputError, "not a confidence; found 1.0; allowed: 0.5 up to below 1"),
        (lambda: Uncertainty(-1.0), InputError, "negative uncertainty"),
        (lambda: Uncertainty(float("nan")), NotFinite, "uncertainty of the bench is not a number"),
        (lambda: Uncertainty(1.0, 0.6), InputError, "larger than the whole uncertainty; found 0.6"),
    ],
)
def test_bad_input(call, error, message):
    with pytest.raises(error, match=message):
        call()


def test_decision_never_turns_better_as_the_value_grows():
    values = np.linspace(0.1, 0.3, 401)
    assert (np.diff(decide(values, 0.2, 0.01)) <= 0).all()


def test_zones_by_hand():
    # guard band 1.644854 u_c of one reading: u 0.05 mm, Rz5 5 um (the repeatability part is not divided); range 2 of
    # ISO 9013 at 10 mm is 40 + 0.8 * 10 = 48 um
    asked = Requirement(u_mm=0.5, roughness_range=2)
    given = {"u_mm": 0.1, "rz5_um": Uncertainty(10.0, repeatability_sd=3.0)}
    u, rz5 = zones(asked, 10.0, uncertainty=given)
    assert (u.item, u.unit, u.limit, u.expanded) == (Item.SQUARENESS, "mm", 0.5, 0.1)
    assert (u.met, u.failed) == pytest.approx((0.4177573, 0.5822427), abs=1e-7)
    assert (rz5.item, rz5.unit, rz5.limit, rz5.expanded) == (Item.ROUGHNESS, "um", 48.0, 10.0)
    assert (rz5.met, rz5.failed) == pytest.approx((39.775732, 56.224268), abs=1e-6)
    for zone, column in ((u, "u_mm"), (rz5, "rz5_um")):
        doubt = given[column] if isinstance(given[column], Uncertainty) else Uncertainty(given[column])
        around = [zone.met - 1e-6, zone.met + 1e-6, zone.failed - 1e-6, zone.failed + 1e-6]
        assert decide(around, zone.limit, doubt.standard()).tolist() == [1, 0, 0, -1]


def test_zones_without_a_guard_band_meet_at_the_limit():
    asked = Requirement(u_mm=0.5, rz5_um=30.0)
    bare = zones(asked, 10.0)
    assert [(z.limit, z.expanded, z.met, z.failed) for z in bare] == [(0.5, 0.0, 0.5, 0.5), (30.0, 0.0, 30.0, 30.0)]
    simple = zones(asked, 10.0, "simple acceptance", {"rz5_um": 4.0})
    assert [(z.expanded, z.met, z.failed) for z in simple] == [(0.0, 0.5, 0.5), (4.0, 30.0, 30.0)]


def test_a_guard_band_wider_than_the_limit_leaves_nothing_proved_to_meet():
    (zone,) = zones(Requirement(u_mm=0.05), 10.0, uncertainty={"u_mm": 0.2})
    assert zone.met == 0.0
    assert zone.failed == pytest.approx(0.2144854, abs=1e-7)  # 0.05 + 1.644854 * 0.1
    assert zones(Requirement(), 10.0, uncertainty={"u_mm": 0.2}) == ()
