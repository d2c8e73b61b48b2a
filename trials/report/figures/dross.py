"""Dross grades as bars of shares."""

from __future__ import annotations

import numpy as np
import pandas as pd

from trials.report.figures.look import ACCENT, INK, canvas, drawn, svg
from trials.words.language import text

FILLS = (("white", ""), ("#e2e2e2", "..."), ("#b9b9b9", "///"), ("#7d7d7d", "\\\\\\"), (INK, ""))
"""Shade and hatching of each grade, told apart in black and white."""


def shares_figure(counted: pd.DataFrame) -> str:
    """One bar per nozzle type, a part per grade; counted (types, grades): numbers of coupons."""
    with canvas(0.95 + 0.3 * max(len(counted), 1)) as (figure, axes):
        total = counted.sum(axis=1).clip(lower=1).to_numpy(float)
        left = np.zeros(len(counted))
        rows = np.arange(len(counted))
        for grade in counted.columns:
            n = counted[grade].to_numpy(float)
            fill, hatch = FILLS[min(int(grade), len(FILLS) - 1)]
            bars = axes.barh(
                rows,
                n / total,
                left=left,
                height=0.68,
                color=fill,
                hatch=hatch,
                edgecolor=ACCENT,
                lw=0.7,
                label=f"{grade}",
            )
            names = [f"{k:.0f}" if k else "" for k in n]
            box = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
            for bar, name in zip(bars, names, strict=True):
                if name:
                    x = bar.get_x() + bar.get_width() / 2
                    axes.text(x, bar.get_y() + 0.34, name, ha="center", va="center", fontsize=8.5, bbox=box)
            left += n / total
        axes.set_yticks(rows, [drawn(name, 42) for name in counted.index])
        axes.set_ylim(len(counted) - 0.5, -0.5)
        axes.set_xlim(0, 1)
        axes.set_xticks([0, 0.25, 0.5, 0.75, 1.0], ["0 %", "25 %", "50 %", "75 %", "100 %"])
        axes.tick_params(axis="y", length=0)
        figure.legend(
            title=text("dross grade"),
            title_fontsize=8.5,
            loc="outside lower center",
            ncols=max(len(counted.columns), 1),
        )
        return svg(figure)
