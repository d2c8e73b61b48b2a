"""All trials of a shop side by side: which nozzle type serves which job, and the shortest list of types to stock."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import combinations
from math import comb

from trials.findings import About, Fact, Finding, Weight
from trials.infer.answer import Added, Answer

SERVES = (Answer.BETTER, Answer.SAME)
"""A type serves a job as well as today's where every decisive answer is one of these."""
MOST_LISTS = 2_000_000  # lists of one length that are looked through; a shop of 40 types and 6 needed has 3,838,380


class ChartKind(StrEnum):
    """What is said beside a chart."""

    NO_VERDICT = "chart_no_verdict"
    SPELLED_TWICE = "chart_spelled_twice"
    TWO_FORMS = "chart_two_forms"
    TRIALS_DISAGREE = "chart_trials_disagree"
    RESTS_ON_MARKED = "chart_rests_on_marked"
    NOT_POOLED = "chart_not_pooled"


class Mark(StrEnum):
    """Why a trial is to be read with care."""

    ANOTHER_MACHINE = "another machine"
    BEFORE_CALIBRATION = "before calibration"
    EXPLORATORY = "exploratory"


@dataclass(frozen=True)
class Job:
    """What is cut: material, thickness in mm (None where it is not one), gas, as written."""

    material: str
    thickness_mm: float | None
    gas: str

    @property
    def key(self) -> tuple[str, float, str]:
        """The job whatever its spelling; thicknesses in order."""
        return _squeezed(self.material), self.thickness_mm or 0.0, _squeezed(self.gas)


def _squeezed(name: str) -> str:
    return "".join(name.casefold().split())


@dataclass(frozen=True)
class Said:
    """One decisive answer of a kept verdict. kind, value, low, high: None where only the word was kept."""

    response: str
    symbol: str
    unit: str
    answer: Answer
    adds: Added | None = None
    kind: str | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    times_worthwhile: float | None = None


@dataclass(frozen=True)
class Seen:
    """One trial with its last kept verdict.

    today: the type it compared with; forms: what each type is made of, None where unknown; said: decisive answers by
    type; before_calibration: it was measured before an instrument's latest calibration.
    """

    folder: str
    title: str
    job: Job
    machine: str
    day: date
    today: str
    forms: Mapping[str, tuple[object, ...]]
    prices: Mapping[str, float | None]
    said: Mapping[str, tuple[Said, ...]]
    currency: str = ""
    exploratory: bool = False
    before_calibration: bool = False


@dataclass(frozen=True)
class Cell:
    """One type in one trial: today's, or its answers; serves: shown to be no worse than what is used."""

    nozzle: str
    today: bool
    said: tuple[Said, ...]
    serves: bool


@dataclass(frozen=True)
class Row:
    """One trial of the chart; cells in the order of its types, None where the trial did not look."""

    seen: Seen
    marks: tuple[Mark, ...]
    cells: tuple[Cell | None, ...]


@dataclass(frozen=True)
class Loss:
    """What one job loses with a type: served by `was`, then by `now`; empty where nothing on the list serves it."""

    job: Job
    was: str
    now: str


@dataclass(frozen=True)
class LeftOut:
    """What it costs to leave one type of the list out."""

    nozzle: str
    losses: tuple[Loss, ...]


@dataclass(frozen=True)
class Stock:
    """The shortest list of types that serves every job.

    price: of one piece each, None where one is not known; others: lists as short, in their order, with fewer jobs
    served by a better type, or dearer, or later in the chart; best: for each job the type of the list to run.
    """

    nozzles: tuple[str, ...]
    price: float | None
    others: tuple[tuple[str, ...], ...]
    left_out: tuple[LeftOut, ...]
    best: tuple[tuple[Job, str], ...]
    currency: str = ""


@dataclass(frozen=True)
class Chart:
    """All trials of a shop: rows by job, thinnest first, newest trial of a job first; types across; what to stock."""

    types: tuple[str, ...]
    rows: tuple[Row, ...]
    machine: str
    stock: Stock | None
    said: tuple[Finding, ...]


def make_chart(trials: Sequence[Seen], machine: str = "", without: Sequence[str] = ()) -> Chart:
    """Set the trials of a shop beside each other; nothing is pooled.

    machine: the one the chart is for, that of the newest trial if empty; without: folders that hold no kept verdict.
    """
    order = sorted(trials, key=lambda seen: (seen.job.key, -seen.day.toordinal()))
    newest_first = sorted(trials, key=lambda seen: -seen.day.toordinal())
    chosen = machine or next((seen.machine for seen in newest_first if seen.machine), "")
    types = tuple(dict.fromkeys(name for seen in trials for name in (seen.today, *seen.forms)))
    rows = tuple(_row(seen, types, chosen) for seen in order)
    said = [Finding(ChartKind.NO_VERDICT, facts={"folder": name}, weight=Weight.LOOK_AT) for name in without]
    said += [*_spelled_twice(types), *_two_forms(types, trials), *_disagree(rows), *_marked(rows)]
    if len({seen.job.key for seen in trials}) < len(trials):
        said.append(Finding(ChartKind.NOT_POOLED))
    return Chart(types, rows, chosen, _stock(rows, types), tuple(said))


def _row(seen: Seen, types: Sequence[str], machine: str) -> Row:
    other = bool(seen.machine and machine) and _squeezed(seen.machine) != _squeezed(machine)
    marks = (
        (Mark.ANOTHER_MACHINE, other),
        (Mark.BEFORE_CALIBRATION, seen.before_calibration),
        (Mark.EXPLORATORY, seen.exploratory),
    )
    return Row(seen, tuple(mark for mark, so in marks if so), tuple(_cell(seen, name) for name in types))


def _cell(seen: Seen, nozzle: str) -> Cell | None:
    if nozzle == seen.today:
        return Cell(nozzle, True, (), True)
    said = seen.said.get(nozzle, ())
    return Cell(nozzle, False, said, all(one.answer in SERVES for one in said)) if said else None


def _spelled_twice(types: Sequence[str]) -> Iterator[Finding]:
    """Names that differ only in case or spaces: one type or two is for the reader to say."""
    first: dict[str, str] = {}
    for name in types:
        known = first.setdefault(_squeezed(name), name)
        if known != name:
            yield Finding(ChartKind.SPELLED_TWICE, About(nozzles=(known, name)), weight=Weight.COULD_CHANGE)


def _two_forms(types: Sequence[str], trials: Sequence[Seen]) -> Iterator[Finding]:
    """One name for types that are made otherwise in two trials; what a trial does not say is no difference."""
    for name in types:
        forms = [seen.forms[name] for seen in trials if name in seen.forms]
        parts = (set(part) - {None} for part in zip(*forms, strict=True))
        if any(len(part) > 1 for part in parts):
            yield Finding(ChartKind.TWO_FORMS, About(nozzle=name), weight=Weight.COULD_CHANGE)


def _by_job(rows: Sequence[Row]) -> dict[tuple[str, float, str], list[Row]]:
    found: dict[tuple[str, float, str], list[Row]] = {}
    for row in rows:
        found.setdefault(row.seen.job.key, []).append(row)
    return found


def _disagree(rows: Sequence[Row]) -> Iterator[Finding]:
    """A type that serves a job by one trial and not by another: the newest counts."""
    for group in _by_job(rows).values():
        for cells in zip(*(row.cells for row in group), strict=True):
            known = [(row, cell) for row, cell in zip(group, cells, strict=True) if cell is not None]
            if len({cell.serves for _, cell in known}) > 1:
                newest, cell = known[0]
                facts = {"folder": newest.seen.folder}
                yield Finding(ChartKind.TRIALS_DISAGREE, About(nozzle=cell.nozzle), facts, Weight.COULD_CHANGE)


def _marked(rows: Sequence[Row]) -> Iterator[Finding]:
    """Jobs whose newest trial is to be read with care."""
    for newest in (group[0] for group in _by_job(rows).values()):
        if newest.marks:
            job = newest.seen.job
            facts: dict[str, Fact] = {"material": job.material, "thickness_mm": job.thickness_mm, "gas": job.gas}
            facts["folder"] = newest.seen.folder
            facts["marks"] = tuple(mark.value for mark in newest.marks)
            yield Finding(ChartKind.RESTS_ON_MARKED, facts=facts, weight=Weight.LOOK_AT)


@dataclass(frozen=True)
class _Served:
    """One job: how good each type that serves it is, in worthwhile differences; 0 for today's and the same."""

    job: Job
    gain: Mapping[str, float]

    def best(self, stocked: Sequence[str]) -> str:
        """The type of a list to run; empty where none serves; of equals the first of the chart."""
        able = [name for name in self.gain if name in stocked]
        return max(able, key=lambda name: self.gain[name], default="")


def _served(rows: Sequence[Row]) -> list[_Served]:
    """By job the newest word on each type."""
    found = []
    for group in _by_job(rows).values():
        newest: dict[str, Cell] = {}
        for row in group:  # newest first
            for cell in row.cells:
                if cell is not None:
                    newest.setdefault(cell.nozzle, cell)
        gain = {name: _gain(cell) for name, cell in newest.items() if cell.serves}
        found.append(_Served(group[0].seen.job, gain))
    return found


def _gain(cell: Cell) -> float:
    better = [one.times_worthwhile or 1.0 for one in cell.said if one.answer == Answer.BETTER]
    return max(better, default=0.0)


def _stock(rows: Sequence[Row], types: Sequence[str]) -> Stock | None:
    """The shortest list; None without a trial, or where too many lists would have to be looked through."""
    served = _served(rows)
    lists = shortest_lists([set(job.gain) for job in served], types) if served else ()
    if not lists:
        return None
    prices = _prices(rows)

    def rank(names: tuple[str, ...]) -> tuple[int, float]:
        better = sum(job.gain[job.best(names)] > 0 for job in served)
        return -better, sum(prices.get(name) or 0.0 for name in names)

    first, *others = sorted(lists, key=rank)
    known = [prices.get(name) for name in first]
    total = [price for price in known if price is not None]
    currencies = {row.seen.currency for row in rows}
    return Stock(
        nozzles=first,
        price=sum(total) if len(total) == len(known) and len(currencies) == 1 else None,
        others=tuple(others),
        left_out=tuple(LeftOut(name, _losses(name, first, served)) for name in first),
        best=tuple((job.job, job.best(first)) for job in served),
        currency=next(iter(currencies)) if len(currencies) == 1 else "",
    )


def _prices(rows: Sequence[Row]) -> dict[str, float]:
    """The newest price of each type."""
    newest = sorted(rows, key=lambda row: row.seen.day)
    return {name: price for row in newest for name, price in row.seen.prices.items() if price is not None}


def _losses(nozzle: str, names: Sequence[str], served: Sequence[_Served]) -> tuple[Loss, ...]:
    rest = [name for name in names if name != nozzle]
    found = ((job.job, job.best(names), job.best(rest)) for job in served)
    return tuple(Loss(job, was, now) for job, was, now in found if was == nozzle)


def shortest_lists(able: Sequence[set[str]], types: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """Every shortest list of types of which each job finds one that is able; in the order of the types.

    An exact set cover by enumeration: a type that is a job's only one is taken first, the rest by length. Empty where a
    job has none, or more than `MOST_LISTS` lists of one length would have to be looked through.

    >>> shortest_lists([{"a", "b"}, {"b", "c"}, {"c"}], ["a", "b", "c"])
    (('a', 'c'), ('b', 'c'))
    """
    if not all(able):
        return ()
    needed = {name for job in able if len(job) == 1 for name in job}
    open_jobs = [job for job in able if not job & needed]
    rest = [name for name in types if name not in needed and any(name in job for job in open_jobs)]
    for length in range(len(rest) + 1):
        if comb(len(rest), length) > MOST_LISTS:
            return ()
        found = []
        for chosen in combinations(rest, length):
            if all(job & set(chosen) for job in open_jobs):
                found.append(tuple(name for name in types if name in needed or name in chosen))
        if found:
            return tuple(found)
    return ()
