"""The last pages of a verdict: grades, departures, settings, how it was judged, cautions; the foot of each page."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from importlib import metadata
from typing import Any

import pandas as pd

from trials.decide.results import Study
from trials.grade.kinds import Meets
from trials.grade.reasons import counted
from trials.report import blocks as b
from trials.report.counts import Counts, counts, failed_words
from trials.report.extras import VerdictExtras
from trials.standards import edition, roughness_ranges, squareness_ranges
from trials.trial import Method, Outcome, Trial
from trials.words import columns
from trials.words.findings import say
from trials.words.grade import reasons_counted
from trials.words.language import text, word
from trials.words.numbers import bare, in_groups
from trials.words.page_frame import day_words
from trials.words.plan import limit_words
from trials.words.system import shown_unit


def program() -> str:
    """Name and version of this package."""
    try:
        return f"nozzle-trials {metadata.version('nozzle-trials')}"
    except metadata.PackageNotFoundError:
        return "nozzle-trials"


def grades_section(graded: pd.DataFrame | None, trial: Trial) -> dict[str, Any]:
    """Grades by nozzle type with lost coupons, and every reason for not meeting the requirement."""
    title = text("Grades of the coupons")
    if graded is None or graded.empty:
        return b.section(title, [])
    items = [(column, head) for column, head in _items() if _graded(graded, column)]
    found = counts(graded, trial.types)
    counted_in, shown = _counted_columns(found), _judged_columns(found)
    rows = [
        _grade_row(each, graded[graded["nozzle"] == each.nozzle], counted_in + shown, [column for column, _ in items])
        for each in found
    ]
    names = [text("Nozzle type"), *(head for head, _, _ in counted_in + shown), *(head for _, head in items)]
    widths = (1.7, *(width for _, width, _ in counted_in + shown), *(1.6 for _ in items))
    right = [1 + k for k, (_, _, cell) in enumerate(counted_in + shown) if cell is not failed_words]
    reasons = counted(graded.loc[graded["meets"] != Meets.YES, "reasons"])
    return b.section(
        title,
        [
            b.table(names, rows, right, widths),
            b.words(_columns_note(found, [column for column, _ in items])),
            b.columns(reasons_counted(known, n) for known, n in reasons),
        ],
    )


Column = tuple[str, float, Callable[[Counts], str]]


def _counted_columns(found: Sequence[Counts]) -> list[Column]:
    """Head, width and cell of each column on what became of the coupons that were planned."""
    uncut: list[Column] = [(text("Not cut"), 0.55, lambda c: str(c.uncut))]
    return [
        (text("Planned"), 0.95, lambda c: str(c.planned)),
        *(uncut if any(c.uncut for c in found) else []),
        (text("Lost"), 0.6, lambda c: str(c.lost)),
        (text("Cut"), 0.55, lambda c: str(c.cut)),
    ]


def _judged_columns(found: Sequence[Counts]) -> list[Column]:
    """Head, width and cell of each column on what became of the coupons that were cut; only those that say anything."""
    judged: list[Column] = [
        (text("Met"), 0.6, lambda c: str(c.met)),
        (text("Too near to say"), 0.9, lambda c: str(c.undecided)),
        (text("Failed"), 1.6, failed_words),
    ]
    open_still: list[Column] = [(text("Not judged"), 0.9, lambda c: str(c.not_judged))]
    any_judged = any(c.cut > c.not_judged for c in found)
    return (judged if any_judged else []) + (open_still if any(c.not_judged for c in found) else [])


def _columns_note(found: Sequence[Counts], items: Sequence[str]) -> str:
    """What the columns of the grades count, of those that are there."""
    said = []
    if any(c.cut > c.not_judged for c in found):
        said.append(
            text("Of the coupons that were cut: met, too near a limit to say, failed (one coupon can fail several).")
        )
    if any(c.not_judged for c in found):
        said.append(text("Not judged: nothing was required of the coupon, or it was not measured."))
    if items:
        said.append(text("By range or grade: that range or grade, then its number of cut coupons."))
    if any(column.endswith("_range") for column in items):
        said.append(text("“worse” is worse than the last range."))
    return " ".join(said)


def _items() -> list[tuple[str, str]]:
    """Column of each item that is graded, and its head."""
    return [
        ("roughness_range", text("Rz5, by range")),
        ("squareness_range", text("u, by range")),
        ("dross_grade", text("Dross, by grade")),
    ]


def _graded(graded: pd.DataFrame, column: str) -> bool:
    """Whether any coupon has a range or grade of an item."""
    return column in graded and bool((pd.to_numeric(graded[column], errors="coerce").fillna(-1) != -1).any())


def _grade_row(found: Counts, part: pd.DataFrame, shown: Sequence[Column], columns: Sequence[str]) -> list[str]:
    edges = part[part["outcome"] == Outcome.CUT]
    ranges = {0: text("worse"), -1: text("not graded")}
    return [
        found.nozzle,
        *(cell(found) for _, _, cell in shown),
        *(_tally(edges, column, {-1: text("not graded")} if column == "dross_grade" else ranges) for column in columns),
    ]


def _tally(part: pd.DataFrame, column: str, names: Mapping[int, str]) -> str:
    values = pd.to_numeric(part[column], errors="coerce").fillna(-1).astype(int)
    found = values.value_counts()
    order = sorted(found.index, key=lambda grade: (grade == -1, grade in names, grade))
    return ", ".join(f"{names.get(grade, str(grade))}:\u00a0{found[grade]}" for grade in order)


def departures_section(study: Study, extras: VerdictExtras, trial: Trial) -> dict[str, Any]:
    """What was cut otherwise than planned, and what was changed after the plan was frozen."""
    changed = [text("Changed after freezing: {change}", change=say(change)) for change in extras.changes]
    found = [*map(say, study.departures), *changed]
    planned = trial.plan.method != Method.ADOPTED
    as_planned = text("Cut as planned: no departure was recorded.")
    unplanned = text("Cut without a plan of this tool: there is none to depart from.")
    none = "" if found else as_planned if planned else unplanned
    return b.section(
        text("Departures from the plan"), [b.words(none), b.columns(found) if len(found) > 3 else b.listed(found)]
    )


def held_rows(trial: Trial) -> list[tuple[str, str]]:
    """Settings kept constant, as (name, value with unit), units taken from the end of the key."""
    return [(columns.split(key)[0], columns.amount(key, value)) for key, value in trial.held.items()]


def settings_section(trial: Trial) -> dict[str, Any]:
    """Settings that were held, varied, and not allowed."""
    kept = "; ".join(f"{name} {value}" for name, value in held_rows(trial))
    varied = "; ".join(
        f"{b.setting(name, '')}: {', '.join(bare(level, f.unit) for level in f.levels)} {shown_unit(f.unit)}".strip()
        for name, f in trial.factors.items()
    )
    limits = "; ".join(limit_words(limit, trial.units) for limit in trial.plan.limits)
    unknown = text("Held settings were not recorded in the trial file.")
    lines = [text("Held: {settings}.", settings=kept) if kept else unknown]
    lines += [text("Varied: {settings}.", settings=varied)] if varied else []
    lines += [text("Not allowed in this trial: {limits}.", limits=limits)] if limits else []
    return b.section(text("Settings"), [b.words(*lines)])


def judged_section(trial: Trial, extras: VerdictExtras) -> dict[str, Any]:
    """By which rule and figures coupons were judged, and how they were measured."""
    statuses = sorted({row.status for row in (*roughness_ranges(), *squareness_ranges())})
    known = [
        text(
            "Expanded uncertainty of {column}: {value} (k = 2).",
            column=columns.split(key)[0],
            value=columns.amount(key, value),
        )
        for key, value in trial.bench.uncertainty.items()
    ]
    unknown = text("No measurement uncertainty was given: values were compared with the limits as read.")
    ranges = text(
        "Ranges of u and Rz5 by {standard}; status of the limits in this program: {statuses}. The standard itself was "
        "not at hand; whoever holds it should compare.",
        standard=edition(),
        statuses=", ".join(map(word, statuses)),
    )
    lines = [ranges, _decides(trial), _rule(trial), *(known or [unknown]), *extras.bench_facts]
    return b.section(text("How it was judged"), [b.columns(lines)])


def _decides(trial: Trial) -> str:
    rest = text(
        "Dross by this project's own scale 0 to 4, worst per coupon; a coupon not severed or aborted does not meet the "
        "requirement."
    )
    if trial.bench.judged_by == "worst":
        return f"{text('The worst reading of a coupon decides.')} {rest}"
    return f"{text('The mean of the readings of a coupon decides.')} {rest}"


def _rule(trial: Trial) -> str:
    if trial.bench.rule == "guard band":
        return text(
            "A coupon meets the requirement only if it is inside the limit by the measurement uncertainty, fails only "
            "if it is outside by as much, and is undecided between (ISO 14253-1)."
        )
    return text(
        "A coupon meets the requirement if its value is inside the limit; the measurement uncertainty is not taken off "
        "(simple acceptance, as the trial file says)."
    )


def cautions_section() -> dict[str, Any]:
    """What this paper is, and where the hazards of a trial are written: they hold for every step it leads to."""
    lines = [
        text("This verdict is advice to a qualified person, not a release certificate."),
        text(
            "Cutting is dangerous (class 4 laser, oxygen fire, displaced air, high-pressure gas, fume, hot and sharp "
            "parts): the cautions printed in the plan and on the run sheet hold, after the machine maker's "
            "instructions and local codes."
        ),
    ]
    return b.section(text("Cautions"), [b.words(" ".join(lines))])


def provenance(made_on: date, extras: VerdictExtras) -> str:
    """The foot of each page: when and with what it was made, its plan and its records by eight digits each."""
    plan = text("plan {number}", number=extras.freeze_hash[:8]) if extras.freeze_hash else text("no frozen plan")
    made = text("made on {day} with {program}", day=day_words(made_on), program=extras.software or program())
    records = text("records {number}", number=in_groups(extras.head)) if extras.head else ""
    return " · ".join(part for part in (made, plan, records) if part)
