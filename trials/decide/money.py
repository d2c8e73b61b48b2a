"""Money of a trial: what a metre of acceptable edge costs with each nozzle type, and what would turn the choice.

Only where the trial file states costs. What it leaves out is common practice, no source, and named beside the result.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from trials.decide.cost import (
    CostComparison,
    Input,
    Rates,
    Running,
    break_even_life_ratio,
    compare_costs,
    cost_of_metre,
)
from trials.decide.decision_result import Assumed, CostAgainst, CostInput, Flip, Money, MoneyKind, Span, TypeCost
from trials.decide.failing import DRAWS, TAILS, Failing
from trials.decide.known_lives import HOURS, METRES, KnownLife, KnownLives
from trials.decide.ladder import LadderAnswer
from trials.errors import InputError
from trials.findings import About, Fact, Finding, Place, PlaceKind, Weight
from trials.gas import known_gas, normal_volume_flow
from trials.nozzles import Nozzle
from trials.plan.assess.effort import minutes_of
from trials.plan.settling.costs import USUAL
from trials.trial import Level, Trial
from trials.units import factor

SPEED = "speed"

USUAL_LIFE_HOURS = 40.0
"""Hours of cutting that a nozzle lasts where no life is stated: common practice, no source."""
USUAL_EDGE_M = 1.0
"""Metres of an edge that is reworked or pierced once, where none is stated: common practice, no source."""
SEED = 20417
ONE_SIDED = 1.645  # normal quantile of the 95 % bound that a ladder states
UNCLEAN = 0.05  # share of mounts that do not cut clean at the speed that 95 % of them keep clean


@dataclass(frozen=True)
class _Case:
    """One type: its estimates as numbers, and the same with draws where something is uncertain."""

    nozzle: Nozzle
    at: Running
    drawn: Running


def money(
    trial: Trial,
    place: Place,
    failing: Sequence[Failing],
    lives: KnownLives | None = None,
    ladder: LadderAnswer | None = None,
) -> Money | None:
    """Cost of a metre of acceptable edge with every type at a place, in a ladder at the speed its type keeps clean.

    None where the trial states no costs. failing: of each type whose chance is known; lives: of types, if known.
    """
    if not trial.costs.stated:
        return None
    source = "" if lives is None else lives.source
    bare = Money(trial.trial.currency, place, lives=source, metres=trial.costs.metres_per_year)
    speeds = _ladder_speeds(ladder) if ladder is not None and ladder.types else _speeds(trial, place)
    if speeds is None:
        return replace(bare, said=(Finding(MoneyKind.NO_SPEED, weight=Weight.LOOK_AT),))
    rates, assumed = _rates(trial)
    gas, said = _gas(trial, place)
    known = {each.nozzle: each for each in failing}
    if ladder is not None and ladder.types:
        known = {name: Failing(name, UNCLEAN, np.full(DRAWS, UNCLEAN)) for name in speeds}
        said = (Finding(MoneyKind.AT_CLEAN_SPEEDS, facts={"failing": UNCLEAN}), *said)
    said = (*said, *_left_out(trial, known, lives))
    lives_m, more_assumed, more_said = _lives(trial, lives, speeds)
    cases = [
        _case(trial, nozzle, speeds[nozzle.type], gas.get(nozzle.type, 0.0), known.get(nozzle.type), lives_m)
        for nozzle in trial.nozzles
        if nozzle.type in speeds and (nozzle.type in known or not known)
    ]
    today = next((case for case in cases if case.nozzle.today), None)
    return replace(
        bare,
        types=tuple(_type_cost(case, rates) for case in cases),
        against=() if today is None else tuple(_against(case, today, rates) for case in cases if case is not today),
        assumed=(*assumed, *more_assumed),
        said=(*said, *more_said),
    )


def costs_at(trial: Trial, label: str, places: Sequence[Mapping[str, Level]], fails: np.ndarray) -> np.ndarray | None:
    """Cost of a metre of acceptable edge (n,) with one type at each place, for which share of edges fails there.

    The life of a nozzle is that of common practice at every place; None where no costs or no speed are stated.
    """
    if not trial.costs.stated:
        return None
    nozzle, rates = next(n for n in trial.nozzles if n.type == label), _rates(trial)[0]
    found = []
    for settings, failing in zip(places, fails, strict=True):
        place = Place(PlaceKind.STATED, (settings,))
        speeds = _speeds(trial, place)
        if speeds is None:
            return None
        gas = _gas(trial, place)[0].get(label, 0.0)
        lives = _lives(trial, None, {label: speeds[label]})[0]
        case = _case(trial, nozzle, speeds[label], gas, Failing(label, float(failing), np.array([failing])), lives)
        found.append(float(cost_of_metre(case.at, rates).total))
    return np.array(found)


@dataclass(frozen=True)
class _Speed:
    """Speed of one type in m/min: estimate, and standard error of it."""

    at: float
    error: float = 0.0

    def draws(self, rng: np.random.Generator) -> np.ndarray:
        """Draws (DRAWS,), kept above a tenth of the estimate."""
        return np.maximum(self.at + self.error * rng.standard_normal(DRAWS), 0.1 * self.at)


def _speeds(trial: Trial, place: Place) -> Mapping[str, _Speed] | None:
    """The one speed of all types: as set at the place, or as held; None where it is not stated in a known unit."""
    set_at = [point[SPEED] for point in place.settings if SPEED in point]
    if SPEED in trial.factors and set_at and not any(isinstance(level, str) for level in set_at):
        scale = factor(trial.factors[SPEED].unit, "m_min")
        mean = None if scale is None else float(np.mean([float(level) for level in set_at])) * scale
    else:
        held = trial.held.get("speed_m_min")
        mean = float(held) if isinstance(held, (int, float)) and not isinstance(held, bool) else None
    if mean is None or mean <= 0:
        return None
    return {name: _Speed(mean) for name in trial.types}


def _ladder_speeds(ladder: LadderAnswer) -> Mapping[str, _Speed] | None:
    """The speed at which 95 % of the mounts of each type cut clean; types without one are left out."""
    scale = factor(ladder.unit, "m_min")
    if scale is None:
        return None
    known = [each for each in ladder.types if math.isfinite(each.clean_95) and math.isfinite(each.clean_95_low)]
    found = {
        each.nozzle: _Speed(each.clean_95 * scale, (each.clean_95 - each.clean_95_low) * scale / ONE_SIDED)
        for each in known
        if each.clean_95 > 0
    }
    return found or None


def _rates(trial: Trial) -> tuple[Rates, list[Assumed]]:
    stated, assumed = trial.costs, list[Assumed]()
    hour, gas, edge = stated.machine_hour, stated.gas_m3, stated.edge_m
    if hour is None:
        hour = USUAL["machine_hour"]
        assumed.append(Assumed(CostInput.MACHINE_HOUR, hour))
    if gas is None:
        gas = USUAL["gas_m3"]
        assumed.append(Assumed(CostInput.GAS_M3, gas))
    if edge is None:
        edge = USUAL_EDGE_M
        assumed.append(Assumed(CostInput.EDGE, edge))
    if stated.mount_minutes is None:
        assumed.append(Assumed(CostInput.CHANGE, minutes_of(trial).mount))
    return Rates(hour, gas, stated.rework_per_edge or 0.0, edge, stated.metres_per_year), assumed


def _gas(trial: Trial, place: Place) -> tuple[Mapping[str, float], tuple[Finding, ...]]:
    """Gas of each type in m3/h at 0 C and 1.01325 bar through its stated area; empty, with the reason, if unknown."""
    name = trial.application.gas
    bars = _pressures(trial, place)
    areas = {n.type: n.flow_area_mm2 or (n.orifice_mm and math.pi * n.orifice_mm**2 / 4.0) for n in trial.nozzles}
    lacking = tuple(kind for kind, area in areas.items() if not area)
    if not name.strip() or bars is None or lacking:
        facts: dict[str, Fact] = {"gas": bool(name.strip()), "pressure": bars is not None, "areas": lacking}
        return {}, (Finding(MoneyKind.GAS_NOT_COUNTED, facts=facts, weight=Weight.LOOK_AT),)
    try:
        known_gas(name)
    except InputError:
        return {}, (Finding(MoneyKind.GAS_NOT_KNOWN, facts={"gas": name}, weight=Weight.LOOK_AT),)
    flows = {kind: float(np.mean(normal_volume_flow(name, bars, area or 0.0))) for kind, area in areas.items()}
    return flows, ()


def _pressures(trial: Trial, place: Place) -> np.ndarray | None:
    """Gauge pressures in bar at the settings of a place; None where they are not stated."""
    levels = [point.get("pressure") for point in place.settings]
    if "pressure" in trial.factors and all(isinstance(level, (int, float)) for level in levels):
        scale = factor(trial.factors["pressure"].unit, "bar")
        return None if scale is None else np.array([float(level or 0.0) for level in levels]) * scale
    held = trial.held.get("pressure_bar")
    return np.array([float(held)]) if isinstance(held, (int, float)) and not isinstance(held, bool) else None


def _left_out(trial: Trial, known: Mapping[str, Failing], lives: KnownLives | None) -> list[Finding]:
    """Parts of the cost that nothing is stated of."""
    found, costs = [], trial.costs
    if costs.lens_price is None or (costs.lens_hours is None and not _all_lenses(trial, lives)):
        found.append(Finding(MoneyKind.LENS_NOT_COUNTED))
    if costs.rework_per_edge is None:
        found.append(Finding(MoneyKind.REWORK_NOT_COUNTED))
    elif not known:
        found.append(Finding(MoneyKind.FAILING_NOT_KNOWN, weight=Weight.LOOK_AT))
    unpriced = tuple(n.type for n in trial.nozzles if n.price is None)
    if unpriced:
        found.append(Finding(MoneyKind.PRICE_NOT_STATED, About(nozzles=unpriced), weight=Weight.LOOK_AT))
    return found


def _all_lenses(trial: Trial, lives: KnownLives | None) -> bool:
    """Whether the life of a lens or window is known under every nozzle type."""
    return lives is not None and set(trial.types) <= lives.lens.keys()


@dataclass(frozen=True)
class _LivesInMetres:
    """Lives by type in metres of cut, as estimated and as draws: of a nozzle, and of the lens above it."""

    at: Mapping[str, float]
    drawn: Mapping[str, np.ndarray]
    lens_at: Mapping[str, float]
    lens_drawn: Mapping[str, np.ndarray]


def _lives(
    trial: Trial, lives: KnownLives | None, speeds: Mapping[str, _Speed]
) -> tuple[_LivesInMetres, list[Assumed], list[Finding]]:
    """Life of a nozzle of each type in metres of cut; one of common practice for all where not every life is known."""
    rng = np.random.default_rng(SEED)
    lens = _lens_lives(trial, lives, speeds, rng)
    missing = tuple(name for name in speeds if lives is None or name not in lives.types)
    if lives is None or missing:
        hours = {name: USUAL_LIFE_HOURS * 60.0 * speed.at for name, speed in speeds.items()}
        found = _LivesInMetres(hours, {name: np.full(DRAWS, life) for name, life in hours.items()}, *lens)
        used = Finding(MoneyKind.LIVES_NOT_USED, About(nozzles=missing), weight=Weight.LOOK_AT)
        return found, [Assumed(CostInput.LIFE_HOURS, USUAL_LIFE_HOURS)], [] if lives is None else [used]
    found = _LivesInMetres(*_in_metres(trial, lives.unit, lives.types, speeds, rng), *lens)
    least = tuple(name for name in speeds if lives.types[name].at_least)
    said = [Finding(MoneyKind.LIFE_AT_LEAST, About(nozzles=least), weight=Weight.LOOK_AT)] if least else []
    return found, [], said


_Metres = tuple[Mapping[str, float], Mapping[str, np.ndarray]]


def _lens_lives(
    trial: Trial, lives: KnownLives | None, speeds: Mapping[str, _Speed], rng: np.random.Generator
) -> _Metres:
    """Of the lens under each type where every one is on record, else one for all; infinite where none is stated."""
    if lives is not None and _all_lenses(trial, lives):
        return _in_metres(trial, lives.unit, lives.lens, speeds, rng)
    hours = math.inf if trial.costs.lens_hours is None else trial.costs.lens_hours
    at = {name: hours * 60.0 * speed.at for name, speed in speeds.items()}
    return at, {name: np.full(DRAWS, life) for name, life in at.items()}


def _in_metres(
    trial: Trial, unit: str, lives: Mapping[str, KnownLife], speeds: Mapping[str, _Speed], rng: np.random.Generator
) -> _Metres:
    edge = trial.costs.edge_m or USUAL_EDGE_M
    metres = {
        name: 60.0 * speed.at if unit == HOURS else 1.0 if unit == METRES else edge for name, speed in speeds.items()
    }
    at = {name: lives[name].life * metres[name] for name in speeds}
    return at, {name: lives[name].draws(DRAWS, rng) * metres[name] for name in speeds}


def _case(
    trial: Trial, nozzle: Nozzle, speed: _Speed, gas: float, failing: Failing | None, lives: _LivesInMetres
) -> _Case:
    costs, name = trial.costs, nozzle.type
    lens_m = lives.lens_at[name]
    at = Running(
        speed_m_min=speed.at,
        gas_m3_h=gas,
        failing=0.0 if failing is None else float(np.clip(failing.estimate, 0.0, 1.0)),
        nozzle_price=nozzle.price or 0.0,
        nozzle_life_m=lives.at[name],
        change_minutes=minutes_of(trial).mount,
        lens_price=0.0 if costs.lens_price is None or math.isinf(lens_m) else costs.lens_price,
        lens_life_m=lens_m,
    )
    rng = np.random.default_rng([SEED, trial.types.index(name)])
    drawn = replace(at, nozzle_life_m=lives.drawn[name], lens_life_m=lives.lens_drawn[name])
    drawn = replace(drawn, speed_m_min=speed.draws(rng)) if speed.error else drawn
    return _Case(nozzle, at, drawn if failing is None else replace(drawn, failing=np.clip(failing.draws, 0.0, 1.0)))


def _type_cost(case: _Case, rates: Rates) -> TypeCost:
    parts = cost_of_metre(case.at, rates)
    low, high = np.quantile(np.atleast_1d(cost_of_metre(case.drawn, rates).total), TAILS)
    each = {part.name: float(getattr(parts, part.name)) for part in fields(parts)}
    return TypeCost(case.nozzle.type, Span(float(parts.total), float(low), float(high)), each)


def _against(case: _Case, today: _Case, rates: Rates) -> CostAgainst:
    found = compare_costs(case.drawn, today.drawn, rates, at=(case.at, today.at))
    value, metres = Span(found.value, found.low, found.high), rates.metres_per_year
    uncertain = [each for each in found.inputs if each.share > 0.0]
    return CostAgainst(
        nozzle=case.nozzle.type,
        against=today.nozzle.type,
        value=value,
        cheaper=found.cheaper,
        per_year=None if metres is None else value.times(metres),
        decides=CostInput(uncertain[0].name) if uncertain else None,
        decides_share=uncertain[0].share if uncertain else 0.0,
        flips=_flips(found),
        life_ratio=_life_ratio(case, today, rates),
    )


TURNING = (CostInput.FAILING, CostInput.SPEED, CostInput.LIFE, CostInput.PRICE)
"""Inputs whose turning point is told: what a shop can look at or bargain about."""


def _flips(found: CostComparison) -> tuple[Flip, ...]:
    """Where the choice turns, the nearest first; distances are ratios of the value to its turning point."""
    told = [each for each in found.inputs if each.name in TURNING and each.flips_at is not None]
    ordered = sorted(told, key=_distance)
    return tuple(Flip(CostInput(e.name), e.at, e.against, e.flips_at) for e in ordered if e.flips_at is not None)


def _distance(each: Input) -> float:
    if not each.flips_at or each.at <= 0:
        return math.inf
    return abs(math.log(each.flips_at / each.at))


def _life_ratio(case: _Case, today: _Case, rates: Rates) -> float | None:
    """Ratio of lives at which the nozzle itself costs as much per metre, its change included; None without prices."""
    if case.nozzle.price is None or today.nozzle.price is None:
        return None
    change = float(np.median(case.at.change_minutes)) / 60.0 * rates.machine_hour
    if today.nozzle.price + change <= 0:
        return None
    return break_even_life_ratio(case.nozzle.price, today.nozzle.price, change)
