"""Figures of the bench: a trace with its five lengths, a scan of the flank, and the drawings of the dross scale."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from trials.report.figures.look import ACCENT, GREY, INK, LIGHT, PALE, canvas, svg
from trials.words import bench_figures as words
from trials.words.numbers import number
from trials.words.system import scale_in_use

if TYPE_CHECKING:
    from trials.bench.roughness import Roughness
    from trials.bench.squareness import Squareness


ROUNDING_MM = 1e-9
"""Points at the ends of the measured stretch were put there by the same subtraction; this much is rounding."""


def trace_figure(trace: Roughness) -> str:
    """The trace above, its roughness below with the five lengths and the height of each."""
    labels, along, across = words.trace_labels(), scale_in_use("mm"), scale_in_use("um")
    places, roughness, edges = along * trace.position_mm, across * trace.roughness_um, along * trace.edges_mm
    with canvas(3.6, 2, 1, sharex=True) as (figure, (upper, lower)):
        upper.plot(places, across * trace.primary_um, color=LIGHT, lw=0.7, label=labels["trace"])
        upper.plot(places, across * trace.waviness_um, color=INK, lw=1.3, label=labels["waviness"])
        upper.set_ylabel(labels["height"])
        upper.legend(loc="upper right", ncols=2)
        upper.margins(y=0.25)
        lower.plot(places, roughness, color=GREY, lw=0.7)
        for k, height in enumerate(trace.rz_each):
            left, right = edges[k], edges[k + 1]
            part = roughness[(places >= left) & (places <= right)]
            lower.axvspan(left, right, color=PALE if k % 2 else "#f1f1f1", lw=0, zorder=0)
            lower.plot([left, right], [part.max()] * 2, color=ACCENT, lw=1.2)
            lower.plot([left, right], [part.min()] * 2, color=ACCENT, lw=1.2)
            lower.text(
                (left + right) / 2,
                1.02,
                number(across * height),
                transform=lower.get_xaxis_transform(),
                ha="center",
                va="bottom",
                fontsize=8.5,
            )
        lower.set_ylabel(labels["roughness"])
        lower.set_xlabel(words.trace_axis(trace))
        return svg(figure)


def scan_figure(scan: Squareness, thickness_mm: float | None = None) -> str:
    """The flank as scanned, depth downwards, with the two lines that hold it and the depths left out."""
    scale = scale_in_use("mm")
    with canvas(3.4, width_in=4.2) as (figure, axes):
        axes.plot(scale * scan.distance_mm, scale * scan.depth_mm, color=INK, lw=1.2)
        inside = (scan.depth_mm >= scan.from_mm - ROUNDING_MM) & (scan.depth_mm <= scan.to_mm + ROUNDING_MM)
        low = float(np.min(scan.distance_mm[inside]))
        for edge in (scale * low, scale * (low + scan.u_mm)):
            axes.plot([edge, edge], [scale * scan.from_mm, scale * scan.to_mm], color=ACCENT, lw=1.3, ls=(0, (5, 2)))
        bottom = thickness_mm or float(scan.depth_mm.max())
        for top, end in ((0.0, scan.from_mm), (scan.to_mm, bottom)):
            axes.axhspan(scale * top, scale * end, facecolor="#f1f1f1", edgecolor=LIGHT, hatch="////", lw=0, zorder=0)
        room = max(0.35 * (float(np.ptp(scan.distance_mm)) or 0.1), 0.02)
        left, right = float(scan.distance_mm.min()) - room, float(scan.distance_mm.max()) + room
        axes.set_xlim(scale * left, scale * right)
        axes.set_ylim(scale * bottom, 0)
        axes.set_ylabel(words.scan_depth())
        axes.set_xlabel(words.scan_axis(scan))
        return svg(figure)


def edge_figure(scans: int, thickness_mm: float | None, rz5_depth_mm: float, left_out_mm: float) -> str:
    """The cut edge from the side, not to scale: what is left out, where u is scanned and Rz5 traced.

    Without a thickness the depths are not named.
    """
    labels = words.edge_labels(thickness_mm, rz5_depth_mm, left_out_mm)
    with canvas(1.75) as (figure, axes):
        axes.set_axis_off()
        axes.set_xlim(-0.23, 1.2)
        axes.set_ylim(-0.2, 1.06)
        axes.fill([0, 1, 1, 0], [0, 0, 1, 1], facecolor="#f4f4f4", edgecolor=INK, lw=1.3)
        for left, width in ((0.0, 0.15), (0.85, 0.15), (0.43, 0.05)):
            low, high = (0.0, 1.0) if left != 0.43 else (0.0, 0.2)
            axes.fill(
                [left, left + width, left + width, left],
                [low, low, high, high],
                facecolor="white",
                edgecolor=GREY,
                hatch="////",
                lw=0.6,
            )
        for x in np.linspace(0.22, 0.78, max(scans, 1)) if scans > 1 else [0.62]:
            axes.annotate("", (x, 0.12), (x, 0.88), arrowprops={"arrowstyle": "<->", "color": ACCENT, "lw": 1.4})
        depth = rz5_depth_mm / thickness_mm if thickness_mm else 0.6
        axes.plot([0.18, 0.82], [1 - depth] * 2, color=INK, lw=1.6, ls=(0, (6, 2)))
        axes.text(1.02, 1 - depth, labels["rz5"], va="center", fontsize=8.5)
        axes.text(1.02, 0.92, labels["u"], va="center", fontsize=8.5)
        axes.text(-0.02, 0.95, labels["top"], ha="right", va="center", fontsize=8.5)
        axes.text(-0.02, 0.04, labels["lower"], ha="right", va="center", fontsize=8.5)
        axes.text(0.075, -0.04, labels["corner"], ha="center", va="top", fontsize=8.5)
        axes.text(0.925, -0.04, labels["corner"], ha="center", va="top", fontsize=8.5)
        axes.text(0.455, -0.04, labels["slat"], ha="center", va="top", fontsize=8.5)
        return svg(figure)


_LINES = "".join(
    f'<path d="M{x} 12 C{x} 45 {x + 3} 70 {x + 8} 92" stroke="#b5b5b5" stroke-width="1" fill="none"/>'
    for x in range(14, 196, 9)
)
_EDGE = (
    '<rect x="6" y="10" width="196" height="84" fill="#efefef" stroke="#1c1c1c" stroke-width="1.6"/>'
    + _LINES
    + '<line x1="6" y1="94" x2="202" y2="94" stroke="#1c1c1c" stroke-width="2.4"/>'
)


def _bead(x: float, y: float, r: float, fill: str) -> str:
    return f'<circle cx="{x}" cy="{y}" r="{r}" fill="{fill}" stroke="#1c1c1c" stroke-width="1.2"/>'


def _drop(x: float, width: float, length: float, fill: str) -> str:
    half = width / 2
    path = f"M{x - half} 94 C{x - half} {94 + length * 0.6} {x - half * 0.8} {94 + length} {x} {94 + length} "
    path += f"C{x + half * 0.8} {94 + length} {x + half} {94 + length * 0.6} {x + half} 94 Z"
    return f'<path d="{path}" fill="{fill}" stroke="#1c1c1c" stroke-width="1.2"/>'


def _fringe(fill: str, depth: float, top: float) -> str:
    bumps = "".join(f"q7 {depth * (1.5 if k % 3 else 2.2)} 14 0 " for k in range(14))
    path = f"M6 {top} L6 {top + depth} {bumps} L202 {top} Z"
    return f'<path d="{path}" fill="{fill}" stroke="#1c1c1c" stroke-width="1.3"/>'


def dross_drawing(grade: int) -> str:
    """The lower edge of a coupon, seen from the cut face, as it looks at this grade (0 to 4) of the scale."""
    parts = {
        0: "",
        1: "".join(_bead(x, 95 + r, r, "#ffffff") for x, r in ((38, 6), (83, 7.5), (127, 5), (171, 6.5))),
        2: "".join(
            _drop(x, w, h, "#bdbdbd")
            for x, w, h in ((30, 13, 16), (68, 10, 12), (104, 15, 21), (141, 11, 14), (178, 14, 18))
        ),
        3: _fringe("#bdbdbd", 9.0, 98.0),
        4: _fringe("#4a4a4a", 9.0, 88.0)
        + "".join(
            f'<path d="M{x} 88 l4 -7 l5 7" fill="#4a4a4a" stroke="#1c1c1c" stroke-width="0.8"/>'
            for x in range(14, 194, 15)
        ),
    }
    box = '<svg xmlns="http://www.w3.org/2000/svg" width="208" height="132" viewBox="0 0 208 132">'
    return f"{box}{_EDGE}{parts[grade]}</svg>"
