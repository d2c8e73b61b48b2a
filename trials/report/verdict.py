"""The verdict as plain data for its template: first page for the manager, the pages after it for the engineer."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from importlib import metadata
from typing import Any

import pandas as pd

from trials.decide.results import NozzleRow, ResponseResult, Study
from trials.grade.iso9013 import roughness_limit, squareness_limit
from trials.report import blocks as b
from trials.report.chance_page import chance_section, likely, of_all
from trials.report.extras import Section, VerdictExtras
from trials.report.figures.edges import Band, coupon_means, lost_figure, main_figure
from trials.report.response_pages import response_section
from trials.report.typeset import day_words
from trials.standards import cautions, edition, roughness_ranges, squareness_ranges
from trials.trial import Trial
from trials.units import shown
from trials.words.plan import limit_words

NEXT_EDGE = "Next edge meets it"
_WIDTHS = {"Coupons cut": 1.3, "Met the requirement": 1.5, NEXT_EDGE: 1.3, "Price": 0.9}
ADVICE = "This verdict is advice to a qualified person, not a release certificate."


def verdict_data(study: Study, trial: Trial, made_on: date, extras: VerdictExtras) -> dict[str, Any]:
    """Everything the template prints, as text, numbers and SVG."""
    return {
        "title": study.title or trial.trial.title,
        "question": study.question,
        "sentence": study.sentence,
        "engineer": extras.engineer or trial.trial.engineer,
        "made_on": day_words(made_on),
        "program": extras.software or program(),
        "label": "Exploratory: this look at the data was not declared before cutting." if study.exploratory else "",
        "amendments": list(extras.amendments),
        "requirement": requirement_sentence(trial),
        "nozzle_head": _nozzle_head(study, trial),
        "nozzle_widths": [_WIDTHS.get(name.partition(",")[0], 1.15) for name in _nozzle_head(study, trial)[1:-1]],
        "nozzle_rows": [_nozzle_row(row, study, trial) for row in study.nozzles],
        "table_note": _table_note(study),
        "figure": _first_figure(study, trial, extras),
        "cannot_say": list(study.cannot_say),
        "next_steps": list(study.next_steps),
        "sections": _sections(study, trial, made_on, extras),
    }


def program() -> str:
    """Name and version of this package."""
    try:
        return f"nozzle-trials {metadata.version('nozzle-trials')}"
    except metadata.PackageNotFoundError:
        return "nozzle-trials"


def bands(result: ResponseResult, trial: Trial) -> list[Band]:
    """ISO 9013 ranges on a response's axis at the trial's thickness; none where the thickness varies or is unknown."""
    known = {"roughness": (roughness_ranges, roughness_limit), "squareness": (squareness_ranges, squareness_limit)}
    thickness = trial.application.thickness_mm
    if result.response not in known or thickness is None or any("thickness" in name for name in trial.factors):
        return []
    ranges, limit = known[result.response]
    edges = [0.0] + [round(float(limit(row.range, thickness)), 6) for row in ranges()]
    required = _strictest(result.response, trial, edges)
    found = []
    for k, row in enumerate(ranges()):
        low, high = edges[k], edges[k + 1]
        if required is not None and low < required < high:  # a figure on the drawing inside a range
            found.append(Band(row.range, low, required, True))
            low = required
        found.append(Band(row.range, low, high, high == required))
    return found


def _strictest(response: str, trial: Trial, edges: list[float]) -> float | None:
    """The strictest limit that the requirement sets on a response, by range or by figure; None if it sets none."""
    asked = trial.application.required
    number = getattr(asked, f"{response}_range")
    figure = {"roughness": asked.rz5_um, "squareness": asked.u_mm}[response]
    limits = [edges[number]] if number else []
    limits += [figure] if figure is not None else []
    return min(limits, default=None)


def requirement_sentence(trial: Trial) -> str:
    """What was cut and what the drawing asks, in one line."""
    job, asked = trial.application, trial.application.required
    thickness = f"{job.thickness_mm:g} mm" if job.thickness_mm else ""
    material = "" if job.material == "not given" else job.material
    what = ", ".join(part for part in (thickness, material, job.gas, f"{job.cut} cut" if job.cut else "") if part)
    parts = [
        f"execution class {asked.execution_class}" if asked.execution_class else "",
        f"u in range {asked.squareness_range} or better" if asked.squareness_range else "",
        f"u at most {asked.u_mm:g} mm" if asked.u_mm else "",
        f"Rz5 in range {asked.roughness_range} or better" if asked.roughness_range else "",
        f"Rz5 at most {asked.rz5_um:g} µm" if asked.rz5_um else "",
        f"dross grade at most {asked.dross_grade}" if asked.dross_grade is not None else "",
    ]
    demand = ", ".join(part for part in parts if part)
    return f"{what or 'Material not given'}. Requirement: {demand or 'none stated'}."


def _shown_means(study: Study) -> list[ResponseResult]:
    ordered = sorted(study.results, key=lambda r: (not r.primary, r.response not in ("roughness", "squareness")))
    return [r for r in ordered if any(r.response in row.means for row in study.nozzles)][:2]


def _column_words(result: ResponseResult) -> str:
    short = {"roughness": "Rz5", "squareness": "u", "dross": "dross grade"}.get(result.response, result.label)
    kind = "Mean" if result.scale == "grade" else "Typical"
    return f"{kind} {short}, {shown(result.unit)}" if result.unit else f"{kind} {short}"


def _nozzle_head(study: Study, trial: Trial) -> list[str]:
    """Column heads; a column that would be empty in each row is left out."""
    columns = [_column_words(result) for result in _shown_means(study)]
    met = ["Met the requirement"] if any(row.share_met for row in study.nozzles) else []
    chance = [NEXT_EDGE] if _has_chance(study) else []
    price = [f"Price, {trial.trial.currency}"] if _priced(study) else []
    return ["Nozzle type", "Coupons cut", *columns, *met, *chance, *price, "Answer"]


def _has_chance(study: Study) -> bool:
    return any(of_all(study.chances, row.nozzle) for row in study.nozzles)


def _priced(study: Study) -> bool:
    return any(row.price is not None for row in study.nozzles)


def _chance_cell(study: Study, nozzle: str) -> str:
    found = of_all(study.chances, nozzle)
    return f"{likely(found.estimate)} (at\u00a0least\u00a0{likely(found.low)})" if found else "–"


def _nozzle_row(row: NozzleRow, study: Study, trial: Trial) -> dict[str, Any]:
    price = "–" if row.price is None else f"{row.price:.2f}"
    means = [_typical(row, r, trial) for r in _shown_means(study)]
    plural = "" if row.n_specimens == 1 else "s"
    specimens = f" ({row.n_specimens}\u00a0specimen{plural})" if row.n_specimens else ""
    return {
        "type": row.nozzle,
        "what": row.described if row.described != row.nozzle else "",
        "today": row.today,
        "cells": [
            f"{row.n_coupons} of {row.n_coupons + row.n_lost}{specimens}",
            *means,
            *(
                [row.share_met.replace(" undecided", "\u00a0undecided") or "–"]
                if any(r.share_met for r in study.nozzles)
                else []
            ),
            *([_chance_cell(study, row.nozzle)] if _has_chance(study) else []),
            *([price] if _priced(study) else []),
        ],
        "answer": row.answer or ("in use" if row.today else "–"),
    }


def _typical(row: NozzleRow, result: ResponseResult, trial: Trial) -> str:
    """Typical edge without its unit, and the range that it falls in."""
    value = _bare(row.means.get(result.response, "–"), result.unit)
    mean = next((m.mean for m in result.means if m.nozzle == row.nozzle), None)
    ranges = bands(result, trial)
    if mean is None or not ranges:
        return value
    found = next((f"range\u00a0{band.number}" for band in ranges if mean <= band.high), "worse")
    return f"{value} ({found})"


def _bare(value: str, unit: str) -> str:
    for end in (shown(unit), unit):
        value = value.removesuffix(f" {end}") if end else value
    return value


def _table_note(study: Study) -> str:
    settings = {mean.settings for result in study.results for mean in result.means if mean.settings}
    at = f"Typical edges at {'; '.join(sorted(settings))}. " if settings else ""
    if _has_chance(study):
        at += f"“{NEXT_EDGE}”: chance that it meets the whole requirement there; in brackets what that chance is "
        at += "at least, with 95 % confidence. "
    ranges = [f"{row.nozzle}: {row.range_words}" for row in study.nozzles if row.range_words]
    return f"{at}{'; '.join(ranges)}{'.' if ranges else ''}"


def _first_figure(study: Study, trial: Trial, extras: VerdictExtras) -> dict[str, Any]:
    result = next((r for r in study.results if r.primary and r.means), None)
    if result is None:
        return b.figure("", "")
    return response_picture(result, trial, extras)


def response_picture(result: ResponseResult, trial: Trial, extras: VerdictExtras) -> dict[str, Any]:
    """The main figure of a response, with its ranges, description and caption."""
    found = extras.tables.get(result.response)
    no_marks = pd.DataFrame({"nozzle": [], "value": []})
    coupons = no_marks if found is None else coupon_means(found, result.scale)
    ranges = bands(result, trial)
    values = "; ".join(
        f"{m.nozzle} {b.with_unit(m.mean, result.unit)} ({b.num(m.low)} to {b.num(m.high)})" for m in result.means
    )
    behind = f" Grey zones: ranges of {edition()} at {trial.application.thickness_mm:g} mm" if ranges else ""
    behind += ", hatched: requirement not met." if any(band.required for band in ranges) else ""
    kind, middle = ("Mean", "mean grade") if result.scale == "grade" else ("Typical", "typical edge")
    return b.figure(
        main_figure(result, coupons, ranges, trial.today.type),
        f"{kind} {result.label} of each nozzle type with its 95 % interval: {values}.",
        f"Every coupon, and the {middle} of each nozzle type.{behind}",
    )


def _sections(study: Study, trial: Trial, made_on: date, extras: VerdictExtras) -> list[dict[str, Any]]:
    main = next((r for r in study.results if r.primary and r.means), None)
    found = [_asked(study, trial, extras)]
    for result in sorted(study.results, key=lambda r: not r.primary):
        picture = None if result is main or not result.means else response_picture(result, trial, extras)
        found.append(response_section(result, trial, extras.tables.get(result.response), picture, _of_those_cut(study)))
    found += [chance_section(study.chances), _grades(extras.graded, trial), _lost(study, extras)]
    found += [_more(part) for part in extras.sections]
    found += [_held(trial), _judged(trial, extras), _cautions(), _record(made_on, extras)]
    return [part for part in found if part["blocks"]]


def _of_those_cut(study: Study) -> str:
    """How many coupons the means rest on, where some were lost."""
    lost = [f"{r.nozzle} {r.n_coupons} of {r.n_coupons + r.n_lost}" for r in study.nozzles if r.n_lost]
    return f"Of the coupons that cut: {', '.join(lost)}; all of the other types." if lost else ""


def _asked(study: Study, trial: Trial, extras: VerdictExtras) -> dict[str, Any]:
    worth = [f"Worthwhile difference in {r.label}: {r.worthwhile_words}." for r in study.results if r.worthwhile_words]
    return b.section(
        "What was asked, and how the trial was laid out",
        [b.words(study.question, requirement_sentence(trial)), b.listed([*worth, *extras.plan_sentences])],
    )


def _grades(graded: pd.DataFrame | None, trial: Trial) -> dict[str, Any]:
    if graded is None or graded.empty:
        return b.section("Grades", [])
    rows = [_grade_row(nozzle, graded[graded["nozzle"] == nozzle]) for nozzle in trial.types]
    names = (
        "Nozzle type",
        "Coupons",
        "Coupons by Rz5",
        "Coupons by u",
        "Coupons by dross",
        "Meets",
        "Undecided",
        "Not",
    )
    reasons = graded.loc[graded["meets"] != "yes", "why"].dropna().astype(str).value_counts(sort=False)
    why = sorted(((n, words) for words, n in reasons.items() if words), key=lambda pair: (-pair[0], pair[1]))
    return b.section(
        "Grades of the coupons",
        [
            b.table(names, rows, (1, 5, 6, 7), (2, 1, 2.6, 2.6, 2.6, 1, 1.25, 0.6)),
            b.words("Each range or grade with its number of coupons; “worse” is worse than the last range."),
            b.listed(f"{words} ({n} coupon{'s' if n > 1 else ''})" for n, words in why[:8]),
        ],
    )


def _grade_row(nozzle: str, part: pd.DataFrame) -> tuple[str, ...]:
    met = part["meets"].value_counts()
    return (
        nozzle,
        str(len(part)),
        _tally(part, "roughness_range", "range", {0: "worse", -1: "not graded"}),
        _tally(part, "squareness_range", "range", {0: "worse", -1: "not graded"}),
        _tally(part, "dross_grade", "grade", {-1: "not graded"}),
        *(str(int(met.get(answer, 0))) for answer in ("yes", "undecided", "no")),
    )


def _tally(part: pd.DataFrame, column: str, word: str, names: dict[int, str]) -> str:
    if column not in part:
        return "–"
    values = pd.to_numeric(part[column], errors="coerce").fillna(-1).astype(int)
    counts = values.value_counts()
    order = sorted(counts.index, key=lambda grade: (grade == -1, grade in names, grade))
    return ", ".join(f"{names.get(grade, f'{word} {grade}')}: {counts[grade]}" for grade in order)


def _lost(study: Study, extras: VerdictExtras) -> dict[str, Any]:
    parts: list[b.Block] = []
    if any(row.n_lost for row in study.nozzles):
        alt = "; ".join(f"{r.nozzle}: {r.n_coupons} of {r.n_coupons + r.n_lost} cut" for r in study.nozzles)
        parts.append(b.figure(lost_figure(study.nozzles), f"Coupons cut and lost by nozzle type. {alt}."))
    changed = [f"Changed after freezing: {change}" for change in extras.amendments]
    found = [*study.departures, *changed]
    none = "" if found else "Cut as planned: no departure was recorded."
    return b.section("Departures from the plan", [b.words(none), b.listed(found), *parts])


def _more(part: Section) -> dict[str, Any]:
    parts = [b.words(*part.sentences)]
    parts += [b.table(part.head, part.rows)] if part.rows else []
    for picture in part.pictures:
        parts += [b.head(picture.title), b.figure(picture.svg, picture.alt, picture.caption)]
    return b.section(part.title, parts)


def held_rows(trial: Trial) -> list[tuple[str, str]]:
    """Settings kept constant, as (name, value with unit), units taken from the end of the key."""
    return [_named(key, value) for key, value in trial.held.items()]


_HELD_UNITS = ("m_min", "mm_min", "mm_s", "mm2", "mm", "um", "bar", "kw", "hz", "khz", "ms", "s", "deg", "in", "psi")


def _named(key: str, value: object) -> tuple[str, str]:
    figure = {True: "yes", False: "no"}.get(value) if isinstance(value, bool) else None
    figure = figure or (f"{value:g}" if isinstance(value, (int, float)) else str(value))
    for unit in _HELD_UNITS:
        if key.lower().endswith(f"_{unit}"):
            return key[: -len(unit) - 1].replace("_", " "), f"{figure} {shown(unit)}"
    return key.replace("_", " "), figure


def _held(trial: Trial) -> dict[str, Any]:
    kept = "; ".join(f"{name} {value}" for name, value in held_rows(trial))
    varied = [
        f"{b.setting(name, '')}: {', '.join(_level(level) for level in f.levels)} {shown(f.unit)}".strip()
        for name, f in trial.factors.items()
    ]
    limits = [limit_words(limit) for limit in trial.plan.limits]
    return b.section(
        "Settings",
        [
            b.words(
                f"Held: {kept}." if kept else "Held settings were not recorded in the trial file.",
                f"Varied: {'; '.join(varied)}." if varied else "",
                f"Not allowed in this trial: {'; '.join(limits)}." if limits else "",
            )
        ],
    )


def _level(level: object) -> str:
    return f"{level:g}" if isinstance(level, (int, float)) else str(level)


def _judged(trial: Trial, extras: VerdictExtras) -> dict[str, Any]:
    statuses: Sequence[str] = sorted({row.status for row in (*roughness_ranges(), *squareness_ranges())})
    rule = {
        "guard band": "A coupon meets the requirement only if it is inside the limit by the measurement uncertainty, "
        "fails only if it is outside by as much, and is undecided between (ISO 14253-1).",
        "simple acceptance": "A coupon meets the requirement if its value is inside the limit; the measurement "
        "uncertainty is not taken off (simple acceptance, as the trial file says).",
    }[trial.bench.rule]
    known = [
        f"Expanded uncertainty of {key}: {b.num(value)} (k = 2)." for key, value in trial.bench.uncertainty.items()
    ]
    unknown = [] if known else ["No measurement uncertainty was given: values were compared with the limits as read."]
    judged = {"worst": "worst reading", "mean": "mean of the readings"}[trial.bench.judged_by]
    return b.section(
        "How it was judged",
        [
            b.listed(
                [
                    f"Ranges of u and Rz5 by {edition()}; status of the limits in this program: {', '.join(statuses)}. "
                    "The standard itself was not at hand; whoever holds it should compare.",
                    f"The {judged} of a coupon decides. Dross by this project's own scale 0 to 4, worst per coupon; "
                    "a coupon not severed or aborted does not meet the requirement.",
                    rule,
                    *known,
                    *unknown,
                    *extras.bench_facts,
                ]
            )
        ],
    )


def _cautions() -> dict[str, Any]:
    return b.section("Cautions", [b.listed(caution_lines()) | {"kind": "columns"}])


def caution_lines() -> list[str]:
    """The hazards of a trial, one line each with the document that governs it."""
    return [f"{c.text}{f' ({c.document})' if c.document else ''}" for c in cautions()]


def _record(made_on: date, extras: VerdictExtras) -> dict[str, Any]:
    made = f"Made on {day_words(made_on)} with {extras.software or program()}."
    frozen = b.code("Frozen settings", extras.freeze_hash)
    if not extras.freeze_hash:
        frozen = b.words("The trial's settings were not frozen.")
    return b.section("Record", [b.words(ADVICE), frozen, b.words(made)])
