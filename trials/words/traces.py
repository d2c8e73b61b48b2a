"""What was measured on traces and scans, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from trials.bench.roughness import Roughness
from trials.bench.squareness import LEVELLING_DEG
from trials.grade.iso9013 import WORSE
from trials.words.language import plural, text
from trials.words.numbers import bare, fixed, fixed_in_use, nominal, plain, rounded
from trials.words.system import in_use, shown_unit

if TYPE_CHECKING:
    from trials.bench.squareness import Squareness

FEW_NAMES = 3
"""More names than this in a row are counted instead."""


def roughness_rows(r: Roughness) -> list[list[str]]:
    """Quantity, value and unit of everything that one trace gives."""
    lengths = [(text("  length {n}", n=k), float(height)) for k, height in enumerate(r.rz_each, 1)]
    heights = [("Rz5", r.rz5), *lengths, ("Ra", r.ra), ("Rq", r.rq), ("Rt", r.rt)]
    um, mm = shown_unit("um"), shown_unit("mm")
    rows = [[name, fixed_in_use(value, "um", 2), um] for name, value in heights]
    spacing = [fixed_in_use(r.rsm_mm, "mm", 4), mm]
    rows.append(["RSm", *(spacing if math.isfinite(r.rsm_mm) else ["", text("fewer than two profile elements")])])
    rows.append([text("cut-off"), rounded(r.cutoff_mm, 6), "mm"])
    rows.append([text("evaluated"), bare(r.evaluation_mm, "mm"), mm])
    return [*rows, [text("spacing"), rounded(in_use(1000 * r.spacing_mm, "um"), 4), um]]


def squareness_rows(s: Squareness) -> list[list[str]]:
    """Quantity, value and unit of everything that one scan gives."""
    mm = shown_unit("mm")
    at_depth = text("{unit} depth", unit=mm)
    lean = text("° out of the part with depth") if s.lean_deg > 0 else text("° into the part")
    if s.melting_mm is None:
        melting = ["", text("the scan starts below the top edge")]
    else:
        melting = [fixed_in_use(s.melting_mm, "mm", 3), mm]
    return [
        ["u", fixed_in_use(s.u_mm, "mm", 4), mm],
        [text("taken from"), fixed_in_use(s.from_mm, "mm", 3), at_depth],
        [text("to"), fixed_in_use(s.to_mm, "mm", 3), at_depth],
        [text("intended angle"), rounded(s.angle_deg, 6), "°"],
        [text("leans by"), fixed(s.lean_deg, 3), lean],
        [text("top edge melted r"), *melting],
        [
            text("levelling off by {angle} adds up to", angle=f"{rounded(LEVELLING_DEG, 1)}°"),
            fixed_in_use(s.tilt_mm, "mm", 4),
            mm,
        ],
    ]


def file_cells(name: str, result: Roughness | Squareness, value: float) -> list[str]:
    """One row of the table of measured files."""
    if isinstance(result, Roughness):
        taken = text("cut-off {cutoff}", cutoff=nominal(result.cutoff_mm, "mm"))
        return [name, "Rz5", f"{fixed_in_use(value, 'um', 2)} {shown_unit('um')}", taken]
    low, high = (rounded(in_use(end, "mm"), 3) for end in (result.from_mm, result.to_mm))
    mm = shown_unit("mm")
    size = f"{fixed_in_use(value, 'mm', 4)} {mm}"
    return [name, "u", size, text("{low} to {high} {unit}", low=low, high=high, unit=mm)]


def file_heads() -> list[str]:
    """Heads of the table of measured files."""
    return [text("file"), "", text("value"), text("taken")]


def range_sentence(name: str, grade: int, thickness_mm: float) -> str:
    """In which range a value is at a thickness."""
    at = plain(thickness_mm, "mm")
    if grade == WORSE:
        return text("{name} is worse than the last range at {at}.", name=name, at=at)
    return text("{name} is in range {n} at {at}.", name=name, n=grade, at=at)


def few(names: Sequence[str]) -> str:
    """Names of files, the first of them where there are many."""
    if len(names) <= FEW_NAMES:
        return ", ".join(names)
    return text("{n} files, the first {first}", n=len(names), first=names[0])


def recorded(added: int, ignored: int) -> str:
    """How many readings came in."""
    here = plural("{n} reading recorded", "{n} readings recorded", added)
    before = plural("{n} was on record already", "{n} were on record already", ignored)
    return text("{here}, {before}.", here=here, before=before)
