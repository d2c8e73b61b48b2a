"""What a metre of acceptable edge costs with a nozzle type, what that is against another type, and where it flips.

Cost of a metre = (machine hour + gas) / speed + (nozzle + its change) / nozzle life + (lens + its change) / lens life
+ failing share x rework / metres of an edge. A failed edge is reworked, so every metre ends acceptable. Each input may
be a number or draws of what is not known of it; the same draws run through both types, so what they share cancels.
Costing by sums of unit costs is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from trials.errors import NotFinite, WrongArgument

Array = NDArray[np.float64]
Number = float | Array


@dataclass(frozen=True)
class Rates:
    """Prices that hold for every type, in one currency.

    machine_hour: per hour; gas_m3: per m3 at 0 C and 1.01325 bar; rework_per_edge: per failed edge of `edge_m` metres;
    metres_per_year: cut in a year.
    """

    machine_hour: float
    gas_m3: float = 0.0
    rework_per_edge: float = 0.0
    edge_m: float = 1.0
    metres_per_year: float | None = None


@dataclass(frozen=True)
class Running:
    """One nozzle type at the settings it would run at; each a number or draws (d,).

    speed_m_min; gas_m3_h: at 0 C and 1.01325 bar; failing: share of edges 0 to 1; nozzle_price; nozzle_life_m: metres
    cut with one nozzle, infinite if it is not reckoned; change_minutes: of the machine per nozzle; lens_price,
    lens_life_m: likewise for lens or protective window.
    """

    speed_m_min: Number
    gas_m3_h: Number = 0.0
    failing: Number = 0.0
    nozzle_price: Number = 0.0
    nozzle_life_m: Number = math.inf
    change_minutes: Number = 0.0
    lens_price: Number = 0.0
    lens_life_m: Number = math.inf


@dataclass(frozen=True)
class Parts:
    """Cost of a metre by where it goes; each a number or draws (d,)."""

    machine: Number
    gas: Number
    nozzle: Number
    lens: Number
    rework: Number

    @property
    def total(self) -> Array:
        """All parts together."""
        return np.asarray(self.machine + self.gas + self.nozzle + self.lens + self.rework, dtype=float)


@dataclass(frozen=True)
class Input:
    """How much one input of the new type decides.

    at, against: its value, and that of the other type; share: part of the variance of the difference that goes when the
    input is held at its value in both types; flips_at: its value at which both types cost the same, the rest as it is;
    None where no value does.
    """

    name: str
    at: float
    against: float
    share: float
    flips_at: float | None


@dataclass(frozen=True)
class CostComparison:
    """Cost of a metre with one type less that with another: value, interval, chance to be cheaper, and per year."""

    parts: Parts
    against: Parts
    value: float
    low: float
    high: float
    cheaper: float
    per_year: tuple[float, float, float] | None
    inputs: tuple[Input, ...]


def cost_of_metre(running: Running, rates: Rates) -> Parts:
    """Cost of a metre of acceptable edge, by parts.

    Raises
    ------
    NotFinite
        If an input is NaN, or infinite where it is no life.
    WrongArgument
        If speed, a life or the metres of an edge is not above zero, a price or rate is below zero, or a failing share
        is outside 0 to 1.
    """
    _check(running, rates)
    hours = 1.0 / (60.0 * np.asarray(running.speed_m_min))
    change = np.asarray(running.change_minutes) / 60.0 * rates.machine_hour
    return Parts(
        machine=rates.machine_hour * hours,
        gas=rates.gas_m3 * np.asarray(running.gas_m3_h) * hours,
        nozzle=(np.asarray(running.nozzle_price) + change) / running.nozzle_life_m,
        lens=np.asarray(running.lens_price) / running.lens_life_m,
        rework=np.asarray(running.failing) * rates.rework_per_edge / rates.edge_m,
    )


def compare_costs(
    running: Running,
    against: Running,
    rates: Rates,
    confidence: float = 0.95,
    at: tuple[Running, Running] | None = None,
) -> CostComparison:
    """Cost of a metre with a type against another: negative is cheaper.

    at: the estimates of both, numbers all; the medians of the draws where None.

    Raises
    ------
    NotFinite, WrongArgument
        As `cost_of_metre`; and if confidence is not between 0 and 1.
    """
    if not 0.0 < confidence < 1.0:
        raise WrongArgument(f"confidence {confidence} is not between 0 and 1; give a share such as 0.95")
    mine, theirs = cost_of_metre(running, rates), cost_of_metre(against, rates)
    difference = np.atleast_1d(mine.total - theirs.total)
    tail = 0.5 * (1.0 - confidence)
    low, high = (float(q) for q in np.quantile(difference, (tail, 1.0 - tail)))
    points = at or (_at_median(running), _at_median(against))
    parts, others = cost_of_metre(points[0], rates), cost_of_metre(points[1], rates)
    value = float(np.median(difference)) if at is None else float(parts.total - others.total)
    metres = rates.metres_per_year
    return CostComparison(
        parts=parts,
        against=others,
        value=value,
        low=low,
        high=high,
        cheaper=float(np.mean(difference < 0.0)),
        per_year=None if metres is None else (value * metres, low * metres, high * metres),
        inputs=_inputs(running, against, rates, float(np.var(difference)), points),
    )


def break_even_life_ratio(price: float, against: float, change: float = 0.0) -> float:
    """Ratio of lives from which on a dearer nozzle is no dearer to run.

    price, against: of the two nozzles; change: cost of one nozzle change. With price alone it is the ratio of prices.

    >>> break_even_life_ratio(1.15, 1.0)
    1.15

    Raises
    ------
    WrongArgument
        If a price or the cost of a change is below zero, or the other nozzle costs nothing at all.
    """
    if min(price, against, change) < 0.0 or against + change <= 0.0:
        raise WrongArgument("prices and the cost of a change must not be below zero, and the other nozzle has a price")
    return (price + change) / (against + change)


def _inputs(
    running: Running, against: Running, rates: Rates, variance: float, points: tuple[Running, Running]
) -> tuple[Input, ...]:
    found = []
    middle, other = points
    goal = float(cost_of_metre(other, rates).total)
    for part in fields(running):
        draws, theirs = getattr(running, part.name), getattr(against, part.name)
        held = replace(running, **{part.name: getattr(middle, part.name)})
        fixed = replace(against, **{part.name: getattr(other, part.name)})
        left = float(np.var(cost_of_metre(held, rates).total - cost_of_metre(fixed, rates).total))
        share = max(0.0, 1.0 - left / variance) if variance > 0.0 and (np.ndim(draws) or np.ndim(theirs)) else 0.0
        at, beside = float(getattr(middle, part.name)), float(getattr(other, part.name))
        found.append(Input(part.name, at, beside, share, _flip(part.name, middle, goal, rates)))
    return tuple(sorted(found, key=lambda each: -each.share))


def _at_median(running: Running) -> Running:
    return Running(**{part.name: float(np.median(getattr(running, part.name))) for part in fields(running)})


def _flip(name: str, at: Running, goal: float, rates: Rates) -> float | None:
    """Value of one input at which the whole cost is the goal, the rest as it is; closed forms, None where none is."""
    known = cost_of_metre(at, rates)
    part = {"speed_m_min": known.machine + known.gas, "gas_m3_h": known.gas, "failing": known.rework}
    part |= {"nozzle_price": known.nozzle, "nozzle_life_m": known.nozzle, "change_minutes": known.nozzle}
    part |= {"lens_price": known.lens, "lens_life_m": known.lens}
    room = goal - float(known.total - part[name])
    value = getattr(at, name)
    if name in ("speed_m_min", "nozzle_life_m", "lens_life_m"):  # the part falls as one over the input
        spent = float(part[name]) * value if math.isfinite(value) else 0.0
        return spent / room if room > 0.0 and spent > 0.0 else None
    change = at.change_minutes / 60.0 * rates.machine_hour
    per_unit, rest = {
        "gas_m3_h": (rates.gas_m3 / (60.0 * at.speed_m_min), 0.0),
        "failing": (rates.rework_per_edge / rates.edge_m, 0.0),
        "nozzle_price": (1.0 / at.nozzle_life_m, change / at.nozzle_life_m),
        "change_minutes": (rates.machine_hour / 60.0 / at.nozzle_life_m, at.nozzle_price / at.nozzle_life_m),
        "lens_price": (1.0 / at.lens_life_m, 0.0),
    }[name]
    found = (room - rest) / per_unit if per_unit > 0.0 else -1.0
    return float(found) if found >= 0.0 and (name != "failing" or found <= 1.0) else None


def _check(running: Running, rates: Rates) -> None:
    lives = ("nozzle_life_m", "lens_life_m")
    for part in fields(running):
        values = np.asarray(getattr(running, part.name), dtype=float)
        if np.isnan(values).any() or (part.name not in lives and not np.isfinite(values).all()):
            raise NotFinite(f"{part.name} holds no finite number; give a number or leave it out")
        if part.name in (*lives, "speed_m_min") and not (values > 0.0).all():
            raise WrongArgument(f"{part.name} must be above zero")
        if (values < 0.0).any() or (part.name == "failing" and (values > 1.0).any()):
            raise WrongArgument(f"{part.name} is out of range; shares lie between 0 and 1, the rest is not below zero")
    for part in fields(rates):
        value = getattr(rates, part.name)
        if value is None:
            continue
        if not math.isfinite(value):
            raise NotFinite(f"{part.name} is no finite number; state it under [costs]")
        if value < 0.0 or (part.name == "edge_m" and value == 0.0):
            raise WrongArgument(f"{part.name} must not be below zero; state it under [costs]")
