"""The shop's chart on paper: jobs down, nozzle types across, what to stock."""

from __future__ import annotations

from datetime import date
from typing import Any

from trials.decide.chart import Cell, Chart, Row
from trials.infer.answer import Answer
from trials.report.record_pages import program
from trials.report.typeset import pdf
from trials.words import chart as words
from trials.words.findings import say
from trials.words.language import text
from trials.words.page_frame import day_words


def chart_pdf(found: Chart, made_on: date, invented: bool = False) -> bytes:
    """The chart as one landscape page, more where it does not fit."""
    return pdf("chart_page.typ", chart_data(found, made_on), made_on, invented)


def chart_data(found: Chart, made_on: date) -> dict[str, Any]:
    """Everything the template prints, as text and flags."""
    return {
        "title": words.title(found),
        "engineer": "",
        "lead": words.lead(found),
        "reading": words.reading_lines(),
        "types": list(found.types),
        "jobs": _jobs(found.rows),
        "stocked": [] if found.stock is None else [name in found.stock.nozzles for name in found.types],
        "stock_title": text("What to stock"),
        "stock": list(words.stock_sentences(found)),
        "said_title": text("To know before relying on it"),
        "said": [say(finding) for finding in found.said],
        "labels": {"job": text("Job and trial"), "stock": text("on the list")},
        "advice": text("Advice to a qualified person; each verdict says what its trial could not show."),
        "footer": text("made on {day} · {program}", day=day_words(made_on), program=program()),
    }


def _jobs(rows: tuple[Row, ...]) -> list[dict[str, Any]]:
    """Rows of one job under its name."""
    found: dict[Any, dict[str, Any]] = {}
    for row in rows:
        entry = found.setdefault(row.seen.job.key, {"name": words.job_name(row.seen.job), "trials": []})
        heading, day, machine, marks = words.row_head(row)
        line = " · ".join(part for part in (day, machine) if part)
        cells = [_cell(cell) for cell in row.cells]
        entry["trials"].append({"title": heading, "line": line, "marks": marks, "cells": cells})
    return list(found.values())


def _cell(cell: Cell | None) -> dict[str, Any]:
    """What a cell shows: its word, its figures, whether it serves, and how strong it stands out."""
    if cell is None:
        return {"word": "", "gains": [], "serves": False, "strong": False, "bad": False}
    answers = [one.answer for one in cell.said]
    return {
        "word": words.cell_word(cell),
        "gains": words.cell_gains(cell),
        "serves": cell.serves,
        "strong": cell.serves and Answer.BETTER in answers,
        "bad": Answer.WORSE in answers,
    }
