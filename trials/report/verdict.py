"""The verdict as plain data for its template: first page for the manager, the pages after it for the engineer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from trials.decide.results import ResponseResult, Study
from trials.findings import PlaceKind
from trials.report import blocks as b
from trials.report.chance_page import chance_section
from trials.report.dross_page import shares_picture
from trials.report.extras import Section, VerdictExtras
from trials.report.first_page import (
    answer_data,
    decision_data,
    facts_line,
    nozzle_table,
    open_coupons,
    unknown,
)
from trials.report.honesty_page import honesty_section
from trials.report.ladder_page import ladder_picture, ladder_section
from trials.report.ranges import response_picture
from trials.report.record_pages import (
    cautions_section,
    departures_section,
    grades_section,
    judged_section,
    provenance,
    settings_section,
)
from trials.report.response_pages import response_section, spread_section
from trials.report.window_page import window_picture, window_section
from trials.responses import Scale
from trials.trial import Trial
from trials.words.decision import for_the_file
from trials.words.findings import say
from trials.words.first_page import first_steps, trial_size
from trials.words.in_use import study_in_use, tables_in_use
from trials.words.language import text
from trials.words.numbers import listed
from trials.words.page_frame import day_words
from trials.words.requirement import job_and_requirement
from trials.words.settings import place_words
from trials.words.spaced import spaced, spaced_names
from trials.words.study import answer_sentence, label
from trials.words.worthwhile import worthwhile_limits


def verdict_data(study: Study, trial: Trial, made_on: date, extras: VerdictExtras) -> dict[str, Any]:
    """Everything the template prints, as text, numbers and SVG."""
    names = spaced_names(trial)
    extras = replace(spaced(extras, names), tables=spaced(tables_in_use(extras.tables, study), names))
    study, trial = spaced(study_in_use(study), names), spaced(trial, names)
    main, doubted = _main(study), open_coupons(study)
    return {
        "title": study.title or trial.trial.title,
        "question": study.question,
        "answer": answer_data(study),
        "engineer": extras.engineer or trial.trial.engineer,
        "made_on": day_words(made_on),
        "bands": _bands(study),
        "amendments": [say(finding) for finding in extras.changes],
        "kept_words": [say(finding) for finding in extras.kept_words],
        "requirement": job_and_requirement(trial.application),
        "facts": facts_line(trial, extras, trial_size(study)),
        **nozzle_table(study, trial, extras.graded),
        "figure": _picture(study, main, trial, extras),
        "cannot_say": [say(finding) for finding in unknown(study)],
        "next_steps": first_steps(study),
        "decision": decision_data(study, doubted),
        "sections": _sections(study, trial, extras),
        "labels": _labels(made_on, extras),
    }


def _bands(study: Study) -> list[str]:
    """What stands above everything: an undeclared look, a reading that is still open."""
    found = []
    if study.exploratory:
        found.append(text("Exploratory: this look at the data was not declared before cutting."))
    if study.provisional:
        found.append(text("Provisional: a reading is still open; see what to do next."))
    return found


def _picture(study: Study, main: ResponseResult | None, trial: Trial, extras: VerdictExtras) -> b.Block:
    """The picture of the first page: the ladders or the window that were asked, else the decisive response."""
    if study.ladder is not None and study.ladder.types:
        return ladder_picture(study.ladder)
    if study.window is not None and study.window.asked:
        return window_picture(study.window)
    return b.figure("", "") if main is None else _edges(main, study, trial, extras)


def _labels(made_on: date, extras: VerdictExtras) -> Mapping[str, Any]:
    """The fixed words of the template."""
    return {
        "footer": provenance(made_on, extras),
        "today": text("today"),
        "question": text("Question"),
        "kept_words": text("The kept words stand; a later rule reads otherwise:"),
        "changed": text("Changed after the plan was frozen:"),
        "cannot_say": text("What is not known"),
        "next_steps": text("What to do next"),
        "more": text("The rest stands on page 2."),
        "in_full": text("First page in full"),
    }


def _main(study: Study) -> ResponseResult | None:
    return next((r for r in study.results if r.primary and r.means), None)


def _sections(study: Study, trial: Trial, extras: VerdictExtras) -> list[dict[str, Any]]:
    main = _main(study)
    ordered = sorted(study.results, key=lambda r: not r.primary)
    pages = [_response(result, result is main, study, trial, extras) for result in ordered]
    decisive = sum(result.primary for result in ordered)
    found = [
        _asked(study, trial, extras),
        b.section(text("To ask or to count more"), [b.listed(for_the_file(study))]),
        window_section(study.window, study.window is not None and not study.window.asked, study.confirmed),
        settings_section(trial),
        judged_section(trial, extras),
        cautions_section(),
        ladder_section(study.ladder),
        _chances(study),
        grades_section(extras.graded, trial),
        departures_section(study, extras, trial),
    ]
    found += pages[:decisive]
    found += [honesty_section(study), spread_section(ordered)]
    found += [*map(_more, extras.sections), *pages[decisive:]]
    return [part for part in found if part["blocks"]]


def _response(result: ResponseResult, main: bool, study: Study, trial: Trial, extras: VerdictExtras) -> dict[str, Any]:
    """The pages of one response; the picture of the main one stands on the first page already, grades are bars."""
    table = extras.tables.get(result.response)
    if result.scale == Scale.GRADE and table is not None and not table.empty:
        picture: b.Block | None = shares_picture(table, trial.types)
    else:
        picture = None if main or not result.means else _edges(result, study, trial, extras)
    return response_section(result, trial, table, picture, _of_those_cut(study))


def _edges(result: ResponseResult, study: Study, trial: Trial, extras: VerdictExtras) -> b.Block:
    """The main figure of a response; a ring where a reading of this response is open."""
    asked = result.response in trial.responses
    column = trial.quantity(result.response).column if asked else result.response
    return response_picture(result, trial, extras, open_coupons(study, column))


def _chances(study: Study) -> dict[str, Any]:
    place = next((c.place for c in study.chances if c.place.kind == PlaceKind.TODAY), None)
    return chance_section(study.chances, "" if place is None else place_words(place))


def _of_those_cut(study: Study) -> str:
    """That the means rest on coupons that were cut, where some were lost."""
    lost = [text("{nozzle} {n}", nozzle=row.nozzle, n=row.n_lost) for row in study.nozzles if row.n_lost]
    return text("Without the lost coupons ({counts}).", counts=listed(lost)) if lost else ""


def _asked(study: Study, trial: Trial, extras: VerdictExtras) -> dict[str, Any]:
    worth = [
        text("Worthwhile difference in {response}: {limits}.", response=label(r), limits=worthwhile_limits(r))
        for r in study.results
        if r.worthwhile is not None
    ]
    return b.section(
        text("What was asked, and how the trial was laid out"),
        [
            b.words(study.question, job_and_requirement(trial.application)),
            b.words(text("In figures: {sentence}", sentence=answer_sentence(study))),
            b.columns([*worth, *map(say, extras.planned)]),
        ],
    )


def _more(part: Section) -> dict[str, Any]:
    parts = [b.words(*part.sentences)]
    parts += [b.table(part.head, part.rows)] if part.rows else []
    for picture in part.pictures:
        parts += [b.head(picture.title), b.figure(picture.svg, picture.alt, picture.caption)]
    return b.section(part.title, parts)
