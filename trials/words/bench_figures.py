"""Words in the figures of the bench: a trace, a scan, the edge, readings by inspector."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trials.units import shown
from trials.words.language import text
from trials.words.numbers import fixed, plain, rounded

if TYPE_CHECKING:
    from trials.bench.roughness import Roughness
    from trials.bench.squareness import Squareness


def trace_labels() -> dict[str, str]:
    """Labels of a trace."""
    return {
        "trace": text("trace, form removed"),
        "waviness": text("waviness"),
        "height": text("height, {unit}", unit=shown("um")),
        "roughness": text("roughness, {unit}", unit=shown("um")),
    }


def trace_axis(trace: Roughness) -> str:
    """What runs along a trace, and what it came to."""
    return text(
        "mm along the edge   (Rz5 {rz5} {unit}: mean of the five heights; cut-off {cutoff})",
        rz5=rounded(trace.rz5, 3),
        unit=shown("um"),
        cutoff=plain(trace.cutoff_mm, "mm"),
    )


def scan_depth() -> str:
    """What runs down a scan."""
    return text("depth below the top face, mm")


def scan_axis(scan: Squareness) -> str:
    """What runs across a scan, and what it came to."""
    return text(
        "out of the intended line, mm   (u = {u} mm)\nhatched: left out, {out}",
        u=fixed(scan.u_mm, 3),
        out=plain(scan.delta_a_mm, "mm"),
    )


def edge_labels(thickness_mm: float | None, rz5_depth_mm: float, left_out_mm: float) -> dict[str, str]:
    """Labels of the drawing of the edge; depths are named where there is one thickness."""
    below = text("{depth} below the top face", depth=plain(rz5_depth_mm, "mm"))
    left_out = plain(left_out_mm, "mm")
    if not thickness_mm:
        below, left_out = text("at the stated depth"), text("the stated depth")
    return {
        "rz5": text("Rz5: dashed,\n{below}", below=below),
        "u": text("u: arrows, {out} left\nout at top and bottom", out=left_out),
        "top": text("top face"),
        "lower": text("lower edge: dross"),
        "corner": text("corner: leave out"),
        "slat": text("slat mark: keep clear"),
    }


def strip_labels(label: str, unit: str, worthwhile: bool) -> dict[str, str]:
    """Labels of the readings of one column by inspector."""
    asked = text("; dashed: the worthwhile difference apart") if worthwhile else ""
    return {
        "across": text("off the mean, {unit}", unit=shown(unit)),
        "along": text(
            "mean of the place, {unit}   ({label}; grey: U of one reading{asked})",
            unit=shown(unit),
            label=label,
            asked=asked,
        ),
        "inspector": text("inspector"),
        "not_noted": text("not noted"),
    }
