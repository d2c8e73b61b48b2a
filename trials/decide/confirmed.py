"""Whether coupons cut to confirm a best fell within the limits that were kept when they were planned."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from trials.decide.kinds import StudyKind
from trials.decide.prepare import NOZZLE, on_scale
from trials.findings import Amount, Finding, Weight
from trials.trial import Trial


def confirmed(
    trial: Trial, promised: Sequence[tuple[int, Finding]], tables: Mapping[str, pd.DataFrame]
) -> tuple[Finding, ...]:
    """One finding for each set of limits whose coupons have readings.

    promised: number of the block and its limits (facts low, high, coupons); tables: by response, as-cut readings with
    `block`. The mean is that of the coupons' means on the model's scale, as the limits were found.
    """
    found = []
    for block, limits in promised:
        name, label = limits.about.response, limits.about.nozzle
        table = tables.get(name)
        if table is None or not len(own := table[(table["block"] == block) & (table[NOZZLE] == label)]):
            continue
        quantity = trial.quantity(name)
        scaled = pd.Series(on_scale(own["value"].to_numpy(float), quantity), index=own.index)
        means = scaled.groupby(own["coupon"]).mean().to_numpy()
        mean = math.exp(np.mean(means)) if quantity.scale == "log" else float(np.mean(means))
        low, high = limits.facts["low"], limits.facts["high"]
        if not isinstance(low, Amount) or not isinstance(high, Amount):
            continue
        inside = low.value <= mean <= high.value
        facts = {**limits.facts, "block": block, "measured": len(means), "mean": Amount(mean, quantity.unit)}
        kind = StudyKind.BEST_CONFIRMED if inside else StudyKind.BEST_NOT_CONFIRMED
        weight = Weight.NOTHING_FOUND if inside else Weight.COULD_CHANGE
        found.append(Finding(kind, limits.about, facts, weight))
    return tuple(found)
