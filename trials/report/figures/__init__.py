"""Figures as SVG text; matplotlib is imported only when one is drawn."""

from trials.report.figures.bench import dross_drawing, edge_figure, scan_figure, trace_figure
from trials.report.figures.checks import drift_figure, sides_figure
from trials.report.figures.edges import (
    Band,
    Setting,
    by_factor_figure,
    coupon_means,
    main_figure,
    spread_figure,
)
from trials.report.figures.lives import cause_figure, life_figure
from trials.report.figures.planning import detectable_figure, prediction_figure, sheet_figure
from trials.report.figures.settling import frontier_figure

__all__ = [
    "Band",
    "Setting",
    "by_factor_figure",
    "cause_figure",
    "coupon_means",
    "detectable_figure",
    "drift_figure",
    "dross_drawing",
    "edge_figure",
    "frontier_figure",
    "life_figure",
    "main_figure",
    "prediction_figure",
    "scan_figure",
    "sheet_figure",
    "sides_figure",
    "spread_figure",
    "trace_figure",
]
