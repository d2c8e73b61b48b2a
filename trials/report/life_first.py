"""The manager's page of a paper on lives as plain data, in the shape of the first page of a verdict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from trials.decide.decision import decide_lives
from trials.decide.decision_result import Action
from trials.decide.lives import LivesAnswer
from trials.decide.lives_advice import next_for_lives, unknown_of_lives
from trials.findings import Finding
from trials.report import blocks as b
from trials.report.extras import VerdictExtras
from trials.report.first_page import facts_line
from trials.report.record_pages import program, provenance
from trials.trial import Trial
from trials.words.findings import say
from trials.words.language import text
from trials.words.life_money import life_rows, money_note
from trials.words.life_page import (
    answer_cell,
    life_box,
    line_names,
    not_yet,
    question_words,
    table_cells,
    table_head,
    table_note,
    ticks,
)
from trials.words.lives import unit_words
from trials.words.names import person
from trials.words.page_frame import day_words
from trials.words.plan import described
from trials.words.requirement import job_and_requirement
from trials.words.study import step_words


@dataclass(frozen=True)
class LifeTrial:
    """The trial behind lives: its question, what was recorded beside, what it cannot say besides its lives."""

    trial: Trial
    extras: VerdictExtras = field(default_factory=VerdictExtras)
    not_said: tuple[Finding, ...] = ()


def first_page_of_lives(
    found: LivesAnswer, made_on: date, figure: b.Block, asked: LifeTrial | None
) -> Mapping[str, Any]:
    """Everything that the first page of a verdict prints; asked: None for a bare table, with nothing to sign."""
    return {
        "title": _title(found) if asked is None else asked.trial.trial.title,
        "question": question_words(found) if asked is None else asked.trial.trial.question,
        "answer": _answer(found),
        "engineer": "" if asked is None else asked.trial.trial.engineer,
        "made_on": day_words(made_on),
        "bands": [text("Provisional: a reading is still open; see what to do next.")] if found.provisional else [],
        "amendments": [] if asked is None else [say(finding) for finding in asked.extras.changes],
        "kept_words": [],
        "requirement": "" if asked is None else job_and_requirement(asked.trial.application),
        "facts": [] if asked is None else facts_line(asked.trial, asked.extras),
        **_table(found, asked),
        "figure": figure,
        "cannot_say": [say(f) for f in unknown_of_lives(found, None if asked is None else asked.not_said)],
        "next_steps": [step_words(step) for step in next_for_lives(found)],
        "decision": NOTHING_TO_SIGN if asked is None else _to_sign(found),
        "labels": _labels(made_on, asked),
    }


def _title(found: LivesAnswer) -> str:
    return text("Lives by nozzle type, {unit}", unit=unit_words(found.unit))


def _answer(found: LivesAnswer) -> Mapping[str, Any]:
    box = life_box(found)
    sure, others = line_names(box.action)
    return {
        "action": str(box.action),
        "lines": [[box.does, box.what], [sure, box.sure], [others, box.others]],
        "at": box.at,
        "figures": box.figures,
        "decided": [list(row) for row in life_rows(found)],
        "money_notes": money_note(found),
    }


def _table(found: LivesAnswer, asked: LifeTrial | None) -> Mapping[str, Any]:
    columns = table_head(found)
    forms = {} if asked is None else {nozzle.type: described(nozzle) for nozzle in asked.trial.nozzles}
    rows = [
        {
            "type": person(each.nozzle),
            "what": forms.get(each.nozzle, ""),
            "today": each.nozzle == found.study.today,
            "fails": [],
            "fails_words": "",
            "cells": table_cells(found, each),
            "answer": answer_cell(found, each.nozzle),
        }
        for each in found.study.types
    ]
    return {
        "nozzle_head": [text("Nozzle type"), *(name for name, _ in columns), text("Answer")],
        "nozzle_widths": [width for _, width in columns],
        "nozzle_bars": False,
        "nozzle_rows": rows,
        "table_note": table_note(found),
    }


NOTHING_TO_SIGN: Mapping[str, Any] = {"open": "", "head": "", "ticks": [], "to_write": [], "sign": []}


def _to_sign(found: LivesAnswer) -> Mapping[str, Any]:
    """Boxes to tick and lines to fill in, where types were compared in words, if no reading is open."""
    if found.provisional:
        return {**NOTHING_TO_SIGN, "open": not_yet(found.doubted)}
    action = decide_lives(found).action
    if action == Action.NOTHING:
        return NOTHING_TO_SIGN
    sign = [text("Name"), text("Role"), text("Signature"), text("Date")]
    to_write = [] if action == Action.CHANGE else [0]
    return {"open": "", "head": text("Decision"), "ticks": ticks(found), "to_write": to_write, "sign": sign}


def _labels(made_on: date, asked: LifeTrial | None) -> Mapping[str, str]:
    """The fixed words of the template."""
    made = text("made on {day} with {program}", day=day_words(made_on), program=program())
    return {
        "footer": made if asked is None else provenance(made_on, asked.extras),
        "today": text("today"),
        "question": text("Question"),
        "kept_words": "",
        "changed": text("Changed after the plan was frozen:"),
        "cannot_say": text("What is not known"),
        "next_steps": text("What to do next"),
        "more": text("The rest stands on page 2."),
        "in_full": text("First page in full"),
    }
