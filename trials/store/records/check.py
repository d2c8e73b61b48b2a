"""Whether the records of a trial are as they were written: the chain, the counts, what names what, the file itself."""

from __future__ import annotations

import json
import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from trials.errors import InputError
from trials.findings import Fact, Finding, Weight
from trials.record_kinds import JournalKind, RecordKind
from trials.store.question import TOML
from trials.store.records import chain, schema
from trials.store.records.folder import check_unchanged, last_version, read_trial, require_frozen
from trials.store.records.migrations import transaction
from trials.store.records.place import Place, Server
from trials.store.records.stored import Stored
from trials.trial import Trial

MOST = 20
"""So many places of one kind are named."""
_PART = re.compile(r"\.[0-9a-f]{16}\.part")
_COUNTED = {
    JournalKind.FROZEN: ("planned_coupons", "coupons"),
    JournalKind.CUTS_RECORDED: ("cuts", "coupons"),
    JournalKind.READINGS_RECORDED: ("readings", "readings"),
}
"""Entries that say how many rows came with them: the table, and the name of the number in the payload."""
_WITHOUT_ROWS = (JournalKind.SLIP_CONFIRMED, JournalKind.LOTS, JournalKind.PLAN)


@dataclass(frozen=True)
class Checked:
    """What a check found. place: where the records lie, without any password; sound: nothing is wrong; head: newest
    hash; entries: of the journal; rows: by table; papers: look -> the head that its first paper shows."""

    place: str
    findings: tuple[Finding, ...]
    identity: str = ""
    head: str = ""
    entries: int = 0
    rows: Mapping[str, int] = field(default_factory=dict)
    papers: Mapping[int, str] = field(default_factory=dict)

    @property
    def sound(self) -> bool:
        """Whether nothing that was found could change an answer."""
        return all(finding.weight is not Weight.COULD_CHANGE for finding in self.findings)


def check(folder: Path | str) -> Checked:
    """Check the records of a frozen trial; nothing is written.

    Raises
    ------
    InputError
        If the folder is no trial folder, or no plan is frozen.
    """
    trial, _ = read_trial(folder)
    place = require_frozen(folder)
    left = _left_over(Path(folder))
    try:
        with transaction(place, writes=False) as connection:
            return _checked(connection, place, Path(folder), trial, left)
    except InputError as error:
        return Checked(str(place), (_wrong(RecordKind.FILE_DAMAGED, message=error.problem), *left))


def _wrong(kind: RecordKind, **facts: Fact) -> Finding:
    return Finding(kind, facts=facts, weight=Weight.COULD_CHANGE)


def _checked(connection: Connection, place: Place, folder: Path, trial: Trial, left: tuple[Finding, ...]) -> Checked:
    found = [*_engine(connection, place)]
    known, journal = chain.about(connection), chain.stored(connection, schema.journal.name)
    tables = {name: chain.stored(connection, name) for name in chain.COUNTERS}
    broken = [_said(each) for each in chain.breaks(known, journal, tables)[:MOST]]
    found += broken
    if not broken:
        found += [*_counts(journal, tables), *_question(connection, folder, trial, known)]
    papers = {
        int(json.loads(payload).get("look", 0)): str(previous)
        for kind, payload, previous in journal.of("kind", "payload", "previous")
        if kind == JournalKind.VERDICT and not broken
    }
    rows = {name: len(table) for name, table in tables.items()}
    head = "" if broken else chain.head_of(known).digest
    identity = known.get(chain.IDENTITY, "")
    return Checked(str(place), (*found, *left), identity, head, len(journal), rows, papers)


def _engine(connection: Connection, place: Place) -> Iterator[Finding]:
    """What SQLite itself says of its file; a server answers for its own."""
    if isinstance(place, Server):
        return
    said = [str(line) for (line,) in connection.exec_driver_sql(f"PRAGMA integrity_check({MOST})")]
    for line in said if said != ["ok"] else []:
        yield _wrong(RecordKind.FILE_DAMAGED, message=" ".join(line.split()))
    orphans: dict[tuple[str, str], int] = {}
    for table, _, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        orphans[str(table), str(parent)] = orphans.get((str(table), str(parent)), 0) + 1
    for (table, parent), n in orphans.items():
        yield _wrong(RecordKind.ROWS_ORPHANED, table=table, parent=parent, rows=n)


def _said(found: chain.Break) -> Finding:
    kinds = {
        "entry": RecordKind.ENTRY_CHANGED,
        "order": RecordKind.ENTRY_MOVED,
        "rows": RecordKind.ROWS_CHANGED,
        "uncovered": RecordKind.ROWS_UNCOVERED,
        "head": RecordKind.HEAD_CHANGED,
    }
    return _wrong(kinds[found.what], entry=found.entry, table=found.table, rows=found.rows)


def _counts(journal: Stored, tables: Mapping[str, Stored]) -> Iterator[Finding]:
    """Entries that say another number of rows than came with them."""
    counters = {name: [int(n) for (n,) in table.of(chain.COUNTERS[name])] for name, table in tables.items()}
    group: list[tuple[int, JournalKind, dict[str, Any]]] = []
    for number, kind, payload, covers in journal.of("id", "kind", "payload", "covers"):
        group.append((int(number), JournalKind(kind), json.loads(payload)))
        claims = json.loads(covers)
        if not claims:
            continue
        yield from _group_counts(group, claims, counters)
        group = []


def _group_counts(
    group: list[tuple[int, JournalKind, dict[str, Any]]], claims: Mapping[str, Any], counters: Mapping[str, list[int]]
) -> Iterator[Finding]:
    """Entries of one transaction; silent where others than counted ones brought rows."""
    counted = [(number, *_COUNTED[kind], payload) for number, kind, payload in group if kind in _COUNTED]
    if len(counted) != 1 or any(kind not in (*_COUNTED, *_WITHOUT_ROWS) for _, kind, _ in group):
        return
    number, table, name, payload = counted[0]
    claim = claims.get(table)
    found = bisect_right(counters[table], claim["last"]) - bisect_left(counters[table], claim["first"]) if claim else 0
    if found != payload.get(name, found):
        yield _wrong(RecordKind.COUNT_DIFFERS, entry=number, table=table, said=payload[name], rows=found)


def _question(connection: Connection, folder: Path, trial: Trial, known: Mapping[str, str]) -> Iterator[Finding]:
    identity = known.get(chain.IDENTITY, "")
    if not trial.store.trial:
        yield Finding(RecordKind.QUESTION_UNNAMED, facts={"identity": identity}, weight=Weight.LOOK_AT)
    elif trial.store.trial != identity:
        message = f"{TOML} names {trial.store.trial}, the records are {identity}"
        yield _wrong(RecordKind.QUESTION_DIFFERS, message=message)
    try:
        check_unchanged(folder, trial, last_version(connection))
    except InputError as error:
        yield _wrong(RecordKind.QUESTION_DIFFERS, message=error.problem)


def _left_over(folder: Path) -> tuple[Finding, ...]:
    """Files of a command that was killed."""
    names = tuple(sorted(path.name for path in folder.iterdir() if _PART.fullmatch(path.name)))
    return (Finding(RecordKind.FILES_LEFT, facts={"files": names}, weight=Weight.LOOK_AT),) if names else ()
