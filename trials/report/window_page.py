"""The operating window and each nozzle at its best on the verdict: maps, tables, what would confirm the best."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from trials.decide.window_result import WindowStudy
from trials.findings import Finding
from trials.report import blocks as b
from trials.report.figures.window import window_figure
from trials.words import window as words
from trials.words.captions import window_alt, window_caption
from trials.words.findings import say
from trials.words.language import text


def window_picture(found: WindowStudy) -> b.Block:
    """The maps of all types, with description and caption."""
    return b.figure(window_figure(found), window_alt(found), window_caption(found))


def window_section(found: WindowStudy | None, picture: bool, confirmed: Sequence[Finding] = ()) -> dict[str, Any]:
    """The window as a page of its own; picture: with the maps, where they do not stand on the first page."""
    title = text("Operating window, and each nozzle at its best")
    if found is None:
        return b.section(title, [])
    widths = (1.4, 0.95, 1.1, 1.9, 0.95, 0.95, 0.95, 0.95)
    cells = [words.table_cells(each, found) for each in found.types]
    beside = words.beside_today(found)
    parts = [b.words(words.answer(found)), *([b.words(beside)] if beside else []), b.listed(map(say, confirmed))]
    parts += [window_picture(found), b.head(text("Where each type is safe, and where it is best"))] if picture else []
    parts += [b.table(words.table_head(found), cells, (1, 2, 4, 5, 6, 7), widths), b.words(words.how_to_read(found))]
    if found.comparisons:
        rows = [words.comparison_cells(one, found) for one in found.comparisons]
        parts += [b.head(text("Types compared, each at its own best"))]
        parts += [b.table(words.comparison_head(), rows, (2, 3), (1.3, 1.6, 0.8, 1.2, 1.3))]
    if found.response:
        rows = [words.best_cells(each, found) for each in found.types]
        parts += [b.head(text("Each at its best: gain, reach, confirmation"))]
        parts += [
            b.table(words.best_head(found), rows, (), (1.0, 1.5, 1.4, 2.0, 1.8)),
            b.words(words.bests_note(found)),
        ]
    parts.append(b.listed(_said(found)))
    return b.section(title, parts)


def _said(found: WindowStudy) -> list[str]:
    lines = [line for each in found.types for line in words.place_sentences(each, found)]
    return [*lines, *words.elsewhere_sentences(found)]
