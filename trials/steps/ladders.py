"""The fastest clean cut of a ladder trial, from its records."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from trials.errors import InputError
from trials.steps.files import plain
from trials.store.records.as_cut import analysis_table, coupon_table
from trials.store.records.records import Records
from trials.trial import Method
from trials.units import shown

if TYPE_CHECKING:
    from trials.decide.ladder import LadderStudy


def ladder_study(records: Records) -> LadderStudy:
    """Fastest clean cut per mount and the comparison of types.

    Clean is a cut whose dross grade is at most that of the requirement, 0 where none is stated.

    Raises
    ------
    InputError
        If the trial is no ladder, or no dross grades are recorded.
    """
    from trials.decide.ladder import fastest_clean, study_ladders

    trial = records.trial
    if trial.plan.method != Method.LADDER or "dross" not in trial.responses:
        raise InputError(
            "not a speed ladder judged by dross", file=str(records.folder), do="Plan one with `trials new`."
        )
    table = analysis_table(records, "dross")
    if not len(table):
        raise InputError("no dross grades are recorded yet", file=str(records.folder), do="Use `trials record`.")
    grades = dict(zip(table["coupon"], table["value"].astype(float), strict=True))
    allowed = trial.application.required.dross_grade or 0
    columns = records.factor_columns
    others = [column for name, column in columns.items() if name != "speed"]
    ladders = fastest_clean(coupon_table(records), grades, allowed, columns["speed"], others)
    return study_ladders(ladders, trial.types, trial.today.type, shown(trial.factors["speed"].unit))


def ladder_json(found: LadderStudy) -> dict[str, Any]:
    """A study of ladders as plain values, its sentences beside its fields; keys are listed in DEVELOPERS.md."""
    from trials.words.ladders import sentences

    ladders = found.ladders.astype(object)
    return {
        "unit": found.unit,
        "ladders": plain(ladders.where(ladders.notna(), None).to_dict(orient="records")),
        "comparisons": plain(found.comparisons),
        "confidence": found.confidence,
        "sentences": list(sentences(found)),
        "findings": plain(found.said),
    }
