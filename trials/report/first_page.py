"""The manager's table of nozzle types on the first page of a verdict, as plain data."""

from __future__ import annotations

from typing import Any

from trials.decide.results import NozzleRow, ResponseResult, Study
from trials.report import blocks as b
from trials.report.chance_page import of_all
from trials.report.ladder_page import ladder_column
from trials.report.ranges import bands
from trials.responses import Scale
from trials.trial import Trial
from trials.units import shown
from trials.words.chances import likely
from trials.words.ladders import table_note
from trials.words.language import plural, text
from trials.words.plan import described
from trials.words.settings import at_place
from trials.words.study import row_words, share_words, symbol

FIRST = ("roughness", "squareness")  # shown before other secondary responses


def nozzle_table(study: Study, trial: Trial) -> dict[str, Any]:
    """Heads, widths, rows and the note of the table; a column that would be empty in each row is left out."""
    columns = _columns(study, trial)
    return {
        "nozzle_head": [text("Nozzle type"), *(name for name, _, _ in columns), text("Answer")],
        "nozzle_widths": [width for _, width, _ in columns],
        "nozzle_rows": [_row(row, study, [cells[k] for _, _, cells in columns]) for k, row in enumerate(study.nozzles)],
        "table_note": _note(study),
    }


def _columns(study: Study, trial: Trial) -> list[tuple[str, float, list[str]]]:
    """Head, width and one cell per nozzle type of each column between type and answer."""
    rows = study.nozzles
    found = [(text("Coupons cut"), 1.3, [_cut(row) for row in rows]), *ladder_column(study, rows)]
    found += [(_typical_head(r), 1.15, [_typical(row, r, trial) for row in rows]) for r in _shown_means(study)]
    if any(row.share_met for row in rows):
        found.append((text("Met the requirement"), 1.5, [share_words(row.share_met) or "–" for row in rows]))
    if has_chance(study):
        found.append((text("Next edge meets it"), 1.3, [_chance_cell(study, row.nozzle) for row in rows]))
    if any(row.price is not None for row in rows):
        prices = ["–" if row.price is None else f"{row.price:.2f}" for row in rows]
        found.append((text("Price, {currency}", currency=trial.trial.currency), 0.9, prices))
    return found


def _row(row: NozzleRow, study: Study, cells: list[str]) -> dict[str, Any]:
    return {
        "type": _type_words(row, study),
        "what": "" if row.form is None else described(row.form),
        "today": row.today,
        "cells": cells,
        "answer": row_words(row) or "–",
    }


def _type_words(row: NozzleRow, study: Study) -> str:
    """The type; with its one piece where the answer is about pieces."""
    piece = next((r.pieces[row.nozzle] for r in study.results if r.primary and row.nozzle in r.pieces), "")
    return text("{nozzle}, nozzle {piece}", nozzle=row.nozzle, piece=piece) if piece else row.nozzle


def _cut(row: NozzleRow) -> str:
    cut = text("{cut} of {planned}", cut=row.n_coupons, planned=row.n_coupons + row.n_lost)
    if not row.n_specimens:
        return cut
    specimens = plural("{n}\u00a0specimen", "{n}\u00a0specimens", row.n_specimens)
    return text("{cut} ({specimens})", cut=cut, specimens=specimens)


def _shown_means(study: Study) -> list[ResponseResult]:
    ordered = sorted(study.results, key=lambda r: (not r.primary, r.response not in FIRST))
    return [r for r in ordered if any(r.response in row.means for row in study.nozzles)][:2]


def _typical_head(result: ResponseResult) -> str:
    names = {"symbol": symbol(result), "unit": shown(result.unit)}
    if result.scale == Scale.GRADE:
        return text("Mean {symbol}", **names)
    return text("Typical {symbol}, {unit}", **names) if result.unit else text("Typical {symbol}", **names)


def _typical(row: NozzleRow, result: ResponseResult, trial: Trial) -> str:
    """Typical edge without its unit, and the range that it falls in."""
    mean = row.means.get(result.response)
    ranges = bands(result, trial)
    if mean is None or not ranges:
        return b.num(mean)
    place = next(
        (text("range\u00a0{number}", number=band.number) for band in ranges if mean <= band.high), text("worse")
    )
    return text("{value} ({range})", value=b.num(mean), range=place)


def has_chance(study: Study) -> bool:
    """Whether a chance for the whole requirement is known of any type."""
    return any(of_all(study.chances, row.nozzle) for row in study.nozzles)


def _chance_cell(study: Study, nozzle: str) -> str:
    found = of_all(study.chances, nozzle)
    if found is None:
        return "–"
    return text("{chance} (at\u00a0least\u00a0{low})", chance=likely(found.estimate), low=likely(found.low))


def _note(study: Study) -> str:
    means = [r.means[0] for r in study.results if r.means]
    notes = [text("Typical edges {place}.", place=at_place(means[0].settings))] if means else []
    if study.ladder is not None:
        notes.append(table_note(study.ladder))
    if has_chance(study):
        notes.append(
            text(
                "“Next edge meets it”: chance that it meets the whole requirement at today's settings; in brackets "
                "what that chance is at least, with 95 % confidence."
            )
        )
    return " ".join(notes)
