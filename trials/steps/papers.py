"""The papers of the cutting day, and what the verdict prints beside the study."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from trials.steps.assessing import plan_paper
from trials.steps.extending import ADDED, block_day, newest_block
from trials.steps.files import write_bytes
from trials.steps.grading import require_plan
from trials.steps.way import load
from trials.store.records.instruments import calibration_doubts, instruments
from trials.store.records.records import Records
from trials.words.findings import say

if TYPE_CHECKING:
    from trials.decide.study import Evidence


def run_sheet(folder: Path | str) -> list[Path]:
    """Write the papers of the cutting day into `papers` in the folder and name them.

    Run sheet, plan, bench card and labels (PDF), run and bench workbooks (XLSX), one drawing per sheet (DXF); dated
    with the day of the freeze, so that they come out the same each time. Of a trial that was extended: those of its
    newest block, in a folder of their own below `papers`, while the plan is judged with all blocks together.
    """
    from trials.report import documents
    from trials.store import workbooks as workbook

    whole = load(folder)
    day = block_day(whole) or frozen_day(whole)
    records = newest_block(whole)
    said = block_sentences(whole)
    trial, coupons = records.trial, records.coupons
    files = {
        "run-sheet.pdf": documents.run_sheet_pdf(
            trial, coupons, records.planned_mounts, records.planned_sheets, said, day
        ),
        "bench-card.pdf": documents.bench_card_pdf(trial, day),
        "labels.pdf": documents.labels_pdf(trial, coupons, day),
        "plan.pdf": plan_paper(whole, said, day),
        **sheet_drawings(records),
    }
    place = papers_folder(whole)
    for name, data in files.items():
        write_bytes(place / name, data)
    workbook.run_workbook(records, place / "run-workbook.xlsx")
    workbook.bench_workbook(records, place / "bench-workbook.xlsx")
    return [place / name for name in (*files, "run-workbook.xlsx", "bench-workbook.xlsx")]


def papers_folder(records: Records) -> Path:
    """Where the papers of the newest block lie: `papers`, or a folder in it for a block that was added later."""
    place = records.folder / "papers"
    if records.trial.plan.method == "adopted" or not len(records.coupons):
        return place
    newest = int(records.coupons["block"].max())
    return place if newest == 1 else place / f"block-{newest}"


def block_sentences(records: Records) -> list[str]:
    """What was said about the newest block when it was planned."""
    said: list[str] = []
    for row in records.journal.itertuples():
        if row.kind == ADDED:
            said = []
        elif row.kind == "plan":
            said.append(row.what)
    return said


def plan_sentences(records: Records) -> list[str]:
    """What was said about the plan when it was frozen."""
    return list(dict.fromkeys(row.what for row in records.journal.itertuples() if row.kind == "plan"))


def sheet_drawings(records: Records) -> dict[str, bytes]:
    """One drawing (DXF) per sheet with coupon outlines and marks; none for plans without positions."""
    if "x_mm" not in records.coupons:
        return {}
    from trials.plan.choose import Plan
    from trials.plan.sheet_map import dxf_drawing

    plan = Plan(records.coupons, records.planned_mounts, records.planned_sheets, ())
    names = records.planned_sheets["sheet"].tolist()
    return {f"sheet-{name}.dxf": dxf_drawing(plan, name, records.trial).encode() for name in names}


def frozen_day(records: Records) -> date:
    """Day the plan was frozen, printed on the papers so that they come out the same each time."""
    require_plan(records)
    return datetime.fromisoformat(records.frozen_at).date()


def verdict_extras(records: Records, found: Evidence) -> Any:
    """What the verdict prints beside the study: graded coupons, tables, amendments, how it was measured."""
    from trials.report.documents import VerdictExtras

    journal = records.journal
    return VerdictExtras(
        engineer=records.trial.trial.engineer,
        graded=found.grades,
        tables=found.tables,
        amendments=tuple(amendment_sentences(journal)),
        plan_sentences=tuple(plan_sentences(records)),
        freeze_hash=records.freeze_hash,
        bench_facts=tuple(bench_facts(records)),
    )


def amendment_sentences(journal: pd.DataFrame) -> list[str]:
    """Amendments and further blocks, one sentence each, with who and why."""
    rows = journal[journal["kind"].astype(str).str.startswith("amend") | (journal["kind"] == ADDED)]
    return [f"{row.what} ({row.who}: {row.why})" for row in rows.itertuples()]


def bench_facts(records: Records) -> list[str]:
    """How edges were measured, one sentence each."""
    facts = []
    rows = records.readings
    for column, words in (("instrument", "Instruments"), ("inspector", "Inspectors")):
        names = sorted({str(v) for v in rows[column] if str(v) not in ("", "nan")}) if column in rows else []
        if names:
            facts.append(f"{words}: {', '.join(names)}.")
    for column, words in (("cutoff_mm", "Cut-off"), ("depth_mm", "Depth of the roughness trace")):
        values = sorted(set(rows[column].dropna())) if column in rows else []
        if values:
            facts.append(f"{words}: {', '.join(f'{v:g}' for v in values)} mm.")
    known = instruments(records.folder)
    return [*facts, *(one.words() for one in known), *(say(doubt) for doubt in calibration_doubts(known, rows))]
