"""Each nozzle type at its best: which settings, what that gains, how types compare there, and what would confirm it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np

from trials.asked import BestBy
from trials.decide.measured import back
from trials.decide.money import costs_at
from trials.decide.prepare import Array, Prepared
from trials.decide.response import Studied
from trials.decide.surfaces import Known, Settings, rows_at, typical_at
from trials.decide.window_result import Best, BestComparison, Confirmation, Gain
from trials.infer.answer import Levels, answer
from trials.infer.chance.confirm import mean_of_new
from trials.infer.chance.window import alike_best, optimism, region_band
from trials.trial import Trial, worthwhile_margins
from trials.worthwhile import Margins

ALIKE = 0.005  # chances this close are alike: among them the lowest typical edge is the best


def pick(known: Known, label: str, kept: Sequence[Settings], chances: Array, lows: Array, main: str) -> int:
    """The place of the best setting by the declared aim.

    chance: the highest, among alike ones the lowest typical edge; edge: the lowest typical edge; speed: the fastest
    setting that is shown to meet the requirement, else the fastest that is estimated to; cost: the cheapest of these
    instead; without any, by chance.
    """
    wanted, aim = known.trial.application.window_chance, known.trial.application.best_by
    edges = np.zeros(len(kept))
    if main:
        ready = known.studied[main].ready
        edges = rows_at(ready, label, kept) @ known.studied[main].fit.coefficients
        edges = -edges if ready.quantity.higher_is_better else edges
    if aim is BestBy.EDGE and main:
        return int(np.argmin(edges))
    spent = _spent(known.trial, label, kept, chances)
    for safe in (lows >= wanted, chances >= wanted):
        if spent is not None and safe.any():
            return int(np.lexsort((edges, np.where(safe, spent, np.inf)))[0])
    alike = np.flatnonzero(chances >= chances.max() - ALIKE)
    worth = edges if main else -lows
    return int(alike[np.argmin(worth[alike])])


def _spent(trial: Trial, label: str, kept: Sequence[Settings], chances: Array) -> Array | None:
    """What a metre takes at each place, in time or in money, where that is the aim and can be told."""
    if trial.application.best_by is BestBy.SPEED and "speed" in trial.factors:
        return -np.array([float(p["speed"]) for p in kept])
    if trial.application.best_by is BestBy.COST:
        return costs_at(trial, label, kept, 1.0 - chances)
    return None


def best_of(
    known: Known,
    label: str,
    kept: Sequence[Settings],
    chances: Array,
    lows: Array,
    main: str,
    today: Settings | None,
) -> Best:
    """The best of a type among settings inside what was cut; today: today's setting, None where it lies outside."""
    i = pick(known, label, kept, chances, lows, main)
    if not main:
        return Best(kept[i], float(chances[i]), float(lows[i]))
    fitted = known.studied[main]
    ready = fitted.ready
    rows = rows_at(ready, label, kept)
    found = typical_at(fitted, rows)
    band = region_band(found.values, found.covariance, found.dfs)
    ends = (found.values, band.low, band.high, band.alone_low, band.alone_high)
    edge, low, high, alone_low, alone_high = (back(float(x[i]), ready) for x in ends)
    sign = -1.0 if ready.quantity.higher_is_better else 1.0
    moved = sign * optimism(sign * found.values, found.covariance)
    return Best(
        settings=kept[i],
        chance=float(chances[i]),
        chance_low=float(lows[i]),
        edge=edge,
        edge_low=low,
        edge_high=high,
        alone_low=alone_low,
        alone_high=alone_high,
        alike=_alike(fitted, rows, kept, i, sign),
        gain=None if today is None else _gain(fitted, rows, rows_at(ready, label, [today])[0], i),
        confirm=_confirmation(known, main, label, kept[i], moved),
    )


def _alike(fitted: Studied, rows: Array, kept: Sequence[Settings], i: int, sign: float) -> tuple[Settings, ...]:
    others = np.flatnonzero(np.any(np.abs(rows - rows[i]) > 1e-9, axis=1))
    if not len(others):
        return tuple(kept)
    found = typical_at(fitted, rows[others] - rows[i])
    values, covariance = np.zeros(len(rows)), np.zeros((len(rows), len(rows)))
    values[others], covariance[np.ix_(others, others)] = sign * found.values, found.covariance
    alike = alike_best(values, covariance, float(np.median(found.dfs)), i)
    return tuple(kept[int(j)] for j in np.flatnonzero(alike))


def _gain(fitted: Studied, rows: Array, today: Array, i: int) -> Gain | None:
    """The best against today's setting; None where they are the same."""
    away = np.any(np.abs(rows - today) > 1e-9, axis=1)
    if not away[i]:
        return None
    found = typical_at(fitted, rows[away] - today)
    band, at = region_band(found.values, found.covariance, found.dfs), int(away[:i].sum())
    sign = -1.0 if fitted.ready.quantity.higher_is_better else 1.0
    taken = sign * optimism(sign * found.values, found.covariance)
    figures = (found.values[at] + taken, band.low[at], band.high[at], taken)
    value, low, high, off = (_on_kind(fitted.ready, float(x)) for x in figures)
    return Gain(_kind(fitted.ready), value, low, high, off)


def _kind(ready: Prepared) -> Literal["ratio", "difference"]:
    return "ratio" if ready.quantity.scale == "log" else "difference"


def _on_kind(ready: Prepared, value: float) -> float:
    return math.exp(value) if ready.quantity.scale == "log" else value


def _confirmation(known: Known, main: str, label: str, settings: Settings, moved: float) -> Confirmation | None:
    """One coupon of every specimen in a new mount; moved: what being picked made the typical edge too good."""
    source = known.sources.get(main)
    if source is None:
        return None
    trial, ready = known.trial, source.ready
    pieces = next(len(n.specimens) for n in trial.nozzles if n.type == label)
    sheets, readings = min([trial.plan.sheets, pieces]), trial.responses[main].readings
    sure = 1.0 - 0.05 / max(len(ready.types), 1)
    counts = {"sheet": sheets, "specimen": pieces, "mount": pieces, "coupon": pieces, "reading": pieces * readings}
    low, high = mean_of_new(known.edge(main, label, settings), counts, moved, sure)
    return Confirmation(dict(settings), pieces, readings, back(low, ready), back(high, ready), sure)


def compare_bests(
    known: Known, main: str, found: Sequence[tuple[str, Best, Sequence[Settings]]], levels: Levels
) -> tuple[BestComparison, ...]:
    """Every type at its best against today's type at its own, in the four words; levels: of one comparison alone.

    The band runs over pairs of places, so that both may have been picked.
    """
    if not main:
        return ()
    fitted = known.studied[main]
    today = fitted.ready.today
    margins = worthwhile_margins(known.trial, main)
    own = next(((best, places) for label, best, places in found if label == today), None)
    if today is None or own is None or margins is None or not fitted.ready.structure.replicated:
        return ()
    others = [each for each in found if each[0] != today]
    shared = levels.shared(len(others))
    return tuple(_compared(fitted, each, (today, *own), shared, margins) for each in others)


_OfType = tuple[str, Best, Sequence[Settings]]


def _compared(fitted: Studied, new: _OfType, now: _OfType, shared: Levels, margins: Margins) -> BestComparison:
    ready = fitted.ready
    first, second = (rows_at(ready, label, _places(places, best)) for label, best, places in (new, now))
    rows = first[:, None, :] - second[None, :, :]
    got = typical_at(fitted, rows.reshape(-1, rows.shape[-1]))
    bands = [region_band(got.values, got.covariance, got.dfs, c) for c in (shared.difference, shared.sameness)]
    ends = [(float(band.low[0]), float(band.high[0])) for band in bands]
    better = [(low, high) if ready.quantity.higher_is_better else (-high, -low) for low, high in ends]
    word, adds = answer(better[0], better[1], margins)
    value, low, high = (_on_kind(ready, x) for x in (float(got.values[0]), *ends[0]))
    return BestComparison(
        nozzle=new[0],
        against=now[0],
        settings=new[1].settings,
        against_settings=now[1].settings,
        kind=_kind(ready),
        value=value,
        low=low,
        high=high,
        answer=word,
        answer_adds=adds,
        confidence=shared.difference,
    )


def _places(grid: Sequence[Settings], best: Best) -> list[Settings]:
    """The best, and places spread over the region (ends and middle of both ways) that could have been picked."""
    names = [name for name in best.settings if len({p[name] for p in grid}) > 1]
    points = np.array([[float(p[name]) for name in names] for p in grid])
    low, size = points.min(axis=0), np.ptp(points, axis=0)
    marks = np.stack(np.meshgrid(*[[0.0, 0.5, 1.0]] * len(names)), axis=-1).reshape(-1, len(names))
    near = {int(np.argmin(np.linalg.norm((points - low) / size - mark, axis=1))) for mark in marks}
    return [best.settings, *(grid[i] for i in sorted(near) if grid[i] != best.settings)]
