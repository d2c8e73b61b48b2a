"""How likely the next edge is to meet the drawing: each requirement, and all together, for every nozzle type."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from trials.decide.chance_result import TOGETHER, Asked, ChanceResult
from trials.decide.checking import far_mask
from trials.decide.graded import grade_row, specimens_in, spread_df
from trials.decide.measured import mean_rows
from trials.decide.prepare import NOZZLE, Array, Prepared, without
from trials.decide.response import Studied
from trials.errors import NotIdentifiable, TrialError
from trials.findings import About, Amount, Fact, Finding, Place
from trials.grade.conformity import limits_of
from trials.infer.chance import (
    Chance,
    ChanceKind,
    CouponResponse,
    NextEdge,
    Rule,
    SpreadSource,
    chance,
    chance_of_all,
    chance_of_grade,
    correlations,
    find_reach,
    find_source,
    lowest_share,
    most_by_cuts,
    tolerance_bound,
)
from trials.infer.mixed import MixedFit
from trials.trial import LOST, Outcome, Trial

TARGET = 0.9  # a chance that people ask about; a finding says how many specimens would show it
SURE = 0.95
HALF_EACH = 1 - (1 - SURE) / 2  # two bounds at this confidence hold together with at least SURE (Bonferroni)
NONE_LOST = 0, 0  # of no cuts: what is said of edges that were cut
NEAR = 0.1  # a bound this close under its estimate would gain little from more specimens


def chances(
    trial: Trial,
    studied: Mapping[str, Studied],
    place: Place,
    coupons: pd.DataFrame,
    grades: pd.DataFrame,
    dross: pd.DataFrame | None = None,
    known: Sources | None = None,
) -> tuple[ChanceResult, ...]:
    """Chance per nozzle type and requirement, then of all of them together, at a place with one setting.

    coupons: as cut, with nozzle and outcome; grades: one row per coupon with `meets`; dross: worst grade per coupon
    (nozzle, specimen, value), for grades that no model fits; known: `sources_of` them, if made before.
    """
    found: list[ChanceResult] = []
    known = known or sources_of(trial, studied)
    limits, sources, together = known.limits, known.sources, known.together
    clean = {name: _without_far(source) for name, source in sources.items()}
    for label in trial.types:
        if not all(label in s.ready.types for s in studied.values()):
            continue
        cuts, lost = cuts_of(coupons, label)
        marred = lost_in(coupons, label)
        parts = [
            _measured(trial, source, clean[name], label, place, limits[name], (cuts, lost))
            for name, source in sources.items()
        ]
        rows = [p.row for p in parts]
        graded = dross_chance(trial, studied, dross, label, place, (cuts, lost), marred)
        rows += [graded] if graded else []
        if len(rows) > 1:
            strict = graded and dross_chance(trial, studied, dross, label, place, NONE_LOST, marred, HALF_EACH)
            rows.append(_together(parts, together, strict, label, place, cuts, lost))
        found += [_with_share(row, grades) for row in rows]
    return tuple(found)


def measured_limits(trial: Trial) -> dict[str, float]:
    """Limit of each measured response that the requirement names, in the kept unit."""
    thickness = trial.application.thickness_mm
    if thickness is None:
        return {}
    limits = limits_of(trial.application.required, np.array([thickness]))
    named = {"squareness": limits.squareness_mm, "roughness": limits.roughness_um}
    return {
        name: float(limit[0])
        for name, limit in named.items()
        if limit is not None and name in trial.responses and np.isfinite(limit[0])
    }


@dataclass(frozen=True)
class Source:
    """One response with its mean squares."""

    ready: Prepared
    fit: MixedFit
    spread: SpreadSource

    def edge(self, label: str, place: Place) -> NextEdge:
        """What is known of the next edge of a type at a place."""
        row = mean_rows(self.ready, place)[self.ready.types.index(label)]
        mean = self.fit.estimate(row)
        return self.spread.edge(row, label, mean.value, mean.se)


@dataclass(frozen=True)
class Sources:
    """What chances rest on: limits of measured responses, mean squares of those studied, how these move together."""

    limits: Mapping[str, float]
    sources: Mapping[str, Source]
    together: Mapping[str, Array]


def sources_of(trial: Trial, studied: Mapping[str, Studied]) -> Sources:
    """Mean squares of every studied response that the requirement limits."""
    limits = measured_limits(trial)
    found = {name: source_of(studied[name].ready, studied[name].fit) for name in limits if name in studied}
    sources = {name: source for name, source in found.items() if source is not None}
    return Sources(limits, sources, correlations([coupon_response(studied[name]) for name in sources]))


def source_of(ready: Prepared, fit: MixedFit) -> Source | None:
    """Mean squares of a response; None where no row is left to judge the spread by."""
    types = ready.table[NOZZLE].to_numpy(object)
    try:
        return Source(ready, fit, find_source(ready.y, ready.fixed, ready.structure.groups, types))
    except NotIdentifiable:
        return None


def _without_far(source: Source) -> Source | None:
    """The same response without readings that stand far from their neighbours; None where there are none."""
    far = far_mask(source.ready)
    if not far.any():
        return None
    try:
        ready = without(source.ready, far)
        return source_of(ready, ready.design.fit(ready.y))
    except TrialError:
        return None


@dataclass(frozen=True)
class _Part:
    row: ChanceResult
    edge: NextEdge
    rule: Rule
    name: str


def _measured(
    trial: Trial,
    source: Source,
    clean: Source | None,
    label: str,
    place: Place,
    limit: float,
    counts: tuple[int, int],
) -> _Part:
    ready, (cuts, lost) = source.ready, counts
    log = ready.quantity.scale == "log"
    edge = source.edge(label, place)
    rule = Rule(math.log(limit) if log else limit, trial.responses[ready.name].readings, trial.bench.judged_by)
    found = chance(edge, rule, cuts=cuts, lost=lost)
    about = About(response=ready.name, nozzle=label)
    notes = [*_lost(label, found), *_tolerance(edge, ready, rule, about), *_reach(ready, edge, rule, found, about)]
    if clean is not None and label in set(ready.table.loc[far_mask(ready), NOZZLE]) and label in clean.ready.types:
        again = chance(clean.edge(label, place), rule, cuts=cuts, lost=lost)
        notes.append(Finding(ChanceKind.WITHOUT_FLAGGED, about, {"estimate": again.estimate, "low": again.low}))
    spread = Finding(ChanceKind.SPREAD_OF_TYPE, facts={"by_type": source.spread.by_type})
    asked = Asked(ready.name, Amount(limit, ready.quantity.unit))
    return _Part(_result(label, asked, place, found, notes, (spread,)), edge, rule, ready.name)


def _lost(label: str, found: Chance) -> list[Finding]:
    if not found.lost:
        return []
    return [Finding(ChanceKind.LOST_CUTS, About(nozzle=label), {"lost": found.lost, "cuts": found.cuts})]


def _tolerance(edge: NextEdge, ready: Prepared, rule: Rule, about: About) -> list[Finding]:
    """The value that the share `TARGET` of edges that are cut through keeps to, judged by the rule of the chances."""
    try:
        bound = tolerance_bound(edge, TARGET, rule.readings, rule.kind)
    except TrialError:
        return []
    value = math.exp(bound) if ready.quantity.scale == "log" else bound
    if not math.isfinite(value):
        return []
    facts: dict[str, Fact] = {"share": TARGET, "confidence": SURE, "value": Amount(value, ready.quantity.unit)}
    facts |= {"readings": rule.readings, "judged_by": rule.kind}
    return [Finding(ChanceKind.TOLERANCE, about, facts)]


def _reach(ready: Prepared, edge: NextEdge, rule: Rule, found: Chance, about: About) -> list[Finding]:
    specimens = ready.structure.counts.get("specimen", 0)
    if not specimens or found.estimate - found.low < NEAR:
        return []
    own = specimens_in(ready.table[ready.table[NOZZLE] == about.nozzle])
    reach = find_reach(edge, rule, found, TARGET, own, specimens / own)
    if reach is None or (reach.needed is not None and reach.needed <= own):
        return []
    facts: dict[str, Fact] = {
        "target": reach.target,
        "specimens": reach.specimens,
        "needed": reach.needed,
        "more_than": reach.more_than,
        "shown": reach.shown,
    }
    return [Finding(ChanceKind.REACH, about, facts)]


def dross_chance(
    trial: Trial,
    studied: Mapping[str, Studied],
    table: pd.DataFrame | None,
    label: str,
    place: Place,
    counts: tuple[int, int],
    marred: frozenset[str],
    confidence: float = SURE,
) -> ChanceResult | None:
    """Chance of the required dross grade at a place; None where none is required or recorded.

    counts: cuts tried and lost; marred: specimens that lost a cut.
    """
    asked = trial.application.required.dross_grade
    if asked is None or table is None or "dross" not in trial.responses:
        return None
    cuts, lost = counts
    name = Asked("dross", Amount(float(asked)))
    own = table[table[NOZZLE] == label]
    found = studied.get("dross")
    if found is None or found.graded is None:
        whole = all_or_none(own, asked, marred, counts, confidence)
        return _result(label, name, place, whole, _lost(label, whole))
    try:
        basis = grade_row(found.ready, label, place), asked, specimens_in(own), spread_df(found.ready)
        chance_found = chance_of_grade(found.graded, *basis, confidence, cuts=cuts or None, lost=lost)
    except TrialError:
        chance_found = all_or_none(own, asked, marred, counts, confidence)
    return _result(label, name, place, chance_found, _lost(label, chance_found))


def all_or_none(
    own: pd.DataFrame, asked: int, marred: frozenset[str], counts: tuple[int, int], confidence: float
) -> Chance:
    """No model fits: the share that met, and the exact bound on whole specimens.

    A specimen counts as meeting where every coupon of it met and none was lost. An edge meets at least as often as
    a whole specimen does, so the bound on specimens holds for edges. own: grades of the type; counts: cuts tried and
    lost; marred: specimens that lost a cut.
    """
    cuts, lost = counts
    worst = own.groupby(own["specimen"].astype(str))["value"].max()
    met = {mark for mark, grade in worst.items() if grade <= asked} - marred
    specimens = max(1, len(marred.union(worst.index)))
    share = (float((own["value"] <= asked).mean()) if len(own) else 0.0) * (1.0 - lost / cuts if cuts else 1.0)
    low = lowest_share(len(met), specimens, confidence)
    rests_on = (Finding(ChanceKind.NO_GRADE_MODEL, facts={"specimens": specimens}),)
    return Chance(share, low, confidence, rests_on, cuts, lost)


def _together(
    parts: Sequence[_Part],
    together: Mapping[str, Array],
    strict: ChanceResult | None,
    label: str,
    place: Place,
    cuts: int,
    lost: int,
) -> ChanceResult:
    """All requirements at once; lost cuts count once. strict: dross of edges that were cut, its bound at HALF_EACH."""
    sure = SURE if strict is None else HALF_EACH
    share = 1.0 - lost / cuts if cuts else 1.0
    bare = [p.row.estimate / share if share else 0.0 for p in parts]
    estimate, low = share, 1.0
    rests_on: tuple[Finding, ...] = ()
    if len(parts) > 1:
        edges, rules = tuple(p.edge for p in parts), tuple(p.rule for p in parts)
        joint = chance_of_all(edges, rules, together, sure, cuts=cuts or None, lost=lost)
        estimate, low, rests_on = joint.estimate, joint.low, joint.rests_on
    elif parts:
        one = chance(parts[0].edge, parts[0].rule, sure, cuts=cuts or None, lost=lost)
        estimate, low = one.estimate, one.low
    if strict is not None:
        estimate *= strict.estimate
        low = max(0.0, low + strict.low - 1.0)
        rests_on += (Finding(ChanceKind.DROSS_APART),)
        bare.append(strict.estimate)
    least, most = max(0.0, sum(bare) - (len(bare) - 1)) * share, min(bare) * share
    limits = Finding(ChanceKind.ANY_CORRELATION, About(nozzle=label), {"least": least, "most": most})
    found = Chance(estimate, min(low, estimate), SURE, rests_on, cuts, lost)
    return _result(label, TOGETHER, place, found, [*_lost(label, found), limits])


def coupon_response(studied: Studied) -> CouponResponse:
    """A fitted response as read, for its correlation with others."""
    ready = studied.ready
    coupon = ready.table["coupon"].astype(str).to_numpy(object)
    return CouponResponse(
        ready.y, coupon, ready.fixed, ready.structure.groups, studied.fit.variances.get("coupon", 0.0)
    )


def cuts_of(coupons: pd.DataFrame, label: str) -> tuple[int, int]:
    """Coupons of a type that were tried, and how many of them were lost."""
    outcomes = coupons.loc[coupons[NOZZLE] == label, "outcome"]
    lost = int(outcomes.isin(LOST).sum())
    return lost + int((outcomes == "cut").sum()), lost


def lost_in(coupons: pd.DataFrame, label: str) -> frozenset[str]:
    """Specimens of a type that lost a cut."""
    lost = coupons[(coupons[NOZZLE] == label) & coupons["outcome"].isin(LOST)]
    return frozenset(lost["specimen"].astype(str)) if "specimen" in lost else frozenset()


def _result(
    label: str, asked: Asked, place: Place, found: Chance, notes: Sequence[Finding], more: tuple[Finding, ...] = ()
) -> ChanceResult:
    return ChanceResult(
        nozzle=label,
        asked=asked,
        place=place,
        estimate=found.estimate,
        low=found.low,
        cuts=found.cuts or 0,
        lost=found.lost,
        most=most_by_cuts(found.cuts, found.lost) if found.cuts else None,
        notes=tuple(notes),
        rests_on=(*found.rests_on, *more),
    )


def _with_share(row: ChanceResult, grades: pd.DataFrame) -> ChanceResult:
    """Beside the chance, the share of this type's coupons that met everything, over all settings that were cut."""
    own = grades[(grades[NOZZLE] == row.nozzle) & grades["outcome"].isin([Outcome.CUT, *LOST])]
    if row.asked != TOGETHER or own.empty:
        return row
    return replace(row, share_met=float((own["meets"] == "yes").mean()), n_coupons=len(own))
