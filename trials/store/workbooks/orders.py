"""In which order the bench measures, and what it measures again: random, each from a stream of its own."""

from __future__ import annotations

import numpy as np

from trials.responses import Quantity
from trials.store.records.records import Records
from trials.store.records.rules import OUTCOMES
from trials.store.records.second_marks import second_marks
from trials.trial import Method

STREAM, AGAIN_STREAM = 2, 4
"""Streams of the trial's seed: the first lays out the plan, the third draws second marks; none tells of another."""
LATER = 0.25
"""The last coupons, this share of all, are not measured again: those that are lie some way back by then."""


def measuring_order(records: Records) -> list[str]:
    """Marks of the coupons in random order, each once; those on record as lost are left out."""
    rng = np.random.default_rng([records.trial.plan.seed, STREAM])
    marks = sorted(records.coupons["coupon"])
    order = [marks[i] for i in rng.permutation(len(marks))]
    lost = set(records.cuts.loc[records.cuts["outcome"].isin(OUTCOMES[1:]), "coupon"])
    return [mark for mark in order if mark not in lost]


def repeat_order(records: Records) -> list[str]:
    """Marks of the coupons that are measured again, evenly spaced over the first measurement, in a new random order.

    None where nothing that the trial measures can be measured again.
    """
    order, share = measuring_order(records), records.trial.bench.repeat_share
    if not repeatable(records):
        return []
    count = len(order)
    wanted = min(round(share * count) or int(share > 0), count)
    early = max(1, count - max(1, round(LATER * count)))
    chosen = [order[place] for place in sorted({int((i + 0.5) * early / max(wanted, 1)) for i in range(wanted)})]
    rng = np.random.default_rng([records.trial.plan.seed, AGAIN_STREAM])
    rank = dict(zip(sorted(records.coupons["coupon"]), rng.permutation(len(records.coupons)), strict=True))
    return sorted(chosen, key=rank.__getitem__)


def repeatable(records: Records) -> list[Quantity]:
    """What can be measured a second time on the same edge: no dross, which is off by then, and no lives."""
    if records.trial.plan.method is Method.LIFE:
        return []
    asked = [records.trial.quantity(name) for name in records.trial.responses]
    return [quantity for quantity in asked if not quantity.taken_off]


def labelled(records: Records) -> list[tuple[str, str]]:
    """(second mark, coupon) of what is measured again, in that order; the coupon's own mark where none was drawn."""
    second = second_marks(records)
    return [(second.get(coupon, coupon), coupon) for coupon in repeat_order(records)]


def edges_to_measure(records: Records) -> dict[str, str]:
    """Coupon -> the edge to measure; empty for a plan without a layout."""
    if "edge" not in records.coupons:
        return {}
    coupons = records.coupons
    return {str(mark): str(edge) for mark, edge in zip(coupons["coupon"], coupons["edge"], strict=True) if edge}
