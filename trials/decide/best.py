"""Each nozzle type at its best: which settings, what that gains, how types compare there, and what would confirm it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from trials.decide.measured import back
from trials.decide.prepare import Array, Prepared
from trials.decide.response import Studied
from trials.decide.surfaces import Known, Settings, rows_at, typical_at
from trials.infer.answer import Added, Answer, Levels, answer
from trials.infer.chance.confirm import mean_of_new
from trials.infer.chance.window import alike_best, optimism, region_band
from trials.trial import BestBy, Level, worthwhile_margins

ALIKE = 0.005  # chances this close are alike: among them the lowest typical edge is the best


@dataclass(frozen=True)
class Gain:
    """Typical edge at the best against today's setting, both with the same type.

    kind, value: as in a comparison, the optimism of a picked best taken off; low, high: hold whatever setting was
    picked; optimism: what was taken off, on the same kind.
    """

    kind: Literal["ratio", "difference"]
    value: float
    low: float
    high: float
    optimism: float


@dataclass(frozen=True)
class Confirmation:
    """Coupons that would confirm the best: their settings, how many, and the limits that their mean must fall in.

    readings: of each coupon; low, high: in the unit, for the mean on the model's scale (the geometric mean where that
    is the logarithm), with `confidence` if the model and the estimates are right.
    """

    settings: Mapping[str, Level]
    coupons: int
    readings: int
    low: float
    high: float
    confidence: float


@dataclass(frozen=True)
class Best:
    """The best setting of a type by the declared aim.

    chance_low: holds whatever setting was picked. edge, edge_low, edge_high: typical edge of the decisive response
    there, with an interval that holds over the whole region, so that it may be read at a best that was picked;
    alone_low, alone_high: one that does not allow for that. alike: settings not shown to have a worse typical edge.
    """

    settings: Mapping[str, Level]
    chance: float
    chance_low: float
    edge: float | None = None
    edge_low: float | None = None
    edge_high: float | None = None
    alone_low: float | None = None
    alone_high: float | None = None
    alike: tuple[Mapping[str, Level], ...] = ()
    gain: Gain | None = None
    confirm: Confirmation | None = None


@dataclass(frozen=True)
class BestComparison:
    """A type at its best against today's type at its own best; fields as in a comparison, lower limit to answer.

    settings, against_settings: the two places; the interval allows for both having been picked.
    """

    nozzle: str
    against: str
    settings: Mapping[str, Level]
    against_settings: Mapping[str, Level]
    kind: Literal["ratio", "difference"]
    value: float
    low: float
    high: float
    answer: Answer
    answer_adds: Added | None
    confidence: float


def pick(known: Known, label: str, kept: Sequence[Settings], chances: Array, lows: Array, main: str) -> int:
    """The place of the best setting by the declared aim.

    chance: the highest, among alike ones the lowest typical edge; edge: the lowest typical edge; speed: the fastest
    setting that is shown to meet the requirement, else the fastest that is estimated to; without any, by chance.
    """
    wanted, aim = known.trial.application.window_chance, known.trial.application.best_by
    edges = np.zeros(len(kept))
    if main:
        ready = known.studied[main].ready
        edges = rows_at(ready, label, kept) @ known.studied[main].fit.coefficients
        edges = -edges if ready.quantity.higher_is_better else edges
    if aim is BestBy.EDGE and main:
        return int(np.argmin(edges))
    if aim is BestBy.SPEED and "speed" in known.trial.factors:
        speeds = np.array([float(p["speed"]) for p in kept])
        for safe in (lows >= wanted, chances >= wanted):
            if safe.any():
                return int(np.lexsort((edges, -np.where(safe, speeds, -np.inf)))[0])
    alike = np.flatnonzero(chances >= chances.max() - ALIKE)
    worth = edges if main else -lows
    return int(alike[np.argmin(worth[alike])])


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
    known: Known, main: str, grids: Mapping[str, Sequence[Settings]], bests: Mapping[str, Best], levels: Levels
) -> tuple[BestComparison, ...]:
    """Every type at its best against today's type at its own, in the four words; levels: of one comparison alone.

    The band runs over pairs of places, so that both may have been picked.
    """
    fitted = known.studied[main]
    ready, today = fitted.ready, fitted.ready.today
    margins = worthwhile_margins(known.trial, main)
    if today is None or margins is None or today not in bests or not ready.structure.replicated:
        return ()
    others = [t for t in bests if t != today]
    shared = levels.shared(len(others))
    own = _places(grids[today], bests[today])
    found = []
    for label in others:
        places = _places(grids[label], bests[label])
        rows = rows_at(ready, label, places)[:, None, :] - rows_at(ready, today, own)[None, :, :]
        got = typical_at(fitted, rows.reshape(-1, rows.shape[-1]))
        wide, narrow = (
            region_band(got.values, got.covariance, got.dfs, c) for c in (shared.difference, shared.sameness)
        )
        ends = ((wide.low[0], wide.high[0]), (narrow.low[0], narrow.high[0]))
        better = [(low, high) if ready.quantity.higher_is_better else (-high, -low) for low, high in ends]
        word, adds = answer(better[0], better[1], margins)
        value, low, high = (_on_kind(ready, float(x)) for x in (got.values[0], *ends[0]))
        at = bests[label].settings, bests[today].settings
        found.append(BestComparison(label, today, *at, _kind(ready), value, low, high, word, adds, shared.difference))
    return tuple(found)


def _places(grid: Sequence[Settings], best: Best) -> list[Settings]:
    """The best, and places spread over the region (ends and middle of both ways) that could have been picked."""
    names = [name for name in best.settings if len({p[name] for p in grid}) > 1]
    points = np.array([[float(p[name]) for name in names] for p in grid])
    low, size = points.min(axis=0), np.ptp(points, axis=0)
    marks = np.stack(np.meshgrid(*[[0.0, 0.5, 1.0]] * len(names)), axis=-1).reshape(-1, len(names))
    near = {int(np.argmin(np.linalg.norm((points - low) / size - mark, axis=1))) for mark in marks}
    return [best.settings, *(grid[i] for i in sorted(near) if grid[i] != best.settings)]
