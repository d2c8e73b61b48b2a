"""Grading: a trial, a plain table, one edge."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from trials.errors import InputError, collected
from trials.store.records.as_cut import NOT_CUT, coupon_table
from trials.store.records.records import Records
from trials.trial import Trial

if TYPE_CHECKING:
    from trials.grade.conformity import Rule, Uncertainty, Zone
    from trials.grade.coupons import Graded
    from trials.trial import Requirement


def thickness(records: Records) -> float | Mapping[str, float] | None:
    """Thickness of the coupons in mm: one figure, or by coupon where thickness is a factor."""
    for name, column in records.factor_columns.items():
        if name == "thickness":
            table = coupon_table(records)
            return dict(zip(table["coupon"], table[column].astype(float), strict=True))
    return records.trial.application.thickness_mm


def require_plan(records: Records) -> None:
    """Refuse a trial whose plan is not frozen yet."""
    if not records.frozen:
        raise InputError("no plan is frozen yet", file=str(records.folder), do="Run `trials plan` first.")


def grade_trial(records: Records) -> pd.DataFrame:
    """One graded row per coupon of the trial, by its requirement, rule and uncertainty."""
    from trials.grade.coupons import grade_coupons
    from trials.grade.kinds import Item

    require_plan(records)
    trial = records.trial
    wanted = ("rz5_um", "u_mm", "dross_grade")
    names = {trial.quantity(name).column: name for name in Item if name in trial.responses}
    rows = records.readings[records.readings["field"].isin([*wanted, *names])]
    long = rows.assign(response=rows["field"].replace(names))[["coupon", "response", "value", "repeat", "beyond"]]
    planned = coupon_table(records)
    graded = grade_coupons(
        long,
        trial.application.required,
        thickness(records),
        planned.loc[planned["outcome"] != NOT_CUT, ["coupon", "outcome"]],
        planned["coupon"].tolist(),
        trial.bench.judged_by,
        trial.bench.rule,
        trial_uncertainty(trial),
    )
    graded["outcome"] = graded["coupon"].map(dict(zip(planned["coupon"], planned["outcome"], strict=True)))
    graded.insert(1, "nozzle", graded["coupon"].map(dict(zip(planned["coupon"], planned["nozzle"], strict=True))))
    return graded


def trial_uncertainty(trial: Trial) -> dict[str, Uncertainty]:
    """Uncertainty of a reading by column, as the trial states it; raises InputError where its parts do not fit."""
    from trials.grade.conformity import Uncertainty

    parts = trial.bench.repeatability
    lost = sorted(set(parts) - set(trial.bench.uncertainty))
    if lost:
        raise InputError(
            "a repeatability without its uncertainty",
            file="trial.toml",
            column=f"bench.repeatability.{lost[0]}",
            do="State bench.uncertainty for the same column; `trials bench` works out both.",
        )
    return {name: Uncertainty(value, parts.get(name, 0.0)) for name, value in trial.bench.uncertainty.items()}


def grade_value(
    thickness_mm: float,
    u_mm: float | None,
    rz5_um: float | None,
    dross: int | None,
    need: Mapping[str, Any],
    rule: Rule = "guard band",
    uncertainty: Mapping[str, float] | None = None,
) -> Graded:
    """Grade one edge from single values; need: keys of a requirement, missing ones None; uncertainty: U by column."""
    from trials.grade.coupons import grade_edge

    return grade_edge(thickness_mm, u_mm, rz5_um, dross, requirement(need), rule, uncertainty)


def grade_table(
    path: Path,
    thickness_mm: float | None,
    need: Mapping[str, Any],
    rule: Rule = "guard band",
    uncertainty: Mapping[str, float] | None = None,
) -> pd.DataFrame:
    """Grade a plain table of readings (coupon, u_mm, rz5_um, dross_grade, thickness_mm) without a trial.

    thickness_mm: of the rows that state none themselves; raises InputError where a row states another.
    """
    from trials.grade.coupons import grade_coupons
    from trials.store.intake.readings import read_plain_readings

    readings = read_plain_readings(path)
    if thickness_mm is not None and THICKNESS in readings:
        _check_thickness(readings[THICKNESS], thickness_mm, str(path))
        readings = readings.assign(**{THICKNESS: readings[THICKNESS].fillna(thickness_mm)})
        thickness_mm = None
    return grade_coupons(readings, requirement(need), thickness_mm, rule=rule, uncertainty=uncertainty)


THICKNESS = "thickness_mm"


def _check_thickness(column: pd.Series, given: float, file: str) -> None:
    """Refuse rows whose own thickness is another than the one that was given for all."""
    others = column[column.notna() & (column != given)]
    problems = [
        InputError(
            f"another thickness than the {given:g} mm of --thickness",
            file=file,
            row=int(str(row)),
            column=THICKNESS,
            found=float(found),
            do="Correct the cell, or leave out the option: the table has its own.",
        )
        for row, found in others.items()
    ]
    if problems:
        raise collected(problems)


def zones_of(trial: Trial) -> tuple[Zone, ...]:
    """Limit, uncertainty and zone of each required item; none where the thickness is not one figure."""
    from trials.grade.conformity import zones

    at = trial.application.thickness_mm
    if at is None or any(name == "thickness" for name in trial.factors):
        return ()
    return zones(trial.application.required, at, trial.bench.rule, trial_uncertainty(trial))


def zones_at(
    need: Mapping[str, Any], thickness_mm: float | None, rule: Rule, uncertainty: Mapping[str, float]
) -> tuple[Zone, ...]:
    """The same for a requirement of keys that are given."""
    from trials.grade.conformity import zones

    known = requirement(need)
    return zones(known, thickness_mm, rule, uncertainty) if known is not None and thickness_mm else ()


def requirement(need: Mapping[str, Any]) -> Requirement | None:
    """The requirement of keys that are given, None where none is; raises InputError where a value is not allowed."""
    from pydantic import ValidationError

    from trials.trial import Requirement

    wanted = {key: value for key, value in need.items() if value is not None}
    try:
        return Requirement(**wanted) if wanted else None
    except ValidationError as error:
        first = error.errors()[0]
        raise InputError(first["msg"], column=str(first["loc"][0]), found=first["input"], do="Correct it.") from None


def grade_rows(graded: pd.DataFrame) -> list[dict[str, Any]]:
    """Graded coupons as JSON rows: the columns of the table, the reasons also in words (`why`), None where empty."""
    from trials.words.grade import designation, why

    cells = graded.astype(object).where(graded.drop(columns=["reasons", "designation"]).notna(), None)
    cells["designation"] = graded["designation"].map(designation)
    cells["reasons"] = graded["reasons"].map(list)
    cells["why"] = graded["reasons"].map(why)
    return [{str(name): value for name, value in row.items()} for row in cells.to_dict(orient="records")]


def graded_facts(found: Graded) -> dict[str, Any]:
    """One graded edge as a JSON row, keys as in `grade_rows`."""
    from trials.words.grade import designation, why

    return {
        "squareness_range": found.squareness_range,
        "roughness_range": found.roughness_range,
        "dross_grade": found.dross_grade,
        "designation": designation(found.designation),
        "meets": found.meets,
        "why": why(found.reasons),
        "reasons": list(found.reasons),
    }
