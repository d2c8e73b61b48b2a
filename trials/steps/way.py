"""The way of a trial: load, gather the evidence, fit."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING

from trials.errors import InputError
from trials.steps.extend import begun
from trials.steps.grading import grade, require_plan
from trials.steps.journal import sentences
from trials.store.records import database
from trials.store.records.as_cut import analysis_table, coupon_table, departures
from trials.store.records.records import Records
from trials.store.records.slips import open_slips

if TYPE_CHECKING:
    from trials.decide.results import Study
    from trials.decide.study import Evidence


def load(folder: Path | str) -> Records:
    """Everything recorded about the trial in a folder; raises InputError where it is no trial folder."""
    return database.load(folder)


def evidence(records: Records) -> Evidence:
    """What was recorded, ready to be studied."""
    from trials.decide.study import Evidence
    from trials.plan.confounding import confounded

    require_plan(records)
    trial = records.trial
    tables = {}
    for name in trial.responses:
        table = analysis_table(records, name)
        if len(table):
            tables[name] = table
    if not tables:
        raise InputError(
            "no readings are recorded yet", file=str(records.folder), do="Record some with `trials record`."
        )
    adopted = trial.plan.method == "adopted"
    return Evidence(
        tables=tables,
        coupons=coupon_table(records),
        grades=grade(records),
        allowed=allowed_settings(records),
        departures=tuple(departures(records)),
        confounded=() if adopted else tuple(sentences(confounded(trial))),
        open_slips=tuple(slip.words for slip in open_slips(records)),
        look=look_number(records),
    )


def allowed_settings(records: Records) -> dict[str, list[tuple[float | str, ...]]]:
    """Planned settings of each nozzle type, as tuples in the order of the factors."""
    columns = list(records.factor_columns.values())
    found: dict[str, list[tuple[float | str, ...]]] = {}
    for nozzle, rows in records.coupons.groupby("nozzle", sort=False):
        settings = list(dict.fromkeys(rows[columns].itertuples(index=False, name=None)))
        found[str(nozzle)] = settings
    return found


def fit(folder: Path | str) -> Study:
    """Study a trial folder: every response, the words, the checks."""
    from trials.decide.study import study

    records = load(folder)
    return study(records.trial, evidence(records))


def fingerprint(records: Records) -> str:
    """SHA-256 of what was recorded; two looks at the same records are one look.

    A block that was added but of which nothing is cut yet is not part of it.
    """
    records = begun(records)
    parts = [records.freeze_hash]
    for frame in (records.cuts, records.readings, records.mounts, records.sheets):
        columns = [c for c in frame.columns if c not in ("entered_at", "at")]
        parts.append(frame[columns].to_json(orient="values", date_format="iso") or "")
    parts.append(json.dumps(sorted(records.confirmed)))
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def look_number(records: Records) -> int:
    """Which look at the data this is: that of an earlier verdict on the same records, or the next one."""
    mark = fingerprint(records)
    for row in records.looks.itertuples():
        if json.loads(row.summary_json).get("fingerprint") == mark:
            return int(row.look)
    return len(records.looks) + 1
