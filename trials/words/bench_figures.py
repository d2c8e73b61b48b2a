"""Words in the figures of the bench: a trace, a scan, the edge, readings by inspector."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trials.words.language import text
from trials.words.numbers import fixed_in_use, nominal, plain, rounded
from trials.words.system import in_use, shown_unit

if TYPE_CHECKING:
    from trials.bench.roughness import Roughness
    from trials.bench.squareness import Squareness


def trace_labels() -> dict[str, str]:
    """Labels of a trace."""
    return {
        "trace": text("trace, form removed"),
        "waviness": text("waviness"),
        "height": text("height, {unit}", unit=shown_unit("um")),
        "roughness": text("roughness, {unit}", unit=shown_unit("um")),
    }


def trace_axis(trace: Roughness) -> str:
    """What runs along a trace, and what it came to."""
    return text(
        "{along} along the edge   (Rz5 {rz5} {unit}: mean of the five heights; cut-off {cutoff})",
        along=shown_unit("mm"),
        rz5=rounded(in_use(trace.rz5, "um"), 3),
        unit=shown_unit("um"),
        cutoff=nominal(trace.cutoff_mm, "mm"),
    )


def scan_depth() -> str:
    """What runs down a scan."""
    return text("depth below the top face, {unit}", unit=shown_unit("mm"))


def scan_axis(scan: Squareness) -> str:
    """What runs across a scan, and what it came to."""
    return text(
        "out of the intended line, {unit}   (u = {u} {unit})\nhatched: left out, {out}",
        u=fixed_in_use(scan.u_mm, "mm", 3),
        unit=shown_unit("mm"),
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
        "across": text("off the mean, {unit}", unit=shown_unit(unit)),
        "along": text(
            "mean of the place, {unit}   ({label}; grey: U of one reading{asked})",
            unit=shown_unit(unit),
            label=label,
            asked=asked,
        ),
        "inspector": text("inspector"),
        "not_noted": text("not noted"),
    }
