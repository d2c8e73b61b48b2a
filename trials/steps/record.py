"""Readings from the bench go into a trial."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

from trials.findings import Finding
from trials.store import intake, records
from trials.store.question import TOML, read_question
from trials.store.records.marks_on_file import marks_on_file
from trials.store.tables import FileCells

LONG = 10_000
"""Rows of a file that are looked through as fast as the libraries of tables and databases are loaded."""


@dataclass(frozen=True)
class ReadingsKept:
    """What one file of readings brought: values added, values known before, remarks, and what to look at again."""

    added: int
    known: int
    remarks: tuple[Finding, ...]
    doubts: tuple[Finding, ...]
    slips: tuple[Finding, ...]


def record(
    folder: Path | str, file: Path | str, who: str = "", at: datetime | None = None, dry_run: bool = False
) -> ReadingsKept:
    """Keep readings from the bench workbook, a CSV file or (`-`) standard input. Nothing on record is changed.

    at: moment of the entry; now if None. dry_run: everything is checked and counted, and nothing is kept.

    Raises
    ------
    InputError
        If the file, a cell or the trial cannot be used. Nothing is written then.
    """
    cells = _cells_of(folder, file)  # first: naming `read_bench` loads what it needs
    found = intake.read_bench(cells, records.load(folder))
    done = records.record_readings(folder, found.readings, who, at=at, dry_run=dry_run, again=found.again)
    known = records.instruments(folder)
    doubts = records.calibration_doubts(known, records.load(folder).readings) if known else ()
    return ReadingsKept(done.added, done.ignored, done.said, doubts, tuple(slip.finding for slip in done.slips))


def _cells_of(folder: Path | str, file: Path | str) -> FileCells | Path | str:
    """The cells of a file, looked through before the records are loaded, and the libraries that they need.

    A long file is not, since that takes longer than the libraries. The file itself where the folder has no question:
    loading says what is wrong, or brings it back.
    """
    question = Path(folder) / TOML
    if not question.is_file():
        return file
    trial, _ = read_question(question)
    cells = intake.bench_cells(file)
    if len(cells.numbers) <= LONG:
        intake.refuse_bad_cells(cells, trial, partial(marks_on_file, Path(folder)))
    return cells
