"""Whether nozzle types can be told apart from the sheets they are cut on and from the order of cutting."""

from __future__ import annotations

import numpy as np
import pandas as pd

from trials.findings import Finding, Weight
from trials.plan.kinds import PlanKind

Array = np.ndarray
MUCH = 0.5
"""Share of the order of cutting that types may explain before it is said (own choice)."""


def dummies(labels: Array) -> Array:
    """One column (n, levels) of zeros and ones for each label, in the order of appearance."""
    return np.asarray(np.asarray(labels)[:, None] == np.array(list(dict.fromkeys(labels)), dtype=object), dtype=float)


def rank(columns: Array) -> int:
    """Number of columns that are not combinations of others."""
    return int(np.linalg.matrix_rank(columns))


def types_on_own_sheets(nozzle: Array, sheet: Array) -> bool:
    """True where some types meet others on no chain of sheets."""
    types, sheets = dummies(nozzle), dummies(sheet)
    return bool(rank(np.hstack([types, sheets])) < types.shape[1] + sheets.shape[1] - 1)


def types_along_sheets_and_order(coupons: pd.DataFrame) -> tuple[Finding, ...]:
    """Nozzle type with sheet and with the order of cutting; empty where all can be told apart."""
    nozzle = coupons["nozzle"].to_numpy(object)
    if len(set(nozzle)) < 2:
        return ()
    found = []
    if types_on_own_sheets(nozzle, coupons["sheet"].to_numpy(object)):
        found.append(Finding(PlanKind.TYPES_ON_OWN_SHEETS, weight=Weight.COULD_CHANGE))
    span = coupons.groupby("nozzle")["order"].agg(["min", "max"]).sort_values("min")
    if (span["min"].to_numpy()[1:] > span["max"].to_numpy()[:-1]).all():
        found.append(Finding(PlanKind.TYPES_ONE_AFTER_OTHER, weight=Weight.COULD_CHANGE))
        return tuple(found)
    order, types = coupons["order"].to_numpy(float), dummies(nozzle)
    share = float(np.var(types @ np.linalg.lstsq(types, order, rcond=None)[0]) / np.var(order))
    if share > MUCH:
        found.append(Finding(PlanKind.TYPES_ALONG_ORDER, facts={"share": share}, weight=Weight.LOOK_AT))
    return tuple(found)
