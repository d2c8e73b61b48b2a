"""Figures of the standards, each with its clause where known and its status, from one packaged data file.

Nothing here was copied from a standard's text, and no standard was at hand: the status of a figure says how it was
checked. A user who holds the standard corrects the figure in `trials/data/standards.json`; every grade, limit and
printed table follows.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from trials.errors import InputError


@dataclass(frozen=True)
class RangeLimit:
    """Upper limit of one range: `base + per_mm * thickness_mm`, in the unit of the quantity."""

    range: int
    base: float
    per_mm: float
    status: str
    source: str


@dataclass(frozen=True)
class Scope:
    """Thickness from `low_mm` to `high_mm`, both included, for one cutting process."""

    process: str
    low_mm: float
    high_mm: float
    status: str
    source: str


@dataclass(frozen=True)
class DeltaA:
    """Depth left out at each edge for thickness over `over_mm` up to `to_mm`: `fixed_mm + per_mm * thickness`."""

    over_mm: float
    to_mm: float
    fixed_mm: float
    per_mm: float
    status: str
    source: str


@dataclass(frozen=True)
class UsualReadings:
    """How many readings of a response are usual on one coupon; not a requirement."""

    response: str
    readings: int
    text: str
    status: str
    source: str


@dataclass(frozen=True)
class ExecutionClass:
    """What one execution class of EN 1090-2 asks of a free cut edge; None where it asks nothing."""

    name: str
    edition: str
    clause: str
    squareness_range: int | None
    roughness_range: int | None
    dross_grade: int | None
    text: str
    status: str
    source: str


@dataclass(frozen=True)
class CutoffRow:
    """Cut-off for Rz over `over_um` up to and including `to_um` (None: no upper end)."""

    over_um: float
    to_um: float | None
    cutoff_mm: float
    status: str
    source: str


@dataclass(frozen=True)
class InstrumentRow:
    """Largest spacing and stylus tip radius that go with one cut-off."""

    cutoff_mm: float
    spacing_um: float
    tip_um: float
    status: str
    source: str


@dataclass(frozen=True)
class Caution:
    """One hazard of a trial, what to do, and the document that governs it."""

    hazard: str
    text: str
    document: str
    status: str
    source: str


@cache
def _data() -> dict[str, Any]:
    """The packaged file, read once."""
    text = resources.files("trials").joinpath("data", "standards.json").read_text(encoding="utf-8")
    data: dict[str, Any] = json.loads(text)
    return data


@cache
def squareness_ranges() -> tuple[RangeLimit, ...]:
    """Ranges of the perpendicularity tolerance u, limits in mm (ISO 9013)."""
    return tuple(RangeLimit(**row) for row in _data()["iso9013"]["squareness_mm"]["ranges"])


@cache
def roughness_ranges() -> tuple[RangeLimit, ...]:
    """Ranges of the mean height of profile Rz5, limits in um (ISO 9013)."""
    return tuple(RangeLimit(**row) for row in _data()["iso9013"]["roughness_um"]["ranges"])


@cache
def scope(process: str = "laser") -> Scope:
    """Thickness that ISO 9013 covers for `process` (laser, plasma, oxyfuel).

    Raises
    ------
    InputError
        If the process is not one of the three.
    """
    rows = {row["process"]: Scope(**row) for row in _data()["iso9013"]["scope"]}
    if process not in rows:
        raise InputError("unknown cutting process", found=process, allowed=", ".join(rows), do="Name one of these.")
    return rows[process]


@cache
def edition() -> str:
    """The edition of ISO 9013 that the figures belong to, such as `ISO 9013:2017`."""
    return str(_data()["iso9013"]["edition"])


@cache
def delta_a_rows() -> tuple[DeltaA, ...]:
    """Depth left out at each edge before u is taken, by thickness (ISO 9013)."""
    return tuple(DeltaA(**row) for row in _data()["iso9013"]["delta_a"]["rows"])


@cache
def usual_readings() -> Mapping[str, UsualReadings]:
    """Usual number of readings by response, from memory."""
    return MappingProxyType({row["response"]: UsualReadings(**row) for row in _data()["iso9013"]["usual_readings"]})


def roughness_depth_mm(thickness_mm: float) -> float:
    """Depth below the top face, mm, at which Rz5 is usually traced (from memory; a recorded field, not a rule)."""
    for row in _data()["iso9013"]["roughness_depth"]:
        if row["over_mm"] < thickness_mm <= row["to_mm"]:
            return round(thickness_mm * float(row["share_of_thickness"]), 2)
    raise InputError(
        "no usual depth for this thickness", found=thickness_mm, allowed="0 to 300 mm", do="Give the depth by hand."
    )


@cache
def editions_en1090() -> tuple[str, ...]:
    """Editions of EN 1090-2 in the file, the current one first."""
    data = _data()["en1090_2"]
    names = [entry["edition"] for entry in data["editions"]]
    return tuple(sorted(names, key=lambda name: name != data["current"]))


@cache
def execution_classes(edition: str | None = None) -> Mapping[str, ExecutionClass]:
    """Execution classes of EN 1090-2 by name, for one edition (default: the current one).

    Raises
    ------
    InputError
        If the edition is not in the file.
    """
    data = _data()["en1090_2"]
    wanted = edition or data["current"]
    for entry in data["editions"]:
        if entry["edition"] == wanted:
            rows = {row["class"]: _execution_class(row, wanted, data["clause"]) for row in entry["classes"]}
            return MappingProxyType(rows)
    raise InputError(
        "unknown edition of EN 1090-2", found=edition, allowed=", ".join(editions_en1090()), do="Name one of these."
    )


def _execution_class(row: dict[str, Any], edition: str, clause: str) -> ExecutionClass:
    rest = {key: value for key, value in row.items() if key != "class"}
    return ExecutionClass(name=row["class"], edition=edition, clause=clause, **rest)


@cache
def cutoff_default_mm() -> float:
    """The cut-off of a trial that names none."""
    return float(_data()["roughness_settings"]["cutoff_mm"]["value"])


@cache
def cutoff_rows(method: str = "ISO 21920-3") -> tuple[CutoffRow, ...]:
    """Cut-off by Rz for non-periodic profiles, by `ISO 21920-3` or `ISO 4288`.

    Raises
    ------
    InputError
        If the method is neither.
    """
    methods = {entry["name"]: entry["rows"] for entry in _data()["roughness_settings"]["methods"]}
    if method not in methods:
        raise InputError(
            "unknown rule for the cut-off", found=method, allowed=", ".join(methods), do="Name one of these."
        )
    return tuple(CutoffRow(**row) for row in methods[method])


@cache
def instrument_rows() -> tuple[InstrumentRow, ...]:
    """Short cut-off, spacing and stylus tip that go with each cut-off."""
    return tuple(InstrumentRow(**row) for row in _data()["roughness_settings"]["instrument"])


@cache
def decision_confidence() -> float:
    """Confidence of the conformity decision when nothing else is agreed (ISO 14253-1)."""
    return float(_data()["decision_rule"]["confidence"])


@cache
def cautions() -> tuple[Caution, ...]:
    """Hazards of a trial with their governing documents, for run sheets and the verdict."""
    return tuple(Caution(**row) for row in _data()["cautions"])
