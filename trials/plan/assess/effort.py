"""What a plan costs in time, sheet, gas and nozzle changes, before anything is cut.

The times are common practice, no source; each is said beside the figure it leads to.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from trials.findings import Amount, Fact, Finding
from trials.gas import normal_volume_flow
from trials.plan.kinds import PlanKind
from trials.plan.layout import gap_mm
from trials.plan.power import Minutes
from trials.trial import Trial
from trials.units import factor

if TYPE_CHECKING:
    from trials.plan.choose import Plan

PIERCE_S = 4.0  # common practice, no source: pierce, flow before and after the cut
SHEET_MINUTES = 20.0  # common practice, no source: unload, load, find the edge


@dataclass(frozen=True)
class Effort:
    """Work and material of a plan, and what the figures assume.

    gas_m3 at 0 C and 1.013 bar, an upper figure, None where pressure, gas or orifice is not stated; minutes and
    sheet_minutes: common practice, no source; speed_m_min: of the cut, None where one minute a coupon was taken;
    places: readings on a coupon; repeat_share: coupons measured once more.
    """

    coupons: int
    mounts: int
    nozzle_changes: int
    sheets: int
    sheet_area_m2: float
    cut_length_m: float
    machine_minutes: float
    bench_minutes: float
    gas_m3: float | None
    minutes: Minutes
    sheet_minutes: float
    speed_m_min: float | None
    places: int
    repeat_share: float

    def assumptions(self) -> tuple[Finding, ...]:
        """What the figures rest on, as findings."""
        facts: dict[str, Fact] = {
            "mount": Amount(self.minutes.mount, "min"),
            "sheet": Amount(self.sheet_minutes, "min"),
            "coupon": Amount(self.minutes.coupon, "min"),
            "reading": Amount(self.minutes.reading, "min"),
            "speed": None if self.speed_m_min is None else Amount(self.speed_m_min, "m_min"),
            "places": self.places,
            "repeat_share": self.repeat_share,
        }
        times = Finding(PlanKind.EFFORT_TIMES, facts=facts)
        return (times,) if self.gas_m3 is None else (times, Finding(PlanKind.EFFORT_GAS))


def effort(trial: Trial, plan: Plan, minutes: Minutes | None = None) -> Effort:
    """Time, sheet, gas and nozzle changes of a plan; see `Effort.assumptions`."""
    cost = minutes or minutes_of(trial)
    size, gap, n = trial.coupon, gap_mm(trial), len(plan.coupons)
    length_m = 2.0 * (size.length_mm + size.width_mm) / 1000.0
    places = max(asked.readings for asked in trial.responses.values())
    specimens = plan.mounts.sort_values("order")["specimen"].to_list()
    changes = 1 + sum(a != b for a, b in zip(specimens, specimens[1:], strict=False))
    seconds = cut_seconds(trial, plan.coupons)
    machine = len(plan.mounts) * cost.mount + len(plan.sheets) * SHEET_MINUTES + n * cost.coupon + seconds.sum() / 60.0
    return Effort(
        coupons=n,
        mounts=len(plan.mounts),
        nozzle_changes=changes,
        sheets=len(plan.sheets),
        sheet_area_m2=n * (size.length_mm + gap) * (size.width_mm + gap) / 1e6,
        cut_length_m=n * length_m,
        machine_minutes=float(machine),
        bench_minutes=n * places * cost.reading * (1.0 + trial.bench.repeat_share / places),
        gas_m3=_gas_m3(trial, plan.coupons, seconds),
        minutes=cost,
        sheet_minutes=SHEET_MINUTES,
        speed_m_min=_speed(trial),
        places=places,
        repeat_share=trial.bench.repeat_share,
    )


def _speed(trial: Trial) -> float | None:
    speed = trial.held.get("speed_m_min")
    return float(speed) if isinstance(speed, (int, float)) and speed > 0 else None


def minutes_of(trial: Trial) -> Minutes:
    """Minutes per mount, coupon and reading as `[costs]` states them, else common practice."""
    stated, usual = trial.costs, Minutes()
    return Minutes(
        usual.mount if stated.mount_minutes is None else stated.mount_minutes,
        usual.coupon if stated.coupon_minutes is None else stated.coupon_minutes,
        usual.reading if stated.reading_minutes is None else stated.reading_minutes,
    )


def cut_seconds(trial: Trial, coupons: pd.DataFrame) -> np.ndarray:
    """Gas-on time of each coupon, s."""
    length_m = 2.0 * (trial.coupon.length_mm + trial.coupon.width_mm) / 1000.0
    if "speed" in trial.factors and not trial.factors["speed"].is_text:
        scale = factor(trial.factors["speed"].unit, "m_min") or 1.0
        speed = coupons[trial.factor_column("speed")].to_numpy(float) * scale
    else:
        speed = np.full(len(coupons), _speed(trial) or length_m)
    return np.asarray(PIERCE_S + 60.0 * length_m / np.maximum(speed, 1e-9))


def _gas_m3(trial: Trial, coupons: pd.DataFrame, seconds: np.ndarray) -> float | None:
    each = gas_of_coupons(trial, coupons, seconds)
    return None if each is None else float(np.sum(each))


def gas_of_coupons(trial: Trial, coupons: pd.DataFrame, seconds: np.ndarray) -> np.ndarray | None:
    """Gas of each coupon, m3 at 0 C and 1.013 bar; None where pressure, gas or orifice is not stated."""
    bar = _pressure_bar(trial, coupons)
    areas = {n.type: n.flow_area_mm2 or (n.orifice_mm and math.pi * n.orifice_mm**2 / 4) for n in trial.nozzles}
    if bar is None or not trial.application.gas or None in areas.values():
        return None
    area = coupons["nozzle"].map(areas).to_numpy(float)
    return np.asarray(normal_volume_flow(trial.application.gas, bar, area) * seconds / 3600.0)


def _pressure_bar(trial: Trial, coupons: pd.DataFrame) -> np.ndarray | None:
    if "pressure" in trial.factors and not trial.factors["pressure"].is_text:
        scale = factor(trial.factors["pressure"].unit, "bar")
        return None if scale is None else coupons[trial.factor_column("pressure")].to_numpy(float) * scale
    held = trial.held.get("pressure_bar")
    return np.full(len(coupons), float(held)) if isinstance(held, (int, float)) else None
