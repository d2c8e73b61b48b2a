"""The shop's chart in words: cells, marks, what to stock, what is said beside it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.decide.chart import Cell, Chart, ChartKind, Job, LeftOut, Loss, Mark, Row, Said, Stock
from trials.infer.answer import Added, Answer
from trials.words.facts import as_row
from trials.words.language import plural, text
from trials.words.numbers import fixed, listed, percent, plain, with_unit
from trials.words.page_frame import day_words

if TYPE_CHECKING:
    from trials.findings import Finding


def job_name(job: Job) -> str:
    """A job as its row is called: `12 mm S235, oxygen`."""
    thickness = "" if job.thickness_mm is None else plain(job.thickness_mm, "mm")
    what = " ".join(part for part in (thickness, job.material) if part)
    return ", ".join(part for part in (what, job.gas) if part) or text("material not given")


def cell_word(cell: Cell | None) -> str:
    """The word of a cell; empty where nobody looked."""
    if cell is None:
        return ""
    if cell.today:
        return text("in use")
    words = list(dict.fromkeys(_answer(one) for one in cell.said))
    return " / ".join(words)


def _answer(one: Said) -> str:
    return {
        Answer.BETTER: text("better"),
        Answer.WORSE: text("worse"),
        Answer.SAME: text("same"),
        Answer.NOT_SETTLED: text("not settled"),
    }[one.answer]


def cell_gains(cell: Cell | None) -> list[str]:
    """What was gained or lost against the type in use, one line per decisive response that has figures."""
    return [] if cell is None else said_gains(cell.said)


def said_gains(said: Sequence[Said]) -> list[str]:
    """The sizes of some answers, those that have figures."""
    return [line for line in map(gain, said) if line]


def gain(one: Said) -> str:
    """The size of a difference: `Rz5 33 % lower`; empty where only the word was kept."""
    if one.value is None or one.kind is None or not math.isfinite(one.value):
        return ""
    name = text("clean speed") if one.response == "clean_speed" else one.symbol
    if one.kind == "ratio":
        size, lower = percent(abs(one.value - 1.0)), one.value < 1.0
    else:
        size, lower = with_unit(abs(one.value), one.unit, 2), one.value < 0.0
    said = (
        text("{name} {size} lower", name=name, size=size)
        if lower
        else text("{name} {size} higher", name=name, size=size)
    )
    return text("{size}, at least the worthwhile", size=said) if one.adds == Added.BY_AT_LEAST else said


def mark_words(mark: Mark) -> str:
    """Why a trial is to be read with care, as it stands in its row."""
    return {
        Mark.ANOTHER_MACHINE: text("another machine"),
        Mark.BEFORE_CALIBRATION: text("before the last calibration"),
        Mark.EXPLORATORY: text("exploratory"),
    }[mark]


def row_head(row: Row) -> tuple[str, ...]:
    """Title, day, machine and marks of the trial of a row."""
    machine = text("machine {name}", name=row.seen.machine) if row.seen.machine else ""
    marks = ", ".join(map(mark_words, row.marks))
    return row.seen.title, day_words(row.seen.day), machine, marks


def title(found: Chart) -> str:
    """Title of the chart."""
    return text("Which nozzle type for which job")


def lead(found: Chart) -> str:
    """What the chart rests on."""
    jobs = len({row.seen.job.key for row in found.rows})
    trials = plural("{n} trial", "{n} trials", len(found.rows))
    said = plural("{trials} of {n} job", "{trials} of {n} jobs", jobs, trials=trials)
    return text("{said}; machine {name}.", said=said, name=found.machine) if found.machine else f"{said}."


def reading_lines() -> list[str]:
    """How to read the chart."""
    return [
        text(
            "Each row is one trial, by its last kept verdict; each type is compared with the one in use there. Blank: "
            "nobody looked."
        ),
        text("Framed: no worse than the type in use in any decisive response, so it serves the job."),
    ]


def stock_sentences(found: Chart) -> tuple[str, ...]:
    """What to stock, and what it costs to leave one out."""
    if found.stock is None:
        return (text("No list of types to stock: too many types to look through, or no verdict."),)
    stock = found.stock
    return (_list_sentence(stock), *_best(stock), *(_left_out(each) for each in stock.left_out), *_as_short(stock))


def _list_sentence(stock: Stock) -> str:
    names = listed(stock.nozzles)
    said = plural(
        "{n} nozzle type serves every job: {names}.",
        "{n} nozzle types serve every job: {names}.",
        len(stock.nozzles),
        names=names,
    )
    if stock.price is None:
        return said
    price = f"{fixed(stock.price, 2)} {stock.currency}".strip()
    return text("{said} One of each: {price}.", said=said, price=price)


def _best(stock: Stock) -> tuple[str, ...]:
    by_type: dict[str, list[str]] = {}
    for job, name in stock.best:
        by_type.setdefault(name, []).append(job_name(job))
    return tuple(text("{nozzle} for {jobs}.", nozzle=name, jobs="; ".join(jobs)) for name, jobs in by_type.items())


def _left_out(each: LeftOut) -> str:
    if not each.losses:
        return text("Without {nozzle}: nothing is lost, the others run every job as well.", nozzle=each.nozzle)
    bare = [job_name(loss.job) for loss in each.losses if not loss.now]
    said = [text("nothing on the list is shown to serve {jobs}", jobs="; ".join(bare))] if bare else []
    said += [_loss(loss) for loss in each.losses if loss.now]
    return text("Without {nozzle}: {losses}.", nozzle=each.nozzle, losses="; ".join(said))


def _loss(loss: Loss) -> str:
    return text("{job} goes back from {was} to {now}", job=job_name(loss.job), was=loss.was, now=loss.now)


def _as_short(stock: Stock) -> tuple[str, ...]:
    if not stock.others:
        return ()
    lists = "; ".join(listed(names) for names in stock.others[:3])
    said = plural(
        "{n} other list is as short ({lists}); this one has most jobs on a better type, then the lowest price.",
        "{n} other lists are as short ({lists}); this one has most jobs on a better type, then the lowest price.",
        len(stock.others),
        lists=lists,
    )
    return (said,)


def _job(finding: Finding) -> Job:
    thickness = finding.facts["thickness_mm"]
    size = float(thickness) if isinstance(thickness, (int, float)) else None
    return Job(str(finding.facts["material"]), size, str(finding.facts["gas"]))


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    ChartKind.NO_VERDICT: lambda f: text(
        "{folder} holds no kept verdict, so it is not in the chart; make one with `trials verdict`.",
        folder=f.facts["folder"],
    ),
    ChartKind.SPELLED_TWICE: lambda f: text(
        "{names} differ only in case or spaces: one type or two? They stand as two; if they are one, spell them alike.",
        names=listed(f.about.nozzles),
    ),
    ChartKind.TWO_FORMS: lambda f: text(
        "{nozzle} is described differently in two trials (bore, wall, jets, plating, point or orifice): one type or "
        "two? It stands as one.",
        nozzle=f.about.nozzle,
    ),
    ChartKind.TRIALS_DISAGREE: lambda f: text(
        "Trials of one job differ on whether {nozzle} serves it; the list takes the newest, {folder}.",
        nozzle=f.about.nozzle,
        folder=f.facts["folder"],
    ),
    ChartKind.RESTS_ON_MARKED: lambda f: text(
        "For {job} the list rests on {folder}, which is marked: {marks}.",
        job=job_name(_job(f)),
        folder=f.facts["folder"],
        marks=", ".join(mark_words(Mark(str(mark))) for mark in as_row(f.facts["marks"])),
    ),
    ChartKind.NOT_POOLED: lambda f: text(
        "Trials of the same job stand one below the other; they are not pooled, since day, sheet and pieces differ."
    ),
}
