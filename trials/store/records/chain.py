"""The chain of the journal: each entry is bound by a hash to the one before it and to the rows that came with it.

The hash of an entry (SHA-256) is taken over canonical bytes: JSON without spaces, in UTF-8, of the hash before it and
the entry's own cells; `covers` names, for each table, the rows that the entry brought (first and last of the column in
`COUNTERS`), their columns, and the SHA-256 of their cells. The first entry continues the identity of the trial. The
newest hash stands in `about` under `head`: the row that a writer locks. A changed, missing, added or moved row shows,
and so does a journal that was cut short.

Whoever can write to the database can make another chain; the head printed on a verdict tells that it is another one.
"""

from __future__ import annotations

import hashlib
import json
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, insert, select, update

from trials.errors import InputError
from trials.store.records import schema
from trials.store.records.stored import Stored, canonical, read

COUNTERS: Mapping[str, str] = {
    **dict.fromkeys(("planned_coupons", "planned_mounts", "planned_sheets"), "position"),
    **dict.fromkeys(("versions", "mounts", "sheets", "cuts", "readings", "repeat_marks", "instruments"), "id"),
    **dict.fromkeys(("confirmed_slips", "looks"), "journal_id"),
}
"""Recorded tables, each with the column that only grows: an entry covers the rows from one number to another."""
HEAD, IDENTITY = "head", "trial"
ENTRY = ("id", "at", "who", "kind", "what", "why", "payload", "covers")
"""Cells of a journal entry that its hash covers."""


@dataclass(frozen=True)
class Break:
    """One place where the records are not as they were written.

    what: `entry` (its hash), `order` (it does not continue the one before), `rows` (of a table, brought by that entry),
    `uncovered` (rows of a table that no entry brought), `head` (the journal does not end where it should).
    """

    what: str
    entry: int | None = None
    table: str = ""
    rows: int = 0

    def words(self) -> str:
        """The place, for the message of an error."""
        where = self.table or "journal"
        return f"{where} of entry {self.entry}" if self.entry else where


@dataclass(frozen=True)
class Head:
    """Where the chain ends: the newest hash, and the last row of each table that is covered."""

    digest: str
    covered: Mapping[str, int] = field(default_factory=dict)

    def text(self) -> str:
        """As it is kept."""
        return canonical([self.digest, dict(sorted(self.covered.items()))]).decode()


def digest(value: Any) -> str:
    """SHA-256 of the canonical bytes."""
    return hashlib.sha256(canonical(value)).hexdigest()


def stored(connection: Connection, name: str, after: int | None = None) -> Stored:
    """A table of the database; after: only rows beyond that number of its counter."""
    source = schema.metadata.tables[name]
    return read(connection, source, COUNTERS.get(name, list(source.primary_key.columns)[0].name), after)


def about(connection: Connection) -> dict[str, str]:
    """What the database says of itself, by name."""
    rows = connection.execute(select(schema.about.c.name, schema.about.c.value))
    return {str(name): str(value) for name, value in rows}


def begin(connection: Connection, identity: str) -> None:
    """Start the chain of a new trial, or of one that had none yet."""
    first = Head(digest(["trial", identity]))
    rows = [{"name": IDENTITY, "value": identity}, {"name": HEAD, "value": first.text()}]
    connection.execute(insert(schema.about), rows)


def head_of(known: Mapping[str, str]) -> Head:
    """The head as the database has it; raises ValueError where it is no head."""
    newest, covered = json.loads(known[HEAD])
    return Head(str(newest), {str(name): int(last) for name, last in covered.items()})


def lock(connection: Connection) -> None:
    """Let one writer at a time continue the chain: its head row is locked until the transaction ends."""
    connection.execute(select(schema.about.c.value).where(schema.about.c.name == HEAD).with_for_update())


def seal(connection: Connection) -> None:
    """Chain the journal entries of this transaction; the last of them covers every row that is new.

    Raises
    ------
    InputError
        If the head cannot be read. Nothing is kept then.
    """
    try:
        head = head_of(about(connection))
    except (ValueError, KeyError, TypeError) as error:
        raise damaged("head of the chain") from error
    wanted = select(*(schema.journal.c[name] for name in ENTRY[:-1])).where(schema.journal.c.digest.is_(None))
    entries = [tuple(row) for row in connection.execute(wanted.order_by(schema.journal.c.id))]
    covers, covered = _fresh(connection, head)
    if not entries:
        if covers:
            raise RuntimeError(f"rows without a journal entry: {', '.join(covers)}")
        return
    newest = head.digest
    for entry in entries:
        text = canonical(covers if entry is entries[-1] else {}).decode()
        mine = digest([newest, *entry, text])
        values = {"previous": newest, "digest": mine, "covers": text}
        connection.execute(update(schema.journal).where(schema.journal.c.id == entry[0]).values(values))
        newest = mine
    text = Head(newest, covered).text()
    connection.execute(update(schema.about).where(schema.about.c.name == HEAD).values(value=text))


def _fresh(connection: Connection, head: Head) -> tuple[dict[str, Any], dict[str, int]]:
    """What the last entry is to cover, and how far each table is covered then."""
    covers: dict[str, Any] = {}
    covered = dict(head.covered)
    for name, counter in COUNTERS.items():
        found = stored(connection, name, head.covered.get(name, -1))
        if not len(found):
            continue
        first, last = int(found.cells[counter][0]), int(found.cells[counter][-1])
        columns = list(found.columns)
        covers[name] = {"columns": columns, "first": first, "last": last, "sha256": found.digest(columns)}
        covered[name] = last
    return covers, covered


def breaks(known: Mapping[str, str], journal: Stored, tables: Mapping[str, Stored]) -> list[Break]:
    """Every place where the journal or the rows it covers are not as they were written."""
    found = list[Break]()
    newest = digest(["trial", known.get(IDENTITY, "")])
    walks = {name: _Walk(COUNTERS[name], table) for name, table in tables.items()}
    for number, previous, mine, covers, cells in _entries(journal):
        if previous != newest:
            found.append(Break("order", number))
        if mine != digest([previous, *cells]):
            found.append(Break("entry", number))
        newest = mine
        for name, claim in _claims(covers).items():
            if name in walks and not walks[name].holds(claim):
                found.append(Break("rows", number, name))
    found += [Break("uncovered", None, name, walk.left) for name, walk in walks.items() if walk.left]
    covered = {name: walk.last for name, walk in walks.items() if walk.last is not None}
    if known.get(HEAD) != Head(str(newest), covered).text():
        found.append(Break("head"))
    return found


def _entries(journal: Stored) -> Iterator[tuple[Any, Any, Any, Any, tuple[Any, ...]]]:
    """Number, hash before, own hash, what it covers, and the cells that are hashed."""
    for row in journal.of("id", "previous", "digest", "covers", *ENTRY):
        yield row[0], row[1], row[2], row[3], row[4:]


def _claims(covers: Any) -> dict[str, Any]:
    try:
        found = json.loads(covers)
    except (TypeError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


class _Walk:
    """The rows of one table, taken up by one entry after the other."""

    def __init__(self, counter: str, table: Stored) -> None:
        self.table, self.at = table, 0
        self.last: int | None = None
        self.counter = table.cells[counter]

    @property
    def left(self) -> int:
        """Rows that no entry has taken up."""
        return len(self.table) - self.at

    def holds(self, claim: Mapping[str, Any]) -> bool:
        """Whether the next rows are those that an entry says it brought."""
        try:
            last, wanted, start = claim["last"], claim["sha256"], self.at
            end = bisect_right(self.counter, last, lo=start)
            self.at, self.last = end, last
            return bool(self.table.digest(claim["columns"], start, end) == wanted)
        except (KeyError, TypeError, ValueError):
            return False


def damaged(where: str, file: str = "") -> InputError:
    """The error of records that are not as this tool wrote them."""
    return InputError(
        f"the records were damaged, or changed by another program ({where})",
        file=file,
        do="`trials check FOLDER` says where; put back a backup.",
    )
