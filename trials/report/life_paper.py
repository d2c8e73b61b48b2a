"""Lives by type on paper: the answer, the picture, the tables, what they cannot say."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from trials.decide.lives import LivesAnswer
from trials.endings import Ended
from trials.infer.life import TypeLife
from trials.report import blocks as b
from trials.report.extras import Picture
from trials.report.figures.lives import cause_figure, life_figure
from trials.report.life_first import LifeTrial, first_page_of_lives
from trials.report.record_pages import cautions_section
from trials.report.typeset import pdf
from trials.words.decision import lives_decided
from trials.words.language import text
from trials.words.lives import (
    care_sentences,
    cause_head,
    cause_note,
    cause_rows,
    causes_alt,
    causes_caption,
    cautions,
    comparison_sentences,
    end_words,
    life_words,
    lives_alt,
    lives_caption,
    part_title,
    part_words,
    percent_of,
    ratio_cells,
    ratio_head,
    say_life,
    sentences,
    share_words,
    unit_words,
)
from trials.words.names import person
from trials.words.numbers import plain


def life_pdf(
    table: pd.DataFrame, found: LivesAnswer, made_on: date, invented: bool = False, asked: LifeTrial | None = None
) -> bytes:
    """One paper on lives; table: `nozzle, specimen, life, ended`, as it was studied; asked: of a life trial."""
    data = life_data(table, found, made_on, asked)
    return pdf("verdict.typ", data, made_on, invented, "A4" if asked is None else asked.trial.trial.paper)


def life_data(table: pd.DataFrame, found: LivesAnswer, made_on: date, asked: LifeTrial | None = None) -> dict[str, Any]:
    """Everything the template prints, as text, numbers and SVG: a page for the manager, then those of the engineer."""
    picture = life_picture(table, found)
    figure = b.figure(picture.svg, picture.alt, picture.caption)
    sections = [
        b.section(text("For the engineer: the answer in figures"), [_in_figures(found)]),
        b.section(text("Lives"), [life_table(found)]),
        b.section(text("Against today's type"), _ratio_blocks(found)),
        b.section(text("How the lives ended"), _end_blocks(found)),
        *(_part_section(part) for part in found.beside),
        b.section(text("What these lives cannot say"), [b.listed(cautions(found))]),
        b.section(text("Share still good, failure by failure"), [km_table(found)]),
        b.section(text("Lives as recorded"), [_recorded(table, found)]),
        *([] if asked is None else [cautions_section()]),
    ]
    return {
        **first_page_of_lives(found, made_on, figure, asked),
        "sections": [part for part in sections if part["blocks"]],
    }


def _in_figures(found: LivesAnswer) -> b.Block:
    return b.listed([*sentences(found), *filter(None, [lives_decided(found)])])


def life_picture(table: pd.DataFrame, found: LivesAnswer) -> Picture:
    """Share of specimens still good over time, by type."""
    types = found.study.types
    rows = table[table["part"] == found.part] if "part" in table else table
    own = [rows[rows["nozzle"] == each.nozzle] for each in types]
    svg = life_figure(
        [person(each.nozzle) for each in types],
        [part["life"].to_list() for part in own],
        [[end.failed for end in part["ended"]] for part in own],
        [each.curve for each in types],
        unit_words(found.unit),
        person(found.study.today),
    )
    return Picture(text("Share still good"), svg, lives_alt(found), lives_caption(found))


def life_table(found: LivesAnswer) -> b.Block:
    """Lives by type with limits."""
    types = found.study.types
    head = [text("nozzle type"), text("specimens"), text("failed"), *(share_words(at.quantile) for at in types[0].at)]
    rows = [_life_row(each) for each in types]
    return b.table(head, rows, right=range(1, len(head)), widths=(2.0, 1.0, 0.8, *(2.0 for _ in head[3:])))


def _life_row(each: TypeLife) -> list[str]:
    lives = [life_words(at.life, at.low, at.high) for at in each.at]
    return [each.nozzle, str(each.n), str(each.failures), *lives]


def _ratio_blocks(found: LivesAnswer) -> list[b.Block]:
    study = found.study
    rows = [ratio_cells(ratio) for ratio in (*study.ratios, *study.own_shapes)]
    if not rows:
        return []
    said = text(
        "Limits by profile likelihood, each at {level} so that those of all types hold together with 95 %, allowing "
        "for few failures.",
        level=percent_of(study.confidence),
    )
    alone = text(
        "With a shape of its own for each type a ratio rests on the failures near its age alone: its limits are wider "
        "than those under one shape, and do not contradict them."
    )
    table = b.table(ratio_head(), rows, right=(4, 5), widths=(1.6, 1.6, 1.6, 1.1, 1.8, 1.2))
    return [table, b.words(said, alone if study.own_shapes else "")]


def _end_blocks(found: LivesAnswer) -> list[b.Block]:
    """Lives by type and cause, where a cause is on record."""
    seen = [end for end in Ended if any(end in each.counts for each in found.ends)]
    if not set(seen) - {Ended.NOT_SAID, Ended.TAKEN_OFF_GOOD}:
        return []
    rows = [[each.nozzle, *(str(each.counts.get(end, 0)) for end in seen)] for each in found.ends]
    head = [text("nozzle type"), *map(end_words, seen)]
    said = text("Every end but taken off while good counts as a failure, whatever its cause.")
    counts = [b.table(head, rows, right=range(1, len(head)), widths=(1.6, *(1.0 for _ in seen))), b.words(said)]
    return [*counts, *_cause_blocks(found), b.listed(care_sentences(found))]


def _cause_blocks(found: LivesAnswer) -> list[b.Block]:
    """Each cause by itself, where there are several."""
    if not found.causes:
        return []
    picture = cause_picture(found)
    table = b.table(cause_head(found), cause_rows(found), right=(2,), widths=(1.3, 1.5, 0.7, 2.0, 1.5, 1.8))
    return [b.figure(picture.svg, picture.alt, picture.caption), table, b.words(cause_note(found))]


def cause_picture(found: LivesAnswer) -> Picture:
    """What became of the pieces of each type by the same time: how many are still good, and what ended the others."""
    causes = [end_words(Ended(cause.cause)) for cause in found.causes]
    names = [each.nozzle for each in found.study.types]
    shares = [[cause.types[k].ended for cause in found.causes] for k in range(len(names))]
    svg = cause_figure(names, causes, shares, text("still good"))
    return Picture(text("What ended them"), svg, causes_alt(found), causes_caption(found))


def _part_section(found: LivesAnswer) -> dict[str, Any]:
    """Lens or window lives under the nozzle types."""
    lines = [*comparison_sentences(found), *map(say_life, found.study.said)]
    return b.section(part_title(found.part), [life_table(found), b.listed(lines), *_end_blocks(found)])


def km_table(found: LivesAnswer) -> b.Block:
    """Product-limit estimate at each time of failure."""
    rows = []
    for each in found.study.types:
        s = each.survival
        for time, risk, gone, share, low, high in zip(s.time, s.at_risk, s.failed, s.share, s.low, s.high, strict=True):
            limits = text("{low} to {high}", low=b.percent(low), high=b.percent(high))
            rows.append([each.nozzle, plain(float(time)), str(risk), str(gone), b.percent(share), limits])
    limits = text("{level} limits", level=percent_of(0.95))
    head = [
        text("nozzle type"),
        unit_words(found.unit),
        text("at risk"),
        text("failed"),
        text("still good"),
        limits,
    ]
    return b.table(head, rows, right=range(1, 6), widths=(2.0, 1.0, 1.0, 1.0, 1.2, 1.8))


def _recorded(table: pd.DataFrame, found: LivesAnswer) -> b.Block:
    parts, counts = "part" in table and table["part"].nunique() > 1, ("cleaned", "refitted")
    kept = [name for name in counts if name in table and table[name].any()]
    rows = [
        [
            str(row["nozzle"]),
            str(row["specimen"]) or "–",
            *([part_words(row["part"])] if parts else []),
            plain(float(row["life"])),
            end_words(row["ended"]),
            *(str(row[name]) for name in kept),
        ]
        for row in table.to_dict("records")
    ]
    head = [text("nozzle type"), text("specimen"), *([text("part")] if parts else []), unit_words(found.unit)]
    head += [text("ended"), *({"cleaned": text("cleaned"), "refitted": text("put back")}[name] for name in kept)]
    right = (3 if parts else 2, *range(len(head) - len(kept), len(head)))
    return b.table(head, rows, right=right)
