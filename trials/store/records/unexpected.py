"""What a file says that a plan and a calendar do not expect: reading numbers, and days that have not come yet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from trials.findings import About, Fact, Finding
from trials.record_kinds import RecordKind
from trials.trial import Trial

ZONES = timedelta(days=1)
"""Entries are dated in universal time, files in that of the shop: a day apart at most."""


def unplanned_readings(rows: Iterable[Mapping[str, Any]], trial: Trial) -> tuple[Finding, ...]:
    """Reading numbers above what the plan asks of a response, one finding for each number."""
    asked = {trial.quantity(name).column: (name, request.readings) for name, request in trial.responses.items()}
    found: dict[tuple[str, int], dict[str, None]] = {}
    for row in rows:
        name, most = asked.get(row["field"], ("", row["reading"]))
        if row["reading"] > most:
            found.setdefault((name, row["reading"]), {})[row["coupon"]] = None
    return tuple(
        Finding(
            RecordKind.READING_UNPLANNED,
            About(response=trial.quantity(name).short, coupons=tuple(coupons)),
            {"reading": reading, "wanted": trial.responses[name].readings},
        )
        for (name, reading), coupons in found.items()
    )


def dated_later(rows: Iterable[Mapping[str, Any]], column: str, moment: str) -> tuple[Finding, ...]:
    """Rows whose day in `column` comes after the day of their entry."""
    latest = (date.fromisoformat(moment[:10]) + ZONES).isoformat()
    later = [row[column] for row in rows if row[column] and ":" not in row[column][:10] and row[column][:10] > latest]
    facts: dict[str, Fact] = {"rows": len(later), "last": max(later, default="")[:10]}
    return (Finding(RecordKind.DATED_LATER, facts=facts),) if later else ()
