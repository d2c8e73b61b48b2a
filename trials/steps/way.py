"""The way of a trial: load, propose, freeze, gather the evidence, fit."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from trials.errors import InputError
from trials.steps.extending import begun
from trials.steps.grading import grade, require_plan
from trials.store.records import database
from trials.store.records.as_cut import analysis_table, coupon_table, departures
from trials.store.records.fingerprint import fingerprint as digest
from trials.store.records.fingerprint import look_of
from trials.store.records.records import Records
from trials.store.records.slips import open_slips
from trials.trial import Trial

if TYPE_CHECKING:
    from trials.decide.results import Study
    from trials.decide.study import Evidence
    from trials.plan.choose import Plan

Progress = Callable[[int, int], None]


def load(folder: Path | str) -> Records:
    """Everything recorded about the trial in a folder; raises InputError where it is no trial folder."""
    return database.load(folder)


def propose(trial: Trial, progress: Progress | None = None) -> Plan:
    """Coupons that answer the trial's question, not written anywhere yet."""
    from trials.plan.choose import make_plan

    return make_plan(trial, progress)


def freeze(folder: Path | str, plan: Plan, at: datetime | None = None) -> Records:
    """Freeze question and plan of a trial folder; from here on changes need `trials amend`."""
    tables = {"coupons": plan.coupons, "mounts": plan.mounts, "sheets": plan.sheets}
    return database.freeze(folder, tables, plan.said, at)


def evidence(records: Records) -> Evidence:
    """What was recorded, ready to be studied."""
    from trials.decide.study import Evidence
    from trials.plan.choose import confounded
    from trials.words.findings import say

    require_plan(records)
    trial = records.trial
    tables = {}
    for name in trial.responses:
        table = analysis_table(records, name)
        if len(table):
            tables[name] = table
    if not tables:
        raise InputError(
            "no readings are recorded yet", file=str(records.folder), do="Record some with `trials record`."
        )
    adopted = trial.plan.method == "adopted"
    return Evidence(
        tables=tables,
        coupons=coupon_table(records),
        grades=grade(records),
        allowed=allowed_settings(records),
        departures=tuple(say(found) for found in departures(records)),
        confounded=() if adopted else tuple(confounded(trial)),
        open_slips=tuple(say(slip.finding) for slip in open_slips(records)),
        look=look_number(records),
    )


def allowed_settings(records: Records) -> dict[str, list[tuple[float | str, ...]]]:
    """Planned settings of each nozzle type, as tuples in the order of the factors."""
    columns = list(records.factor_columns.values())
    found: dict[str, list[tuple[float | str, ...]]] = {}
    for nozzle, rows in records.coupons.groupby("nozzle", sort=False):
        settings = list(dict.fromkeys(rows[columns].itertuples(index=False, name=None)))
        found[str(nozzle)] = settings
    return found


def fit(folder: Path | str) -> Study:
    """Study a trial folder: every response, the words, the checks."""
    from trials.decide.study import study

    records = load(folder)
    return study(records.trial, evidence(records))


def fingerprint(records: Records) -> str:
    """SHA-256 of what was recorded; two looks at the same records are one look.

    A block that was added but of which nothing is cut yet is not part of it.
    """
    return digest(begun(records))


def look_number(records: Records) -> int:
    """Which look at the data this is: that of an earlier verdict on the same records, or the next one."""
    return look_of(begun(records)) or len(records.looks) + 1
