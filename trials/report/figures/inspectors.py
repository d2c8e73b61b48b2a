"""Figure of a measurement study: how far readings of one place lie apart, and whose they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from trials.report.figures.look import ACCENT, GREY, INK, canvas, drawn, jitter, marker, span, svg
from trials.words.bench_figures import strip_labels
from trials.words.numbers import number
from trials.words.system import scale_in_use

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class Strip:
    """One column: its label and unit, readings (`place, inspector, value`), U of a reading, the worthwhile difference
    or None; all in that unit."""

    label: str
    unit: str
    readings: pd.DataFrame
    expanded: float
    worthwhile: float | None


def inspectors_figure(strips: Sequence[Strip]) -> str:
    """One strip per column: each reading less the mean of its place, places in order of that mean.

    The grey band is U of one reading either way, the dashed lines stand half a worthwhile difference off.
    """
    with canvas(0.4 + 2.1 * len(strips), len(strips), 1, squeeze=False) as (figure, grid):
        for axes, strip in zip(grid[:, 0], strips, strict=True):
            _draw(axes, strip)
        return svg(figure)


def _draw(axes: Axes, strip: Strip) -> None:
    scale = scale_in_use(strip.unit)
    frame = strip.readings.assign(value=scale * strip.readings["value"])
    expanded, worthwhile = scale * strip.expanded, None if strip.worthwhile is None else scale * strip.worthwhile
    labels = strip_labels(strip.label, strip.unit, worthwhile is not None)
    means = frame.groupby("place")["value"].mean().sort_values(kind="stable")
    at = frame["place"].map({place: i for i, place in enumerate(means.index)}).to_numpy(float)
    apart = frame["value"].to_numpy(float) - frame["place"].map(means).to_numpy(float)
    axes.axhspan(-expanded, expanded, color="#ececec", lw=0, zorder=0)
    axes.axhline(0, color=GREY, lw=0.7)
    reach = [*apart, expanded, -expanded]
    if worthwhile is not None:
        for edge in (-worthwhile / 2, worthwhile / 2):
            axes.axhline(edge, color=ACCENT, lw=1.1, ls=(0, (5, 2)))
        reach += [worthwhile / 2, -worthwhile / 2]
    people = sorted(frame["inspector"].unique())
    for k, name in enumerate(people):
        mine = (frame["inspector"] == name).to_numpy()
        shift = 0.22 * (k - (len(people) - 1) / 2) + jitter(int(mine.sum()), 0.04)
        axes.scatter(
            at[mine] + shift,
            apart[mine],
            s=20,
            marker=marker(k),
            facecolors="white" if k % 2 else INK,
            edgecolors=INK,
            linewidths=0.8,
            label=drawn(name, 20) or labels["not_noted"],
            zorder=3,
        )
    places = len(means)
    every = range(0, places, max(1, places // 8))
    axes.set_xticks(list(every), [number(float(means.iloc[i])) for i in every])
    axes.set_xlim(-0.6, places - 0.4)
    axes.set_ylim(*span(np.array(reach), 0.12))
    axes.set_ylabel(labels["across"])
    axes.set_xlabel(labels["along"])
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), title=labels["inspector"], title_fontsize=8.5)
