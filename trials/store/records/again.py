"""What was measured again at the bench because a reading went wrong: a correction, with the reason that was typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, insert

from trials.errors import InputError, Problems
from trials.findings import Finding
from trials.record_kinds import JournalKind
from trials.store.records import schema
from trials.store.records.bounds import as_typed, same_reading
from trials.store.records.entry import cleaned, superseded
from trials.store.records.journal import write_journal
from trials.store.records.reading_columns import READING_COLUMNS
from trials.store.records.records import Records, current, rows_of
from trials.store.records.second_marks import at_the_bench
from trials.store.tables import FileTable

BECAUSE = "again_because"
"""Column of a file whose rows are measured again: why."""
Key = tuple[str, int, int, str]


@dataclass(frozen=True)
class Again:
    """What became of readings that were measured again: corrected or new, known before, overruled by a later decision.

    keys: all of them, by coupon, reading, repeat and field.
    """

    added: int = 0
    said: tuple[Finding, ...] = ()
    keys: frozenset[Key] = frozenset()


def keep_again(connection: Connection, records: Records, again: FileTable, who: str, moment: str) -> Again:
    """Keep readings that were measured again; records: with the first readings of the same file.

    Raises
    ------
    InputError
        If nobody is named who measured.
    """
    now = {_key(row): row for row in rows_of(current(records.all_readings))}
    before = _replaced(records)
    said, problems, keys, added = list[Finding](), Problems(), set[Key](), 0
    for number, raw in zip(again.frame.index, rows_of(again.frame), strict=True):
        row, place = cleaned(raw, READING_COLUMNS, records), again.place(number)
        key, old = _key(row), now.get(_key(row))
        keys.add(key)
        if same_reading(row, old):
            continue
        if as_typed(row) in before.get(key, set()):
            kept = None if old is None else old["value"]
            named, _ = at_the_bench(row["coupon"], row["repeat"], records)
            said.append(superseded(named, row["field"], row["value"], kept, place))
            continue
        with problems.gathered():
            name = _named(who, row, place)
            fresh = row | {"who": name, "why": str(raw[BECAUSE]), "entered_at": moment}
            now[key] = _written(connection, fresh, old)
            before.setdefault(key, set()).update({as_typed(old)} if old else ())
            added += 1
    problems.tell()
    return Again(added, tuple(said), frozenset(keys))


def _written(connection: Connection, row: dict[str, Any], old: Mapping[str, Any] | None) -> dict[str, Any]:
    """The row as it is kept, with its journal entry: a correction of the old one, or a first reading."""
    named = {} if old is None else {"replaces": int(old["id"])}
    number = connection.execute(insert(schema.readings), row | named).inserted_primary_key
    assert number is not None
    if old is None:
        kind, facts = JournalKind.READINGS_RECORDED, {"readings": 1, "coupons": 1}
    else:
        kind = JournalKind.READING_CORRECTED
        facts = {name: row[name] for name in ("coupon", "reading", "repeat", "field")}
        facts |= {"old": _figure(old), "new": _figure(row)}
    write_journal(connection, row["entered_at"], row["who"], kind, facts, row["why"])
    return row | {"id": number[0]}


def _figure(row: Mapping[str, Any]) -> Any:
    """A reading for the journal: the figure, or as typed where it is none."""
    return as_typed(row) if row["beyond"] else row["value"]


def _named(who: str, row: Mapping[str, Any], place: dict[str, Any]) -> str:
    name = who.strip() or str(row["inspector"])
    if not name:
        do = "Fill in who measured it, or give --who."
        raise InputError("measured again by nobody", **{**place, "column": "inspector"}, do=do)
    return name


def _key(row: Mapping[str, Any]) -> Key:
    return row["coupon"], int(row["reading"]), int(row["repeat"]), row["field"]


def _replaced(records: Records) -> dict[Key, set[str]]:
    """What a later row replaced, as typed, by reading."""
    gone = set(records.all_readings["replaces"].dropna())
    found: dict[Key, set[str]] = {}
    for row in rows_of(records.all_readings[records.all_readings["id"].isin(gone)]):
        found.setdefault(_key(row), set()).add(as_typed(row))
    return found
