"""Looks at the data that were kept: the words, the version of the rule behind them, the paper, costs and lives."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, insert, select

from trials.errors import InputError
from trials.record_kinds import JournalKind
from trials.store.records import schema
from trials.store.records.entry import writing
from trials.store.records.fingerprint import FINGERPRINT_VERSION
from trials.store.records.folder import read_trial, records_place, require_frozen, stamp
from trials.store.records.journal import entries_of, write_journal
from trials.store.records.migrations import transaction
from trials.trial import Trial


@dataclass(frozen=True)
class KeptWord:
    """One answer that was given: the value of the word, and of the clause that goes with it (empty without one)."""

    response: str
    nozzle: str
    against: str
    answer: str
    answer_adds: str = ""


@dataclass(frozen=True)
class NewLook:
    """A look at the data, to be kept.

    fingerprint: of the records it rests on, by the current version of its columns; rule_version: of the rule that gave
    the words; paper: the verdict as PDF; lives: those that went into it, None without; summary: the study as plain JSON
    values.
    """

    look: int
    declared: bool
    fingerprint: str
    rule_version: str
    words: tuple[KeptWord, ...]
    paper: bytes | None
    lives: Mapping[str, Any] | None = None
    summary: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class KeptLook:
    """A look as it was kept. paper: None for looks of version 0.1.0, which kept none; costs, lives: as they stood."""

    look: int
    at: datetime
    declared: bool
    fingerprint: str
    fingerprint_version: int
    rule_version: str
    words: tuple[KeptWord, ...]
    paper: bytes | None
    costs: Mapping[str, Any]
    lives: Mapping[str, Any] | None
    summary: Mapping[str, Any]

    def other_words(self, words: Sequence[KeptWord]) -> tuple[tuple[KeptWord, KeptWord | None], ...]:
        """Kept answers to which a later rule gives another (or none), each beside the later one."""
        later = {(word.response, word.nozzle, word.against): word for word in words}
        pairs = ((word, later.get((word.response, word.nozzle, word.against))) for word in self.words)
        return tuple((kept, now) for kept, now in pairs if kept != now)

    def paper_stands(self, rule_version: str, costs: Mapping[str, Any], lives: Mapping[str, Any] | None) -> bool:
        """Whether the kept paper is the one that these would print: the same rule, costs and lives."""
        same_prices = dict(costs) == dict(self.costs) and lives == self.lives
        return self.paper is not None and rule_version == self.rule_version and same_prices


def costs_of(trial: Trial) -> dict[str, Any]:
    """The costs of a trial as they are copied into a look: those that are given, with the prices that go into them."""
    given: dict[str, Any] = trial.costs.model_dump(mode="json", exclude_none=True)
    prices = {nozzle.type: nozzle.price for nozzle in trial.nozzles}
    return given | {"nozzle_prices": prices, "currency": trial.trial.currency} if given else given


def keep_look(folder: Path | str, new: NewLook, at: datetime | None = None) -> KeptLook:
    """Keep one look at the data with its paper. The first of each number stays; it is what is returned.

    Raises
    ------
    InputError
        If the folder is no frozen trial, or its question was changed without an amendment.
    """
    moment = stamp(at)
    with writing(folder) as (connection, records):
        if _row(connection, new.look) is None:
            line = write_journal(connection, moment, "", JournalKind.VERDICT, {"look": new.look})
            connection.execute(insert(schema.looks), _kept_row(new, records.trial, moment) | {"journal_id": line})
        row = _row(connection, new.look)
    assert row is not None
    return _kept(row)


def _kept_row(new: NewLook, trial: Trial, moment: str) -> dict[str, Any]:
    return {
        "look": new.look,
        "at": moment,
        "declared": new.declared,
        "fingerprint": new.fingerprint,
        "fingerprint_version": FINGERPRINT_VERSION,
        "rule_version": new.rule_version,
        "words_json": _json([asdict(word) for word in new.words]),
        "costs_json": _json(costs_of(trial)),
        "lives_json": _json(new.lives),
        "paper": new.paper,
        "summary_json": _json({"fingerprint": new.fingerprint, **new.summary}),
    }


def _json(data: Any) -> str:
    return json.dumps(data, sort_keys=True, ensure_ascii=False)


def note_provisional(folder: Path | str, question: str, at: datetime | None = None) -> None:
    """Note that words were read while a reading was open; once for each question (its fingerprint).

    Raises
    ------
    InputError
        As `keep_look`.
    """
    with writing(folder) as (connection, _):
        if question not in {seen.get("fingerprint") for seen in entries_of(connection, JournalKind.PROVISIONAL)}:
            write_journal(connection, stamp(at), "", JournalKind.PROVISIONAL, {"fingerprint": question})


def kept_look(folder: Path | str, look: int) -> KeptLook:
    """One look as it was kept.

    Raises
    ------
    InputError
        If there is no such look.
    """
    place = require_frozen(folder)
    with transaction(place, writes=False) as connection:
        row = _row(connection, look)
    if row is None:
        raise InputError("no such verdict is kept", file=str(place), found=look, do="Make it with `trials verdict`.")
    return _kept(row)


def kept_looks(folder: Path | str) -> tuple[KeptLook, ...]:
    """Every look that was kept, in order; empty before the first verdict."""
    place = records_place(folder, read_trial(folder)[0])
    if place is None:
        return ()
    with transaction(place, writes=False) as connection:
        rows = connection.execute(select(schema.looks).order_by(schema.looks.c.look)).mappings().all()
    return tuple(_kept(dict(row)) for row in rows)


def _row(connection: Connection, look: int) -> dict[str, Any] | None:
    row = connection.execute(select(schema.looks).where(schema.looks.c.look == look)).mappings().first()
    return None if row is None else dict(row)


def _kept(row: Mapping[str, Any]) -> KeptLook:
    return KeptLook(
        look=int(row["look"]),
        at=datetime.fromisoformat(row["at"]),
        declared=bool(row["declared"]),
        fingerprint=row["fingerprint"],
        fingerprint_version=int(row["fingerprint_version"]),
        rule_version=row["rule_version"],
        words=tuple(KeptWord(**word) for word in json.loads(row["words_json"])),
        paper=row["paper"],
        costs=json.loads(row["costs_json"]),
        lives=json.loads(row["lives_json"]),
        summary=json.loads(row["summary_json"]),
    )
