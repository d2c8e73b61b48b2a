"""What a record must satisfy before it is stored, whichever way it came in."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from trials.endings import Ended, Part
from trials.errors import InputError, Problems
from trials.responses import QUANTITIES, Quantity, Scale
from trials.store.records.changed_setting import nearest, parse_changed_setting
from trials.store.tables import text_in
from trials.trial import Method, Trial
from trials.units import column as column_of

if TYPE_CHECKING:
    import pandas as pd

    from trials.store.records.records import Records

CUTOFF_FIELD = "rz5_um"
OUTCOMES = ("cut", "not_severed", "aborted", "scrapped")
LARGEST = 1e9
"""No reading is larger in the unit it is kept in: a kilometre of roughness. Squares of what is below stay finite."""


def quantities(trial: Trial) -> dict[str, Quantity]:
    """Every column that can be read for a trial -> its quantity; a trial's own responses win over the known ones."""
    known = {quantity.column: quantity for quantity in QUANTITIES.values()}
    life = life_quantities(trial).values() if trial.plan.method == Method.LIFE else ()
    known |= {
        quantity.column: quantity for fields in life for quantity in (fields.life, fields.cleaned, fields.refitted)
    }
    return known | {quantity.column: quantity for quantity in map(trial.quantity, trial.responses)}


@dataclass(frozen=True)
class LifeFields:
    """What a life trial keeps of one part: its life, how often it was cleaned, how often put back."""

    life: Quantity
    cleaned: Quantity
    refitted: Quantity


def life_quantities(trial: Trial) -> dict[Part, LifeFields]:
    """Columns of nozzle, lens and window lives of a life trial, all in the unit of its deciding response."""
    base = trial.quantity(trial.primaries[0])
    return {
        part: LifeFields(
            base if part is Part.NOZZLE else _lens_life(part, base),
            _count("cleaned", part),
            _count("refitted", part),
        )
        for part in Part
    }


def _lens_life(part: Part, base: Quantity) -> Quantity:
    name = f"{part.value}_life"
    return replace(base, name=name, label=f"life of the {part.value}", column=column_of(name, base.unit), symbol="")


def _count(what: str, part: Part) -> Quantity:
    column = what if part is Part.NOZZLE else f"{part.value}_{what}"
    return Quantity(column, column.replace("_", " "), column, "", Scale.AS_MEASURED, 1.0, 0.0, 1000.0)


ENDS = tuple(end.value for end in Ended)


def ended_in(cell: Any, **place: Any) -> Ended | None:
    """A cell of the column `ended`, None where it is empty.

    Raises
    ------
    InputError
        If it names no cause that is known.
    """
    word = "_".join(text_in(cell).lower().split())
    if not word:
        return None
    if word not in ENDS:
        raise InputError(
            "not a cause of the end", found=cell, allowed=", ".join(ENDS), do="Name one of these.", **place
        )
    return Ended(word)


def check_value(value: Any, quantity: Quantity, **place: Any) -> float:
    """A reading as a float inside what its quantity accepts.

    Raises
    ------
    InputError
        If it is not finite, negative, out of range, or a grade that is not whole.
    """
    try:
        number = float(value)
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if quantity.low <= number <= min(quantity.high, LARGEST) and (quantity.scale != "grade" or number == int(number)):
        return number
    allowed = f"{quantity.low:g} to {quantity.high:g} {quantity.unit}".replace(" to inf", " or more").strip()
    do = "Correct the cell."
    if not math.isfinite(number):
        problem = "not a finite number"
    elif number < quantity.low:
        problem = "negative value" if number < 0 else "below what is allowed"
    elif number > min(quantity.high, LARGEST):
        problem, do = "above what is allowed", "Check the figure and the column's unit."
    else:
        problem = "a grade is a whole number"
    raise InputError(problem, found=value, allowed=allowed, do=do, **{"column": quantity.column, **place})


def check_coupon(coupon: str, marks: Collection[str], **place: Any) -> None:
    """Raise InputError, with the nearest mark, where a coupon is not one of the plan."""
    if coupon in marks:
        return
    do = f"{nearest(coupon, sorted(marks))} Use the marks of the run sheet.".strip()
    raise InputError("unknown coupon", found=coupon, do=do, **{"column": "coupon", **place})


def outcomes(records: Records) -> dict[str, str]:
    """Coupon -> outcome, for the coupons with a cut record."""
    return dict(zip(records.cuts["coupon"], records.cuts["outcome"], strict=True))


def check_was_cut(coupon: str, recorded: Mapping[str, str | None], **place: Any) -> None:
    """Raise InputError where a coupon has no cut record in `outcomes`, or was recorded as lost."""
    outcome = recorded.get(coupon)
    if outcome == "cut":
        return
    problem, do = (
        ("a reading of a coupon that is not recorded as cut", "Record it with `trials cut`.")
        if outcome is None
        else (
            f"a reading of a coupon recorded as {outcome}",
            "Leave the readings out, or correct the cut record with `trials correct`.",
        )
    )
    raise InputError(problem, found=coupon, do=do, **{"column": "coupon", **place})


def check_cutoff(long: pd.DataFrame, records: Records, file: str = "") -> None:
    """Raise InputError for each roughness reading of a trial that names another cut-off than the first."""
    stored = records.readings
    known = stored.loc[(stored["field"] == CUTOFF_FIELD) & stored["cutoff_mm"].notna(), "cutoff_mm"]
    new = long.loc[(long["field"] == CUTOFF_FIELD) & long["cutoff_mm"].notna(), "cutoff_mm"]
    if not len(new):
        return
    first = known.iloc[0] if len(known) else new.iloc[0]
    problems = Problems()
    for row, value in new[new != first].items():
        with problems.gathered():
            raise InputError(
                f"cut-offs are mixed: other roughness readings of this trial have {first:g} mm",
                file=file,
                row=int(str(row)) if file else None,
                column="cutoff_mm",
                found=float(value),
                do="Measure all coupons with one cut-off, or correct the cell.",
            )
    problems.tell()


def check_cut(
    cut: dict[str, Any], records: Records, mounts: set[str] | None, sheets: set[str] | None, **place: Any
) -> None:
    """Raise InputError where a cut record names an unknown coupon, outcome, mount, sheet or setting.

    mounts, sheets: the known marks; None where they are not known yet.
    """
    check_coupon(cut["coupon"], set(records.coupons["coupon"]), **place)
    if cut["outcome"] not in OUTCOMES:
        raise InputError(
            "unknown outcome",
            column="outcome",
            found=cut["outcome"],
            allowed=", ".join(OUTCOMES),
            do="Use one of these words.",
            **place,
        )
    for column, known in (("mount", mounts), ("sheet", sheets)):
        if known is not None and cut[column] and cut[column] not in known:
            raise InputError(
                f"unknown {column}",
                column=column,
                found=cut[column],
                do=f"{nearest(cut[column], sorted(known))} Or add it to the table of {column}s.".strip(),
                **place,
            )
    if _missing(cut["cut_order"]) and cut["outcome"] != "scrapped":
        raise InputError("no place in the cutting order", column="cut_order", do="Fill it in: 1, 2, 3, ...", **place)
    parse_changed_setting(cut["changed_setting"], records.trial, **place)


def _missing(cell: Any) -> bool:
    from trials.store.records.records import plain

    return plain(cell) is None


def check_mount(mount: dict[str, Any], trial: Trial, **place: Any) -> None:
    """Raise InputError where a mount names an unknown nozzle type, or a specimen of another type."""
    nozzle = next((n for n in trial.nozzles if n.type == mount["nozzle"]), None)
    if nozzle is None:
        hint = nearest(mount["nozzle"], trial.types) if mount["nozzle"] else "Say which nozzle type was fitted."
        raise InputError(
            "unknown nozzle type" if mount["nozzle"] else f"mount {mount['mount']} has no nozzle type",
            column="nozzle",
            found=mount["nozzle"] or None,
            allowed=", ".join(trial.types),
            do=hint or "Use one of these.",
            **place,
        )
    if nozzle.specimens and mount["specimen"] not in nozzle.specimens:
        raise InputError(
            f"unknown specimen of {nozzle.type}",
            column="specimen",
            found=mount["specimen"],
            allowed=", ".join(nozzle.specimens),
            do="Correct the cell, or add the piece to trial.toml with `trials amend`.",
            **place,
        )
