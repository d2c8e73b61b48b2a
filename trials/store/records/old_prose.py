"""What version 0.1.0 kept as prose or inside a summary, as values: for the migration, and for looks without a paper."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from typing import Any

from sqlalchemy import Connection, select, update

from trials.record_kinds import JournalKind
from trials.store.records import schema

_CHANGED = r"(?P<key>.+?): (?P<old>.*?) -> (?P<new>.*)"
_ROW = r"(?P<of>coupon|mount|sheet) (?P<mark>.+?), (?P<column>\w+): (?P<old>.*?) -> (?P<new>.*)"
RULE_BEFORE = "1"
"""Version of the rule whose looks kept no version."""
PATTERNS: Mapping[JournalKind, str] = {
    JournalKind.FROZEN: r"(?P<coupons>\d+) coupons, (?P<mounts>\d+) mounts, (?P<sheets>\d+) sheets",
    JournalKind.AMENDED: _CHANGED,
    JournalKind.BLOCK_ADDED: r"block (?P<block>\d+), (?P<coupons>\d+) coupons, (?P<declared>(?:not )?declared) .*",
    JournalKind.CUTS_RECORDED: r"(?P<coupons>\d+) coupons, (?:(?P<details>\d+) mounts or sheets|as planned)",
    JournalKind.READINGS_RECORDED: r"(?P<readings>\d+) readings of (?P<coupons>\d+) coupons",
    JournalKind.READING_CORRECTED: (
        r"coupon (?P<coupon>.+?), reading (?P<reading>\d+)(?:, repeat (?P<repeat>\d+))?, (?P<field>\w+): "
        r"(?P<old>\S+) -> (?P<new>\S+)"
    ),
    JournalKind.CUT_CORRECTED: _ROW,
    JournalKind.MOUNT_CORRECTED: _ROW,
    JournalKind.SHEET_CORRECTED: _ROW,
    JournalKind.ADOPTED: r"(?P<file>.+): (?P<rows>\d+) rows, (?P<coupons>\d+) coupons",
    JournalKind.VERDICT: r"look (?P<look>\d+) kept",
}
WHOLE = {"coupons", "mounts", "sheets", "block", "details", "readings", "reading", "repeat", "rows", "look"}


def payload_of(kind: JournalKind, what: str) -> dict[str, Any]:
    """The payload of an entry of version 0.1.0; the prose itself under `text` where it does not tell more."""
    pattern = PATTERNS.get(kind)
    found = re.fullmatch(pattern, what, re.DOTALL) if pattern else None
    if found is None:
        return {"text": what}
    parts: dict[str, Any] = {name: _whole(name, part) for name, part in found.groupdict().items()}
    finish = _FINISH.get(kind)
    return finish(parts) if finish else parts


def _whole(name: str, part: str | None) -> Any:
    return int(part or 0) if name in WHOLE else part


def _declared(facts: dict[str, Any]) -> dict[str, Any]:
    return {**facts, "declared": facts["declared"] == "declared"}


def _as_planned(facts: dict[str, Any]) -> dict[str, Any]:
    return {**facts, "as_planned": facts["details"] == 0}


def _figures(facts: dict[str, Any]) -> dict[str, Any]:
    new = None if facts["new"] == "withdrawn" else float(facts["new"])
    return {**facts, "old": float(facts["old"]), "new": new}


def _cells(facts: dict[str, Any]) -> dict[str, Any]:
    return {**facts, **{name: "" if facts[name] == "empty" else facts[name] for name in ("old", "new")}}


_FINISH: Mapping[JournalKind, Callable[[dict[str, Any]], dict[str, Any]]] = {
    JournalKind.BLOCK_ADDED: _declared,
    JournalKind.CUTS_RECORDED: _as_planned,
    JournalKind.READING_CORRECTED: _figures,
    JournalKind.CUT_CORRECTED: _cells,
    JournalKind.MOUNT_CORRECTED: _cells,
    JournalKind.SHEET_CORRECTED: _cells,
}


def fill_payloads(connection: Connection) -> None:
    """A payload for each entry of the journal, parsed from its prose."""
    rows = connection.execute(select(schema.journal.c.id, schema.journal.c.kind, schema.journal.c.what)).all()
    for number, kind, what in rows:
        text = json.dumps(payload_of(JournalKind(kind), what), ensure_ascii=False, sort_keys=True)
        connection.execute(update(schema.journal).where(schema.journal.c.id == number).values(payload=text))


def fill_looks(connection: Connection) -> None:
    """Fingerprint, rule and words of each look, from its summary; version 0.1.0 kept no paper."""
    for look, text in connection.execute(select(schema.looks.c.look, schema.looks.c.summary_json)).all():
        summary = json.loads(text)
        kept = {"fingerprint": summary.get("fingerprint", ""), "words_json": json.dumps(given_words(summary))}
        kept["rule_version"] = RULE_BEFORE
        connection.execute(update(schema.looks).where(schema.looks.c.look == look).values(**kept))


def given_words(summary: Mapping[str, Any]) -> list[dict[str, str]]:
    """The answers in the summary of a look, as `looks.KeptWord` takes them."""
    return [
        {"response": result["response"], "nozzle": one["nozzle"], "against": one["against"]}
        | {"answer": one["answer"], "answer_adds": one.get("answer_adds") or ""}
        for result in summary.get("study", {}).get("results", ())
        for one in result["comparisons"]
        if one.get("answer")
    ]
