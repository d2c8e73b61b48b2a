"""From a table of readings to one graded row per coupon.

The worst reading of a coupon decides (this project's rule; the mean on request). A coupon that was not severed or
whose cut was aborted does not meet a requirement; a scrapped one, and one that is not cut yet, is not graded.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from trials.errors import InputError, NotFinite
from trials.findings import Finding
from trials.grade import iso9013
from trials.grade.conformity import MEETS, NO, UNDECIDED, Limits, Rule, Uncertainty, decide, limits_of
from trials.grade.dross import check_grades
from trials.grade.iso9013 import Designation
from trials.grade.kinds import Item, Meets
from trials.grade.reasons import Edges, Parts, designations, reasons_of
from trials.trial import LOST, Outcome, Requirement

JudgedBy = Literal["worst", "mean"]
GRADE_COLUMNS = (
    *("coupon", "thickness_mm", "outcome", "u_mm", "rz5_um", "n_u", "n_rz5"),
    *("squareness_range", "roughness_range", "dross_grade", "designation", "meets", "reasons"),
)
NAMES = {"u_mm": Item.SQUARENESS, "rz5_um": Item.ROUGHNESS, "dross_grade": Item.DROSS}
NOT_JUDGED = (Outcome.SCRAPPED, Outcome.NOT_CUT, "")
"""Outcomes (`` is not cut yet) that say nothing of the edge."""

ThicknessGiven = float | Mapping[str, float] | pd.Series | None
FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Graded:
    """One edge, graded: ranges as `trials.grade.iso9013` gives them, and the reasons of the answer."""

    squareness_range: int
    roughness_range: int
    dross_grade: int | None
    designation: Designation
    meets: Meets
    reasons: tuple[Finding, ...]


def grade_coupons(
    readings: pd.DataFrame,
    requirement: Requirement | None = None,
    thickness_mm: ThicknessGiven = None,
    cuts: pd.DataFrame | None = None,
    coupons: Sequence[object] | None = None,
    judged_by: JudgedBy = "worst",
    rule: Rule = "guard band",
    uncertainty: Mapping[str, float | Uncertainty] | None = None,
    confidence: float | None = None,
) -> pd.DataFrame:
    """One row per coupon, columns `GRADE_COLUMNS`, in the order of `coupons`, then `cuts`, then `readings`.

    readings: wide (`coupon` and any of `u_mm`, `rz5_um`, `dross_grade`) or long (`coupon`, `response`, `value`, the
    response by its name or its column); rows with `repeat` above zero are left out. thickness_mm: one figure, or by
    coupon; None takes the column of that name in `readings`. `beyond` (above, below or empty): a bound of the
    instrument's range, which leaves open what it could turn. cuts: `coupon`, `outcome`; without it every coupon counts
    as cut. judged_by: `worst` or `mean` (dross is always the worst). uncertainty: by column, expanded U at k = 2 or an
    `Uncertainty`. In the result `designation` holds a `Designation`, `meets` a `Meets`, `reasons` a tuple of findings.

    Raises
    ------
    InputError
        If a column, outcome, coupon, range or value cannot be used.
    NotFinite
        If a value is infinite.
    """
    if judged_by not in ("worst", "mean"):
        raise InputError("unknown way to judge a coupon", found=judged_by, allowed="worst, mean", do="Name one.")
    table = _first_measurements(readings)
    codes, names = _coupon_codes(table, cuts, coupons)
    thickness = _thicknesses(thickness_mm, table, codes, names)
    edge = _measure(table, codes, names, thickness, judged_by)
    outcome = _outcomes(cuts, names, np.bincount(codes, minlength=len(names)) > 0)
    parts = _conformity(edge, thickness, requirement, judged_by, rule, uncertainty or {}, confidence)
    meets = _meets(parts, outcome)
    return _table(names, thickness, outcome, edge, meets, reasons_of(edge, thickness, outcome, parts, meets))


def grade_edge(
    thickness_mm: float,
    u_mm: float | None = None,
    rz5_um: float | None = None,
    dross_grade: int | None = None,
    requirement: Requirement | None = None,
    rule: Rule = "guard band",
    uncertainty: Mapping[str, float | Uncertainty] | None = None,
) -> Graded:
    """Grade one edge from single values; raises as `grade_coupons`."""
    values = {"coupon": ["edge"], "u_mm": [u_mm], "rz5_um": [rz5_um], "dross_grade": [dross_grade]}
    readings = pd.DataFrame(values).astype({"u_mm": float, "rz5_um": float, "dross_grade": float})
    row = grade_coupons(readings, requirement, thickness_mm, rule=rule, uncertainty=uncertainty).iloc[0]
    return Graded(
        squareness_range=int(row["squareness_range"]),
        roughness_range=int(row["roughness_range"]),
        dross_grade=None if pd.isna(row["dross_grade"]) else int(row["dross_grade"]),
        designation=row["designation"],
        meets=row["meets"],
        reasons=row["reasons"],
    )


def _first_measurements(readings: pd.DataFrame) -> pd.DataFrame:
    """The readings without the ones that measure a place again."""
    if "coupon" not in readings.columns:
        raise InputError("no column with the coupon", column="coupon", do="Name the column of the coupon mark.")
    known = [name for name in NAMES if name in readings.columns]
    if not known and not {"response", "value"} <= set(readings.columns):
        raise InputError(
            "nothing to grade", allowed=", ".join(NAMES), do="Give one of these columns, or the two response and value."
        )
    if "repeat" not in readings.columns:
        return readings
    repeat = pd.to_numeric(readings["repeat"], errors="coerce").fillna(0)
    return readings[(repeat == 0).to_numpy()]


def _coupon_codes(
    table: pd.DataFrame, cuts: pd.DataFrame | None, coupons: Sequence[object] | None
) -> tuple[npt.NDArray[np.int64], pd.Index]:
    """Row -> place of its coupon in the result, and the coupons in order."""
    codes, found = pd.factorize(table["coupon"])
    if (codes < 0).any():
        raise InputError("a reading without coupon", column="coupon", do="Give every reading its coupon mark.")
    listed = [pd.Index(list(coupons), dtype=object)] if coupons is not None else []
    if cuts is not None:
        listed.append(pd.Index(cuts["coupon"]))
        if listed[-1].has_duplicates:
            twice = listed[-1][listed[-1].duplicated()][0]
            raise InputError("a coupon was cut twice", column="coupon", found=twice, do="Keep one row per coupon.")
    if not listed:
        return codes.astype(np.int64), pd.Index(found)
    names = pd.Index(np.concatenate([np.asarray(part, dtype=object) for part in (*listed, found)])).unique()
    return names.get_indexer(pd.Index(found)).astype(np.int64)[codes], names


def _thicknesses(
    given: ThicknessGiven,
    table: pd.DataFrame,
    codes: npt.NDArray[np.int64],
    names: pd.Index,
) -> FloatArray:
    """Thickness per coupon (n,), NaN where unknown."""
    if given is None and "thickness_mm" in table.columns:
        values = _numbers(table, "thickness_mm")
        thickest, thinnest = _collect(values, codes, len(names), np.fmax), _collect(values, codes, len(names), np.fmin)
        clash = thickest != thinnest
        if (clash & ~np.isnan(thickest)).any():
            name = names[clash & ~np.isnan(thickest)][0]
            raise InputError(f"coupon {name} has two thicknesses", column="thickness_mm", do="Keep the right one.")
        return thickest
    if given is None:
        return np.full(len(names), np.nan)
    if isinstance(given, pd.Series | Mapping):
        return np.asarray(pd.Series(given, dtype=float).reindex(names), dtype=np.float64)
    return np.full(len(names), float(given))


def _collect(values: FloatArray, codes: npt.NDArray[np.int64], n: int, worst: np.ufunc) -> FloatArray:
    """Largest (fmax) or smallest (fmin) value per coupon, NaN where there is none."""
    out = np.full(n, np.nan)
    worst.at(out, codes, values)
    return out


def _column(table: pd.DataFrame, column: str) -> FloatArray:
    """Values of one response by row (n_rows,), NaN where the row holds none."""
    if column in table.columns:
        return _numbers(table, column)
    if not {"response", "value"} <= set(table.columns):
        return np.full(len(table), np.nan)
    mine = table["response"].isin([column, NAMES[column]]).to_numpy()
    return np.where(mine, _numbers(table, "value"), np.nan)


def _numbers(table: pd.DataFrame, column: str) -> FloatArray:
    try:
        return table[column].to_numpy(dtype=float, na_value=np.nan)
    except (TypeError, ValueError) as error:
        text = table[pd.to_numeric(table[column], errors="coerce").isna() & table[column].notna()].iloc[0]
        raise InputError(
            f"not a number on coupon {text['coupon']}", column=column, found=text[column], do="Correct the reading."
        ) from error


def _measure(
    table: pd.DataFrame,
    codes: npt.NDArray[np.int64],
    names: pd.Index,
    thickness: FloatArray,
    judged_by: JudgedBy,
) -> Edges:
    values = {column: _column(table, column) for column in NAMES}
    for column, found in values.items():
        _check_column(column, found, names, codes)
    counts = {
        column: np.bincount(codes[~np.isnan(values[column])], minlength=len(names)) for column in ("u_mm", "rz5_um")
    }
    judged = {}
    for column, count in counts.items():
        if judged_by == "worst":
            judged[column] = _collect(values[column], codes, len(names), np.fmax)
        else:
            total = np.bincount(codes, weights=np.nan_to_num(values[column]), minlength=len(names))
            judged[column] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return Edges(
        u_mm=judged["u_mm"],
        rz5_um=judged["rz5_um"],
        dross=_collect(check_grades(values["dross_grade"]), codes, len(names), np.fmax),
        n_u=counts["u_mm"],
        n_rz5=counts["rz5_um"],
        squareness=iso9013.squareness_range(judged["u_mm"], thickness),
        roughness=iso9013.roughness_range(judged["rz5_um"], thickness),
        above=_beyond(table, codes, len(names), values, "above", judged_by),
        below=_beyond(table, codes, len(names), values, "below", judged_by),
    )


def _check_column(column: str, values: FloatArray, names: pd.Index, codes: npt.NDArray[np.int64]) -> None:
    if np.isinf(values).any():
        name = names[codes[np.isinf(values)][0]]
        raise NotFinite(f"{column} of coupon {name} is infinite; leave the cell empty where nothing was measured.")
    if (values < 0).any():
        first = int(np.argmax(values < 0))
        raise InputError(
            f"negative value of coupon {names[codes[first]]}",
            column=column,
            found=float(values[first]),
            allowed="0 or more",
            do="Correct the reading.",
        )


def _outcomes(cuts: pd.DataFrame | None, names: pd.Index, has_readings: BoolArray) -> npt.NDArray[np.object_]:
    """Outcome per coupon (n,): an `Outcome`, or `` where it is not cut yet."""
    if cuts is None or "outcome" not in cuts.columns:
        return np.where(has_readings, Outcome.CUT.value, "").astype(object)
    given = cuts["outcome"].astype(object).where(cuts["outcome"].notna(), "")
    unknown = ~given.isin([*Outcome, ""])
    if unknown.any():
        raise InputError(
            f"unknown outcome of coupon {cuts['coupon'][unknown].iloc[0]}",
            column="outcome",
            found=given[unknown].iloc[0],
            allowed=", ".join(Outcome),
            do="Correct it.",
        )
    listed = pd.Series(given.to_numpy(), index=pd.Index(cuts["coupon"])).reindex(names)
    return listed.where(listed.notna(), "").to_numpy(dtype=object)


def _conformity(
    edge: Edges,
    thickness: FloatArray,
    requirement: Requirement | None,
    judged_by: JudgedBy,
    rule: Rule,
    uncertainty: Mapping[str, float | Uncertainty],
    confidence: float | None,
) -> Parts:
    if requirement is None:
        return Parts(None, None, None)
    limits: Limits = limits_of(requirement, thickness)

    def judge(
        column: str, value: FloatArray, limit: FloatArray | None, n: npt.NDArray[np.int64]
    ) -> npt.NDArray[np.int8] | None:
        if limit is None:
            return None
        given = uncertainty.get(column, 0.0)
        known = given if isinstance(given, Uncertainty) else Uncertainty(float(given))
        return decide(value, limit, known.standard(n if judged_by == "mean" else 1), rule, confidence)

    return Parts(
        squareness=_settled(judge("u_mm", edge.u_mm, limits.squareness_mm, edge.n_u), edge, Item.SQUARENESS),
        roughness=_settled(judge("rz5_um", edge.rz5_um, limits.roughness_um, edge.n_rz5), edge, Item.ROUGHNESS),
        dross=None if limits.dross_grade is None else decide(edge.dross, limits.dross_grade),
    )


def _settled(part: npt.NDArray[np.int8] | None, edge: Edges, item: Item) -> npt.NDArray[np.int8] | None:
    """A decision, left undecided where a bound of the instrument's range could turn it."""
    return None if part is None else np.where(edge.open_ended(part, item), np.int8(UNDECIDED), part)


def _beyond(
    table: pd.DataFrame, codes: npt.NDArray[np.int64], n: int, values: Mapping[str, FloatArray], side: str, by: JudgedBy
) -> dict[str, npt.NDArray[np.bool_]]:
    """By item, coupons (n,) with a reading beyond the range on one side.

    Judged by the worst, a reading below the range counts only where it is the worst itself.
    """
    if "beyond" not in table.columns:
        return {}
    flagged = (table["beyond"] == side).to_numpy()
    found: dict[str, npt.NDArray[np.bool_]] = {}
    for item, column in ((Item.SQUARENESS, "u_mm"), (Item.ROUGHNESS, "rz5_um")):
        rows = flagged & ~np.isnan(values[column])
        if by == "worst" and side == "below":
            worst = _collect(values[column], codes, n, np.fmax)
            rows &= values[column] >= worst[codes]
        found[item] = np.bincount(codes[rows], minlength=n) > 0
    return found


def _meets(parts: Parts, outcome: npt.NDArray[np.object_]) -> npt.NDArray[np.int8]:
    """1, 0, -1 per coupon: the worst of its parts; what never became an edge does not meet anything."""
    given = parts.given()
    meets = np.minimum.reduce(given) if given else np.zeros(len(outcome), dtype=np.int8)
    meets = np.where(np.isin(outcome, NOT_JUDGED), np.int8(UNDECIDED), meets)
    if given:
        meets = np.where(np.isin(outcome, LOST), np.int8(NO), meets)
    return meets


def _table(
    names: pd.Index,
    thickness: FloatArray,
    outcome: npt.NDArray[np.object_],
    edge: Edges,
    meets: npt.NDArray[np.int8],
    reasons: npt.NDArray[np.object_],
) -> pd.DataFrame:
    is_cut = outcome == Outcome.CUT
    dross = pd.array(np.where(is_cut, edge.dross, np.nan), dtype="Float64").astype("Int64")
    return pd.DataFrame(
        {
            "coupon": names,
            "thickness_mm": thickness,
            "outcome": outcome,
            "u_mm": edge.u_mm,
            "rz5_um": edge.rz5_um,
            "n_u": edge.n_u,
            "n_rz5": edge.n_rz5,
            "squareness_range": np.where(is_cut, edge.squareness, iso9013.NOT_GRADED),
            "roughness_range": np.where(is_cut, edge.roughness, iso9013.NOT_GRADED),
            "dross_grade": dross,
            "designation": designations(edge, thickness, outcome),
            "meets": [MEETS[answer] for answer in meets.tolist()],
            "reasons": reasons,
        },
        columns=list(GRADE_COLUMNS),
    )
