"""The journal: every entry has a kind and a payload of plain values; its sentence is made from them, never read back.

Payloads by kind: frozen `coupons, mounts, sheets`; plan `finding` (see `kept_findings`) or `text`; amended and lots
changed `key, old, new`; block added `block, coupons, declared`; cuts recorded `coupons, details, as_planned`;
readings recorded `readings, coupons`; reading corrected `coupon, reading, repeat, field, old, new` (new null:
withdrawn); cut, mount and sheet corrected `of, mark, column, old, new`; slip confirmed `coupon, reading, repeat,
field, value, median, where`; repeat marks drawn `coupons`; specimen retired `specimen, nozzle`; instrument
`instrument, calibrated_on, due_on, uncertainty, note`; adopted `file, rows, coupons`; verdict `look`; provisional
verdict `fingerprint` (of the question that was asked).
An entry of version 0.1.0 whose prose could not be parsed has the payload `text` alone.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from sqlalchemy import Connection, insert, select

from trials.findings import Finding
from trials.record_kinds import JournalKind
from trials.store.records import schema
from trials.store.records.kept_findings import as_plain, revived
from trials.words import records as words
from trials.words.findings import say


@dataclass(frozen=True)
class Entry:
    """One entry of the journal: when, who, its kind, its payload, why."""

    number: int
    at: str
    who: str
    kind: JournalKind
    payload: Mapping[str, Any]
    why: str

    @property
    def said(self) -> str:
        """The entry in words, in the current language."""
        return sentence(self.kind, self.payload)


def sentence(kind: JournalKind, payload: Mapping[str, Any]) -> str:
    """What an entry of this kind and payload says."""
    if "finding" in payload:
        found = revived(payload["finding"])
        return say(found) if found else str(payload["text"])
    return str(payload["text"]) if set(payload) == {"text"} else words.entry(kind, payload)


def write_journal(
    connection: Connection, at: str, who: str, kind: JournalKind, payload: Mapping[str, Any], why: str = ""
) -> int:
    """One entry; returns its id. `what` holds the sentence of that day, for people who open the file with another
    program; nothing reads it back."""
    row = {"at": at, "who": who.strip(), "kind": kind.value, "what": sentence(kind, payload), "why": why.strip()}
    row["payload"] = json.dumps(dict(payload), ensure_ascii=False, sort_keys=True)
    key = connection.execute(insert(schema.journal), row).inserted_primary_key
    assert key is not None
    return int(key[0])


def write_said(connection: Connection, at: str, who: str, said: Sequence[Finding]) -> None:
    """What was found about a plan or a block, one entry each; `text` is for versions that know no such finding."""
    for one in said:
        payload = {"finding": as_plain(one), "text": say(one)}
        write_journal(connection, at, who, JournalKind.PLAN, payload)


def entries(journal: pd.DataFrame, *kinds: JournalKind) -> tuple[Entry, ...]:
    """Entries of the journal table of `Records`, of some kinds or all, in the order they were written."""
    rows: Iterable[Any] = journal.itertuples(index=False)
    found = (
        Entry(int(r.id), str(r.at), str(r.who), JournalKind(r.kind), json.loads(r.payload), str(r.why)) for r in rows
    )
    return tuple(entry for entry in found if not kinds or entry.kind in kinds)


def entries_of(connection: Connection, kind: JournalKind) -> list[dict[str, Any]]:
    """Payloads of the entries of one kind in an open database, in the order they were written."""
    wanted = select(schema.journal.c.payload).where(schema.journal.c.kind == kind.value).order_by(schema.journal.c.id)
    return [json.loads(text) for text in connection.execute(wanted).scalars()]
