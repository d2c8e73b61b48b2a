"""What was recorded made ready to be studied, and studied."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from trials.errors import InputError
from trials.steps.grade import grade_trial, require_plan
from trials.steps.journal import promised
from trials.steps.known_lives import known_lives
from trials.steps.load import load
from trials.steps.looks import corrections_since_read, look_number
from trials.store.records.as_cut import analysis_table, coupon_table, departures
from trials.store.records.records import Records
from trials.store.records.slips import open_slips
from trials.trial import Level, Method

if TYPE_CHECKING:
    from trials.decide.evidence import Evidence
    from trials.decide.results import Study


def evidence(records: Records) -> Evidence:
    """What was recorded, ready to be studied.

    Raises
    ------
    InputError
        If no plan is frozen, no readings are recorded yet, or the lives that the trial names cannot be used.
    """
    from trials.decide.evidence import Evidence
    from trials.plan.confounding import confounded

    require_plan(records)
    trial = records.trial
    found = {name: analysis_table(records, name) for name in trial.responses}
    tables = {name: table for name, table in found.items() if len(table)}
    if not tables:
        raise InputError(
            "no readings are recorded yet", file=str(records.folder), do="Record some with `trials record`."
        )
    adopted = trial.plan.method == Method.ADOPTED
    return Evidence(
        tables=tables,
        coupons=coupon_table(records),
        grades=grade_trial(records),
        allowed=allowed_settings(records),
        departures=(*departures(records), *corrections_since_read(records)),
        confounded=() if adopted else tuple(confounded(trial)),
        open_slips=tuple(slip.finding for slip in open_slips(records)),
        look=look_number(records),
        promised=promised(records),
        lives=known_lives(records),
    )


def allowed_settings(records: Records) -> dict[str, list[tuple[Level, ...]]]:
    """Planned settings of each nozzle type, as tuples in the order of the factors."""
    columns = list(records.factor_columns.values())
    return {
        str(nozzle): list(dict.fromkeys(rows[columns].itertuples(index=False, name=None)))
        for nozzle, rows in records.coupons.groupby("nozzle", sort=False)
    }


def fit(folder: Path | str) -> Study:
    """Study a trial folder: every response, the words, the checks; see `evidence` for what it raises."""
    from trials.decide.study import study

    records = load(folder)
    return study(records.trial, evidence(records))
