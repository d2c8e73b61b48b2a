"""The chance that the next edge meets the requirement, as plain data: one line per nozzle type, what is said once."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from trials.decide.results import ChanceResult
from trials.report import blocks as b

TOGETHER = "all together"
_BETWEEN_SENTENCES = re.compile(r"(?<=[.!?])\s+(?=[A-Z0-9])")


def chance_section(chances: Sequence[ChanceResult]) -> dict[str, Any]:
    """The table of chances, what is said of single types below it, and what holds for many once at the end."""
    parts = [_reading(chances), _table(chances), *_own_notes(chances), *_assumptions(chances)] if chances else []
    return b.section("Chance that the next edge meets the requirement", parts)


def of_all(chances: Sequence[ChanceResult], nozzle: str) -> ChanceResult | None:
    """The chance of a type to meet everything that is asked: all together, or the one requirement there is."""
    own = [c for c in chances if c.nozzle == nozzle]
    return next((c for c in own if c.requirement == TOGETHER), own[0] if len(own) == 1 else None)


def likely(share: float) -> str:
    """A chance as a whole percentage, never 100 %, and 0 % only where the bound shows nothing."""
    if share >= 0.995:
        return "over 99 %"
    return "under 1 %" if 0.0 < share < 0.005 else b.percent(share)


def _requirements(chances: Sequence[ChanceResult]) -> list[str]:
    names = list(dict.fromkeys(c.requirement for c in chances))
    return sorted(names, key=lambda name: name == TOGETHER)


def _reading(chances: Sequence[ChanceResult]) -> b.Block:
    settings = "; ".join(dict.fromkeys(c.settings for c in chances if c.settings))
    at = f"Edges cut at {settings}. " if settings else ""
    return b.words(f"{at}Each cell: the estimate, then what the chance is at least, with 95 % confidence.")


def _table(chances: Sequence[ChanceResult]) -> b.Block:
    asked = _requirements(chances)
    met = any(c.share_met is not None and c.n_coupons for c in chances)
    rows = [_row(nozzle, chances, asked, met) for nozzle in dict.fromkeys(c.nozzle for c in chances)]
    names = ["Nozzle type", *asked, *(["Met so far, over all settings"] if met else [])]
    widths = (1.5, *(1.2 for _ in asked), *((1.35,) if met else ()))
    return b.table(names, rows, range(1, len(names)), widths)


def _row(nozzle: str, chances: Sequence[ChanceResult], asked: Sequence[str], met: bool) -> list[str]:
    own = {c.requirement: c for c in chances if c.nozzle == nozzle}
    cells = [_cell(own[name]) if name in own else "–" for name in asked]
    seen = next((c for c in own.values() if c.share_met is not None and c.n_coupons), None)
    share = f"{round(seen.share_met * seen.n_coupons)} of {seen.n_coupons} coupons" if seen else "–"
    return [nozzle, *cells, *([share] if met else [])]


def _cell(c: ChanceResult) -> str:
    return f"{likely(c.estimate)} at\u00a0least\u00a0{likely(c.low)}"


def _own_notes(chances: Sequence[ChanceResult]) -> list[b.Block]:
    """One note per type; a sentence said of each of its requirements stands first, and once."""
    notes = []
    for nozzle in dict.fromkeys(c.nozzle for c in chances):
        said = {c.requirement: _sentences(c.words) for c in chances if c.nozzle == nozzle and c.words}
        everywhere = [line for line in next(iter(said.values()), []) if _repeated(line, said)]
        parts = [" ".join(everywhere)] if everywhere else []
        for name, lines in said.items():
            own = " ".join(line for line in lines if line not in everywhere)
            parts += [f"{name}: {own}"] if own else []
        if parts:
            notes.append(f"{nozzle}. {' '.join(parts)}")
    return [b.head("What is said of single types"), b.listed(notes)] if notes else []


def _repeated(line: str, said: dict[str, list[str]]) -> bool:
    return sum(line in lines for lines in said.values()) > 1


def _sentences(text: str) -> list[str]:
    return [part for part in _BETWEEN_SENTENCES.split(text.strip()) if part]


def _assumptions(chances: Sequence[ChanceResult]) -> list[b.Block]:
    """Each assumption once, with the requirements that it holds for unless it holds for all of them."""
    holds: dict[str, list[str]] = {}
    for c in chances:
        for line in c.assumed:
            holds.setdefault(line, []).append(c.requirement)
    grouped: dict[tuple[str, ...], list[str]] = {}
    for line, names in holds.items():
        grouped.setdefault(tuple(dict.fromkeys(names)), []).append(line)
    everything = set(_requirements(chances))
    lines = [
        " ".join(said) if set(names) == everything else f"{_listed(names)}: {' '.join(said)}"
        for names, said in grouped.items()
    ]
    return [b.head("What these chances rest on"), b.listed(lines)] if lines else []


def _listed(names: Sequence[str]) -> str:
    return ", and ".join(names) if len(names) < 3 else f"{', '.join(names[:-1])}, and {names[-1]}"
