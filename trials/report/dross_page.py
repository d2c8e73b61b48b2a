"""Dross on the engineer's pages: shares of each grade as bars, the odds of a worse grade as one table."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from trials.decide.kinds import StudyKind
from trials.decide.results import ResponseResult
from trials.findings import Finding
from trials.report import blocks as b
from trials.report.figures.dross import shares_figure
from trials.words import facts
from trials.words.captions import shares_alt, shares_caption
from trials.words.language import text
from trials.words.numbers import times

IN_TABLE = (StudyKind.GRADE_ODDS, StudyKind.GRADES_APART)


def shares(table: pd.DataFrame, types: Sequence[str]) -> pd.DataFrame:
    """Coupons (types, grades) of each nozzle type with each worst grade, from one row per coupon or reading."""
    worst = table.groupby(["nozzle", "coupon"], sort=False)["value"].max().reset_index()
    counted = worst.groupby(["nozzle", "value"]).size().unstack(fill_value=0)
    grades = range(int(max(counted.columns, default=0)) + 1)
    kept = [name for name in types if name in counted.index]
    return counted.reindex(index=kept, columns=[float(g) for g in grades], fill_value=0).set_axis(list(grades), axis=1)


def shares_picture(table: pd.DataFrame, types: Sequence[str]) -> b.Block:
    """Bars of shares with their description."""
    found = shares(table, types)
    counts = {str(name): {int(str(grade)): int(n) for grade, n in row.items()} for name, row in found.iterrows()}
    return b.figure(shares_figure(found), shares_alt(counts), shares_caption())


def odds_table(result: ResponseResult) -> list[b.Block]:
    """The odds of a worse grade, one row per type; nothing where there are none."""
    found = [f for f in result.said if f.kind in IN_TABLE]
    if not found:
        return []
    names = [text("Nozzle type"), text("Against"), text("Odds of a worse grade"), text("95 % interval")]
    note = text(
        "Odds as a multiple of those of the type it stands against, taken as the same at every setting and so over all "
        "that were cut, not at one alone; each interval by itself, specimens taken into account."
    )
    apart = any(f.kind == StudyKind.GRADES_APART for f in found)
    why = text("No estimate: all its grades lie on one side, so only a bound is known.") if apart else ""
    rows = [_row(f) for f in found]
    return [
        b.head(text("Odds of a worse grade")),
        b.table(names, rows, (2, 3), (1.6, 1.6, 1.2, 1.4)),
        b.words(f"{note} {why}".strip()),
    ]


def _row(finding: Finding) -> list[str]:
    names = [finding.about.nozzle, finding.about.against]
    if finding.kind == StudyKind.GRADE_ODDS:
        value, low, high = (times(facts.figure(finding, name)) for name in ("odds", "low", "high"))
        return [*names, value, b.span(low, high)]
    if finding.facts["bound"] is None:
        return [*names, "–", "–"]
    bound = times(facts.figure(finding, "bound"))
    lower = bool(finding.facts["lower"]) and math.isfinite(facts.figure(finding, "bound"))
    return [*names, "–", text("at most {bound}", bound=bound) if lower else text("at least {bound}", bound=bound)]
