"""What a plan costs in time, sheet, gas and nozzle changes, before anything is cut.

The times are common practice, no source; each is said beside the figure it leads to.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.gas import normal_volume_flow
from trials.plan.choose import Plan
from trials.plan.layout import gap_mm
from trials.plan.power import Minutes, percent
from trials.trial import Trial
from trials.units import factor

PIERCE_S = 4.0  # common practice, no source: pierce, flow before and after the cut
SHEET_MINUTES = 20.0  # common practice, no source: unload, load, find the edge


@dataclass(frozen=True)
class Effort:
    """Work and material of a plan; gas_m3 at 0 C and 1.013 bar, None where pressure, gas or orifice is not stated."""

    coupons: int
    mounts: int
    nozzle_changes: int
    sheets: int
    sheet_area_m2: float
    cut_length_m: float
    machine_minutes: float
    bench_minutes: float
    gas_m3: float | None
    assumptions: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """All of it in one line."""
        gas = "" if self.gas_m3 is None else f", at most {self.gas_m3:.1f} m3 of gas"
        changes = "1 nozzle change" if self.nozzle_changes == 1 else f"{self.nozzle_changes} nozzle changes"
        return (
            f"About {self.machine_minutes / 60:.1f} h at the machine and {self.bench_minutes / 60:.1f} h at the bench; "
            f"{changes}, {self.sheet_area_m2:.2f} m2 of sheet{gas}."
        )


def effort(trial: Trial, plan: Plan, minutes: Minutes | None = None) -> Effort:
    """Time, sheet, gas and nozzle changes of a plan; see the assumptions in the result."""
    cost = minutes or Minutes()
    size, gap, n = trial.coupon, gap_mm(trial), len(plan.coupons)
    length_m = 2.0 * (size.length_mm + size.width_mm) / 1000.0
    places = max(asked.readings for asked in trial.responses.values())
    specimens = plan.mounts.sort_values("order")["specimen"].to_list()
    changes = 1 + sum(a != b for a, b in zip(specimens, specimens[1:], strict=False))
    seconds = _cut_seconds(trial, plan.coupons, length_m)
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
        assumptions=_assumptions(trial, cost, places),
    )


def _assumptions(trial: Trial, cost: Minutes, places: int) -> tuple[str, ...]:
    speed = _speed(trial)
    cut = f"a cut at {speed:g} m/min" if speed else "a cut of one minute (no speed is stated)"
    return (
        f"Common practice, no source: {cost.mount:g} min a mount (change, centring, height calibration, bore check), "
        f"{SHEET_MINUTES:g} min a sheet, {cost.coupon:g} min a coupon to pierce, pick up and mark beside {cut}, "
        f"{cost.reading:g} min a reading at {places} places of a coupon, {percent(trial.bench.repeat_share)} of the "
        "coupons measured once more.",
        "Gas by isentropic flow through the stated flow area without losses, so the figure is an upper one.",
    )


def _speed(trial: Trial) -> float | None:
    speed = trial.held.get("speed_m_min")
    return float(speed) if isinstance(speed, (int, float)) and speed > 0 else None


def _cut_seconds(trial: Trial, coupons: pd.DataFrame, length_m: float) -> np.ndarray:
    """Gas-on time of each coupon, s."""
    if "speed" in trial.factors and not trial.factors["speed"].is_text:
        scale = factor(trial.factors["speed"].unit, "m_min") or 1.0
        speed = coupons[trial.factor_column("speed")].to_numpy(float) * scale
    else:
        speed = np.full(len(coupons), _speed(trial) or length_m)
    return PIERCE_S + 60.0 * length_m / np.maximum(speed, 1e-9)


def _gas_m3(trial: Trial, coupons: pd.DataFrame, seconds: np.ndarray) -> float | None:
    bar = _pressure_bar(trial, coupons)
    areas = {n.type: n.flow_area_mm2 or (n.orifice_mm and math.pi * n.orifice_mm**2 / 4) for n in trial.nozzles}
    if bar is None or not trial.application.gas or None in areas.values():
        return None
    area = coupons["nozzle"].map(areas).to_numpy(float)
    return float(np.sum(normal_volume_flow(trial.application.gas, bar, area) * seconds) / 3600.0)


def _pressure_bar(trial: Trial, coupons: pd.DataFrame) -> np.ndarray | None:
    if "pressure" in trial.factors and not trial.factors["pressure"].is_text:
        scale = factor(trial.factors["pressure"].unit, "bar")
        return None if scale is None else coupons[trial.factor_column("pressure")].to_numpy(float) * scale
    held = trial.held.get("pressure_bar")
    return np.full(len(coupons), float(held)) if isinstance(held, (int, float)) else None
