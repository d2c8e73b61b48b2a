"""Squareness from a scan of the cut flank: perpendicularity or angularity tolerance u (ISO 9013).

A scan holds points of the flank, depth down from the top face and horizontal offset, positive out of the part, and is
levelled to the face before it comes here; what the levelling leaves goes into the uncertainty (`tilt_mm`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trials.bench.kinds import BenchKind
from trials.errors import InputError, NotFinite, WrongShape
from trials.findings import Amount, Fact, Finding
from trials.standards import delta_a_rows

FloatArray = npt.NDArray[np.float64]

SPIKE_WIDTH = 5
LEAST_SPIKE_MM = 0.01
"""Below this no point of a scan is a spike (common practice, no source)."""
FEW_POINTS = 10
"""Fewer points between the ends than this raise a warning (common practice, no source)."""
UNIT_SLIP = 10.0
"""A scan this many times higher or lower than the sheet is in another unit: those of length lie further apart."""
ROUNDING = 1e-9
"""Share of the thickness by which an end may be missed through unit conversion alone."""
LEVELLING_DEG = 0.1
"""How far off a levelling is told of (common practice, no source)."""
TOP_MM = 0.05
"""A scan that starts within this depth shows the melting of the top edge (common practice, no source)."""


@dataclass(frozen=True)
class Squareness:
    """Squareness of one flank, in mm unless named otherwise.

    u_mm between the two parallel lines; from_mm and to_mm the depths between which it was taken; lean_deg the slope of
    the least-squares line against the intended angle, positive where the flank runs out of the part with depth.
    melting_mm is r, what the molten top edge lacks against that line, None where the scan starts lower; tilt_mm what a
    levelling that is off by `LEVELLING_DEG` adds to u at most: half of it over the square root of 3 is a standard
    uncertainty if every tilt up to that is as likely (GUM, 4.3.7). depth_mm, distance_mm: (m,) the points used and
    their distance from a line at the intended angle, for a picture. warnings: what to look at; notes: what was changed.
    """

    u_mm: float
    delta_a_mm: float
    from_mm: float
    to_mm: float
    angle_deg: float
    lean_deg: float
    melting_mm: float | None
    tilt_mm: float
    depth_mm: FloatArray
    distance_mm: FloatArray
    warnings: tuple[Finding, ...]
    notes: tuple[Finding, ...]


def perpendicularity(
    depth_mm: npt.ArrayLike,
    offset_mm: npt.ArrayLike,
    thickness_mm: float,
    angle_deg: float = 90.0,
    delta_a_mm: float | None = None,
) -> Squareness:
    """Perpendicularity (90 degrees) or angularity tolerance u of a flank scan of (n,) points.

    u is the range of `offset sin(angle) + depth cos(angle)` over delta_a <= depth <= thickness - delta_a, with the
    scan interpolated at both ends. angle_deg: between top face and flank, inside the material; under 90 the flank
    recedes. delta_a_mm: None takes the row of `trials.standards.delta_a_rows`; below 3 mm that is 0.1 times the
    thickness (from memory), the other reading being 0.1 mm.

    Raises
    ------
    NotFinite
        If a depth, offset, angle or thickness is NaN or infinite.
    WrongShape
        If depth and offset are not two columns of the same length, 2 points or more.
    InputError
        If the scan does not reach both ends, is in another unit, or the angle, thickness or delta a cannot be.
    """
    depth, offset = _scan(depth_mm, offset_mm)
    _check_figures(thickness_mm, angle_deg)
    left_out = delta_a_of(thickness_mm) if delta_a_mm is None else float(delta_a_mm)
    low, high = left_out, thickness_mm - left_out
    if not 0 <= left_out < thickness_mm / 2:
        raise InputError(
            "delta a leaves nothing to measure", found=left_out, allowed="0 up to half the thickness", do="Correct it."
        )
    notes = []
    if (np.diff(depth) < 0).any():
        notes.append(Finding(BenchKind.SCAN_SORTED))
        order = np.argsort(depth, kind="stable")
        depth, offset = depth[order], offset[order]
    _check_reach(depth, offset, thickness_mm, low, high)
    at, out = _between(depth, offset, low, high)
    angle = math.radians(angle_deg)
    distance = out * math.sin(angle) + at * math.cos(angle)
    slope, middle = _line(at, distance)
    return Squareness(
        u_mm=float(np.ptp(distance)),
        delta_a_mm=left_out,
        from_mm=low,
        to_mm=high,
        angle_deg=float(angle_deg),
        lean_deg=math.degrees(math.atan(slope * math.sin(angle))),
        melting_mm=_melting(depth, offset, angle, slope, middle),
        tilt_mm=(high - low) / math.sin(angle) * math.tan(math.radians(LEVELLING_DEG)),
        depth_mm=at,
        distance_mm=distance,
        warnings=_doubts(depth, offset, low, high),
        notes=tuple(notes),
    )


def delta_a_of(thickness_mm: float) -> float:
    """Depth in mm left out at each edge for a thickness (ISO 9013; status by row in `trials.standards`).

    Raises
    ------
    InputError
        If no row covers the thickness.
    """
    for row in delta_a_rows():
        if row.over_mm < thickness_mm <= row.to_mm:
            return row.fixed_mm + row.per_mm * thickness_mm
    rows = delta_a_rows()
    raise InputError(
        "no delta a for this thickness",
        found=thickness_mm,
        allowed=f"above {rows[0].over_mm:g} to {rows[-1].to_mm:g} mm",
        do="Give delta a by hand.",
    )


def _scan(depth_mm: npt.ArrayLike, offset_mm: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    try:
        depth, offset = np.asarray(depth_mm, dtype=float), np.asarray(offset_mm, dtype=float)
    except (TypeError, ValueError) as error:
        raise InputError("a point of the scan is not a number", do="Export the scan as plain numbers.") from error
    if depth.ndim != 1 or depth.shape != offset.shape or len(depth) < 2:
        raise WrongShape(
            f"The scan has depths of shape {depth.shape} and offsets of shape {offset.shape}; "
            "give two columns of the same length, 2 points or more."
        )
    if not (np.isfinite(depth).all() and np.isfinite(offset).all()):
        place = int(np.argmin(np.isfinite(depth) & np.isfinite(offset))) + 1
        raise NotFinite(f"Point {place} of the scan is not a number; export or measure the scan again.")
    return depth, offset


def _check_figures(thickness_mm: float, angle_deg: float) -> None:
    if not (math.isfinite(thickness_mm) and math.isfinite(angle_deg)):
        raise NotFinite("Thickness or angle is not a number; give the thickness in mm and the angle in degrees.")
    if thickness_mm <= 0:
        raise InputError("not a sheet thickness", found=thickness_mm, allowed="above 0 mm", do="Give it in mm.")
    if not 0 < angle_deg < 180:
        raise InputError(
            "not an angle of a flank", found=angle_deg, allowed="between 0 and 180 degrees", do="90 is a square cut."
        )


def _check_reach(depth: FloatArray, offset: FloatArray, thickness: float, low: float, high: float) -> None:
    slack = ROUNDING * thickness
    unit = "; the depths may be in another unit" if not 1 / UNIT_SLIP < np.ptp(depth) / thickness < UNIT_SLIP else ""
    if depth[0] > low + slack or depth[-1] < high - slack or unit:
        raise InputError(
            f"the scan runs from {depth[0]:.4g} to {depth[-1]:.4g} mm depth{unit}",
            allowed=f"it must reach from {low:.4g} to {high:.4g} mm",
            do="Scan the whole flank, depth in mm from the top face.",
        )
    if np.ptp(offset) > UNIT_SLIP * thickness:
        raise InputError(
            f"the offsets span {np.ptp(offset):.4g} mm on a thickness of {thickness:g} mm; they may be in um",
            do="Give the offsets in mm.",
        )


def _between(depth: FloatArray, offset: FloatArray, low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """The points between two depths, with the scan interpolated at both."""
    inside = (depth > low) & (depth < high)
    # where several points share the depth of an end, all of them count
    ends = [
        (np.full(len(values), end), values)
        for end in (low, high)
        for values in ([offset[depth == end]] if (depth == end).any() else [np.interp([end], depth, offset)])
    ]
    at = np.concatenate([ends[0][0], depth[inside], ends[1][0]])
    return at, np.concatenate([ends[0][1], offset[inside], ends[1][1]])


def _line(at: FloatArray, distance: FloatArray) -> tuple[float, float]:
    """Slope and value at depth zero of the least-squares line."""
    centred = at - at.mean()
    slope = float(centred @ distance / (centred @ centred))
    return slope, float(distance.mean() - slope * at.mean())


def _melting(depth: FloatArray, offset: FloatArray, angle: float, slope: float, middle: float) -> float | None:
    """How far the top edge lies back from the line of the flank, horizontally; None if the scan starts below it."""
    if not 0 <= depth[0] <= TOP_MM:
        return None
    line = (middle + slope * depth[0] - depth[0] * math.cos(angle)) / math.sin(angle)
    return max(float(line - offset[0]), 0.0)


def _doubts(depth: FloatArray, offset: FloatArray, low: float, high: float) -> tuple[Finding, ...]:
    doubts = []
    points = int(((depth >= low) & (depth <= high)).sum())
    if points < FEW_POINTS:
        facts: dict[str, Fact] = {"points": points, "low": Amount(low, "mm"), "high": Amount(high, "mm")}
        doubts.append(Finding(BenchKind.FEW_POINTS, facts=facts))
    if np.ptp(offset) == 0:
        doubts.append(Finding(BenchKind.OFFSET_CONSTANT))
    inside = (depth >= low) & (depth <= high)
    return (*doubts, *_spike(depth[inside], offset[inside]))


def _spike(depth: FloatArray, offset: FloatArray) -> tuple[Finding, ...]:
    """One point that stands off its neighbours by more than all the others span: dust or a slip, hardly the flank."""
    if len(depth) < FEW_POINTS:
        return ()
    from scipy.ndimage import median_filter

    away = np.abs(offset - median_filter(offset, size=SPIKE_WIDTH, mode="nearest"))
    worst = int(np.argmax(away))
    if not away[worst] > max(float(np.ptp(np.delete(offset, worst))), LEAST_SPIKE_MM):
        return ()
    facts: dict[str, Fact] = {"depth": Amount(float(depth[worst]), "mm"), "away": Amount(float(away[worst]), "mm")}
    return (Finding(BenchKind.SCAN_SPIKE, facts=facts),)
