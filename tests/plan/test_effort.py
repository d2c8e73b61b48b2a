"""What a plan takes before it is cut, and types along the order of cutting, by hand."""

import math

import numpy as np
import pandas as pd
import pytest
from plan.scenes import trial_text

from trials.findings import Amount
from trials.gas import normal_volume_flow
from trials.plan.assess.effort import cut_seconds, effort, minutes_of
from trials.plan.assess.run_order import types_along_sheets_and_order
from trials.plan.choose import make_plan
from trials.plan.kinds import PlanKind
from trials.trial import parse


def worked(text):
    trial = parse(text)
    return effort(trial, make_plan(trial))


def test_what_the_effort_rests_on_is_said():
    work = worked(trial_text(sheets=1, specimens=2, types=2))
    times, gas = work.assumptions()
    assert (times.kind, gas.kind) == (PlanKind.EFFORT_TIMES, PlanKind.EFFORT_GAS)
    minutes = {name: times.facts[name] for name in ("mount", "sheet", "coupon", "reading")}
    assert minutes == {name: Amount(v, "min") for name, v in zip(minutes, (12.0, 20.0, 3.0, 4.0), strict=True)}
    assert times.facts["speed"] == Amount(1.0, "m_min")
    assert (times.facts["places"], times.facts["repeat_share"]) == (3, 0.1)
    bare = worked(trial_text(sheets=1, specimens=2, types=2).replace("speed_m_min = 1.0", "").replace('"oxygen"', '""'))
    (alone,) = bare.assumptions()
    assert alone.facts["speed"] is None


def test_stated_minutes_take_the_place_of_the_usual_ones():
    base = trial_text(sheets=1)
    for name, place in (("mount", 0), ("coupon", 1), ("reading", 2)):
        trial = parse(f"{base}\n[costs]\n{name}_minutes = 7.5")
        found = minutes_of(trial)
        usual = [12.0, 3.0, 4.0]
        usual[place] = 7.5
        assert [found.mount, found.coupon, found.reading] == usual


@pytest.mark.parametrize(
    ("old", "new", "by_hand"),
    [
        # 0.2 m of cut and 4 s of piercing
        ("", "", [60 * 0.2 / 1.0 + 4] * 3),
        ("speed_m_min = 1.0", "", [60.0 + 4] * 3),  # not stated: one minute of cutting
        ("speed_m_min = 1.0", "speed_m_min = 0", [60.0 + 4] * 3),
        (
            '[factors.standoff]\nunit = "mm"',
            '[factors.speed]\nunit = "m/min"',
            [60 * 0.2 / v + 4 for v in (0.6, 1, 1.4)],
        ),
        (
            '[factors.standoff]\nunit = "mm"\nlevels = [0.6, 1.0, 1.4]',
            '[factors.speed]\nunit = "mm/min"\nlevels = [600, 1000, 1400]',
            [60 * 0.2 / v + 4 for v in (0.6, 1, 1.4)],
        ),
    ],
)
def test_seconds_of_gas_by_hand(old, new, by_hand):
    text = trial_text(sheets=1, specimens=2, types=2)
    if "factors.speed" in new:
        text = text.replace("[held]\nspeed_m_min = 1.0\n", "")
    trial = parse(text.replace(old, new))
    seconds = sorted(set(np.round(cut_seconds(trial, make_plan(trial).coupons), 9)))
    assert seconds == pytest.approx(sorted(set(by_hand)))


def test_gas_by_the_area_that_is_stated_and_the_pressure_that_is_held():
    text = trial_text(sheets=1, specimens=2, types=2)
    per_type = worked(text).gas_m3 / 2
    stated = text.replace("orifice_mm = 1.4", "orifice_mm = 1.4\nflow_area_mm2 = 3.0787608", 1)  # twice 1.4 mm round
    assert worked(stated).gas_m3 == pytest.approx(3 * per_type, rel=1e-7)
    only_area = stated.replace("orifice_mm = 1.4\nflow_area", "flow_area", 1)
    assert worked(only_area).gas_m3 == pytest.approx(3 * per_type, rel=1e-7)
    assert worked(text.replace("orifice_mm = 1.4\n", "", 1)).gas_m3 is None
    held = text.replace('[factors.pressure]\nunit = "bar"\nlevels = [0.5, 0.7, 0.9]', "")
    assert worked(held).gas_m3 is None
    found = worked(held.replace("[held]\n", "[held]\npressure_bar = 0.7\n"))
    flow = float(normal_volume_flow("oxygen", 0.7, math.pi * 1.4**2 / 4))
    assert found.gas_m3 == pytest.approx(found.coupons * flow * 16 / 3600)


def test_a_pressure_in_other_units_is_converted():
    text = trial_text(sheets=1, specimens=2, types=2)
    psi = text.replace('unit = "bar"\nlevels = [0.5, 0.7, 0.9]', 'unit = "psi"\nlevels = [7.2519, 10.1526, 13.0534]')
    # 1 bar is 14.5038 psi
    assert worked(psi).gas_m3 == pytest.approx(worked(text).gas_m3, rel=1e-4)


def coupons_in_order(nozzles, sheets=None):
    rows = {"nozzle": list(nozzles), "sheet": list(sheets or "S" * len(nozzles))}
    return pd.DataFrame(rows | {"order": range(1, len(nozzles) + 1)})


def test_types_that_lie_early_and_late_go_along_with_the_order():
    """Places 1 2 3 5 and 4 6 7 8: means 2.75 and 6.25 about 4.5 explain 1.75^2 of a variance of 63 / 12."""
    (found,) = types_along_sheets_and_order(coupons_in_order("aaababbb"))
    assert found.kind is PlanKind.TYPES_ALONG_ORDER
    assert found.facts["share"] == pytest.approx(1.75**2 / (63 / 12))
    assert types_along_sheets_and_order(coupons_in_order("abbabaab")) == ()
    assert types_along_sheets_and_order(coupons_in_order("aaaa")) == ()
    (after,) = types_along_sheets_and_order(coupons_in_order("aaaabbbb"))
    assert after.kind is PlanKind.TYPES_ONE_AFTER_OTHER
    assert types_along_sheets_and_order(coupons_in_order("abab", "STST"))[0].kind is PlanKind.TYPES_ON_OWN_SHEETS
