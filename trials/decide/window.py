"""The operating window: over which settings each nozzle type meets the requirement, and where it does so best."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from trials.decide.chances import (
    HALF_EACH,
    SURE,
    Source,
    coupon_response,
    cuts_of,
    dross_chance,
    lost_in,
    measured_limits,
    source_of,
)
from trials.decide.measured import back, mean_rows
from trials.decide.prepare import NOZZLE, Array
from trials.decide.response import Studied
from trials.errors import InputError
from trials.findings import Place, PlaceKind
from trials.infer.chance import NextEdge, Reach, Rule, chance, chance_of_all, correlations, find_reach
from trials.infer.chance.window import inside_hull, region_band
from trials.trial import Level, Trial

POINTS = 9  # settings along each factor
JOINT_DRAWS = 512
SINGLE_DRAWS = 4_096
ALIKE = 0.005  # chances this close are alike: among them the lowest typical edge is the best


@dataclass(frozen=True)
class Best:
    """The best setting of a type: the highest chance, among alike ones the lowest typical edge.

    edge, edge_low, edge_high: typical edge of the decisive response there, with an interval that holds over the whole
    region, so that it may be read at a best that was picked; alone_low, alone_high: one that does not allow for that.
    """

    settings: Mapping[str, Level]
    chance: float
    chance_low: float
    edge: float | None = None
    edge_low: float | None = None
    edge_high: float | None = None
    alone_low: float | None = None
    alone_high: float | None = None


@dataclass(frozen=True)
class TypeWindow:
    """One nozzle type.

    Attributes:
        settings, chance, low: every place of the grid inside the region that was cut.
        share_estimate, share_bound: share of that region where the chance, or its lower bound, is high enough.
        today_chance, today_low: at today's setting; None where it lies outside the region.
        border: the nearest place where today's state (safe or not, by the bound where any place is, else by the
            estimate) changes; None where there is none.
        reach: what would show the stated chance at the best, where it is estimated there but not shown.
        cut: the settings that were cut (n, 2) in the two factors; region: grid (y, x) of what lies inside.
    """

    nozzle: str
    settings: tuple[Mapping[str, Level], ...]
    chance: tuple[float, ...]
    low: tuple[float, ...]
    share_estimate: float
    share_bound: float
    best: Best
    today_chance: float | None
    today_low: float | None
    border: Mapping[str, Level] | None
    reach: Reach | None
    cut: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class WindowStudy:
    """across: the two factors; units: of each factor; others: the rest, as held; wanted: the stated chance.

    x, y: settings of the grid; today: today's setting; response, unit: the decisive response and its unit, empty where
    it is a grade.
    """

    across: tuple[str, str]
    units: Mapping[str, str]
    others: Mapping[str, Level]
    wanted: float
    x: tuple[float, ...]
    y: tuple[float, ...]
    today: Mapping[str, Level]
    response: str
    unit: str
    types: tuple[TypeWindow, ...]


@dataclass(frozen=True)
class _Known:
    """Everything that chances at any setting of the trial share."""

    trial: Trial
    studied: Mapping[str, Studied]
    sources: Mapping[str, Source]
    limits: Mapping[str, float]
    together: Mapping[str, Array]
    coupons: pd.DataFrame
    dross: pd.DataFrame | None

    def edges(self, label: str, place: Place) -> tuple[tuple[NextEdge, ...], tuple[Rule, ...]]:
        edges = tuple(source.edge(label, place) for source in self.sources.values())
        return edges, tuple(self._rule(name, source) for name, source in self.sources.items())

    def _rule(self, name: str, source: Source) -> Rule:
        limit = self.limits[name]
        on_scale = math.log(limit) if source.ready.quantity.scale == "log" else limit
        return Rule(on_scale, self.trial.responses[name].readings, self.trial.bench.judged_by)


def study_window(
    trial: Trial,
    studied: Mapping[str, Studied],
    coupons: pd.DataFrame,
    dross: pd.DataFrame | None = None,
    across: Sequence[str] = (),
    held: Mapping[str, Level] | None = None,
) -> WindowStudy:
    """Chance of meeting the whole requirement over two factors, the others at today's setting or as `held`.

    studied: the fitted responses; coupons: as cut, one row per coupon; dross: worst grade per coupon.

    Raises
    ------
    InputError
        If nothing that is required was measured, a factor is unknown, or two numeric factors cannot be told.
    NotIdentifiable
        If the cuts of a type do not span a region.
    """
    x_name, y_name = _two_factors(trial, across)
    others = _others(trial, (x_name, y_name), held or {})
    known = _known(trial, studied, coupons, dross)
    x, y = _along(trial, coupons, x_name), _along(trial, coupons, y_name)
    types = [t for t in trial.types if all(t in s.ready.types for s in studied.values())]
    grid: list[dict[str, Level]] = [{**others, x_name: float(a), y_name: float(b)} for b in y for a in x]
    ordered = [{name: point[name] for name in trial.factors} for point in grid]
    main = next((n for n in trial.primaries if n in studied and studied[n].graded is None), "")
    found = tuple(_of_type(known, t, (x_name, y_name), ordered, others, main) for t in types)
    units = {name: asked.unit for name, asked in trial.factors.items()}
    unit = trial.quantity(main).unit if main else ""
    ends = tuple(map(float, x)), tuple(map(float, y))
    wanted, today = trial.application.window_chance, trial.today_settings
    return WindowStudy((x_name, y_name), units, others, wanted, *ends, today, main, unit, found)


def _two_factors(trial: Trial, across: Sequence[str]) -> tuple[str, str]:
    numeric = [name for name, asked in trial.factors.items() if not asked.is_text and len(asked.levels) > 1]
    chosen = list(across) or numeric[:2]
    if len(chosen) != 2 or len(set(chosen)) != 2 or any(name not in numeric for name in chosen):
        raise InputError(
            "a window needs two factors with several numbers as levels",
            found=", ".join(chosen) or None,
            allowed=", ".join(numeric) or "none in this trial",
            do="Name two with --across FACTOR --across FACTOR.",
        )
    return chosen[0], chosen[1]


def _others(trial: Trial, across: tuple[str, str], held: Mapping[str, Level]) -> dict[str, Level]:
    rest = {name: level for name, level in trial.today_settings.items() if name not in across}
    strange = [name for name in held if name not in rest]
    if strange:
        allowed = ", ".join(rest) or "none: both factors are on the map"
        raise InputError("not a factor to hold", found=strange[0], allowed=allowed, do="Correct --at.")
    return rest | dict(held)


def _along(trial: Trial, coupons: pd.DataFrame, name: str) -> Array:
    """Even settings from the lowest to the highest that was cut by any type."""
    done = coupons.loc[coupons["outcome"] == "cut", trial.factor_column(name)].astype(float)
    return np.round(np.linspace(done.min(), done.max(), POINTS), 6)


def _known(trial: Trial, studied: Mapping[str, Studied], coupons: pd.DataFrame, dross: pd.DataFrame | None) -> _Known:
    limits = measured_limits(trial)
    found = {name: source_of(studied[name].ready, studied[name].fit) for name in limits if name in studied}
    sources = {name: source for name, source in found.items() if source is not None}
    graded = trial.application.required.dross_grade is not None and dross is not None
    if not sources and not graded:
        raise InputError(
            "nothing that the requirement names was measured",
            do="State application.required and record readings of what it names.",
        )
    together = correlations([coupon_response(studied[name]) for name in sources])
    return _Known(trial, studied, sources, limits, together, coupons, dross)


def _place(known: _Known, settings: Mapping[str, Level]) -> Place:
    units = {name: asked.unit for name, asked in known.trial.factors.items()}
    return Place(PlaceKind.STATED, (dict(settings),), units)


def _chance_at(known: _Known, label: str, settings: Mapping[str, Level]) -> tuple[float, float]:
    """Chance that the next edge meets everything, and its lower bound; lost cuts count as not meeting."""
    place, counts = _place(known, settings), cuts_of(known.coupons, label)
    edges, rules = known.edges(label, place)
    share = 1.0 - counts[1] / counts[0] if counts[0] else 1.0
    marred = lost_in(known.coupons, label)
    trial, studied = known.trial, known.studied
    apart = known.dross is not None and trial.application.required.dross_grade is not None and bool(edges)
    sure = HALF_EACH if apart else SURE
    graded = dross_chance(trial, studied, known.dross, label, place, counts, marred, sure)
    estimate, low = 1.0, 1.0
    if len(edges) > 1:
        joint = chance_of_all(edges, rules, known.together, sure, draws=JOINT_DRAWS)
        estimate, low = joint.estimate * share, joint.low * share
    elif edges:
        found = chance(edges[0], rules[0], sure, SINGLE_DRAWS, cuts=counts[0] or None, lost=counts[1])
        estimate, low = found.estimate, found.low
    if graded is None:
        return estimate, min(low, estimate)
    if not edges:
        return graded.estimate, graded.low
    estimate *= graded.estimate / share if share else 0.0
    return estimate, min(max(0.0, low + graded.low - 1.0), estimate)


def _of_type(
    known: _Known,
    label: str,
    across: tuple[str, str],
    grid: Sequence[Mapping[str, Level]],
    others: Mapping[str, Level],
    main: str,
) -> TypeWindow:
    cut = _cut_settings(known, label, across)
    points = np.array([[float(p[name]) for name in across] for p in grid])
    kept = [grid[int(i)] for i in np.flatnonzero(inside_hull(cut, points))]
    found = np.array([_chance_at(known, label, p) for p in kept])
    chances, lows, wanted = found[:, 0], found[:, 1], known.trial.application.window_chance
    best = _best(known, label, kept, chances, lows, main)
    today = {**known.trial.today_settings, **others}
    at_today = np.array([[float(today[name]) for name in across]])
    today_found = _chance_at(known, label, today) if inside_hull(cut, at_today)[0] else None
    safe = lows >= wanted if np.any(lows >= wanted) else chances >= wanted
    by = 1 if np.any(lows >= wanted) else 0
    border = None if today_found is None else _border(kept, safe, today_found[by] >= wanted, today, across)
    return TypeWindow(
        nozzle=label,
        settings=tuple(kept),
        chance=tuple(map(float, chances)),
        low=tuple(map(float, lows)),
        share_estimate=float(np.mean(chances >= wanted)),
        share_bound=float(np.mean(lows >= wanted)),
        best=best,
        today_chance=None if today_found is None else today_found[0],
        today_low=None if today_found is None else today_found[1],
        border=border,
        reach=None if np.any(lows >= wanted) else _reach(known, label, best.settings),
        cut=tuple((float(a), float(b)) for a, b in cut),
    )


def _cut_settings(known: _Known, label: str, across: tuple[str, str]) -> Array:
    coupons = known.coupons
    own = coupons[(coupons[NOZZLE] == label) & (coupons["outcome"] == "cut")]
    columns = [known.trial.factor_column(name) for name in across]
    return own[columns].drop_duplicates().to_numpy(float)


def _border(
    kept: Sequence[Mapping[str, Level]],
    safe: np.ndarray,
    state: bool,
    today: Mapping[str, Level],
    across: tuple[str, str],
) -> Mapping[str, Level] | None:
    """The nearest place in the other state, distances counted in the range of each factor."""
    other = np.flatnonzero(safe != state)
    if not len(other):
        return None
    points = np.array([[float(p[name]) for name in across] for p in kept])
    size = np.ptp(points, axis=0)
    away = (points[other] - np.array([float(today[name]) for name in across])) / np.where(size > 0, size, 1.0)
    return kept[int(other[np.argmin(np.linalg.norm(away, axis=1))])]


def _best(
    known: _Known, label: str, kept: Sequence[Mapping[str, Level]], chances: Array, lows: Array, main: str
) -> Best:
    alike = np.flatnonzero(chances >= chances.max() - ALIKE)
    if not main:
        i = int(alike[np.argmax(lows[alike])])
        return Best(kept[i], float(chances[i]), float(lows[i]))
    fitted = known.studied[main]
    values, covariance, dfs = _edges(fitted, label, [_place(known, p) for p in kept])
    better = -values if fitted.ready.quantity.higher_is_better else values
    i = int(alike[np.argmin(better[alike])])
    band = region_band(values, covariance, dfs)
    bare = Best(kept[i], float(chances[i]), float(lows[i]))
    ends = (values, band.low, band.high, band.alone_low, band.alone_high)
    edge, low, high, alone_low, alone_high = (back(float(x[i]), fitted.ready) for x in ends)
    return replace(bare, edge=edge, edge_low=low, edge_high=high, alone_low=alone_low, alone_high=alone_high)


def _edges(fitted: Studied, label: str, places: Sequence[Place]) -> tuple[Array, Array, Array]:
    """Typical edges at several places on the model's scale, their covariance and degrees of freedom."""
    own = fitted.ready.types.index(label)
    rows = np.array([mean_rows(fitted.ready, place)[own] for place in places])
    singles = [fitted.fit.estimate(row) for row in rows]
    values = np.array([e.value for e in singles])
    se, dfs = np.array([e.se for e in singles]), np.array([e.df for e in singles])
    covariance = rows @ fitted.fit.covariance @ rows.T
    stretch = se / np.sqrt(np.diagonal(covariance))
    return values, covariance * np.outer(stretch, stretch), dfs


def _reach(known: _Known, label: str, settings: Mapping[str, Level]) -> Reach | None:
    """How many specimens would show the stated chance at the best, by the response that is least sure to meet."""
    if not known.sources:
        return None
    edges, rules = known.edges(label, _place(known, settings))
    singles = [chance(e, r, draws=SINGLE_DRAWS) for e, r in zip(edges, rules, strict=True)]
    i = int(np.argmin([one.low for one in singles]))
    ready = list(known.sources.values())[i].ready
    specimens, types = ready.structure.counts.get("specimen", 0), len(ready.types)
    if not specimens:
        return None
    each = max(2, round(specimens / types))
    return find_reach(edges[i], rules[i], singles[i], known.trial.application.window_chance, each, types)
