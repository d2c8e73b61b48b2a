"""Traces as they come from an instrument: checked, turned and resampled, with every change stated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trials.bench.kinds import BenchKind
from trials.errors import InputError, NotFinite, WrongShape
from trials.findings import Amount, Finding

FloatArray = npt.NDArray[np.float64]

HEIGHT_RANGE_UM = (0.5, 1500.0)
"""Height that a trace of a cut edge spans, line taken off, for its unit to be believed (common practice, no source)."""
SPIKE_WIDTH = 11
"""Points over which the usual height around a point is taken."""
SPIKE_SHARE = 0.5
"""A spike stands off its neighbours by more than this share of the height that 98 % of the trace spans."""
SPIKE_SPREADS = 15.0
"""A spike stands off its neighbours by more than so many robust standard deviations (common practice, no source)."""
MAD_TO_SD = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution: 1 / 0.67449."""
FLAT_UM = 1e-6
"""A span below a millionth of a micrometre is rounding, not an edge."""
SPIKE_MOST = 0.002
"""Where more than this share of the points stands off, it is the texture, not spikes (common practice, no source)."""
EVEN = 0.01
"""Steps that differ by less than this share count as equal."""
WIDEST_GAP = 3.0
"""A step wider than this many usual steps is a gap in the trace."""


@dataclass(frozen=True)
class Trace:
    """Heights (n,) in um at equal spacing in mm, and what was changed to get there."""

    heights_um: FloatArray
    spacing_mm: float
    notes: tuple[Finding, ...]


def prepare_trace(
    distance: npt.ArrayLike, height: npt.ArrayLike, distance_to_mm: float = 1.0, height_to_um: float = 1.0
) -> Trace:
    """A trace of height against distance as equally spaced heights in um.

    distance, height: (n,) in any unit; the two factors bring them to mm and um. A trace that runs backwards is
    turned, a point given twice with the same height is dropped, uneven steps are resampled by straight lines; each is
    stated in `notes`. Nothing else is changed.

    Raises
    ------
    NotFinite
        If a distance or height is NaN or infinite.
    WrongShape
        If the two columns differ in length or hold fewer than 3 points.
    InputError
        If one distance has two heights, distances go to and fro, or a stretch is missing.
    """
    x = _column(distance, "distance") * distance_to_mm
    z = _column(height, "height") * height_to_um
    if len(x) != len(z):
        raise WrongShape(f"The trace has {len(x)} distances and {len(z)} heights; export both columns again.")
    if len(x) < 3:
        raise WrongShape(f"The trace has {len(x)} points; export the whole trace.")
    notes: list[Finding] = []
    if x[-1] < x[0]:
        x, z = x[::-1], z[::-1]
        notes.append(Finding(BenchKind.TRACE_TURNED))
    x, z = _without_twins(x, z, notes)
    step = np.diff(x)
    if (step <= 0).any():
        place = float(x[int(np.argmax(step <= 0))])
        raise InputError(f"distance goes to and fro at {place:g} mm", do="Export the trace in order of distance.")
    return _even(x, z, notes)


def check_heights(heights_um: npt.ArrayLike, spacing_mm: float) -> FloatArray:
    """Heights (n,) as floats, after the checks that need no cut-off.

    Raises
    ------
    NotFinite
        If a height is NaN or infinite, or the spacing is.
    WrongShape
        If the heights are not one column.
    InputError
        If the spacing is not above zero.
    """
    heights = _column(heights_um, "height")
    if not np.isfinite(spacing_mm):
        raise NotFinite("The spacing of the trace is not a number; give it in mm.")
    if spacing_mm <= 0:
        raise InputError("not a spacing", found=spacing_mm, allowed="above 0 mm", do="Give the spacing in mm.")
    return heights


def check_unit(levelled_um: FloatArray) -> None:
    """Refuse a flat line and heights that no cut edge has.

    Raises
    ------
    InputError
        If the levelled heights span nothing, or less or more than `HEIGHT_RANGE_UM`.
    """
    span = float(np.ptp(levelled_um))
    least, most = HEIGHT_RANGE_UM
    if span < FLAT_UM:
        raise InputError("the trace is a flat line", do="Check that the stylus touched the edge, and measure again.")
    if not least <= span <= most:
        wrong = "mm" if span < least else "nm"
        raise InputError(
            f"the heights span {span:.4g} um, which no cut edge does; they may be in {wrong}",
            allowed=f"{least:g} to {most:g} um",
            do="Name the unit of the heights.",
        )


CLIPPED_SHARE = 0.01
"""Of the points of a trace that may stand level at its highest or lowest value (common practice, no source)."""
CLIPPED_RUN = 5
"""So many neighbours at the very same extreme are a limit of the instrument, not the tip of a peak."""


def clipped_points(heights_um: FloatArray) -> int:
    """How many points stand at the highest or lowest value in rows that only a limit makes; 0 where none do."""
    most = 0
    for extreme in (heights_um.max(), heights_um.min()):
        flat = heights_um == extreme
        edges = np.flatnonzero(np.diff(np.concatenate([[False], flat, [False]])))
        runs = edges[1::2] - edges[::2]
        points = int(runs[runs >= CLIPPED_RUN].sum())
        most = max(most, points if points > CLIPPED_SHARE * len(flat) else 0)
    return most


def find_spikes(heights_um: FloatArray) -> npt.NDArray[np.bool_]:
    """Points (n,) that stand far off the median of their neighbours: dust, a knock, a dropped digit.

    Far is more than half the height that the middle 98 % of the trace spans, and more than 15 robust standard
    deviations of such differences (common practice, no source). Where more than `SPIKE_MOST` of the points do, none is.
    """
    from scipy.ndimage import median_filter

    away = np.abs(heights_um - median_filter(heights_um, size=SPIKE_WIDTH, mode="nearest"))
    span = np.subtract(*np.quantile(heights_um, [0.99, 0.01]))
    spread = MAD_TO_SD * float(np.median(away))
    far: npt.NDArray[np.bool_] = (away > SPIKE_SHARE * span) & (away > SPIKE_SPREADS * spread)
    return far if far.mean() <= SPIKE_MOST else np.zeros_like(far)


def bridge(heights_um: FloatArray, bad: npt.NDArray[np.bool_]) -> FloatArray:
    """Heights with the bad points replaced by straight lines between their neighbours."""
    places = np.arange(len(heights_um))
    return np.interp(places, places[~bad], heights_um[~bad])


def levelled(heights_um: FloatArray) -> FloatArray:
    """Heights less their least-squares straight line."""
    x = np.arange(len(heights_um)) - (len(heights_um) - 1) / 2
    centred = heights_um - heights_um.mean()
    flat: FloatArray = centred - x * (x @ centred) / (x @ x)
    return flat


def _column(values: npt.ArrayLike, name: str) -> FloatArray:
    try:
        found = np.asarray(values, dtype=float)
    except (TypeError, ValueError) as error:
        raise InputError(f"a {name} of the trace is not a number", do="Export the trace as plain numbers.") from error
    if found.ndim != 1:
        raise WrongShape(f"The {name} of a trace is one column, found shape {found.shape}; give one column.")
    if not np.isfinite(found).all():
        place = int(np.argmin(np.isfinite(found))) + 1
        raise NotFinite(f"The {name} at point {place} of the trace is not a number; export or measure the trace again.")
    return found


def _without_twins(x: FloatArray, z: FloatArray, notes: list[Finding]) -> tuple[FloatArray, FloatArray]:
    twin = np.concatenate([[False], np.diff(x) == 0])
    if not twin.any():
        return x, z
    differs = twin & np.concatenate([[False], np.diff(z) != 0])
    if differs.any():
        place = float(x[int(np.argmax(differs))])
        raise InputError(
            f"distance {place:g} mm stands twice with two heights", do="Keep the right one, or export again."
        )
    notes.append(Finding(BenchKind.POINTS_TWICE, facts={"points": int(twin.sum())}))
    return x[~twin], z[~twin]


def _even(x: FloatArray, z: FloatArray, notes: list[Finding]) -> Trace:
    """The trace at equal steps; resampled if its own are not."""
    step = np.diff(x)
    usual = float(np.median(step))
    if step.max() > WIDEST_GAP * usual:
        worst = int(np.argmax(step))
        raise InputError(
            f"the trace has a gap of {step[worst]:.4g} mm at {x[worst]:g} mm", do="Export or measure the trace again."
        )
    if np.abs(step - usual).max() <= EVEN * usual:
        return Trace(z, float((x[-1] - x[0]) / (len(x) - 1)), tuple(notes))
    points = round((x[-1] - x[0]) / usual) + 1
    even = np.linspace(x[0], x[-1], points)
    notes.append(Finding(BenchKind.RESAMPLED, facts={"spacing": Amount(usual, "mm")}))
    return Trace(np.interp(even, x, z), float(even[1] - even[0]), tuple(notes))
