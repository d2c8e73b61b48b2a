"""The real order of measuring, as far as times or the places in the files tell it."""

from __future__ import annotations

import pandas as pd

CLOCK = len("2026-03-02")
"""A moment that is longer than this holds a time of day."""


def measured_places(rows: pd.DataFrame, coupons: pd.DataFrame) -> pd.Series | None:
    """Place of each reading in the order of measuring, 1 for the first, NaN where not known; None where none is.

    rows: readings of one response; coupons: `coupon, block`. A time of day decides where every reading has one; else
    the day, where every reading has one, then the block, then the place as recorded.
    """
    moments = rows["measured_on"].fillna("").astype(str)
    if len(rows) and (moments.str.len() > CLOCK).all():
        return moments.rank(method="dense")
    known = rows["measured_order"].notna()
    if not known.any():
        return None
    days = moments.str[:CLOCK] if (moments != "").all() else pd.Series("", index=rows.index)
    blocks = rows["coupon"].map(dict(zip(coupons["coupon"], coupons["block"], strict=True))).fillna(0)
    order = rows["measured_order"].astype("float64")
    keys = pd.Series(list(zip(days, blocks, order, strict=True)), index=rows.index, dtype=object)[known]
    ranks = {key: place for place, key in enumerate(sorted(set(keys)), 1)}
    return keys.map(ranks).astype("float64").reindex(rows.index)
