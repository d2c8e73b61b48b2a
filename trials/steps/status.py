"""Where a trial stands: what is done of each step, what is open, what comes next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from trials.findings import About, Fact, Finding
from trials.next_command import Before, Blank, Command, Next
from trials.record_kinds import RecordKind, Step
from trials.store import records
from trials.store.records import Records, Slip
from trials.trial import Method, Outcome

LOST = (Outcome.NOT_SEVERED, Outcome.ABORTED, Outcome.SCRAPPED, Outcome.NOT_CUT)


@dataclass(frozen=True)
class StepState:
    """How far one step is: done of so many (None before there is a plan), and what else there is to say of it.

    facts by step: plan `frozen_on` (empty before); cut the number of each outcome that left no edge to judge; measured
    `values`; verdict `up_to_date` (None before the first).
    """

    step: Step
    done: int
    of: int | None
    facts: Mapping[str, Fact] = field(default_factory=dict)


@dataclass(frozen=True)
class BlockState:
    """Coupons that were planned together. declared: whether they were announced before a look; None for the first."""

    block: int
    coupons: int
    cut: int
    added_on: str
    declared: bool | None
    who: str
    why: str


@dataclass(frozen=True)
class Status:
    """Where a trial stands. open: what is still missing; retired: specimens that are never planned again."""

    title: str
    steps: tuple[StepState, ...]
    open: tuple[Finding, ...]
    blocks: tuple[BlockState, ...]
    next: Next
    retired: tuple[Finding, ...] = ()


def status(folder: Path | str) -> Status:
    """Where the trial in a folder stands.

    Raises
    ------
    InputError
        If the folder is no trial folder, its database is damaged, or its question changed without an amendment.
    """
    found = records.load(folder)
    title = found.trial.trial.title
    if not found.frozen:
        begin = StepState(Step.PLAN, 0, None, {"frozen_on": ""})
        return Status(title, (begin,), (), (), Next(Command("plan", (str(folder),))))
    seen = _seen(found)
    return Status(title, _steps(seen), _open(seen), _blocks(found), _next(seen), _retired(found))


@dataclass(frozen=True)
class _Seen:
    """What the next step is decided by; unmeasured: marks of cut coupons without readings; look: kept ones, and
    whether the newest is at the records as they stand; standing: readings as `records.standing` gives them;
    readings_open: by response."""

    records: Records
    table: pd.DataFrame
    cut: int
    measurable: int
    unmeasured: tuple[str, ...]
    slips: tuple[Slip, ...]
    look: int
    current: bool
    standing: pd.DataFrame
    readings_open: tuple[Finding, ...]


def _seen(found: Records) -> _Seen:
    from trials.steps.looks import kept_paper_is_current, look_number

    table = records.coupon_table(found)
    measurable = table.loc[table["outcome"] == Outcome.CUT, "coupon"]
    standing = records.standing(found.all_readings)
    without = tuple(measurable[~measurable.isin(standing["coupon"].unique())])
    look = look_number(found)
    cut = int((table["outcome"] != records.NOT_CUT).sum())
    slips = tuple(records.open_slips(found))
    missing = _readings_open(found, standing, tuple(measurable)) if cut else ()
    current = kept_paper_is_current(found, look)
    return _Seen(found, table, cut, len(measurable), without, slips, look, current, standing, missing)


def _steps(seen: _Seen) -> tuple[StepState, ...]:
    found, planned = seen.records, len(seen.table)
    counts = seen.table["outcome"].value_counts()
    lost: dict[str, Fact] = {kind.value: int(counts[kind]) for kind in LOST if counts.get(kind)}
    values: dict[str, Fact] = {"values": len(found.readings)}
    verdict: dict[str, Fact] = {"up_to_date": seen.current if len(found.looks) else None}
    return (
        StepState(Step.PLAN, planned, planned, {"frozen_on": found.frozen_at[:10]}),
        StepState(Step.CUT, seen.cut, planned, lost),
        StepState(Step.MEASURED, seen.measurable - len(seen.unmeasured), seen.measurable, values),
        StepState(Step.VERDICT, len(found.looks), found.trial.plan.looks, verdict),
    )


def _open(seen: _Seen) -> tuple[Finding, ...]:
    found = []
    uncut = len(seen.table) - seen.cut
    if uncut:
        found.append(Finding(RecordKind.COUPONS_OPEN, facts={"coupons": uncut}))
    if seen.cut and seen.unmeasured:
        found.append(Finding(RecordKind.WITHOUT_READINGS, About(coupons=seen.unmeasured)))
    doubts = records.calibration_doubts(records.instruments(seen.records.folder), seen.records.readings)
    return (*found, *seen.readings_open, *_repeats_open(seen), *(slip.finding for slip in seen.slips), *doubts)


def _readings_open(found: Records, standing: pd.DataFrame, marks: tuple[str, ...]) -> tuple[Finding, ...]:
    """Readings that the plan asks for and nobody took, by response; what could not be measured is not open."""
    if found.trial.plan.method in (Method.LIFE, Method.BENCH, Method.ADOPTED):
        return ()
    return _missing(found, standing, marks, RecordKind.READINGS_OPEN)


def _repeats_open(seen: _Seen) -> tuple[Finding, ...]:
    """Blind repeats that are in the order of measuring and nobody took, by response, once one of them was."""
    rows = seen.records.readings
    taken = rows.loc[rows["repeat"] == 1, "coupon"]
    if taken.empty:
        return ()
    from trials.store.workbooks import repeat_order

    again = tuple(repeat_order(seen.records))
    if not taken.isin(again).any():
        return ()
    return _missing(seen.records, seen.standing, again, RecordKind.REPEATS_OPEN)


def _missing(found: Records, standing: pd.DataFrame, marks: tuple[str, ...], kind: RecordKind) -> tuple[Finding, ...]:
    rows = standing[["coupon", "reading", "repeat", "field"]]
    rows = rows[(rows["repeat"] == int(kind is RecordKind.REPEATS_OPEN)) & rows["coupon"].isin(marks)]
    said = []
    for name, asked in found.trial.responses.items():
        quantity = found.trial.quantity(name)
        if kind is RecordKind.REPEATS_OPEN and quantity.taken_off:
            continue
        each = 1 if quantity.per_coupon else asked.readings
        mine = rows[(rows["field"] == quantity.column) & (rows["reading"] <= each)]
        wanted = each * len(marks)
        open_ = wanted - len(mine.drop_duplicates(["coupon", "reading"]))
        if open_:
            said.append(Finding(kind, About(response=quantity.short), {"open": open_, "wanted": wanted}))
    return tuple(said)


def _retired(found: Records) -> tuple[Finding, ...]:
    gone = records.retired(found)
    return tuple(
        Finding(
            RecordKind.SPECIMEN_RETIRED,
            facts={"specimen": one.specimen, "nozzle": one.nozzle, "who": one.who, "why": one.why},
        )
        for one in gone
    )


def _blocks(found: Records) -> tuple[BlockState, ...]:
    if found.trial.plan.method == Method.ADOPTED:
        return ()
    added = {each.payload["block"]: each for each in records.entries(found.journal, records.JournalKind.BLOCK_ADDED)}
    done = set(found.cuts["coupon"])
    blocks = []
    for number, rows in found.coupons.groupby("block"):
        entry, cut = added.get(number), int(rows["coupon"].isin(done).sum())
        facts = (None, "", "") if entry is None else (bool(entry.payload["declared"]), entry.who, entry.why)
        day = (entry.at if entry else found.frozen_at)[:10]
        blocks.append(BlockState(int(str(number)), len(rows), cut, day, *facts))
    return tuple(blocks)


def _next(seen: _Seen) -> Next:
    found, folder = seen.records, str(seen.records.folder)
    newest = seen.table["block"] == seen.table["block"].max()
    if (seen.table.loc[newest, "outcome"] == records.NOT_CUT).all():
        return _before_cutting(found)
    method = found.trial.plan.method
    if seen.cut < len(seen.table):
        as_planned = None if method == Method.LADDER else Command("cut", (folder, "--as-planned"))
        return Next(Command("cut", (folder, Blank.FILE)), instead=as_planned)
    if seen.unmeasured or seen.readings_open:
        return _before_measuring(found)
    if seen.slips:
        return _look_again(folder, seen.slips[0])
    if method in (Method.LIFE, Method.BENCH):
        return Next(Command(method.value, (folder,)))
    if not seen.current:
        return Next(Command("verdict", (folder,)))
    return _read_verdict(found, seen.look)


def _before_cutting(found: Records) -> Next:
    from trials.steps.sheet import papers_folder

    folder, papers = str(found.folder), papers_folder(found)
    if not (papers / "run-sheet.pdf").is_file():
        return Next(Command("sheet", (folder,)))
    return Next(Command("cut", (folder, str(papers / "run-workbook.xlsx"))), before=Before.CUT)


def _before_measuring(found: Records) -> Next:
    """The bench workbook while nobody took a reading and it lies where it was made; else any file."""
    from trials.steps.sheet import BENCH, BENCH_BOOK, papers_folder

    folder, book = str(found.folder), papers_folder(found) / BENCH / BENCH_BOOK
    if found.readings.empty and book.is_file():
        return Next(Command("record", (folder, str(book))), before=Before.MEASURE)
    return Next(Command("record", (folder, Blank.FILE)))


def _look_again(folder: str, slip: Slip) -> Next:
    named = ("--who", Blank.NAME, "--why", Blank.REASON)
    mark, repeat = (slip.seen_as, 0) if slip.seen_as else (slip.coupon, slip.repeat)
    place = ("--reading", str(slip.reading), *(("--repeat", str(repeat)) if repeat else ()))
    command = Command("correct", (folder, mark, slip.field, Blank.VALUE, *place, *named))
    instead = Command("correct", (folder, mark, "--as-read", *named))
    return Next(command, before=Before.LOOK, coupon=mark, instead=instead)


def _read_verdict(found: Records, look: int) -> Next:
    from trials.steps.verdict import verdict_path

    return Next(Command("fit", (str(found.folder),)), open=str(verdict_path(found.folder, look)))
