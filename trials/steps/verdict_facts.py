"""What the verdict prints beside the study: grades, amendments, how the edges were measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

import pandas as pd

from trials.findings import Finding
from trials.steps.journal import all_plan_findings, changes_after_freezing
from trials.store.records.instruments import calibration_doubts, instruments
from trials.store.records.records import Records
from trials.words.bench import how_measured
from trials.words.findings import say

if TYPE_CHECKING:
    from trials.decide.evidence import Evidence
    from trials.report.documents import VerdictExtras
    from trials.report.life_first import LifeTrial


def verdict_extras(records: Records, found: Evidence, kept_words: tuple[Finding, ...] = ()) -> VerdictExtras:
    """What the verdict prints beside the study: graded coupons, tables, what changed, how it was measured."""
    return replace(recorded_extras(records), graded=found.grades, tables=found.tables, kept_words=kept_words)


def recorded_extras(records: Records) -> VerdictExtras:
    """What the records tell beside any study: what changed, how it was measured, by whom and when."""
    from trials.report.documents import VerdictExtras

    return VerdictExtras(
        engineer=records.trial.trial.engineer,
        changes=changes_after_freezing(records),
        planned=all_plan_findings(records),
        freeze_hash=records.freeze_hash,
        head=records.head,
        bench_facts=tuple(bench_facts(records)),
        days_cut=_days(records.cuts["cut_at"]),
        days_measured=_days(records.readings["measured_on"]),
        inspectors=tuple(sorted({str(name) for name in records.readings["inspector"].dropna() if name != ""})),
    )


def life_trial(records: Records, specimens: Sequence[str]) -> LifeTrial:
    """The trial behind lives on record, as their paper prints it; specimens: those whose lives were studied."""
    from trials.decide.lives_advice import told_by_trial
    from trials.report.life_first import LifeTrial

    return LifeTrial(records.trial, recorded_extras(records), told_by_trial(records.trial, specimens))


def _days(written: pd.Series[str]) -> tuple[date, ...]:
    """First and last day among moments as typed; none where none can be read as a date."""
    known = pd.to_datetime(written.astype(str).str.slice(0, 10), errors="coerce", format="%Y-%m-%d").dropna()
    return (known.min().date(), known.max().date()) if len(known) else ()


def bench_facts(records: Records) -> list[str]:
    """How edges were measured, one sentence each."""
    rows = records.readings

    def different(column: str) -> list[Any]:
        return sorted({value for value in rows[column].dropna() if value != ""}) if column in rows else []

    names = [different("instrument"), different("inspector"), different("cutoff_mm"), different("depth_mm")]
    known = instruments(records.folder)
    return [*how_measured(*names), *(one.words() for one in known), *map(say, calibration_doubts(known, rows))]
