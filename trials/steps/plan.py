"""Choosing the coupons of a trial and freezing them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from trials.store.records import database
from trials.store.records.records import Records
from trials.trial import Trial

if TYPE_CHECKING:
    from trials.plan.choose import Plan

Progress = Callable[[int, int], None]


def propose(trial: Trial, progress: Progress | None = None) -> Plan:
    """Coupons that answer the trial's question, not written anywhere yet."""
    from trials.plan.choose import make_plan

    return make_plan(trial, progress)


def freeze(folder: Path | str, plan: Plan, at: datetime | None = None) -> Records:
    """Freeze question and plan of a trial folder; from here on changes need `trials amend`."""
    tables = {"coupons": plan.coupons, "mounts": plan.mounts, "sheets": plan.sheets}
    return database.freeze(folder, tables, plan.said, at)
