"""Figures of lives: the share still good over time, and what ended the others."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trials.report.figures.look import ACCENT, GREY, INK, LIGHT, PALE, canvas, dash, drawn, marker, svg
from trials.words.language import text
from trials.words.numbers import percent

_GREYS = (INK, GREY, LIGHT)
_FILLS = (INK, GREY, ACCENT, LIGHT, "white", PALE)
_HATCHES = ("", "", "////", "....", "xxxx", "----", "++++")


def life_figure(
    types: Sequence[str],
    times: Sequence[Sequence[float]],
    failed: Sequence[Sequence[bool]],
    curves: Sequence[tuple[Sequence[float], Sequence[float]] | None],
    unit: str,
    today: str = "",
) -> str:
    """Of 100 pieces, those still good over time: Kaplan-Meier steps, bars for those taken off, Weibull lines.

    For each type its `times` and `failed`, and the fitted curve (times, share) or None; today: the type in use. Grey,
    marks and line patterns are those of the type, so that types are told apart in black and white.
    """
    longest = max((len(name) for name in types), default=0)
    columns = 4 if longest <= 18 else 3 if longest <= 26 else 2
    with canvas(2.7 + 0.18 * -(-len(types) // columns)) as (figure, axes):
        for position, nozzle in enumerate(types):
            at, share, (taken_at, still) = kaplan_meier(times[position], failed[position])
            grey = _GREYS[position % len(_GREYS)]
            axes.step(at, 100 * share, where="post", color=grey, lw=1.7)
            axes.plot(taken_at, 100 * still, ls="none", marker="|", ms=10, mew=1.5, color=grey)
            drop = np.flatnonzero(np.diff(share) < 0) + 1
            filled = position % 2 == 0
            look = {"marker": marker(position), "ms": 5.5, "mfc": grey if filled else "white", "mec": grey, "mew": 1.1}
            axes.plot(at[drop], 100 * share[drop], ls="none", clip_on=False, zorder=3, **look)
            name = text("{nozzle} (today)", nozzle=drawn(nozzle, 44)) if nozzle == today else drawn(nozzle, 44)
            axes.plot([], [], color=grey, lw=1.7, label=name, **look)
            curve = curves[position]
            if curve is not None:
                axes.plot(curve[0], 100 * np.asarray(curve[1]), color=grey, ls=dash(position + 1), lw=0.9)
        axes.set_ylim(0, 104)
        axes.set_xlim(left=0)
        axes.grid(axis="y", color=PALE, lw=0.4)
        axes.set_xlabel(drawn(unit))
        axes.set_ylabel(text("of 100, still good"))
        figure.legend(loc="outside upper left", ncols=columns, columnspacing=1.2, handlelength=2.6)
        return svg(figure)


def kaplan_meier(
    times: Sequence[float], failed: Sequence[bool]
) -> tuple[np.ndarray, np.ndarray, tuple[np.ndarray, np.ndarray]]:
    """Kaplan-Meier estimate (1958, J. Am. Stat. Assoc. 53, 457): steps (times, shares) and marks of those censored."""
    at, gone = np.asarray(times, dtype=float), np.asarray(failed, dtype=bool)
    steps, share = [0.0], [1.0]
    for time in np.unique(at[gone]):
        share.append(share[-1] * (1.0 - np.sum(gone & (at == time)) / np.sum(at >= time)))
        steps.append(float(time))
    censored = np.sort(at[~gone])
    height = np.array([share[np.searchsorted(steps, time, side="right") - 1] for time in censored])
    last = float(at.max()) if at.size else 0.0
    if last > steps[-1]:
        return np.array([*steps, last]), np.array([*share, share[-1]]), (censored, height)
    return np.array(steps), np.array(share), (censored, height)


def cause_figure(types: Sequence[str], causes: Sequence[str], shares: Sequence[Sequence[float]], good: str) -> str:
    """One bar of a hundred pieces per type: still good first, then those ended by each cause.

    shares: for each type the share (0 to 1) ended by each cause; good: name of what is left.
    """
    with canvas(0.55 + 0.42 * len(types)) as (figure, axes):
        for row, ended in enumerate(shares):
            left, parts = 0.0, [max(0.0, 1.0 - sum(ended)), *ended]
            for k, share in enumerate(parts):
                fill = "white" if k == 0 else _FILLS[(k - 1) % len(_FILLS)]
                hatch = "" if k == 0 else _HATCHES[(k - 1) % len(_HATCHES)]
                axes.barh(row, share, left=left, height=0.62, color=fill, edgecolor=INK, lw=0.7, hatch=hatch)
                if share >= 0.06:
                    ink = "white" if fill in (INK, GREY, ACCENT) and not hatch else INK
                    box = {"fc": "white", "ec": "none", "pad": 1.0} if hatch else None
                    axes.text(
                        left + share / 2, row, percent(share), ha="center", va="center", color=ink, bbox=box, size=8
                    )
                left += share
        for k, name in enumerate([good, *causes]):
            fill = "white" if k == 0 else _FILLS[(k - 1) % len(_FILLS)]
            hatch = "" if k == 0 else _HATCHES[(k - 1) % len(_HATCHES)]
            axes.barh(0, 0, color=fill, edgecolor=INK, lw=0.7, hatch=hatch, label=drawn(name, 26))
        axes.set_yticks(range(len(types)), [drawn(name, 26) for name in types])
        axes.invert_yaxis()
        axes.set_xlim(0, 1)
        axes.set_xticks([])
        for side in ("left", "bottom"):
            axes.spines[side].set_visible(False)
        axes.tick_params(left=False)
        figure.legend(loc="outside upper left", ncols=4, columnspacing=1.2)
        return svg(figure)
