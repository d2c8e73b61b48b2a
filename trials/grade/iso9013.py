"""Ranges of ISO 9013: from u, Rz5 and thickness to a range, a limit and a designation.

The limits are linear in the thickness, inclusive, and come from `trials.standards`. A value typed exactly on a limit
is inside: value and limit are compared after rounding both to 1e-9.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trials.errors import InputError, NotFinite
from trials.findings import About, Amount, Finding
from trials.grade.kinds import GradeKind, Item
from trials.standards import RangeLimit, edition, roughness_ranges, scope, squareness_ranges

WORSE = 0
"""Worse than the last range."""
NOT_GRADED = -1
"""No value or no thickness."""
DECIMALS = 9
"""Digits after the point at which a value and its limit are compared, in mm and um."""

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]


def squareness_range(u_mm: npt.ArrayLike, thickness_mm: npt.ArrayLike) -> IntArray:
    """Range 1 to 5 of the perpendicularity tolerance u (ISO 9013), 0 worse than range 5, -1 not graded.

    `u_mm` and `thickness_mm` broadcast against each other, such as (n, 6) readings against (n, 1) thicknesses, in mm.
    NaN or a missing thickness gives -1. Thickness outside the scope is graded by the same formulas; see `in_scope`.

    Raises
    ------
    InputError
        If a value is negative or a thickness is not above zero.
    NotFinite
        If a value or a thickness is infinite.
    """
    return _grade(u_mm, thickness_mm, squareness_ranges(), "u", "mm")


def roughness_range(rz5_um: npt.ArrayLike, thickness_mm: npt.ArrayLike) -> IntArray:
    """Range 1 to 4 of the mean height of profile Rz5 (ISO 9013), 0 worse than range 4, -1 not graded.

    `rz5_um` in um, `thickness_mm` in mm; otherwise as `squareness_range`, and it raises the same errors.
    """
    return _grade(rz5_um, thickness_mm, roughness_ranges(), "Rz5", "um")


def squareness_limit(range: npt.ArrayLike, thickness_mm: npt.ArrayLike) -> FloatArray:
    """Upper limit of u in mm for a range 1 to 5 at a thickness (ISO 9013); NaN thickness gives NaN.

    Raises
    ------
    InputError
        If the range is not one of the ranges, or a thickness is not above zero.
    """
    return _limit(range, thickness_mm, squareness_ranges(), "u")


def roughness_limit(range: npt.ArrayLike, thickness_mm: npt.ArrayLike) -> FloatArray:
    """Upper limit of Rz5 in um for a range 1 to 4 at a thickness (ISO 9013); raises as `squareness_limit`."""
    return _limit(range, thickness_mm, roughness_ranges(), "Rz5")


def in_scope(thickness_mm: npt.ArrayLike) -> bool | npt.NDArray[np.bool_]:
    """Whether ISO 9013 covers laser cuts of this thickness (ends included); one bool, or an array of them."""
    thickness = _floats(thickness_mm)
    covered = scope("laser")
    inside = (thickness >= covered.low_mm) & (thickness <= covered.high_mm)
    return bool(inside) if inside.ndim == 0 else inside


@dataclass(frozen=True)
class Designation:
    """Designation such as `ISO 9013-220`; where there is none, `code` is empty and `lacking` says why."""

    code: str
    lacking: tuple[Finding, ...] = ()


def designation(squareness: int, roughness: int, thickness_mm: float) -> Designation:
    """Designation of an edge from its ranges.

    First digit the range of u, second the range of Rz5, 0 where not graded; the third, the tolerance class of
    dimensions, is always 0 since dimensions are not graded. There is none when an item is worse than its last range,
    the thickness is outside the scope, or nothing was measured.
    """
    if squareness == NOT_GRADED and roughness == NOT_GRADED:
        return Designation("", (Finding(GradeKind.NOTHING_GRADED),))
    if not in_scope(thickness_mm):
        return Designation("", (out_of_scope(),))
    graded = ((Item.SQUARENESS, squareness), (Item.ROUGHNESS, roughness))
    worse = tuple(worse_than_last(item) for item, grade in graded if grade == WORSE)
    if worse:
        return Designation("", worse)
    name = edition().partition(":")[0]
    return Designation(f"{name}-{max(squareness, 0)}{max(roughness, 0)}0")


def out_of_scope() -> Finding:
    """That a thickness is outside the scope of ISO 9013 for laser cuts."""
    covered = scope("laser")
    return Finding(
        GradeKind.OUT_OF_SCOPE, facts={"low": Amount(covered.low_mm, "mm"), "high": Amount(covered.high_mm, "mm")}
    )


def worse_than_last(item: Item) -> Finding:
    """That an item is worse than the last range there is for it."""
    last = len(squareness_ranges() if item == Item.SQUARENESS else roughness_ranges())
    return Finding(GradeKind.WORSE_THAN_LAST, About(response=item), {"last": last})


def limit_table(thicknesses_mm: Sequence[float]) -> list[dict[str, float]]:
    """One row per thickness: `thickness_mm`, `u_range_1` to `u_range_5` in mm, `rz5_range_1` to `rz5_range_4` in um."""
    rows = []
    for thickness in thicknesses_mm:
        row = {"thickness_mm": float(thickness)}
        row |= {f"u_range_{r.range}": float(squareness_limit(r.range, thickness)) for r in squareness_ranges()}
        row |= {f"rz5_range_{r.range}": float(roughness_limit(r.range, thickness)) for r in roughness_ranges()}
        rows.append(row)
    return rows


def _grade(
    values: npt.ArrayLike, thickness_mm: npt.ArrayLike, limits: tuple[RangeLimit, ...], symbol: str, unit: str
) -> IntArray:
    value, thickness = _floats(values), _floats(thickness_mm)
    _check_values(value, symbol, unit)
    _check_thickness(thickness)
    rounded = np.round(value, DECIMALS)
    shape = np.broadcast_shapes(rounded.shape, thickness.shape)
    exceeded = np.zeros(shape, dtype=np.int8)
    for row in limits:
        exceeded += rounded > np.round(row.base + row.per_mm * thickness, DECIMALS)
    grade = np.where(exceeded < len(limits), exceeded + np.int8(1), np.int8(WORSE))
    grade = np.where(np.isnan(value) | np.isnan(thickness), np.int8(NOT_GRADED), grade)
    return grade.astype(np.int64)


def _limit(
    range: npt.ArrayLike, thickness_mm: npt.ArrayLike, limits: tuple[RangeLimit, ...], symbol: str
) -> FloatArray:
    wanted, thickness = np.asarray(range), _floats(thickness_mm)
    _check_thickness(thickness)
    allowed = np.array([row.range for row in limits])
    known = np.isin(wanted, allowed)
    if not known.all():
        raise InputError(
            f"no such range of {symbol} in ISO 9013",
            found=wanted[~known].flat[0].item(),
            allowed=f"{allowed[0]} to {allowed[-1]}",
            do="Give one of these ranges.",
        )
    index = np.searchsorted(allowed, wanted.astype(np.int64))
    base = np.array([row.base for row in limits])[index]
    slope = np.array([row.per_mm for row in limits])[index]
    return np.round(base + slope * thickness, DECIMALS)


def _floats(values: npt.ArrayLike) -> FloatArray:
    """Any array or pandas column as float64, missing entries as NaN."""
    if hasattr(values, "to_numpy"):
        column: FloatArray = values.to_numpy(dtype=float, na_value=np.nan)
        return column
    try:
        return np.asarray(values, dtype=float)
    except (TypeError, ValueError) as error:
        raise InputError("a value is not a number", found=values, do="Give plain numbers in mm or um.") from error


def _check_values(value: FloatArray, symbol: str, unit: str) -> None:
    if np.isinf(value).any():
        raise NotFinite(f"{symbol} holds infinity; leave the cell empty where nothing was measured.")
    if (value < 0).any():
        raise InputError(
            f"negative {symbol}", found=float(value[value < 0].flat[0]), allowed=f"0 {unit} or more", do="Correct it."
        )


def _check_thickness(thickness: FloatArray) -> None:
    if np.isinf(thickness).any():
        raise NotFinite("thickness holds infinity; give the sheet thickness in mm.")
    if (thickness <= 0).any():
        found = float(thickness[thickness <= 0].flat[0])
        raise InputError("not a sheet thickness", found=found, allowed="above 0 mm", do="Give the thickness in mm.")
