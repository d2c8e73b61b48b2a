"""Blind repeats: a coupon goes to the bench again under a second mark, which does not tell which one it is."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import numpy as np
from sqlalchemy import insert

from trials.plan.layout import coupon_marks
from trials.record_kinds import JournalKind
from trials.store.records import schema
from trials.store.records.entry import writing
from trials.store.records.folder import stamp
from trials.store.records.journal import write_journal

STREAM = 3
"""Stream of the trial's seed for second marks: plan and measuring order have others, so none tells of another."""


def draw_marks(folder: Path | str, coupons: Sequence[str], at: datetime | None = None) -> None:
    """Draw second marks for coupons (marks) that have none, unlike every mark of the trial, and keep them.

    Raises
    ------
    InputError
        If the folder is no frozen trial, or cannot be written to.
    Infeasible
        If there are not enough marks.
    """
    moment = stamp(at)
    with writing(folder) as (connection, records):
        taken = [*records.coupons["coupon"], *records.repeat_marks]
        missing = [coupon for coupon in coupons if coupon not in set(records.repeat_marks.values())]
        if not missing:
            return
        rng = np.random.default_rng([records.trial.plan.seed, STREAM, len(records.repeat_marks)])
        marks = coupon_marks(len(missing), rng, taken)
        rows = [{"mark": mark, "coupon": coupon} for mark, coupon in zip(marks, missing, strict=True)]
        connection.execute(insert(schema.repeat_marks), rows)
        write_journal(connection, moment, "", JournalKind.REPEAT_MARKS, {"coupons": len(missing)})
