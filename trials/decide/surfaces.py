"""Chances and typical edges of a nozzle type at many settings, from the fits of the study."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.decide.chances import (
    HALF_EACH,
    NONE_LOST,
    SURE,
    Source,
    all_or_none,
    coupon_response,
    cuts_of,
    dross_chance,
    lost_in,
    measured_limits,
    source_of,
)
from trials.decide.graded import grade_rows, specimens_in, spread_df
from trials.decide.prepare import NOZZLE, Array, Prepared
from trials.decide.response import Studied
from trials.errors import InputError, NotIdentifiable
from trials.findings import Place, PlaceKind
from trials.infer.chance import NextEdge, Rule, chance, chance_of_all, correlations
from trials.infer.chance.surface import EdgeMap, Surface, chance_surface, grade_surface
from trials.infer.yardstick import Estimates
from trials.trial import Level, Trial

Settings = Mapping[str, Level]


@dataclass(frozen=True)
class Known:
    """Everything that chances at any setting of the trial share.

    sources: of each response that the requirement limits; together: how they move together; coupons: as cut; dross:
    worst grade per coupon, None where no grade is required or recorded.
    """

    trial: Trial
    studied: Mapping[str, Studied]
    sources: Mapping[str, Source]
    limits: Mapping[str, float]
    together: Mapping[str, Array]
    coupons: pd.DataFrame
    dross: pd.DataFrame | None

    def rule(self, name: str) -> Rule:
        """What is asked of one response, on its model's scale."""
        limit, log = self.limits[name], self.sources[name].ready.quantity.scale == "log"
        return Rule(math.log(limit) if log else limit, self.trial.responses[name].readings, self.trial.bench.judged_by)

    def edge(self, name: str, label: str, settings: Settings) -> NextEdge:
        """What is known of the next edge at one setting."""
        return self.sources[name].edge(label, self.place(settings))

    def place(self, settings: Settings) -> Place:
        """One setting as a place."""
        units = {name: asked.unit for name, asked in self.trial.factors.items()}
        return Place(PlaceKind.STATED, (dict(settings),), units)


def known_of(trial: Trial, studied: Mapping[str, Studied], coupons: pd.DataFrame, dross: pd.DataFrame | None) -> Known:
    """What the chances rest on.

    Raises
    ------
    InputError
        If nothing that the requirement names was measured.
    """
    limits = measured_limits(trial)
    found = {name: source_of(studied[name].ready, studied[name].fit) for name in limits if name in studied}
    sources = {name: source for name, source in found.items() if source is not None}
    asked = trial.application.required.dross_grade is not None and "dross" in trial.responses
    graded = dross if asked else None
    if not sources and graded is None:
        raise InputError(
            "nothing that the requirement names was measured",
            do="State application.required and record readings of what it names.",
        )
    together = correlations([coupon_response(studied[name]) for name in sources])
    return Known(trial, studied, sources, limits, together, coupons, graded)


def rows_at(ready: Prepared, label: str, settings: Sequence[Settings]) -> Array:
    """Contrast rows (settings, k) of the means of one type; sheets that stay fixed count equally."""
    table = {axis.name: [label if axis.name == NOZZLE else p[axis.name] for p in settings] for axis in ready.model.axes}
    rows: Array = ready.model.matrix(table) if table else np.repeat(ready.model.matrix({"": [0.0]}), len(settings), 0)
    return rows


def chances_at(known: Known, label: str, settings: Sequence[Settings]) -> tuple[Array, Array]:
    """Chance that the next edge meets everything, and bounds that hold at all the settings together (95 %).

    Lost cuts count as not meeting, once; dross is joined by Bonferroni, as in `chances`.
    """
    cuts, lost = cuts_of(known.coupons, label)
    both = bool(known.sources) and known.dross is not None
    sure = HALF_EACH if both else SURE
    found = [_measured(known, label, settings, sure, cuts, lost)] if known.sources else []
    of_cut = NONE_LOST if both else (cuts, lost)
    found += [_graded(known, label, settings, sure, *of_cut)] if known.dross is not None else []
    if not both:
        return found[0].estimate, found[0].low
    estimate = found[0].estimate * found[1].estimate
    return estimate, np.minimum(np.maximum(found[0].low + found[1].low - 1.0, 0.0), estimate)


def chance_alone(known: Known, label: str, settings: Settings) -> tuple[float, float]:
    """Chance that the next edge meets everything at one setting that was named before, and its own lower bound.

    The same figures as `chances` gives there.
    """
    counts = cuts_of(known.coupons, label)
    edges = tuple(known.edge(name, label, settings) for name in known.sources)
    rules = tuple(known.rule(name) for name in known.sources)
    sure, of_cut = (HALF_EACH, NONE_LOST) if known.dross is not None and edges else (SURE, counts)
    place, marred = known.place(settings), lost_in(known.coupons, label)
    graded = dross_chance(known.trial, known.studied, known.dross, label, place, of_cut, marred, sure)
    estimate, low = 1.0, 1.0
    if len(edges) > 1:
        joint = chance_of_all(edges, rules, known.together, sure, cuts=counts[0] or None, lost=counts[1])
        estimate, low = joint.estimate, joint.low
    elif edges:
        found = chance(edges[0], rules[0], sure, cuts=counts[0] or None, lost=counts[1])
        estimate, low = found.estimate, found.low
    if graded is not None:
        estimate *= graded.estimate
        low = max(0.0, low + graded.low - 1.0)
    return estimate, min(low, estimate)


def _measured(known: Known, label: str, settings: Sequence[Settings], sure: float, cuts: int, lost: int) -> Surface:
    maps = []
    for name, source in known.sources.items():
        rows = rows_at(source.ready, label, settings)
        means = rows @ source.fit.coefficients
        errors = np.sqrt(np.sum(rows @ source.fit.covariance * rows, axis=1))
        first = source.spread.edge(rows[0], label, float(means[0]), float(errors[0]))
        maps.append(EdgeMap(first, source.spread.layers, rows, means, errors, known.rule(name)))
    return chance_surface(maps, known.together, sure, cuts=cuts, lost=lost)


def _graded(known: Known, label: str, settings: Sequence[Settings], sure: float, cuts: int, lost: int) -> Surface:
    """From the ordered model; where none fits, the same share and bound everywhere."""
    asked, dross, fitted = known.trial.application.required.dross_grade, known.dross, known.studied.get("dross")
    if asked is None or dross is None:
        raise NotIdentifiable("No grade is required.")
    own = dross[dross[NOZZLE] == label]
    if fitted is not None and fitted.graded is not None:
        basis = grade_rows(fitted.ready, label, settings), asked, specimens_in(own), spread_df(fitted.ready)
        try:
            return grade_surface(fitted.graded, *basis, sure, cuts=cuts, lost=lost)
        except NotIdentifiable:
            pass
    found = all_or_none(own, asked, lost_in(known.coupons, label), (cuts, lost), sure)
    return Surface(np.full(len(settings), found.estimate), np.full(len(settings), found.low), sure)


def typical_at(fitted: Studied, contrasts: Array) -> Estimates:
    """Estimates of contrasts (q, k) of means by the yardstick; where a contrast counts sheets, with their spread.

    The yardstick takes sheets out, so a mean by itself gets back what sheets add to it: their variance over their
    number, from the fit of every source, the degrees of freedom by Satterthwaite (1946).
    """
    found = fitted.judged.between.estimates(contrasts)
    sheets = fitted.ready.structure.counts.get("sheet", 0)
    added = fitted.fit.variances.get("sheet", 0.0) / max(sheets, 1)
    levels = contrasts[:, 0]
    if not (fitted.judged.between.added and added > 0 and sheets > 1 and np.any(levels)):
        return found
    own, more = np.diagonal(found.covariance), added * levels**2
    dfs = (own + more) ** 2 / (own**2 / found.dfs + more**2 / (sheets - 1))
    return Estimates(found.values, found.covariance + added * np.outer(levels, levels), dfs)
