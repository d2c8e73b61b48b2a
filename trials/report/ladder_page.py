"""The fastest clean cut on the verdict: its picture, its column on the first page, its section."""

from __future__ import annotations

from typing import Any

from trials.decide.ladder import LadderAnswer
from trials.decide.results import NozzleRow, Study
from trials.report import blocks as b
from trials.report.figures.ladders import ladder_figure
from trials.words import ladders as words
from trials.words.answer import word_of
from trials.words.findings import say
from trials.words.language import text
from trials.words.numbers import p_value


def ladder_picture(found: LadderAnswer) -> b.Block:
    """Every mount and type, with description and caption."""
    return b.figure(ladder_figure(found), words.ladder_alt(found), words.ladder_caption(found))


def ladder_column(study: Study, rows: tuple[NozzleRow, ...]) -> list[tuple[str, float, list[str]]]:
    """The column of clean speeds of the first page; none where there is no ladder."""
    found = study.ladder
    if found is None or not found.types:
        return []
    return [(words.cell_head(found), 1.3, [words.cell_words(found, row.nozzle) for row in rows])]


def ladder_section(found: LadderAnswer | None) -> dict[str, Any]:
    """Types, comparisons, every mount; nothing for other trials."""
    if found is None:
        return b.section("", [])
    parts = []
    if found.types:
        cells = [words.clean_cells(each, found) for each in found.types]
        parts += [b.table(words.clean_head(found), cells, range(1, 7), (1.5, 1.2, 1.3, 1.4, 1.2, 0.8, 1.0))]
        head = [text("nozzle"), text("against"), words.more_head(found), text("interval"), "p", text("answer")]
        rows = [
            [
                c.nozzle,
                c.against,
                words.size_words(c, found.unit),
                words.span_words(c, found.unit),
                p_value(c.p),
                word_of(c.answer, c.answer_adds),
            ]
            for c in found.comparisons
        ]
        parts += [b.table(head, rows, (2, 3, 4), (1.2, 1.2, 1.0, 1.4, 0.8, 2.2))]
    if found.worthwhile is not None:
        parts.append(b.words(text("Worthwhile difference: {size}.", size=words.worthwhile_words(found))))
    parts.append(b.listed(say(finding) for finding in (*found.said, *found.more)))
    mounts = [[m.mount, m.nozzle, m.specimen, words.mount_words(m, found)] for m in found.mounts]
    if mounts:
        head = [text("mount"), text("nozzle"), text("specimen"), text("stops being clean")]
        parts += [b.head(text("Every mount")), b.table(head, mounts, (3,), (1.0, 1.5, 1.0, 1.6))]
    return b.section(words.title(found), parts)
