"""Roughness from a trace: Rz5 as the mean of five adjoining sampling lengths, and Ra, Rq, Rt, RSm beside it.

The line is taken off, the Gaussian filter (ISO 16610-21) splits waviness from roughness at the cut-off, half a cut-off
is left out at each end, and five sampling lengths of one cut-off are evaluated: six cut-offs of trace, 15 mm at the
default of 2.5 mm. The short cut-off is the instrument's; none is applied here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from trials.bench.kinds import BenchKind
from trials.bench.profile_filter import mean_line
from trials.bench.traces import bridge, check_heights, check_unit, clipped_points, find_spikes, levelled
from trials.errors import InputError
from trials.findings import Amount, Fact, Finding
from trials.standards import cutoff_default_mm, cutoff_rows, instrument_rows

Spikes = Literal["refuse", "bridge", "keep"]
LENGTHS = 5
MOST_SPACING = 0.1
"""Widest spacing in cut-offs that still gives a number; wider is refused."""
LONGEST_MM = 1000.0
"""No trace of an edge is longer; a longer one has its spacing in another unit."""

USUAL_METHOD = "ISO 21920-3"
"""The rule a cut-off is held against where another was used."""
COUNTED_SHARE = 0.1
"""Share of Rz that a hill or dale must stand off the mean line to count (ISO 4287:1997, 4.3.1, from memory)."""
ROUNDING = 1e-9
"""Share by which positions and spacings differ through unit conversion and addition alone."""

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Roughness:
    """Roughness of one trace, in um unless named otherwise.

    rz5 mean and rz_each (5,) of the single heights; rz_max the largest of them; ra, rq, rt over the evaluation
    length; rsm_mm mean width of the profile elements (NaN with fewer than two). position_mm, primary_um, waviness_um,
    roughness_um: (n,) the whole trace for a picture; edges_mm (6,) the ends of the five lengths. warnings: what to
    look at; notes: what was changed or chosen.
    """

    rz5: float
    rz_each: FloatArray
    rz_max: float
    ra: float
    rq: float
    rt: float
    rsm_mm: float
    cutoff_mm: float
    spacing_mm: float
    evaluation_mm: float
    position_mm: FloatArray
    primary_um: FloatArray
    waviness_um: FloatArray
    roughness_um: FloatArray
    edges_mm: FloatArray
    warnings: tuple[Finding, ...]
    notes: tuple[Finding, ...]


def measure_profile(
    heights_um: npt.ArrayLike,
    spacing_mm: float,
    cutoff_mm: float | None = None,
    automatic: str | None = None,
    tip_um: float | None = None,
    spikes: Spikes = "refuse",
) -> Roughness:
    """Roughness of a trace of heights (n,) in um at equal spacing in mm.

    cutoff_mm: None takes the default of 2.5 mm. automatic: `ISO 21920-3` or `ISO 4288` chooses the cut-off by Rz
    instead; for a single measurement only, since a trial keeps one cut-off. tip_um: radius of the stylus, checked
    against the cut-off. spikes: a trace with points far off their neighbours is refused, or they are bridged by
    straight lines, or kept; the last two say so.

    Raises
    ------
    NotFinite
        If a height or the spacing is NaN or infinite.
    WrongShape
        If the heights are not one column.
    InputError
        If the trace is too short or too coarse for the cut-off, flat, in another unit, or has spikes.
    """
    heights = check_heights(heights_um, spacing_mm)
    if cutoff_mm is not None and automatic is not None:
        raise InputError("a cut-off and an automatic choice at once", do="Give one of the two.")
    lengths = [cutoff_default_mm() if cutoff_mm is None else float(cutoff_mm)]
    if automatic is not None:
        lengths = [row.cutoff_mm for row in cutoff_rows(automatic)]
    _check_length(len(heights), spacing_mm, lengths[0])
    level = levelled(heights)
    check_unit(level)
    level, notes = _treated(level, spacing_mm, spikes)
    if automatic is not None:
        found = _automatic(level, spacing_mm, automatic)
    else:
        found = _measure(level, spacing_mm, lengths[0])
    flat = clipped_points(heights)
    clipped = (Finding(BenchKind.TRACE_CLIPPED, facts={"points": flat}),) if flat else ()
    warnings = (*found.warnings, *_doubts(found, tip_um), *clipped)
    return replace(found, warnings=warnings, notes=(*notes, *found.notes))


def _check_length(points: int, spacing_mm: float, cutoff_mm: float) -> None:
    if not np.isfinite(cutoff_mm) or cutoff_mm <= 0:
        raise InputError("not a cut-off", found=cutoff_mm, allowed="above 0 mm", do="Give it in mm, usually 2.5.")
    length = points * spacing_mm
    needed = (LENGTHS + 1) * cutoff_mm
    if length > LONGEST_MM or spacing_mm > MOST_SPACING * cutoff_mm:
        raise InputError(
            f"points {spacing_mm:g} mm apart, {length:.4g} mm in all; the spacing may be in um",
            allowed=f"spacing up to {MOST_SPACING * cutoff_mm:g} mm for a cut-off of {cutoff_mm:g} mm",
            do="Give the spacing in mm, or measure with closer points.",
        )
    if length < needed - spacing_mm / 2:
        raise InputError(
            f"the trace is too short: {length:.4g} mm, a cut-off of {cutoff_mm:g} mm needs {needed:g} mm",
            do="Measure a longer trace, check the unit of the spacing, or agree a shorter cut-off.",
        )


def _treated(level: FloatArray, spacing_mm: float, spikes: Spikes) -> tuple[FloatArray, tuple[Finding, ...]]:
    """The trace with its spikes refused, bridged or kept, and what was done."""
    if spikes not in ("refuse", "bridge", "keep"):
        raise InputError(
            "unknown way with spikes", found=spikes, allowed="refuse, bridge, keep", do="Name one of these."
        )
    bad = find_spikes(level)
    if not bad.any():
        return level, ()
    first = float(np.argmax(bad)) * spacing_mm
    if spikes == "refuse":
        raise InputError(
            f"the trace has spikes: points far off their neighbours, {int(bad.sum())} in all, the first at "
            f"{first:.4g} mm",
            do="Clean the edge and measure again, or bridge or keep them.",
        )
    where: dict[str, Fact] = {"points": int(bad.sum()), "first": Amount(first, "mm")}
    if spikes == "keep":
        return level, (Finding(BenchKind.SPIKES_KEPT, facts=where),)
    return levelled(bridge(level, bad)), (Finding(BenchKind.SPIKES_BRIDGED, facts=where),)


def _measure(level: FloatArray, spacing_mm: float, cutoff_mm: float) -> Roughness:
    """Filter and evaluate at one cut-off, no checks."""
    waviness = mean_line(level, spacing_mm, cutoff_mm)
    rough = level - waviness
    position: FloatArray = np.arange(len(level), dtype=np.float64) * spacing_mm
    # half a step on either side belongs to the first and the last point
    start = (len(level) * spacing_mm - LENGTHS * cutoff_mm) / 2 - spacing_mm / 2
    edges: FloatArray = start + cutoff_mm * np.arange(LENGTHS + 1, dtype=np.float64)
    ends = np.searchsorted(position, edges - ROUNDING * spacing_mm)
    each = np.array([np.ptp(rough[a:b]) for a, b in zip(ends[:-1], ends[1:], strict=True)])
    evaluated = rough[ends[0] : ends[-1]]
    return Roughness(
        rz5=float(each.mean()),
        rz_each=each,
        rz_max=float(each.max()),
        ra=float(np.abs(evaluated).mean()),
        rq=float(np.sqrt(np.mean(evaluated**2))),
        rt=float(np.ptp(evaluated)),
        rsm_mm=_mean_width(evaluated, spacing_mm, COUNTED_SHARE * float(each.mean())),
        cutoff_mm=cutoff_mm,
        spacing_mm=float(spacing_mm),
        evaluation_mm=LENGTHS * cutoff_mm,
        position_mm=position,
        primary_um=level,
        waviness_um=waviness,
        roughness_um=rough,
        edges_mm=edges,
        warnings=(),
        notes=(),
    )


def _mean_width(rough: FloatArray, spacing_mm: float, least_um: float) -> float:
    """Mean width in mm of profile elements, a hill and its dale; NaN with fewer than two.

    Hills and dales count from `COUNTED_SHARE` of Rz off the mean line; widths run from one upward crossing of the mean
    line to the next.
    """
    side = np.where(rough > least_um, 1, np.where(rough < -least_um, -1, 0))
    marked = np.flatnonzero(side)
    turns = np.flatnonzero((side[marked][:-1] < 0) & (side[marked][1:] > 0))
    if len(turns) < 2:
        return float("nan")
    crossings = []
    for turn in (turns[0], turns[-1]):
        low, high = marked[turn], marked[turn + 1]
        above = low + int(np.argmax(rough[low : high + 1] >= 0))
        share = rough[above - 1] / (rough[above - 1] - rough[above])
        crossings.append(above - 1 + share)
    return float((crossings[1] - crossings[0]) * spacing_mm / (len(turns) - 1))


def _automatic(level: FloatArray, spacing_mm: float, method: str) -> Roughness:
    """The shortest cut-off whose Rz asks for itself; else the longest that the trace holds, with a warning."""
    length = len(level) * spacing_mm
    best = None
    for row in cutoff_rows(method):
        if length < (LENGTHS + 1) * row.cutoff_mm - spacing_mm / 2:
            break
        if spacing_mm > MOST_SPACING * row.cutoff_mm:
            continue
        best = _measure(level, spacing_mm, row.cutoff_mm)
        if asked_cutoff_mm(best.rz5, method) <= row.cutoff_mm:
            facts: dict[str, Fact] = {"cutoff": Amount(row.cutoff_mm, "mm"), "method": method}
            return replace(best, notes=(Finding(BenchKind.CUTOFF_CHOSEN, facts=facts),))
    if best is None:
        raise InputError(
            f"no cut-off of {method} fits {length:.4g} mm of points {spacing_mm:g} mm apart",
            do="Measure a longer or a finer trace.",
        )
    used, asked = Amount(best.cutoff_mm, "mm"), Amount(asked_cutoff_mm(best.rz5, method), "mm")
    warning = Finding(BenchKind.CUTOFF_TOO_SHORT, facts={"method": method, "asked": asked, "cutoff": used})
    return replace(best, warnings=(warning,), notes=(Finding(BenchKind.CUTOFF_LONGEST, facts={"cutoff": used}),))


def asked_cutoff_mm(rz_um: float, method: str = USUAL_METHOD) -> float:
    """Cut-off in mm that `ISO 21920-3` or `ISO 4288` asks for at a mean height in um."""
    for row in cutoff_rows(method):
        if row.to_um is None or rz_um <= row.to_um:
            return row.cutoff_mm
    return cutoff_rows(method)[-1].cutoff_mm


def _doubts(found: Roughness, tip_um: float | None) -> tuple[Finding, ...]:
    """What to look at: evaluation length, spacing and stylus."""
    doubts = []
    wanted = asked_cutoff_mm(found.rz5, USUAL_METHOD)
    if wanted != found.cutoff_mm and not found.warnings:
        facts: dict[str, Fact] = {"rz5": Amount(found.rz5, "um"), "method": USUAL_METHOD}
        lengths = {"asked": wanted, "evaluated": LENGTHS * wanted, "cutoff": found.cutoff_mm}
        facts |= {name: Amount(length, "mm") for name, length in lengths.items()}
        doubts.append(Finding(BenchKind.CUTOFF_UNUSUAL, facts=facts))
    usual = [row for row in instrument_rows() if row.cutoff_mm <= found.cutoff_mm]
    if not usual:
        return tuple(doubts)
    row, spacing_um = usual[-1], 1000 * found.spacing_mm
    if spacing_um > row.spacing_um * (1 + ROUNDING):
        facts = {"spacing": Amount(spacing_um, "um"), "usual": Amount(row.spacing_um, "um")}
        doubts.append(Finding(BenchKind.SPACING_WIDE, facts=facts))
    if tip_um is not None and tip_um > row.tip_um:
        facts = {"tip": Amount(tip_um, "um"), "usual": Amount(row.tip_um, "um")}
        doubts.append(Finding(BenchKind.TIP_BLUNT, facts=facts))
    return tuple(doubts)
