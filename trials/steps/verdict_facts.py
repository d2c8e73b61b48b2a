"""What the verdict prints beside the study: grades, amendments, how the edges were measured."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any

import pandas as pd

from trials.steps.journal import ADDED, all_plan_findings, sentences
from trials.store.records.instruments import calibration_doubts, instruments
from trials.store.records.records import Records
from trials.words.bench import how_measured
from trials.words.findings import say

if TYPE_CHECKING:
    from trials.decide.study import Evidence


def verdict_extras(records: Records, found: Evidence) -> Any:
    """What the verdict prints beside the study: graded coupons, tables, amendments, how it was measured."""
    from trials.report.documents import VerdictExtras

    journal = records.journal
    return VerdictExtras(
        engineer=records.trial.trial.engineer,
        graded=found.grades,
        tables=found.tables,
        amendments=tuple(amendment_sentences(journal)),
        plan_sentences=tuple(sentences(all_plan_findings(records))),
        freeze_hash=records.freeze_hash,
        bench_facts=tuple(bench_facts(records)),
        days_cut=_days(records.cuts["cut_at"]),
        days_measured=_days(records.readings["measured_on"]),
        inspectors=tuple(sorted({str(name) for name in records.readings["inspector"].dropna() if name != ""})),
    )


def _days(written: pd.Series[str]) -> tuple[date, ...]:
    """First and last day among moments as typed; none where none can be read as a date."""
    known = pd.to_datetime(written.astype(str).str.slice(0, 10), errors="coerce", format="%Y-%m-%d").dropna()
    return (known.min().date(), known.max().date()) if len(known) else ()


def amendment_sentences(journal: pd.DataFrame) -> list[str]:
    """Amendments and further blocks, one sentence each, with who and why."""
    rows = journal[journal["kind"].astype(str).str.startswith("amend") | (journal["kind"] == ADDED)]
    return [f"{row.what} ({row.who}: {row.why})" for row in rows.itertuples()]


def bench_facts(records: Records) -> list[str]:
    """How edges were measured, one sentence each."""
    rows = records.readings

    def different(column: str) -> list[Any]:
        return sorted({value for value in rows[column].dropna() if value != ""}) if column in rows else []

    names = [different("instrument"), different("inspector"), different("cutoff_mm"), different("depth_mm")]
    known = instruments(records.folder)
    return [*how_measured(*names), *(one.words() for one in known), *map(say, calibration_doubts(known, rows))]
