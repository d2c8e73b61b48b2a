"""Coupons cut outside the planned settings: near ones are used, far ones left out, by a stated rule.

The model has squares and products of the settings, so a coupon far outside would bend it everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from trials.findings import About, Fact, Finding, Weight
from trials.record_kinds import RecordKind
from trials.store.records.records import Records
from trials.trial import Method

FAR = 0.5
"""A coupon further outside than this share of the planned span of a setting is left out (the project's own rule)."""


@dataclass(frozen=True)
class Outside:
    """One setting of one coupon outside the planned settings from low to high; far: the coupon is left out."""

    coupon: str
    column: str
    value: float
    low: float
    high: float
    far: bool

    @property
    def finding(self) -> Finding:
        """The same as a departure from the plan."""
        kind = RecordKind.OUTSIDE_LEFT_OUT if self.far else RecordKind.OUTSIDE_USED
        facts: dict[str, Fact] = {"column": self.column, "now": self.value, "low": self.low, "high": self.high}
        return Finding(kind, About(coupons=(self.coupon,)), facts, Weight.LOOK_AT)


def outside_plan(records: Records, coupons: pd.DataFrame) -> tuple[Outside, ...]:
    """Settings as cut (`coupons`, as `coupon_table` gives them) that no planned coupon reaches.

    The planned span of a setting is that of all planned coupons, those added later among them. A ladder is climbed
    until the cut is unclean and an adopted table had no plan: neither has an outside.
    """
    if records.trial.plan.method in (Method.LADDER, Method.ADOPTED):
        return ()
    found = []
    for name, column in records.factor_columns.items():
        if records.trial.factors[name].is_text or not len(coupons):
            continue
        planned = records.coupons[column].astype(float)
        low, high = float(planned.min()), float(planned.max())
        slack = 1e-9 * max(abs(low), abs(high), 1.0)
        for coupon, value in zip(coupons["coupon"], coupons[column].astype(float), strict=True):
            beyond = max(low - value, value - high)
            if beyond > slack:
                far = beyond > FAR * (high - low) + slack
                found.append(Outside(str(coupon), column, float(value), low, high, far))
    return tuple(found)


def left_out(records: Records, coupons: pd.DataFrame) -> set[str]:
    """Marks of the coupons that are too far outside to be used."""
    return {one.coupon for one in outside_plan(records, coupons) if one.far}
