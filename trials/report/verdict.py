"""The verdict as plain data for its template: first page for the manager, the pages after it for the engineer."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from trials.decide.results import ResponseResult, Study
from trials.findings import PlaceKind
from trials.report import blocks as b
from trials.report.chance_page import chance_section
from trials.report.extras import Section, VerdictExtras
from trials.report.first_page import nozzle_table
from trials.report.honesty_page import honesty_section
from trials.report.ranges import response_picture
from trials.report.record_pages import (
    cautions_section,
    departures_section,
    grades_section,
    judged_section,
    program,
    record_section,
    settings_section,
)
from trials.report.response_pages import response_section
from trials.trial import Trial
from trials.words.findings import say
from trials.words.frame import day_words
from trials.words.language import text
from trials.words.requirement import job_and_requirement
from trials.words.settings import place_words
from trials.words.study import answer_sentence, label, step_words
from trials.words.worthwhile import worthwhile_limits


def verdict_data(study: Study, trial: Trial, made_on: date, extras: VerdictExtras) -> dict[str, Any]:
    """Everything the template prints, as text, numbers and SVG."""
    main = _main(study)
    return {
        "title": study.title or trial.trial.title,
        "question": study.question,
        "sentence": answer_sentence(study),
        "engineer": extras.engineer or trial.trial.engineer,
        "made_on": day_words(made_on),
        "program": extras.software or program(),
        "label": _label(study),
        "amendments": [say(finding) for finding in extras.changes],
        "kept_words": [say(finding) for finding in extras.kept_words],
        "requirement": job_and_requirement(trial.application),
        **nozzle_table(study, trial),
        "figure": b.figure("", "") if main is None else response_picture(main, trial, extras),
        "cannot_say": [say(finding) for finding in study.cannot_say],
        "next_steps": [step_words(step) for step in study.next_steps],
        "sections": _sections(study, trial, made_on, extras),
        "labels": _labels(made_on),
    }


def _label(study: Study) -> str:
    """What stands above everything: that the look was not declared, or that a reading is still open."""
    parts = []
    if study.exploratory:
        parts.append(text("Exploratory: this look at the data was not declared before cutting."))
    if study.provisional:
        parts.append(text("Provisional: a reading is still open; see what to do next."))
    return " ".join(parts)


def _labels(made_on: date) -> Mapping[str, Any]:
    """The fixed words of the template."""
    return {
        "footer": text("made on {day}", day=day_words(made_on)),
        "today": text("today"),
        "question": text("Question"),
        "answer": text("Answer"),
        "changed": text("Changed after the plan was frozen:"),
        "kept_words": text("The kept words stand; a later rule reads otherwise:"),
        "cannot_say": text("What this trial cannot say"),
        "next_steps": text("What to do next"),
        "more": text("The rest stands on page 2."),
        "in_full": text("First page in full"),
        "sign": [text("Name"), text("Signature"), text("Date")],
    }


def _main(study: Study) -> ResponseResult | None:
    return next((r for r in study.results if r.primary and r.means), None)


def _sections(study: Study, trial: Trial, made_on: date, extras: VerdictExtras) -> list[dict[str, Any]]:
    main = _main(study)
    found = [_asked(study, trial, extras)]
    for result in sorted(study.results, key=lambda r: not r.primary):
        picture = None if result is main or not result.means else response_picture(result, trial, extras)
        found.append(response_section(result, trial, extras.tables.get(result.response), picture, _of_those_cut(study)))
    found += [
        honesty_section(study),
        _chances(study),
        grades_section(extras.graded, trial),
        departures_section(study, extras),
    ]
    found += [_more(part) for part in extras.sections]
    found += [
        settings_section(trial),
        judged_section(trial, extras),
        cautions_section(),
        record_section(made_on, extras),
    ]
    return [part for part in found if part["blocks"]]


def _chances(study: Study) -> dict[str, Any]:
    place = next((c.place for c in study.chances if c.place.kind == PlaceKind.TODAY), None)
    return chance_section(study.chances, "" if place is None else place_words(place))


def _of_those_cut(study: Study) -> str:
    """How many coupons the means rest on, where some were lost."""
    lost = [
        text("{nozzle} {cut} of {planned}", nozzle=r.nozzle, cut=r.n_coupons, planned=r.n_coupons + r.n_lost)
        for r in study.nozzles
        if r.n_lost
    ]
    if not lost:
        return ""
    return text("Of the coupons that cut: {counts}; all of the other types.", counts=", ".join(lost))


def _asked(study: Study, trial: Trial, extras: VerdictExtras) -> dict[str, Any]:
    worth = [
        text("Worthwhile difference in {response}: {limits}.", response=label(r), limits=worthwhile_limits(r))
        for r in study.results
        if r.worthwhile is not None
    ]
    asked = b.words(study.question, job_and_requirement(trial.application))
    laid_out = b.listed([*worth, *map(say, extras.planned)])
    return b.section(text("What was asked, and how the trial was laid out"), [asked, laid_out])


def _more(part: Section) -> dict[str, Any]:
    parts = [b.words(*part.sentences)]
    parts += [b.table(part.head, part.rows)] if part.rows else []
    for picture in part.pictures:
        parts += [b.head(picture.title), b.figure(picture.svg, picture.alt, picture.caption)]
    return b.section(part.title, parts)
