"""What a file says that a plan and a calendar do not expect: reading numbers, and days that have not come yet."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date, timedelta

import pandas as pd

from trials.findings import About, Fact, Finding
from trials.record_kinds import RecordKind
from trials.store.records.records import Records
from trials.store.records.second_marks import at_the_bench

ZONES = timedelta(days=1)
"""Entries are dated in universal time, files in that of the shop: a day apart at most."""


def unplanned_readings(rows: pd.DataFrame, records: Records) -> tuple[Finding, ...]:
    """Reading numbers above what the plan asks of a response, one finding for each number."""
    trial = records.trial
    asked = {trial.quantity(name).column: (name, request.readings) for name, request in trial.responses.items()}
    most = rows["field"].map({column: readings for column, (_, readings) in asked.items()}).astype("float64")
    beyond = rows[rows["reading"].astype("float64") > most]
    found: dict[tuple[str, int], dict[str, None]] = {}
    for field, *place in beyond[["field", "reading", "coupon", "repeat"]].itertuples(index=False, name=None):
        reading, coupon, repeat = place
        mark, _ = at_the_bench(coupon, repeat, records)
        found.setdefault((asked[field][0], int(reading)), {})[mark] = None
    return tuple(
        Finding(
            RecordKind.READING_UNPLANNED,
            About(response=trial.quantity(name).short, coupons=tuple(coupons)),
            {"reading": reading, "wanted": trial.responses[name].readings},
        )
        for (name, reading), coupons in found.items()
    )


def dated_later(cells: Iterable[str | None], moment: str) -> tuple[Finding, ...]:
    """Days that come after the day of their entry."""
    latest = (date.fromisoformat(moment[:10]) + ZONES).isoformat()
    days = Counter(cells)
    later = [day for day in days if day and day[:10] > latest and ":" not in day[:10]]
    facts: dict[str, Fact] = {"rows": sum(days[day] for day in later), "last": max(later, default="")[:10]}
    return (Finding(RecordKind.DATED_LATER, facts=facts),) if later else ()
