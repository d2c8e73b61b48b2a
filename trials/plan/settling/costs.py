"""What a plan costs before it is laid out: the same minutes and amounts as `trials.plan.assess.effort`, in closed form.

What `[costs]` leaves out is common practice, no source; every such figure is named beside the result.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.plan.assess.effort import SHEET_MINUTES, cut_seconds, gas_of_coupons, minutes_of
from trials.plan.layout import gap_mm, grid
from trials.plan.power import Minutes
from trials.plan.settings import allowed_settings
from trials.plan.settling.request import Bill, Candidate, Pattern
from trials.trial import Trial

USUAL = {"machine_hour": 120.0, "bench_hour": 55.0, "sheet_m2": 95.0, "gas_m3": 0.9}
"""Prices in the currency of the trial where none is stated: common practice, no source."""
Array = np.ndarray


@dataclass(frozen=True)
class Prices:
    """Prices and amounts behind a bill.

    seconds, gas_m3, nozzle: by type, of a coupon and of a piece; coupon_m2: of sheet; per_sheet: coupons that a sheet
    holds; bench_extra: coupons measured once more, as a number of readings a coupon.
    """

    machine_hour: float
    bench_hour: float
    sheet_m2: float
    gas_m3: float
    minutes: Minutes
    seconds: tuple[float, ...]
    gas: tuple[float, ...]
    nozzle: tuple[float, ...]
    coupon_m2: float
    per_sheet: int
    bench_extra: float

    def sheets(self, pattern: Pattern, specimens: Array) -> Array:
        """Fewest sheets (B,) that hold the plans with specimens (B, types), each mount whole on one of them."""
        mounts = specimens.sum(axis=1) * pattern.mounts
        each = self.per_sheet // pattern.coupons
        return np.ceil(mounts / max(each, 1)).astype(int) if each else np.full(len(specimens), 10**6)

    def hours(self, pattern: Pattern, specimens: Array) -> tuple[Array, Array]:
        """Hours at the machine and at the bench, (B,) each."""
        pieces = specimens.sum(axis=1)
        mounts = pieces * pattern.mounts
        coupons = mounts * pattern.coupons
        seconds = specimens @ np.array(self.seconds) * pattern.mounts * pattern.coupons
        machine = mounts * self.minutes.mount + self.sheets(pattern, specimens) * SHEET_MINUTES
        machine = machine + coupons * self.minutes.coupon + seconds / 60.0
        bench = coupons * (pattern.readings + self.bench_extra) * self.minutes.reading
        return machine / 60.0, bench / 60.0

    def money(self, pattern: Pattern, specimens: Array) -> Array:
        """Money (B,) for hours, sheet, gas and pieces."""
        machine, bench = self.hours(pattern, specimens)
        each = pattern.mounts * pattern.coupons
        coupons = specimens.sum(axis=1) * each
        gas = specimens @ np.array(self.gas) * each
        material = coupons * self.coupon_m2 * self.sheet_m2 + gas * self.gas_m3 + specimens @ np.array(self.nozzle)
        return np.asarray(machine * self.machine_hour + bench * self.bench_hour + material)

    def bill(self, candidate: Candidate) -> Bill:
        """The bill of one plan."""
        pattern = Pattern(candidate.mounts, candidate.coupons, candidate.repeats, candidate.readings)
        one = np.array([candidate.specimens])
        machine, bench = self.hours(pattern, one)
        return Bill(float(machine[0]), float(bench[0]), float(self.money(pattern, one)[0]))


def prices_of(trial: Trial) -> Prices:
    """Prices and amounts of a trial; gas and cutting time are the means over the settings that a type may be cut at."""
    gap, size, stated = gap_mm(trial), trial.coupon, trial.costs
    tables = [_settings_table(trial, kind) for kind in trial.types]
    seconds = [cut_seconds(trial, table) for table in tables]
    gas = [gas_of_coupons(trial, table, time) for table, time in zip(tables, seconds, strict=True)]
    known = {name: getattr(stated, name) for name in USUAL}
    rates = {name: usual if known[name] is None else float(known[name]) for name, usual in USUAL.items()}
    return Prices(
        **rates,
        minutes=minutes_of(trial),
        seconds=tuple(float(np.mean(time)) for time in seconds),
        gas=tuple(0.0 if amount is None else float(np.mean(amount)) for amount in gas),
        nozzle=tuple(nozzle.price or 0.0 for nozzle in trial.nozzles),
        coupon_m2=(size.length_mm + gap) * (size.width_mm + gap) / 1e6,
        per_sheet=len(grid(trial)),
        bench_extra=trial.bench.repeat_share,
    )


def unstated(trial: Trial) -> dict[str, float]:
    """Prices and minutes that the trial file leaves out, with the figures taken instead."""
    minutes, prices = minutes_of(trial), dict(USUAL)
    prices |= {f"{name}_minutes": getattr(minutes, name) for name in ("mount", "coupon", "reading")}
    return {name: figure for name, figure in prices.items() if getattr(trial.costs, name) is None}


def _settings_table(trial: Trial, kind: str) -> pd.DataFrame:
    rows = [
        {"nozzle": kind, **{trial.factor_column(name): level for name, level in setting.items()}}
        for setting in allowed_settings(trial, kind)
    ]
    return pd.DataFrame(rows)
