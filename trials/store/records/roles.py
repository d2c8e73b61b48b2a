"""Two roles on a lab's server: the bench adds readings, the engineer who froze the trial does everything else.

The rights are those of the database, not of this program. A row of the bench names an earlier one only where the same
place was measured again, for a reason, and nobody had corrected it: it withdraws nothing and overrules no decision.
"""

from __future__ import annotations

from sqlalchemy import Connection, func, select, text

from trials.errors import InputError
from trials.responses import Beyond
from trials.store.records import schema
from trials.store.records.place import Place, Server

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
    if BENCH in known:
        _limit_bench(connection)


def _limit_bench(connection: Connection) -> None:
    """What the bench may name in `replaces`; nobody else is limited by it."""
    connection.execute(text("ALTER TABLE readings ENABLE ROW LEVEL SECURITY"))
    for name, rule in (("anybody", "USING (true) WITH CHECK (true)"), ("measured_again", _MEASURED_AGAIN)):
        connection.execute(text(f"DROP POLICY IF EXISTS {name} ON readings"))
        connection.execute(text(f"CREATE POLICY {name} ON readings {rule}"))


_MEASURED_AGAIN = f"""AS RESTRICTIVE FOR INSERT TO {BENCH} WITH CHECK (
    replaces IS NULL OR (
        why <> '' AND (value IS NOT NULL OR beyond = '{Beyond.NOT_MEASURABLE.value}') AND EXISTS (
            SELECT 1 FROM readings AS earlier WHERE earlier.id = readings.replaces AND earlier.why = ''
            AND earlier.coupon = readings.coupon AND earlier.reading = readings.reading
            AND earlier.repeat = readings.repeat AND earlier.field = readings.field)))"""


def require_engineer(connection: Connection, place: Place) -> None:
    """Raise InputError where a role on a server may add readings and decide nothing."""
    if not isinstance(place, Server):
        return
    asked = select(func.has_table_privilege(schema.confirmed_slips.name, "INSERT"))
    if not connection.execute(asked).scalar_one():
        do = "Ask an engineer to correct it; what was measured again is recorded with its reason in `again_because`."
        raise InputError("your role on the server may not do this (a correction)", file=str(place), do=do)


def _bench_rights() -> list[str]:
    columns = ", ".join(column.name for column in schema.readings.c if column.name != "id")
    return [f"INSERT ({columns}) ON readings", *_journal_rights()]


def _engineer_rights() -> list[str]:
    tables = (name for name in schema.metadata.tables if name not in ("about", "journal"))
    return [*(f"INSERT ON {name}" for name in tables), *_journal_rights()]


def _journal_rights() -> list[str]:
    """To add an entry and to chain it; the head row can be locked and moved on."""
    return ["INSERT ON journal", "UPDATE (previous, digest, covers) ON journal", "UPDATE (value) ON about"]
