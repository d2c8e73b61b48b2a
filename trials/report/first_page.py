"""The manager's page of a verdict as plain data: answer, edges that fail, table of nozzle types, who decides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import pandas as pd

from trials.decide.advice import advice
from trials.decide.chance_result import ChanceResult
from trials.decide.decision_result import Question
from trials.decide.kinds import StudyKind
from trials.decide.results import NozzleRow, Study
from trials.findings import Finding, Weight, each_once
from trials.grade.conformity import demands
from trials.report.chance_page import of_all
from trials.report.counts import Counts, counts, failed_words
from trials.report.extras import VerdictExtras
from trials.report.ladder_page import ladder_column
from trials.report.record_pages import held_rows
from trials.trial import Trial
from trials.words.decision import decision_rows, money_notes
from trials.words.first_page import (
    answer_box,
    answer_head,
    answered_by,
    decision_lines,
    fails_of_hundred,
    fails_words,
    not_to_sign,
)
from trials.words.ladders import table_note
from trials.words.language import text
from trials.words.money import cost_words, metre_head, without_rework
from trials.words.names import person
from trials.words.numbers import fixed, listed, plain
from trials.words.page_frame import day_words
from trials.words.plan import described
from trials.words.settings import at_place
from trials.words.study import row_words


def answer_data(study: Study) -> dict[str, Any]:
    """The answer box: three names of lines and what stands in them; settings of the first, figures of the second.

    decided: short lines below the box, what is gained and paid; money_notes: what the figures of money rest on.
    """
    box = asdict(answer_box(study))
    lines = [
        [box["does"], box["what"]],
        [text("How sure"), box["sure"]],
        [text("The others"), box["others"]],
    ]
    return {
        "action": str(box["action"]),
        "lines": lines,
        "at": box["at"],
        "figures": box["figures"],
        "decided": [list(row) for row in decision_rows(study)],
        "money_notes": " ".join(money_notes(study)),
    }


def decision_data(study: Study, doubted: Sequence[str]) -> dict[str, Any]:
    """Boxes to tick, which of them have a line to write on, lines to fill in; while a reading is open none, and why."""
    if study.provisional:
        return {"open": not_to_sign(doubted), "head": "", "ticks": [], "to_write": [], "sign": []}
    return {
        "open": "",
        "head": text("Decision"),
        "ticks": decision_lines(study),
        "to_write": [] if advice(study).to else [0],
        "sign": [text("Name"), text("Role"), text("Signature"), text("Date")],
    }


def open_coupons(study: Study, column: str = "") -> list[str]:
    """Coupons with a reading that is still open; column: of the quantity that was read, any if empty."""
    doubts = [step.because for step in study.next_steps if step.finding.kind == StudyKind.SETTLE_READING]
    asked = [because for because in doubts if because and column in ("", because.facts.get("field"))]
    return list(dict.fromkeys(name for because in asked for name in because.about.coupons))


def unknown(study: Study) -> list[Finding]:
    """What could still change the answer, then what the trial cannot say."""
    decisive = [check for result in study.results if result.primary for check in result.checks]
    return list(each_once([*(c for c in decisive if c.weight == Weight.COULD_CHANGE), *study.cannot_say]))


def facts_line(trial: Trial, extras: VerdictExtras, tried: str = "") -> list[str]:
    """Who, on which machine, when it was cut and measured; what is not known is left out.

    tried: how many nozzles, where no table says it.
    """
    engineer = extras.engineer or trial.trial.engineer
    found = [text("Engineer: {name}", name=engineer)] if engineer else []
    found += [
        text("Machine: {name}", name=plain(value) if isinstance(value, (int, float)) else value)
        for key, value in trial.held.items()
        if key in ("machine", "laser")
    ]
    kept = [f"{name} {value}" for name, value in held_rows(trial) if name not in ("machine", "laser")]
    found += [text("Held: {settings}", settings=", ".join(kept))] if kept else []
    found += [tried] if tried else []
    cut, measured = _days(extras.days_cut), _days(extras.days_measured)
    found += [text("Cut: {days}", days=cut)] if cut else []
    if measured and extras.inspectors:
        found.append(text("Measured: {days}, by {names}", days=measured, names=listed(extras.inspectors)))
    elif measured:
        found.append(text("Measured: {days}", days=measured))
    return found


def _days(known: Sequence[Any]) -> str:
    """The first and the last day; empty for none."""
    if not known:
        return ""
    first, last = day_words(min(known)), day_words(max(known))
    return first if first == last else text("{first} to {last}", first=first, last=last)


def nozzle_table(study: Study, trial: Trial, graded: pd.DataFrame | None) -> dict[str, Any]:
    """Heads, widths, rows and note of the table; a column that would be empty in each row is left out.

    The share of edges that fail is a number of 100 with its bound, for a bar, beside the same in words.
    """
    tallies = [] if study.asks == Question.LADDER else _tallies(study, graded)  # a ladder cuts beyond what is clean
    columns = _columns(study, trial, tallies)
    chances = {row.nozzle: of_all(study.chances, row.nozzle) for row in study.nozzles}
    barred = any(chances.values()) and study.asks not in (Question.LADDER, Question.WINDOW)  # at one setting only
    return {
        "nozzle_head": [
            text("Nozzle type"),
            *([text("Of 100 edges, fail")] if barred else []),
            *(name for name, _, _ in columns),
            answer_head(study),
        ],
        "nozzle_widths": [width for _, width, _ in columns],
        "nozzle_bars": barred,
        "nozzle_rows": [
            _row(row, chances[row.nozzle], [cells[k] for _, _, cells in columns]) for k, row in enumerate(study.nozzles)
        ],
        "table_note": _note(study, trial, tallies, barred),
    }


def _tallies(study: Study, graded: pd.DataFrame | None) -> list[Counts]:
    return [] if graded is None or graded.empty else counts(graded, [row.nozzle for row in study.nozzles])


def _judged(study: Study, tallies: Sequence[Counts]) -> bool:
    """Whether the table counts coupons by how they were judged."""
    return bool(tallies) and any(row.share_met for row in study.nozzles)


def _tally_notes(tallies: Sequence[Counts], barred: bool) -> list[str]:
    """What the columns of counts that stand in the table mean."""
    near, lost = any(c.undecided for c in tallies), any(c.lost for c in tallies)
    names = [
        text("Met"),
        *([text("too near to say")] if near else []),
        text("failed"),
        *([text("lost")] if lost else []),
    ]
    counted = {"columns": listed(names)}
    if barred:
        told = text(
            "{columns}: coupons of all settings that were cut, so that their shares are not those of the bars.",
            **counted,
        )
    else:
        told = text("{columns}: coupons of all settings that were cut.", **counted)
    several = any(sum(n for _, n in c.failed_by) > c.failed for c in tallies)
    notes = [told, *([text("One coupon can fail in several ways.")] if several else [])]
    return notes + ([text("A lost coupon is counted as lost only.")] if lost else [])


def _columns(study: Study, trial: Trial, tallies: Sequence[Counts]) -> list[tuple[str, float, list[str]]]:
    """Head, width and one cell per nozzle type of each column between the bars and the answer."""
    rows = study.nozzles
    cut = [text("{n} of {cut}", n=row.n_coupons, cut=row.n_coupons + row.n_lost) for row in rows]
    found: list[tuple[str, float, list[str]]] = [*ladder_column(study, rows)]
    if _judged(study, tallies):
        found.append((text("Met, at all settings"), 1.0, [text("{n} of {cut}", n=c.met, cut=c.cut) for c in tallies]))
        if any(c.undecided for c in tallies):
            found.append((text("Too near to say"), 0.8, [str(c.undecided) for c in tallies]))
        if any(c.not_judged for c in tallies):
            found.append((text("Not judged"), 0.8, [str(c.not_judged) for c in tallies]))
        found.append((text("Failed"), 1.25, [failed_words(c) for c in tallies]))
        if any(c.lost for c in tallies):
            found.append((text("Lost"), 0.6, [str(c.lost) for c in tallies]))
    else:
        found.append((text("Cut, of those tried"), 1.0, cut))
    if study.money is not None and study.money.types:
        costs = {each.nozzle: cost_words(each, study.money) for each in study.money.types}
        width = 1.35 if without_rework(study.money) else 1.05
        found.append((metre_head(study.money), width, [costs.get(row.nozzle, "–") for row in rows]))
    elif any(row.price is not None for row in rows):
        prices = ["–" if row.price is None else fixed(row.price, 2) for row in rows]
        found.append((text("Price, {currency}", currency=trial.trial.currency), 0.8, prices))
    return found


def _row(row: NozzleRow, chance: ChanceResult | None, cells: list[str]) -> dict[str, Any]:
    fails = fails_of_hundred(chance)
    return {
        "type": person(row.nozzle),
        "what": "" if row.form is None else described(row.form),
        "today": row.today,
        "fails": list(fails) if fails else [],
        "fails_words": fails_words(chance),
        "cells": cells,
        "answer": row_words(row) or "–",
    }


def _note(study: Study, trial: Trial, tallies: Sequence[Counts], barred: bool) -> str:
    notes = [] if study.ladder is None else [table_note(study.ladder)]
    chance = next((c for c in study.chances), None)
    if barred and chance is not None:
        notes.append(
            text(
                "Of 100 edges cut {place}, with any piece of the type: bar, how many are likely to fail the "
                "requirement; line, how many at most with 95 % confidence, each type by itself.",
                place=at_place(chance.place),
            )
        )
    if _judged(study, tallies):
        notes += _tally_notes(tallies, barred)
    answered = {one.response for row in study.nozzles for one in row.answers}
    more_asked = {str(demand.item) for demand in demands(trial.application.required)} - answered
    if barred and more_asked and (symbols := answered_by(study)):
        notes.append(text("The answer goes by {symbols} alone, not by all that is required.", symbols=listed(symbols)))
    return " ".join(notes)
