"""The fastest clean cut of a ladder trial on the screen."""

from __future__ import annotations

from trials.cli import show
from trials.decide.ladder import LadderAnswer, LadderComparison
from trials.words import ladders as words
from trials.words.answer import word_of
from trials.words.findings import say
from trials.words.language import text
from trials.words.numbers import p_value


def print_ladder(found: LadderAnswer) -> None:
    """Types, comparisons, every mount, and what there is to say beside them."""
    title = words.title(found)
    show.heading(text("{title} (decides)", title=title) if found.worthwhile else title)
    if found.types:
        show.table(words.clean_head(found), [words.clean_cells(each, found) for each in found.types])
        head = [text("nozzle"), text("against"), words.more_head(found), text("interval"), "p", text("answer")]
        show.table(head, [_compared(c, found.unit) for c in found.comparisons])
    if found.mounts:
        rows = [[m.mount, m.nozzle, m.specimen, words.mount_words(m, found)] for m in found.mounts]
        show.table([text("mount"), text("nozzle"), text("specimen"), text("stops being clean")], rows)
    show.bullets(map(say, (*found.said, *found.more)))


def _compared(c: LadderComparison, unit: str) -> list[str]:
    word = word_of(c.answer, c.answer_adds)
    return [c.nozzle, c.against, words.size_words(c, unit), words.span_words(c, unit), p_value(c.p), word]
