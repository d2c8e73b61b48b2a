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
from trials.store import workbooks as workbook
from trials.store.language import papers_of, units_of
from trials.store.records import draw_marks, second_marks
from trials.store.records.records import Records

RUN_BOOK, BENCH_BOOK, REPEATS_BOOK = "run-workbook.xlsx", "bench-workbook.xlsx", "repeats-workbook.xlsx"
BENCH = "bench"
"""Folder of the papers that go to the bench: nothing in it names a nozzle type or a setting."""


def run_sheet(folder: Path | str, at: datetime | None = None) -> list[Path]:
    """Write the papers of the cutting day into `papers` in the folder, those of the bench into `papers/bench`.

    Run sheet, plan and labels of the blind repeats (PDF), run workbook (XLSX), one drawing per sheet (DXF); for the
    bench its card and labels (PDF), its workbook and that of the repeats (XLSX). Dated with the day of the freeze, so
    that they come out the same each time. Of a trial that was extended: those of its newest block, in a folder of
    their own below `papers`, while the plan is judged with all blocks together. A paper that was filled in or changed
    stays as it is; the new one gets the next free name.

    Coupons that are measured again and have no second mark yet get one, which is kept; at: the moment of that entry.
    """
    whole = _with_second_marks(folder, at)
    day = block_day(whole) or frozen_day(whole)
    records = newest_block(whole)
    said = plan_findings(whole)
    with papers_of(records.trial):
        files = _run_files(records, said, day) | _bench_files(records, day)
    with units_of(records.trial):
        files["plan.pdf"] = plan_paper(whole, day)
    place = papers_folder(whole)
    return [write_beside(place / name, data) for name, data in files.items()]


def _with_second_marks(folder: Path | str, at: datetime | None) -> Records:
    """The records, once every coupon that is measured again has a second mark."""
    found = load(folder)
    require_plan(found)
    again = workbook.repeat_order(newest_block(found))
    if set(again) <= set(second_marks(found)):
        return found
    draw_marks(folder, again, at)
    return load(folder)


def _run_files(records: Records, said: Sequence[Finding], day: date) -> dict[str, bytes]:
    """Papers of the newest block for the machine and the engineer by name, in the current language."""
    from trials.report import documents

    trial, coupons = records.trial, records.coupons
    files = {
        "run-sheet.pdf": documents.run_sheet_pdf(
            trial, coupons, records.planned_mounts, records.planned_sheets, said, day
        ),
        **sheet_drawings(records),
        RUN_BOOK: workbook.run_workbook(records),
    }
    hidden = [pair for pair in workbook.labelled(records) if pair[0] != pair[1]]
    return files | ({"repeat-labels.pdf": documents.repeat_labels_pdf(trial, hidden, day)} if hidden else {})


def _bench_files(records: Records, day: date) -> dict[str, bytes]:
    """Papers of the newest block for the bench by name, in the current language."""
    from trials.report import documents

    trial, repeats = records.trial, workbook.repeats_workbook(records)
    files = {
        "bench-card.pdf": documents.bench_card_pdf(trial, day, *bench_lists(records)),
        "labels.pdf": documents.labels_pdf(trial, measuring_places(records), day),
        BENCH_BOOK: workbook.bench_workbook(records),
        **({} if repeats is None else {REPEATS_BOOK: repeats}),
    }
    return {f"{BENCH}/{name}": data for name, data in files.items()}


def measuring_places(records: Records) -> list[tuple[str, int]]:
    """Coupon marks with their place in the order of measuring, each once, in that order."""
    return [(mark, place) for place, mark in enumerate(workbook.measuring_order(records), 1)]


def bench_lists(records: Records) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    """(mark, edge to measure) of the coupons in the order of measuring, and of the repeats in theirs."""
    edges = workbook.edges_to_measure(records)
    first = [(mark, edges.get(mark, "")) for mark in workbook.measuring_order(records)]
    return first, [(mark, edges.get(coupon, "")) for mark, coupon in workbook.labelled(records)]


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
