"""The card for the machine on paper: one page for whoever fits the nozzle."""

from __future__ import annotations

from datetime import date
from typing import Any

from trials.decide.card import Card
from trials.report.record_pages import held_rows, program
from trials.report.typeset import pdf
from trials.trial import Trial
from trials.words import card as words
from trials.words.cautions import caution_lines
from trials.words.language import text
from trials.words.page_frame import day_words
from trials.words.plan import described
from trials.words.requirement import job_and_requirement


def card_pdf(found: Card, trial: Trial, made_on: date) -> bytes:
    """The card as one page."""
    return pdf("card_page.typ", card_data(found, trial, made_on), made_on, trial.trial.invented)


def card_data(found: Card, trial: Trial, made_on: date) -> dict[str, Any]:
    """Everything the template prints, as text."""
    varied = [one for one in found.settings if not one.held]
    area = words.area_line(found.nozzle)
    return {
        "title": words.title(found),
        "engineer": trial.trial.engineer,
        "first": words.maker_first(),
        "cautions": caution_lines(),
        "job": job_and_requirement(found.job),
        "form": ", ".join(part for part in (described(found.nozzle), area) if part),
        "pieces": words.pieces(found.nozzle),
        "proved": words.proved(found),
        "tell": [words.differences(found.nozzle, one) for one in found.look_alikes],
        "head": words.settings_head(),
        "settings": [words.setting_row(one, found.safe) for one in varied],
        "held": [[name, value] for name, value in held_rows(trial)],
        "chance": words.chance_line(found.safe),
        "safe_note": words.safe_note(found),
        "grounds": words.ground_lines(found),
        "watch": [words.watch_words(one) for one in found.watch],
        "change": words.life_line(found),
        "labels": words.labels(),
        "footer": text(
            "{title} · made on {day} · {program}", title=found.title, day=day_words(made_on), program=program()
        ),
    }
