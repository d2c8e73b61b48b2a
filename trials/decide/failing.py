"""How many of the next edges fail with each nozzle type, as draws, so that types can be set against each other.

The spreads that types share are the same in each draw; the means err apart, since each type has specimens of its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.decide.chance_result import TOGETHER, ChanceResult
from trials.decide.chances import Source, coupon_response, cuts_of, lost_in, measured_limits, source_of
from trials.decide.decision_result import FewerFail, Span
from trials.decide.graded import grade_row, specimens_in, spread_df
from trials.decide.prepare import NOZZLE, Array
from trials.decide.response import Studied
from trials.errors import TrialError
from trials.findings import Place
from trials.infer.chance import (
    Rule,
    beta_draws,
    correlations,
    edge_chance,
    edge_draws,
    even_normals,
    grade_draws,
    joint_draws,
    lost_cuts,
)
from trials.trial import Trial

DRAWS = 4_096
POINTS = 64
SEED, DROSS_SEED, LOST_SEED = 0, 101, 202
TAILS = (0.025, 0.975)


@dataclass(frozen=True)
class Failing:
    """Share of the next edges of one type that fail: as estimated beside the chances, and draws (d,)."""

    nozzle: str
    estimate: float
    draws: Array


def failing(
    trial: Trial,
    studied: Mapping[str, Studied],
    chances: Sequence[ChanceResult],
    coupons: pd.DataFrame,
    dross: pd.DataFrame | None = None,
) -> tuple[Failing, ...]:
    """Failing edges of every type that has a chance of meeting everything, at the place of the chances.

    chances: of the study; coupons: as cut; dross: worst grade of each coupon.
    """
    limits = measured_limits(trial)
    known = {name: source_of(studied[name].ready, studied[name].fit) for name in limits if name in studied}
    sources = {name: source for name, source in known.items() if source is not None}
    together = correlations([coupon_response(studied[name]) for name in sources])
    found = []
    for k, label in enumerate(trial.types):
        of_all = chance_of_everything(chances, label)
        if of_all is None:
            continue
        seed = 1_000 * (k + 1)
        meets = _measured(trial, sources, together, limits, label, of_all.place, seed)
        if meets is None:
            meets = np.ones(DRAWS)
        graded = _dross(trial, studied, dross, label, of_all.place, coupons, seed)
        meets = meets if graded is None else meets * graded
        cuts, lost = cuts_of(coupons, label)
        if cuts:
            meets = meets * lost_cuts(cuts, lost, even_normals(2, DRAWS, LOST_SEED + seed)[:, 0])[1]
        found.append(Failing(label, 1.0 - of_all.estimate, 1.0 - meets))
    return tuple(found)


def chance_of_everything(chances: Sequence[ChanceResult], nozzle: str) -> ChanceResult | None:
    """The chance of a type to meet everything that is asked: all together, or the one requirement there is."""
    own = [c for c in chances if c.nozzle == nozzle]
    return next((c for c in own if c.asked == TOGETHER), own[0] if len(own) == 1 else None)


def fewer_fail(found: Sequence[Failing], today: str) -> tuple[FewerFail, ...]:
    """How many fewer of 100 edges fail with each type than with today's, with the limits at 95 %."""
    base = next((each for each in found if each.nozzle == today), None)
    if base is None:
        return ()
    return tuple(_fewer(base, each) for each in found if each.nozzle != today)


def _fewer(base: Failing, each: Failing) -> FewerFail:
    low, high = np.quantile(100.0 * (base.draws - each.draws), TAILS)
    today, with_it = 100.0 * base.estimate, 100.0 * each.estimate
    return FewerFail(each.nozzle, today, with_it, Span(today - with_it, float(low), float(high)))


def _measured(
    trial: Trial,
    sources: Mapping[str, Source],
    together: Mapping[str, Array],
    limits: Mapping[str, float],
    label: str,
    place: Place,
    seed: int,
) -> Array | None:
    """Draws of the chance to meet every measured requirement; None where there is none."""
    edges = tuple(source.edge(label, place) for source in sources.values())
    rules = tuple(_rule(trial, name, source, limits[name]) for name, source in sources.items())
    if not edges:
        return None
    if len(edges) > 1:
        return joint_draws(edges, rules, together, DRAWS, SEED, seed, POINTS)
    return np.asarray(edge_chance(*edge_draws(edges[0], DRAWS, SEED, seed), rules[0]))


def _rule(trial: Trial, name: str, source: Source, limit: float) -> Rule:
    on_scale = float(np.log(limit)) if source.ready.quantity.scale == "log" else limit
    return Rule(on_scale, trial.responses[name].readings, trial.bench.judged_by)


def _dross(
    trial: Trial,
    studied: Mapping[str, Studied],
    table: pd.DataFrame | None,
    label: str,
    place: Place,
    coupons: pd.DataFrame,
    seed: int,
) -> Array | None:
    """Draws of the chance of the required dross grade among edges that were cut; None where none is asked for."""
    asked = trial.application.required.dross_grade
    if asked is None or table is None or "dross" not in trial.responses:
        return None
    own = table[table[NOZZLE] == label]
    specimens, found = specimens_in(own), studied.get("dross")
    if found is not None and found.graded is not None:
        basis = grade_row(found.ready, label, place), asked, specimens, spread_df(found.ready)
        try:
            return grade_draws(found.graded, *basis, DRAWS, DROSS_SEED, DROSS_SEED + seed)
        except TrialError:
            pass  # every grade met, or none did: whole specimens below, as for the chance itself
    met = _whole_specimens(own, asked, lost_in(coupons, label))
    z = even_normals(2, DRAWS, DROSS_SEED + seed)[:, 0]
    return beta_draws(met + 0.5, max(specimens - met, 0.0) + 0.5, z)


def _whole_specimens(own: pd.DataFrame, asked: int, marred: frozenset[str]) -> float:
    """Specimens of which every coupon met the grade and none was lost."""
    worst = own.groupby(own["specimen"].astype(str))["value"].max()
    return float(len({mark for mark, grade in worst.items() if grade <= asked} - marred))
