"""The whole way of a trial on invented data: planned, cut, measured, judged."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from trials.steps.files import write_new
from trials.steps.load import load
from trials.steps.plan import freeze, propose
from trials.steps.sheet import run_sheet
from trials.steps.verdict import verdict
from trials.store.records.folder import read_trial

if TYPE_CHECKING:
    from trials.steps.verdict import Verdict

MOMENT = datetime(2026, 1, 12, 8, tzinfo=UTC)
"""When the demo was cut and signed, so that its papers come out the same each time."""


class Stage(StrEnum):
    """Where a demo stands."""

    PLANNING = "planning"
    PAPERS = "papers"
    CUTS = "cuts"
    READINGS = "readings"
    VERDICT = "verdict"


def demo_trial(source: Path, folder: Path, tell: Callable[[Stage], None]) -> Verdict:
    """Run an example trial (its trial.toml and CSV files in `source`) through all steps into an empty folder.

    tell: called at the start of each stage.
    """
    from trials.store import intake
    from trials.store import records as store

    write_new(folder / "trial.toml", (source / "trial.toml").read_bytes())
    tell(Stage.PLANNING)
    freeze(folder, propose(read_trial(folder)[0]), MOMENT)
    tell(Stage.PAPERS)
    run_sheet(folder, MOMENT)
    tell(Stage.CUTS)
    records = load(folder)
    cuts = intake.read_cuts(source / "cuts.csv", records)
    mounts = intake.read_mounts(source / "mounts.csv", records)
    sheets = intake.read_sheets(source / "sheets.csv", records)
    store.record_cuts(folder, cuts, mounts, sheets, who="demo", at=MOMENT)
    tell(Stage.READINGS)
    readings = intake.read_bench(source / "readings.csv", load(folder)).readings
    store.record_readings(folder, readings, who="demo", at=MOMENT)
    tell(Stage.VERDICT)
    return verdict(folder, at=MOMENT)
