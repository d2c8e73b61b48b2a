"""Records that are checked, kept elsewhere and made again: in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from trials.record_kinds import RecordKind
from trials.words.language import plural, text
from trials.words.numbers import in_groups

if TYPE_CHECKING:
    from trials.findings import Finding


def _line(template: str) -> Callable[[Finding], str]:
    return lambda found: text(template, **{name: str(fact) for name, fact in found.facts.items()})


def _counted(one: str, many: str) -> Callable[[Finding], str]:
    def sentence(found: Finding) -> str:
        rows = found.facts["rows"]
        assert isinstance(rows, int)
        return plural(one, many, rows, **{name: str(fact) for name, fact in found.facts.items() if name != "rows"})

    return sentence


def _files(found: Finding) -> str:
    names = found.facts["files"]
    assert isinstance(names, tuple)
    return plural(
        "{n} file of a command that was stopped is left over: {files}. It may be deleted.",
        "{n} files of commands that were stopped are left over: {files}. They may be deleted.",
        len(names),
        files=", ".join(map(str, names)),
    )


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    RecordKind.FILE_DAMAGED: _line("The database is damaged: {message}. Put back a backup."),
    RecordKind.ENTRY_CHANGED: _line(
        "Journal entry {entry} is not as it was written. Put back a backup; entries before it are sound."
    ),
    RecordKind.ENTRY_MOVED: _line(
        "Journal entry {entry} does not follow the one before it: an entry was taken out, put in or changed. Put back "
        "a backup."
    ),
    RecordKind.ROWS_CHANGED: _line(
        "Rows of {table} that came with journal entry {entry} were changed, added or taken out. Put back a backup; "
        "what came with other entries is sound."
    ),
    RecordKind.ROWS_UNCOVERED: _counted(
        "{n} row of {table} came with no journal entry: another program wrote it. Put back a backup.",
        "{n} rows of {table} came with no journal entry: another program wrote them. Put back a backup.",
    ),
    RecordKind.HEAD_CHANGED: _line(
        "The journal does not end where it should: its newest entries were taken out, or its head was changed. Put "
        "back a backup."
    ),
    RecordKind.ROWS_ORPHANED: _counted(
        "{n} row of {table} names a row of {parent} that is not there. Put back a backup.",
        "{n} rows of {table} name rows of {parent} that are not there. Put back a backup.",
    ),
    RecordKind.COUNT_DIFFERS: _counted(
        "Journal entry {entry} says {said} rows of {table}, {n} came with it. Put back a backup.",
        "Journal entry {entry} says {said} rows of {table}, {n} came with it. Put back a backup.",
    ),
    RecordKind.QUESTION_DIFFERS: _line(
        "Question and records do not belong together: {message}. Put back the one that does, or state a change with "
        "`trials amend`."
    ),
    RecordKind.QUESTION_UNNAMED: _line(
        "trial.toml does not name its records yet; the next entry writes it ([store] trial, {identity})."
    ),
    RecordKind.FILES_LEFT: _files,
}


def checked(entries: int, rows: int, head: str) -> str:
    """What was held against what."""
    written = plural("{n} journal entry", "{n} journal entries", entries)
    kept = plural("{n} row", "{n} rows", rows)
    return text("Checked {entries} and {rows}; records {head}.", entries=written, rows=kept, head=in_groups(head))


def sound() -> str:
    """Nothing is wrong."""
    return text("Every entry follows the one before it, and every row is as it was written.")


def paper_shows(look: int, head: str) -> str:
    """Which number the first paper of a look has at its foot."""
    return text("The paper of look {look} shows records {head}.", look=look, head=in_groups(head))


def kept(what: str, **named: Any) -> str:
    """That a trial was backed up, exported or made again."""
    return {
        "backup": lambda: text("Backed up to {place}: records {head}.", **named),
        "export": lambda: text("Exported to {place}: records {head}.", **named),
        "restore": lambda: text("Made the trial again in {place}: records {head}.", **named),
    }[what]()
