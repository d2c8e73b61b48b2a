"""The operating window: over which settings each nozzle type meets the requirement, and where it does so best."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.decide.best import Best, BestComparison, best_of, compare_bests
from trials.decide.prepare import NOZZLE, Array
from trials.decide.response import Studied
from trials.decide.surfaces import Known, Settings, chance_alone, chances_at, known_of
from trials.errors import InputError
from trials.infer.answer import levels
from trials.infer.chance import Reach, chance, find_reach
from trials.infer.chance.window import inside_hull
from trials.trial import BestBy, Level, Trial

POINTS = 9  # settings along each factor
SINGLE_DRAWS = 4_096


@dataclass(frozen=True)
class TypeWindow:
    """One nozzle type.

    Attributes:
        settings, chance, low: every place of the grid inside the region that was cut, the chance there, and a lower
            bound that holds at all of them together, so that a place may be picked afterwards.
        share_estimate, share_bound: share of that region where the chance, or its lower bound, is high enough.
        best: the best setting, by the declared aim.
        today_chance, today_low: at today's setting, the bound for this one alone; None where it lies outside.
        border: the nearest place where the state of the place next to today's setting (safe or not, by the bound where
            any place is, else by the estimate) changes; None where there is none.
        reach: what would show the stated chance at the best, where it is estimated there but not shown.
        cut: the settings that were cut (n, 2) in the two factors.
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
    it is a grade; best_by: the declared aim; comparisons: types at their own bests, by the decisive response.
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
    best_by: BestBy
    types: tuple[TypeWindow, ...]
    comparisons: tuple[BestComparison, ...] = ()


def study_window(
    trial: Trial,
    studied: Mapping[str, Studied],
    coupons: pd.DataFrame,
    dross: pd.DataFrame | None = None,
    across: Sequence[str] = (),
    held: Mapping[str, Level] | None = None,
    points: int = POINTS,
) -> WindowStudy:
    """Chance of meeting the whole requirement over two factors, the others at today's setting or as `held`.

    studied: the fitted responses; coupons: as cut, one row per coupon; dross: worst grade per coupon; points: settings
    along each factor.

    Raises
    ------
    InputError
        If nothing that is required was measured, a factor is unknown, or two numeric factors cannot be told.
    NotIdentifiable
        If the cuts of a type do not span a region.
    """
    x_name, y_name = two_factors(trial, across)
    others = _others(trial, (x_name, y_name), held or {})
    known = known_of(trial, studied, coupons, dross)
    x, y = _along(trial, coupons, x_name, points), _along(trial, coupons, y_name, points)
    types = [t for t in trial.types if all(t in s.ready.types for s in studied.values())]
    grid: list[dict[str, Level]] = [{**others, x_name: float(a), y_name: float(b)} for b in y for a in x]
    ordered = [{name: point[name] for name in trial.factors} for point in grid]
    main = next((n for n in trial.primaries if n in studied and studied[n].graded is None), "")
    found = tuple(_of_type(known, t, (x_name, y_name), ordered, others, main) for t in types)
    bests = {each.nozzle: each.best for each in found}
    alone = levels(max(trial.deciding, 1), trial.plan.looks)
    return WindowStudy(
        across=(x_name, y_name),
        units={name: asked.unit for name, asked in trial.factors.items()},
        others=others,
        wanted=trial.application.window_chance,
        x=tuple(map(float, x)),
        y=tuple(map(float, y)),
        today=trial.today_settings,
        response=main,
        unit=trial.quantity(main).unit if main else "",
        best_by=trial.application.best_by,
        types=found,
        comparisons=compare_bests(known, main, {t.nozzle: t.settings for t in found}, bests, alone) if main else (),
    )


def two_factors(trial: Trial, across: Sequence[str] = ()) -> tuple[str, str]:
    """The factors of a map: those named, else the first two with several numbers.

    Raises
    ------
    InputError
        If there are not two.
    """
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


def _along(trial: Trial, coupons: pd.DataFrame, name: str, points: int) -> Array:
    """Even settings from the lowest to the highest that was cut by any type."""
    done = coupons.loc[coupons["outcome"] == "cut", trial.factor_column(name)].astype(float)
    return np.round(np.linspace(done.min(), done.max(), points), 6)


def _of_type(
    known: Known,
    label: str,
    across: tuple[str, str],
    grid: Sequence[Settings],
    others: Settings,
    main: str,
) -> TypeWindow:
    cut = _cut_settings(known, label, across)
    kept = [grid[int(i)] for i in np.flatnonzero(inside_hull(cut, _points(grid, across)))]
    estimates, lows = chances_at(known, label, kept)
    wanted, shown = known.trial.application.window_chance, bool(np.any(lows >= known.trial.application.window_chance))
    today = {name: {**known.trial.today_settings, **others}[name] for name in known.trial.factors}
    inside = bool(inside_hull(cut, _points([today], across))[0])
    best = best_of(known, label, kept, estimates, lows, main, today if inside else None)
    at_today = chance_alone(known, label, today) if inside else None
    return TypeWindow(
        nozzle=label,
        settings=tuple(kept),
        chance=tuple(map(float, estimates)),
        low=tuple(map(float, lows)),
        share_estimate=float(np.mean(estimates >= wanted)),
        share_bound=float(np.mean(lows >= wanted)),
        best=best,
        today_chance=None if at_today is None else at_today[0],
        today_low=None if at_today is None else at_today[1],
        border=_border(kept, (lows if shown else estimates) >= wanted, today, across) if inside else None,
        reach=None if shown else _reach(known, label, best.settings),
        cut=tuple((float(a), float(b)) for a, b in cut),
    )


def _points(settings: Sequence[Settings], across: tuple[str, str]) -> Array:
    return np.array([[float(p[name]) for name in across] for p in settings])


def _cut_settings(known: Known, label: str, across: tuple[str, str]) -> Array:
    coupons = known.coupons
    own = coupons[(coupons[NOZZLE] == label) & (coupons["outcome"] == "cut")]
    columns = [known.trial.factor_column(name) for name in across]
    return own[columns].drop_duplicates().to_numpy(float)


def _border(
    kept: Sequence[Settings], safe: np.ndarray, today: Settings, across: tuple[str, str]
) -> Mapping[str, Level] | None:
    """The nearest place in the other state than the place next to today's, distances in the range of each factor."""
    points = _points(kept, across)
    size = np.ptp(points, axis=0)
    away = np.linalg.norm((points - _points([today], across)) / np.where(size > 0, size, 1.0), axis=1)
    other = np.flatnonzero(safe != safe[int(np.argmin(away))])
    return kept[int(other[np.argmin(away[other])])] if len(other) else None


def _reach(known: Known, label: str, settings: Settings) -> Reach | None:
    """How many specimens would show the stated chance at the best, by the response that is least sure to meet."""
    singles = []
    for name in known.sources:
        edge, rule = known.edge(name, label, settings), known.rule(name)
        singles.append((chance(edge, rule, draws=SINGLE_DRAWS), edge, rule, known.sources[name].ready))
    if not singles:
        return None
    found, edge, rule, ready = min(singles, key=lambda each: each[0].low)
    specimens, types = ready.structure.counts.get("specimen", 0), len(ready.types)
    if not specimens:
        return None
    each = max(2, round(specimens / types))
    return find_reach(edge, rule, found, known.trial.application.window_chance, each, types)
