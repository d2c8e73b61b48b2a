"""Two roles on a lab's server: the bench adds readings, the engineer who froze the trial does everything else.

The rights are those of the database, not of this program: a reading of the bench names no earlier row, so it can
correct none.
"""

from __future__ import annotations

from sqlalchemy import Connection, text

from trials.store.records import schema
from trials.store.records.place import Server

BENCH, ENGINEER = "trials_bench", "trials_engineer"


def grant(connection: Connection, place: Server) -> None:
    """Give the two roles their rights on a new trial, where the server has such roles."""
    known = set(connection.execute(text("SELECT rolname FROM pg_roles")).scalars())
    for role, rights in ((BENCH, _bench_rights()), (ENGINEER, _engineer_rights())):
        if role not in known:
            continue
        connection.execute(text(f"GRANT USAGE ON SCHEMA {place.schema} TO {role}"))
        connection.execute(text(f"GRANT SELECT ON ALL TABLES IN SCHEMA {place.schema} TO {role}"))
        connection.execute(text(f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA {place.schema} TO {role}"))
        for right in rights:
            connection.execute(text(f"GRANT {right} TO {role}"))


def _bench_rights() -> list[str]:
    columns = ", ".join(column.name for column in schema.readings.c if column.name not in ("id", "replaces"))
    return [f"INSERT ({columns}) ON readings", *_journal_rights()]


def _engineer_rights() -> list[str]:
    tables = (name for name in schema.metadata.tables if name not in ("about", "journal"))
    return [*(f"INSERT ON {name}" for name in tables), *_journal_rights()]


def _journal_rights() -> list[str]:
    """To add an entry and to chain it; the head row can be locked and moved on."""
    return ["INSERT ON journal", "UPDATE (previous, digest, covers) ON journal", "UPDATE (value) ON about"]
