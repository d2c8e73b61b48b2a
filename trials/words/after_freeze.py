"""What changed after the freeze, and what a later rule would say, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.infer.answer import Added, Answer
from trials.record_kinds import JournalKind, RecordKind
from trials.responses import QUANTITIES
from trials.words import facts
from trials.words.answer import word_of
from trials.words.language import text
from trials.words.records import entry

if TYPE_CHECKING:
    from trials.findings import Finding


def _change(kind: JournalKind) -> Callable[[Finding], str]:
    """Sentence of a journal entry with who and why; facts: the payload of the entry, `who` and `why`."""

    def sentence(finding: Finding) -> str:
        prose = set(finding.facts) == {"text", "who", "why"}
        said = facts.word(finding, "text") if prose else entry(kind, finding.facts)
        who, why = facts.word(finding, "who"), facts.word(finding, "why")
        if who and why:
            return text("{change} ({who}: {why})", change=said, who=who, why=why)
        return text("{change} ({by})", change=said, by=who or why) if who or why else said

    return sentence


def _corrected(kind: JournalKind) -> Callable[[Finding], str]:
    """Sentence of a correction that was made after words were seen; facts as of `_change`."""
    change = _change(kind)

    def sentence(finding: Finding) -> str:
        return text("After a verdict was read: {change}", change=change(finding))

    return sentence


def _kept_word(finding: Finding) -> str:
    """Facts: kept, kept_adds, kept_rule; now, now_adds, rule (now empty: the later rule gives no word)."""
    quantity, about = QUANTITIES.get(finding.about.response), finding.about
    names = {
        "nozzle": about.nozzle,
        "against": about.against,
        "symbol": text(quantity.short) if quantity else about.response,
        "kept": _word(finding, "kept"),
        "kept_rule": facts.word(finding, "kept_rule"),
        "rule": facts.word(finding, "rule"),
    }
    if not facts.word(finding, "now"):
        return text(
            "{nozzle} against {against}, by {symbol}: kept as “{kept}” (rule {kept_rule}); rule {rule} gives no word.",
            **names,
        )
    return text(
        "{nozzle} against {against}, by {symbol}: kept as “{kept}” (rule {kept_rule}); by rule {rule} it would be "
        "“{now}”.",
        now=_word(finding, "now"),
        **names,
    )


def _word(finding: Finding, name: str) -> str:
    adds = facts.word(finding, f"{name}_adds")
    return word_of(Answer(facts.word(finding, name)), Added(adds) if adds else None)


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    RecordKind.QUESTION_AMENDED: _change(JournalKind.AMENDED),
    RecordKind.LOTS_CHANGED: _change(JournalKind.LOTS),
    RecordKind.BLOCK_ADDED: _change(JournalKind.BLOCK_ADDED),
    RecordKind.SPECIMEN_RETIRED: _change(JournalKind.RETIRED),
    RecordKind.KEPT_WORD_DIFFERS: _kept_word,
    RecordKind.READING_WAS_CORRECTED: _corrected(JournalKind.READING_CORRECTED),
    RecordKind.CUT_WAS_CORRECTED: _corrected(JournalKind.CUT_CORRECTED),
    RecordKind.MOUNT_WAS_CORRECTED: _corrected(JournalKind.MOUNT_CORRECTED),
    RecordKind.SHEET_WAS_CORRECTED: _corrected(JournalKind.SHEET_CORRECTED),
    RecordKind.SLIP_WAS_CONFIRMED: _corrected(JournalKind.SLIP_CONFIRMED),
}
