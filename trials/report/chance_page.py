"""The chance that the next edge meets the requirement, as plain data: one line per nozzle type, what is said once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from trials.decide.chance_result import TOGETHER, Asked, ChanceResult
from trials.findings import Finding, each_once
from trials.infer.chance import ChanceKind
from trials.report import blocks as b
from trials.words import facts
from trials.words.chances import any_span, asked_words, at_least, likely, likely_beside
from trials.words.findings import say
from trials.words.language import text
from trials.words.numbers import listed, percent, with_unit


def chance_section(chances: Sequence[ChanceResult], settings: str = "") -> dict[str, Any]:
    """The table of chances, what is said of single types below it, and what holds for many once at the end.

    settings: where the edges are cut, in words.
    """
    parts = [_reading(settings), _table(chances), *_own_notes(chances), *_assumptions(chances)] if chances else []
    return b.section(text("Chance that the next edge meets the requirement"), parts)


def of_all(chances: Sequence[ChanceResult], nozzle: str) -> ChanceResult | None:
    """The chance of a type to meet everything that is asked: all together, or the one requirement there is."""
    own = [c for c in chances if c.nozzle == nozzle]
    return next((c for c in own if c.asked == TOGETHER), own[0] if len(own) == 1 else None)


def _requirements(chances: Sequence[ChanceResult]) -> list[Asked]:
    """Each requirement once, all together last."""
    found: list[Asked] = []
    for chance in chances:
        if chance.asked not in found:
            found.append(chance.asked)
    return sorted(found, key=lambda asked: asked == TOGETHER)


def _reading(settings: str) -> b.Block:
    each = text("Each cell: the estimate, then what the chance is at least, with 95 % confidence.")
    return b.words(" ".join([text("Edges cut at {settings}.", settings=settings), each] if settings else [each]))


def _table(chances: Sequence[ChanceResult]) -> b.Block:
    asked = _requirements(chances)
    rows = [_row(nozzle, chances, asked) for nozzle in _nozzles(chances)]
    names = [text("Nozzle type"), *map(asked_words, asked)]
    return b.table(names, rows, range(1, len(names)), (1.5, *(1.2 for _ in asked)))


def _nozzles(chances: Sequence[ChanceResult]) -> list[str]:
    return list(dict.fromkeys(c.nozzle for c in chances))


def _row(nozzle: str, chances: Sequence[ChanceResult], asked: Sequence[Asked]) -> list[str]:
    own = {c.asked: c for c in chances if c.nozzle == nozzle}
    return [nozzle, *(_cell(own[one]) if one in own else "–" for one in asked)]


def _cell(c: ChanceResult) -> str:
    reach = next((f for f in c.notes if f.kind == ChanceKind.REACH), None)
    estimate = likely(c.estimate) if reach is None else likely_beside(c.estimate, facts.figure(reach, "target"))
    return text("{estimate} (at\u00a0least\u00a0{low})", estimate=estimate, low=at_least(c.low))


def _own_notes(chances: Sequence[ChanceResult]) -> list[b.Block]:
    """What is found of single chances: limits as a table, the rest once per type."""
    notes = []
    for chance in chances:
        rest = [f for f in chance.notes if f.kind not in (*IN_TABLES, ChanceKind.REACH, ChanceKind.LOST_CUTS)]
        notes += [f"{chance.nozzle}, {asked_words(chance.asked)}: {_said(rest)}"] if rest else []
    table = _limits(chances)
    parts = [b.head(text("What is known of single types")), *table] if table or notes else []
    return [*_lost(chances), *parts, *([b.listed(notes)] if notes else []), *_reach(chances)]


IN_TABLES = (ChanceKind.TOLERANCE, ChanceKind.ANY_CORRELATION)


def _limits(chances: Sequence[ChanceResult]) -> list[b.Block]:
    """Values that most edges lie below, and what the estimates allow whatever the correlation; a row per type."""
    asked = [one for one in _requirements(chances) if any(c.asked == one and _in_table(c) for c in chances)]
    if not asked:
        return []
    own = {(c.nozzle, c.asked): _in_table(c) for c in chances}
    rows = [[nozzle, *(own.get((nozzle, one)) or "–" for one in asked)] for nozzle in _nozzles(chances)]
    names = [text("Nozzle type"), *map(asked_words, asked)]
    said = text(
        "For each requirement: the value that most edges lie below (how many, with which confidence), judged as "
        "required, of edges cut through; the chances above count lost cuts too, so they can show less."
    )
    if TOGETHER in asked:
        said = f"{said} {text('All together: what the estimates allow, whatever the correlation.')}"
    return [b.table(names, rows, range(1, len(names)), (1.5, *(1.6 for _ in asked))), b.words(said)]


def _in_table(chance: ChanceResult) -> str:
    """The limit of a chance in a cell; empty where none is known."""
    for finding in chance.notes:
        if finding.kind == ChanceKind.TOLERANCE:
            value = facts.amount(finding, "value")
            return text(
                "below {value} ({share}, {confidence})",
                value=with_unit(value.value, value.unit),
                share=percent(facts.figure(finding, "share")),
                confidence=percent(facts.figure(finding, "confidence")),
            )
        if finding.kind == ChanceKind.ANY_CORRELATION:
            return any_span(finding)
    return ""


def _reach(chances: Sequence[ChanceResult]) -> list[b.Block]:
    """How many specimens of a type would show the chance that is asked; a row per type."""
    cells = {(c.nozzle, c.asked): _needed(f) for c in chances for f in c.notes if f.kind == ChanceKind.REACH}
    if not cells:
        return []
    asked = [one for one in _requirements(chances) if any(one == known for _, known in cells)]
    nozzles = [name for name in _nozzles(chances) if any(name == known for known, _ in cells)]
    rows = [[nozzle, *(cells.get((nozzle, one), "–") for one in asked)] for nozzle in nozzles]
    said = text(
        "Specimens of the type that would show the share in front, if the estimate is right and all types grow alike; "
        "where the estimate lies below it, what so many would show at least."
    )
    if len(cells) < len(_nozzles(chances)) * len(asked):
        said = f"{said} {text('A dash or no row: shown already, or more would gain little.')}"
    names = [text("Nozzle type"), *map(asked_words, asked)]
    table = b.table(names, rows, range(1, len(names)), (1.5, *(1.6 for _ in asked)))
    return [b.head(text("How many specimens would show it")), table, b.words(said)]


def _needed(finding: Finding) -> str:
    target = percent(facts.figure(finding, "target"))
    needed, most = finding.facts["needed"], finding.facts["more_than"]
    if needed is not None:
        return text(
            "{target}: about {needed} ({now} now)", target=target, needed=needed, now=finding.facts["specimens"]
        )
    if most is not None:
        return text("{target}: more than {most}", target=target, most=most)
    steps = [facts.as_row(pair) for pair in facts.several(finding, "shown")]
    lows = [(n, at_least(facts.as_figure(low))) for n, low in steps]
    shown = "; ".join(text("{specimens} show {low}", specimens=n, low=low) for n, low in lows)
    return (
        text("below {target}; {steps}", target=target, steps=shown) if steps else text("below {target}", target=target)
    )


def _lost(chances: Sequence[ChanceResult]) -> list[b.Block]:
    """Cuts that made no edge, said once for all types, and what the number of cuts alone leaves open."""
    lost = {c.nozzle: c.lost for c in chances if c.lost}
    most = {c.nozzle: at_least(c.most) for c in chances if c.most is not None}
    if not lost and not most:
        return []
    names = _by_type(lost) if lost else text("none so far")
    if not most:
        return [b.words(text("A cut that does not go through counts as an edge that fails ({counts}).", counts=names))]
    bounds = next(iter(most.values())) if len(set(most.values())) == 1 else _by_type(most)
    said = text(
        "A cut that does not go through counts as an edge that fails ({counts}); the number of cuts alone allows no "
        "bound above {bounds}.",
        counts=names,
        bounds=bounds,
    )
    return [b.words(said)]


def _by_type(found: Mapping[str, object]) -> str:
    return listed([text("{nozzle} {n}", nozzle=nozzle, n=n) for nozzle, n in found.items()])


def _said(findings: Sequence[Finding]) -> str:
    return " ".join(say(finding) for finding in findings)


def _assumptions(chances: Sequence[ChanceResult]) -> list[b.Block]:
    """Each assumption once, with the requirements that it holds for unless it holds for all of them."""
    everything = _requirements(chances)
    grouped: list[tuple[list[Asked], list[Finding]]] = []
    for finding in each_once(f for c in chances for f in c.rests_on):
        holds = [one for one in everything if any(finding in c.rests_on for c in chances if c.asked == one)]
        same = next((found for known, found in grouped if known == holds), None)
        if same is None:
            grouped.append((holds, [finding]))
        else:
            same.append(finding)
    lines = [
        _said(found) if holds == everything else f"{listed([asked_words(one) for one in holds])}: {_said(found)}"
        for holds, found in grouped
    ]
    return [b.head(text("What these chances rest on")), b.listed(lines)] if lines else []
