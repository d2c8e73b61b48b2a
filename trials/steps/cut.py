"""What was really cut goes into a trial: order, mounts, sheets, outcomes, changed settings."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from trials.errors import InputError
from trials.findings import Finding
from trials.steps.doubts import cut_doubts, refuse_cuts
from trials.store import intake, records
from trials.store.language import kept_word

READERS: Mapping[str, Callable[[Path, records.Records], intake.FileTable]] = {
    "cuts": intake.read_cuts,
    "mounts": intake.read_mounts,
    "sheets": intake.read_sheets,
}
MARKS = {"cuts": "coupon", "mounts": "mount", "sheets": "sheet"}


@dataclass(frozen=True)
class CutsKept:
    """What came in: cut records added, known before, and remarks."""

    added: int
    known: int
    remarks: tuple[Finding, ...]


def cut_as_planned(folder: Path | str, who: str = "") -> CutsKept:
    """Keep every coupon that has no cut record yet as cut, in planned order, on planned mounts and sheets.

    Raises
    ------
    InputError
        If the folder is no frozen trial.
    """
    done = records.record_as_planned(folder, who)
    return CutsKept(done.added, done.ignored, done.said)


def cut(
    folder: Path | str,
    files: Sequence[Path],
    who: str = "",
    at: datetime | None = None,
    dry_run: bool = False,
    as_written: bool = False,
) -> CutsKept:
    """Keep what was cut, from the filled run workbook or CSV files of cuts, mounts and sheets.

    at: moment of the entry; now if None. dry_run: everything is checked and counted, and nothing is kept; as_written:
    changed settings ten times the plan, or a tenth of it, were confirmed.

    Raises
    ------
    InputError
        If no file holds cuts, a file, a cell or the trial cannot be used, or a changed setting is far from the plan
        and was not confirmed. Nothing is written then.
    """
    known = records.load(folder)
    tables = _tables(known, files)
    if not as_written:
        refuse_cuts(cut_doubts(known, tables["cuts"]), tables["cuts"].file)
    done = records.record_cuts(folder, tables["cuts"], tables.get("mounts"), tables.get("sheets"), who, at, dry_run)
    return CutsKept(done.added, done.ignored, done.said)


def doubts(folder: Path | str, files: Sequence[Path]) -> tuple[Finding, ...]:
    """What to ask about the files before they are kept; raises InputError as `cut`."""
    known = records.load(folder)
    return tuple(doubt for doubt, _ in cut_doubts(known, _tables(known, files)["cuts"]))


def _tables(known: records.Records, files: Sequence[Path]) -> dict[str, intake.FileTable]:
    """Tables of cuts, mounts and sheets among the files; raises InputError where none holds cuts."""
    tables: dict[str, intake.FileTable] = {}
    for file in files:
        kinds = tuple(READERS) if Path(file).suffix.lower() == ".xlsx" else (_kind(file),)
        tables |= {kind: READERS[kind](Path(file), known) for kind in kinds}
    if "cuts" not in tables:
        raise InputError("no table of cuts among the files", do="Add the file whose columns are coupon, outcome, ...")
    return tables


def _kind(file: Path) -> str:
    """Which of the three a CSV file holds, by the mark in its header."""
    columns = [str(name) for name in intake.read_table(file).frame.columns]
    names = {kept_word(name).strip().lower() for name in columns}
    found = next((kind for kind, mark in MARKS.items() if mark in names), None)
    if found is None:
        raise InputError(
            "not a table of cuts, mounts or sheets",
            file=str(file),
            found=", ".join(columns),
            allowed="a column coupon, mount or sheet",
            do="Correct the header.",
        )
    return found
