"""The papers of the cutting day: run sheet, plan, bench card, labels, workbooks and drawings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

from trials.findings import Finding
from trials.steps.extend import block_day, newest_block
from trials.steps.files import write_beside
from trials.steps.grade import require_plan
from trials.steps.journal import plan_findings
from trials.steps.load import load
from trials.steps.plan import plan_paper
from trials.store.language import papers_of, units_of
from trials.store.records.records import Records

RUN_BOOK, BENCH_BOOK = "run-workbook.xlsx", "bench-workbook.xlsx"


def run_sheet(folder: Path | str) -> list[Path]:
    """Write the papers of the cutting day into `papers` in the folder and name them.

    Run sheet, plan, bench card and labels (PDF), run and bench workbooks (XLSX), one drawing per sheet (DXF); dated
    with the day of the freeze, so that they come out the same each time. Of a trial that was extended: those of its
    newest block, in a folder of their own below `papers`, while the plan is judged with all blocks together. A paper
    that was filled in or changed stays as it is; the new one gets the next free name.
    """
    whole = load(folder)
    day = block_day(whole) or frozen_day(whole)
    records = newest_block(whole)
    said = plan_findings(whole)
    with papers_of(records.trial):
        files = _files(records, said, day)
    with units_of(records.trial):
        files["plan.pdf"] = plan_paper(whole, day)
    place = papers_folder(whole)
    return [write_beside(place / name, data) for name, data in files.items()]


def _files(records: Records, said: Sequence[Finding], day: date) -> dict[str, bytes]:
    """Papers of the newest block by name, in the current language."""
    from trials.report import documents
    from trials.store import workbooks as workbook

    trial, coupons = records.trial, records.coupons
    return {
        "run-sheet.pdf": documents.run_sheet_pdf(
            trial, coupons, records.planned_mounts, records.planned_sheets, said, day
        ),
        "bench-card.pdf": documents.bench_card_pdf(trial, day),
        "labels.pdf": documents.labels_pdf(trial, measuring_places(records), day),
        **sheet_drawings(records),
        RUN_BOOK: workbook.run_workbook(records),
        BENCH_BOOK: workbook.bench_workbook(records),
    }


def measuring_places(records: Records) -> list[tuple[str, int]]:
    """Coupon marks with their place in the order of measuring, each once, in that order."""
    from trials.store.workbooks import measuring_order

    order = enumerate(measuring_order(records), 1)
    return [(mark, place) for place, (mark, repeat) in order if repeat == 0]


def papers_folder(records: Records) -> Path:
    """Where the papers of the newest block lie: `papers`, or a folder in it for a block that was added later."""
    place = records.folder / "papers"
    if records.trial.plan.method == "adopted" or not len(records.coupons):
        return place
    newest = int(records.coupons["block"].max())
    return place if newest == 1 else place / f"block-{newest}"


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
