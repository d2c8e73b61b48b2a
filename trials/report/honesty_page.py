"""A trial's own honesty on the pages for the engineer."""

from __future__ import annotations

from typing import Any

from trials.decide.results import Study
from trials.report import blocks as b
from trials.words.language import text
from trials.words.own_honesty import honesty_heads, honesty_rows, honesty_sentence


def honesty_section(study: Study) -> dict[str, Any]:
    """How often the rule would have erred in trials like this one; empty where none was simulated."""
    parts: list[b.Block] = []
    for found in study.honesty:
        table = b.table(honesty_heads(), honesty_rows(found), range(2, 6), (2.0, 2.4, 0.9, 1.6, 0.9, 1.2))
        parts += [b.words(honesty_sentence(found)), table]
    return b.section(text("How far this trial’s own words can be trusted"), parts)
