"""Does an edge meet the requirement: yes, no, or undecided (ISO 14253-1).

An expanded uncertainty U is quoted at k = 2, so the standard uncertainty is u_c = U / 2. At 95 % the guard band is
g = 1.645 u_c = 0.8224 U, one-sided since both u and Rz5 have an upper limit only. A value up to `limit - g` meets the
limit, a value above `limit + g` does not, and between the two neither is proved. Simple acceptance puts g to zero.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np
import numpy.typing as npt

from trials.errors import InputError, NotFinite
from trials.findings import Amount
from trials.grade import iso9013
from trials.grade.kinds import Item, Meets
from trials.standards import ExecutionClass, decision_confidence, editions_en1090, execution_classes
from trials.trial import Requirement

Rule = Literal["guard band", "simple acceptance"]
COVERAGE = 2.0
"""k of every expanded uncertainty in this package."""
YES, UNDECIDED, NO = 1, 0, -1
MEETS = {YES: Meets.YES, UNDECIDED: Meets.UNDECIDED, NO: Meets.NO}
ROUNDING = 1e-9
"""Share by which a part may exceed the whole: figures typed with a few digits are halved and compared."""

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Uncertainty:
    """Uncertainty of one reading: expanded U (k = 2), and the standard deviation of its repeatability part.

    The repeatability part averages out over readings, the rest does not. With `repeatability_sd` zero (not known), a
    mean is judged with the whole U, which is on the cautious side.
    """

    expanded: float
    repeatability_sd: float = 0.0

    def __post_init__(self) -> None:
        """Refuse an uncertainty that is negative, not finite, or smaller than its own part."""
        if not (math.isfinite(self.expanded) and math.isfinite(self.repeatability_sd)):
            raise NotFinite("The uncertainty of the bench is not a number; give U as a figure at k = 2.")
        if self.expanded < 0 or self.repeatability_sd < 0:
            raise InputError("negative uncertainty", found=self.expanded, allowed="0 or more", do="Give U at k = 2.")
        if self.repeatability_sd > self.expanded / COVERAGE * (1 + ROUNDING):
            raise InputError(
                "the repeatability part is larger than the whole uncertainty",
                found=self.repeatability_sd,
                allowed=f"up to U / 2 = {self.expanded / COVERAGE:g}",
                do="Give U at k = 2 and the repeatability as one standard deviation.",
            )

    def standard(self, readings: npt.ArrayLike = 1) -> FloatArray:
        """Standard uncertainty of a mean of `readings` readings, same unit as U."""
        whole, part = (self.expanded / COVERAGE) ** 2, self.repeatability_sd**2
        counted = np.maximum(np.asarray(readings, dtype=float), 1.0)
        found: FloatArray = np.sqrt(np.maximum(whole - part, 0.0) + part / counted)
        return found


@dataclass(frozen=True)
class Limits:
    """Upper limits that a requirement sets, each (n,) by thickness; None where nothing is required."""

    squareness_mm: FloatArray | None
    roughness_um: FloatArray | None
    dross_grade: int | None


def guard_factor(confidence: float | None = None) -> float:
    """Guard band in standard uncertainties, one-sided: 1.645 at 95 % (ISO 14253-1).

    Raises
    ------
    InputError
        If the confidence is not between 0.5 and 1.
    """
    level = decision_confidence() if confidence is None else confidence
    if not 0.5 <= level < 1:
        raise InputError("not a confidence", found=level, allowed="0.5 up to below 1", do="Give 0.95 for 95 %.")
    return NormalDist().inv_cdf(level)


def decide(
    value: npt.ArrayLike,
    limit: npt.ArrayLike,
    standard_uncertainty: npt.ArrayLike = 0.0,
    rule: Rule = "guard band",
    confidence: float | None = None,
) -> npt.NDArray[np.int8]:
    """1 yes, 0 undecided, -1 no, for values against upper limits; all arguments broadcast.

    NaN in value or limit is undecided. Values and limits are compared after rounding to 1e-9.

    Raises
    ------
    InputError
        If the rule is not one of the two.
    NotFinite
        If a value is infinite.
    """
    if rule not in ("guard band", "simple acceptance"):
        raise InputError("unknown rule", found=rule, allowed="guard band, simple acceptance", do="Name one of these.")
    found, most = np.asarray(value, dtype=float), np.asarray(limit, dtype=float)
    if np.isinf(found).any():
        raise NotFinite("A value to be judged is infinite; leave it empty where nothing was measured.")
    factor = guard_factor(confidence) if rule == "guard band" else 0.0
    guard = factor * np.asarray(standard_uncertainty, dtype=float)
    rounded = np.round(found, iso9013.DECIMALS)
    inside = rounded <= np.round(most - guard, iso9013.DECIMALS)
    outside = rounded > np.round(most + guard, iso9013.DECIMALS)
    return inside.astype(np.int8) - outside.astype(np.int8)


def limits_of(requirement: Requirement, thickness_mm: npt.ArrayLike) -> Limits:
    """Limits of a requirement at each thickness (n,); where it names several for one item, the tightest holds.

    A range becomes the limit of ISO 9013 at the thickness, an execution class the ranges of EN 1090-2.

    Raises
    ------
    InputError
        If the range, class or edition does not exist.
    """
    thickness = np.atleast_1d(np.asarray(thickness_mm, dtype=float))
    asked = execution_class(requirement.execution_class) if requirement.execution_class else None
    u_ranges = [r for r in (requirement.squareness_range, asked and asked.squareness_range) if r]
    rz_ranges = [r for r in (requirement.roughness_range, asked and asked.roughness_range) if r]
    u_limits = [iso9013.squareness_limit(r, thickness) for r in u_ranges]
    rz_limits = [iso9013.roughness_limit(r, thickness) for r in rz_ranges]
    if requirement.u_mm is not None:
        u_limits.append(np.full(thickness.shape, requirement.u_mm))
    if requirement.rz5_um is not None:
        rz_limits.append(np.full(thickness.shape, requirement.rz5_um))
    return Limits(
        squareness_mm=np.minimum.reduce(u_limits) if u_limits else None,
        roughness_um=np.minimum.reduce(rz_limits) if rz_limits else None,
        dross_grade=requirement.dross_grade,
    )


@dataclass(frozen=True)
class Zone:
    """Where a value of one item is proved, mm or um: met up to `met`, failed above `failed`, neither between.

    expanded: U at k = 2 of one reading, 0 where none is stated.
    """

    item: Item
    unit: str
    limit: float
    expanded: float
    met: float
    failed: float


def zones(
    requirement: Requirement,
    thickness_mm: float,
    rule: Rule = "guard band",
    uncertainty: Mapping[str, float | Uncertainty] | None = None,
) -> tuple[Zone, ...]:
    """Limit and zone of u and Rz5 at one thickness, for one reading; none for what is not required.

    Raises
    ------
    InputError
        If the range, class or edition does not exist, or an uncertainty is not usable.
    """
    limits, given = limits_of(requirement, thickness_mm), uncertainty or {}
    found = []
    for item, column, unit, limit in (
        (Item.SQUARENESS, "u_mm", "mm", limits.squareness_mm),
        (Item.ROUGHNESS, "rz5_um", "um", limits.roughness_um),
    ):
        if limit is None:
            continue
        stated = given.get(column, 0.0)
        known = stated if isinstance(stated, Uncertainty) else Uncertainty(float(stated))
        guard = guard_factor() * float(known.standard()) if rule == "guard band" else 0.0
        most = float(limit[0])
        found.append(Zone(item, unit, most, known.expanded, max(most - guard, 0.0), most + guard))
    return tuple(found)


def execution_class(name: str) -> ExecutionClass:
    """Class by its name, `EXC3` for the current edition of EN 1090-2 or `EXC3 2008` for an earlier one.

    Raises
    ------
    InputError
        If the class or the edition is not known.
    """
    short, _, year = name.strip().partition(" ")
    editions = [entry for entry in editions_en1090() if entry.startswith(year.strip("() "))]
    classes = execution_classes(editions[0]) if editions else {}
    if short.upper() not in classes:
        raise InputError(
            "unknown execution class of EN 1090-2",
            found=name,
            allowed=", ".join(execution_classes()) + "; a year may follow: " + ", ".join(editions_en1090()),
            do="Name the class as EXC2, or EXC2 2008.",
        )
    return classes[short.upper()]


@dataclass(frozen=True)
class Demand:
    """One part of a requirement: a range of ISO 9013, or an upper limit of `item`, or a class of EN 1090-2."""

    item: Item | None
    range: int | None = None
    limit: Amount | None = None
    execution_class: ExecutionClass | None = None


def demands(requirement: Requirement) -> tuple[Demand, ...]:
    """The parts of a requirement, in the order they are printed; empty if nothing is required."""
    asked = execution_class(requirement.execution_class) if requirement.execution_class else None
    u, rz5, dross = requirement.u_mm, requirement.rz5_um, requirement.dross_grade
    parts = (
        Demand(Item.SQUARENESS, range=requirement.squareness_range),
        Demand(Item.SQUARENESS, limit=None if u is None else Amount(u, "mm")),
        Demand(Item.ROUGHNESS, range=requirement.roughness_range),
        Demand(Item.ROUGHNESS, limit=None if rz5 is None else Amount(rz5, "um")),
        Demand(Item.DROSS, limit=None if dross is None else Amount(dross)),
        Demand(None, execution_class=asked),
    )
    return tuple(p for p in parts if (p.range, p.limit, p.execution_class) != (None, None, None))
