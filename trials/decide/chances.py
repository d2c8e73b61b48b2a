"""How likely the next edge is to meet the drawing: each requirement, and all together, for every nozzle type."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trials.decide.checking import far_mask
from trials.decide.graded import grade_row
from trials.decide.measured import Place, mean_rows
from trials.decide.prepare import NOZZLE, Prepared, prepare
from trials.decide.response import Fitted, Studied
from trials.decide.results import ChanceResult
from trials.decide.wording import with_unit
from trials.errors import NotIdentifiable, TrialError
from trials.grade.conformity import limits_of
from trials.infer.chance import (
    Chance,
    Layers,
    NextEdge,
    Rule,
    chance,
    chance_of_all,
    chance_of_grade,
    effect_correlation,
    find_layers,
    lowest_share,
    next_edge,
    say_reach,
    specimens_to_show,
    tolerance_bound,
)
from trials.infer.checks import coupon_means
from trials.infer.mixed import MixedFit
from trials.trial import Trial

Array = NDArray[np.float64]
TARGET = 0.9  # a chance that people ask about; the sentence says how many specimens would show it
SURE = 0.95
HALF_EACH = 1 - (1 - SURE) / 2  # two bounds at this confidence hold together with at least SURE (Bonferroni)
SHARE_OF_TYPE = ("coupon", "reading")
DROSS_APART = "Dross is taken as independent of the rest; the bound for all together holds whatever the correlation."


def chances(
    trial: Trial,
    studied: Mapping[str, Studied],
    place: Place,
    coupons: pd.DataFrame,
    grades: pd.DataFrame,
    dross: pd.DataFrame | None = None,
) -> tuple[ChanceResult, ...]:
    """Chance per nozzle type and requirement, then of all of them together, at a place with one setting.

    coupons: as cut, with nozzle and outcome; grades: one row per coupon with `meets`; dross: worst grade per coupon
    (nozzle, specimen, value), for grades that no model fits.
    """
    limits = measured_limits(trial)
    found: list[ChanceResult] = []
    known = {name: _source(studied[name]) for name in limits if name in studied}
    sources = {name: source for name, source in known.items() if source is not None}
    clean = {name: _without_far(trial, source) for name, source in sources.items()}
    together = _correlations(studied, list(sources))
    for label in trial.types:
        if not all(label in s.ready.types for s in studied.values()):
            continue
        cuts, lost = _cuts(coupons, label)
        marred = _lost_in(coupons, label)
        parts = [
            _measured(trial, source, clean[name], label, place, limits[name], (cuts, lost))
            for name, source in sources.items()
        ]
        rows = [p.row for p in parts]
        graded = _dross(trial, studied, dross, label, place, (cuts, lost), marred)
        rows += [graded] if graded else []
        if len(rows) > 1:
            strict = graded and _dross(trial, studied, dross, label, place, (cuts, lost), marred, HALF_EACH)
            rows.append(_together(parts, together, graded, strict, label, place, cuts, lost))
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
class _Source:
    """One response with its mean squares; by_type: coupons and readings spread by type, else pooled."""

    ready: Prepared
    fit: MixedFit
    layers: Layers
    by_type: bool

    def edge(self, label: str, place: Place) -> NextEdge:
        """What is known of the next edge of a type at a place."""
        row = mean_rows(self.ready, place)[self.ready.types.index(label)]
        mean = self.fit.estimate(row)
        return next_edge(self.layers, row, label if self.by_type else None, mean.value, mean.se)


def _source(studied: Studied | Fitted) -> _Source | None:
    """Mean squares of a response, with the spread of coupons and readings by type where the records carry that."""
    ready = studied.ready
    order = [name for name in ("sheet", "specimen", "mount", "coupon") if name in ready.structure.groups]
    groups = {name: ready.structure.groups[name] for name in order}
    types = ready.table[NOZZLE].to_numpy(object)
    own = tuple(name for name in SHARE_OF_TYPE if name in groups or name == "reading")
    for by_type in (True, False):
        try:
            layers = find_layers(ready.y, ready.fixed, groups, types, own if by_type else ())
        except NotIdentifiable:
            continue
        return _Source(ready, studied.fit, layers, by_type)
    return None


def _without_far(trial: Trial, source: _Source) -> _Source | None:
    """The same response without readings that stand far from their neighbours; None where there are none."""
    far = far_mask(source.ready)
    if not far.any():
        return None
    try:
        ready = prepare(trial, source.ready.name, source.ready.raw[~far])
        return _source(Fitted(ready, ready.design.fit(ready.y)))
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
    source: _Source,
    clean: _Source | None,
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
    own = [_lost_words(cuts, lost), _tolerance_words(edge, ready, log), _reach(ready, edge, rule, found)]
    if clean is not None and label in set(ready.table.loc[far_mask(ready), NOZZLE]) and label in clean.ready.types:
        again = chance(clean.edge(label, place), rule, cuts=cuts, lost=lost)
        own.append(f"Without the flagged readings {again.estimate:.0%}, at least {again.low:.0%}.")
    name = f"{ready.quantity.short} at most {with_unit(limit, ready.quantity)}"
    spread = f"Spread of coupons and readings {'by type' if source.by_type else 'pooled over the types'}."
    return _Part(_result(label, name, place, found, own, spread), edge, rule, ready.name)


def _tolerance_words(edge: NextEdge, ready: Prepared, log: bool) -> str:
    try:
        bound = tolerance_bound(edge, TARGET)
    except TrialError:
        return ""
    value = math.exp(bound) if log else bound
    if not math.isfinite(value):
        return ""
    return f"With 95 % confidence {TARGET:.0%} of edges lie below {with_unit(value, ready.quantity)} (one reading)."


def _reach(ready: Prepared, edge: NextEdge, rule: Rule, found: Chance) -> str:
    specimens = ready.structure.counts.get("specimen", 0)
    if not specimens or found.low >= TARGET or found.estimate - found.low < 0.1:
        return ""
    each = max(2, round(specimens / len(ready.types)))
    needed = specimens_to_show(edge, rule, TARGET, each, len(ready.types))
    return "" if needed is not None and needed <= each else say_reach(found, TARGET, each, needed)


def _dross(
    trial: Trial,
    studied: Mapping[str, Studied],
    table: pd.DataFrame | None,
    label: str,
    place: Place,
    counts: tuple[int, int],
    marred: frozenset[str],
    confidence: float = SURE,
) -> ChanceResult | None:
    asked = trial.application.required.dross_grade
    if asked is None or table is None or "dross" not in trial.responses:
        return None
    cuts, lost = counts
    name = f"dross grade {asked} or better"
    own = table[table[NOZZLE] == label]
    specimens = max(1, own["specimen"].replace("", np.nan).nunique())
    found = studied.get("dross")
    if found is None or found.graded is None:
        return _all_or_none(own, asked, marred, label, name, place, counts, confidence)
    ready = found.ready
    df = max(1.0, ready.structure.counts.get("specimen", len(ready.types) + 1) - len(ready.types))
    try:
        row = grade_row(ready, label, place)
        fit = found.graded
        chance_found = chance_of_grade(fit, row, asked, specimens, df, confidence, cuts=cuts or None, lost=lost)
    except TrialError:
        return _all_or_none(own, asked, marred, label, name, place, counts, confidence)
    return _result(label, name, place, chance_found, [_lost_words(cuts, lost)])


def _all_or_none(
    own: pd.DataFrame,
    asked: int,
    marred: frozenset[str],
    label: str,
    name: str,
    place: Place,
    counts: tuple[int, int],
    confidence: float,
) -> ChanceResult:
    """No model fits: the share that met, and the exact bound on whole specimens.

    A specimen counts as meeting where every coupon of it met and none was lost. An edge meets at least as often as
    a whole specimen does, so the bound on specimens holds for edges.
    """
    cuts, lost = counts
    worst = own.groupby(own["specimen"].astype(str))["value"].max()
    met = {mark for mark, grade in worst.items() if grade <= asked} - marred
    specimens = max(1, len(marred.union(worst.index)))
    share = (float((own["value"] <= asked).mean()) if len(own) else 0.0) * (1.0 - lost / cuts if cuts else 1.0)
    low = lowest_share(len(met), specimens, confidence)
    words = f"No model of the grades: the share that was seen; the bound counts {specimens} whole specimens."
    return ChanceResult(label, name, place.words, share, low, None, 0, _lost_words(cuts, lost), (words,))


def _together(
    parts: Sequence[_Part],
    together: dict[str, Array],
    dross: ChanceResult | None,
    strict: ChanceResult | None,
    label: str,
    place: Place,
    cuts: int,
    lost: int,
) -> ChanceResult:
    """All requirements at once; lost cuts count once. strict: dross with its bound at HALF_EACH."""
    sure = SURE if strict is None else HALF_EACH
    share = 1.0 - lost / cuts if cuts else 1.0
    bare = [p.row.estimate / share if share else 0.0 for p in parts]
    estimate, low = math.prod(bare), 1.0
    assumed: tuple[str, ...] = ()
    if len(parts) > 1:
        edges, rules = tuple(p.edge for p in parts), tuple(p.rule for p in parts)
        joint = chance_of_all(edges, rules, together, sure)
        estimate, low, assumed = joint.estimate, joint.low * share, joint.words[:1]
    elif parts:
        low = chance(parts[0].edge, parts[0].rule, sure, cuts=cuts or None, lost=lost).low
    if dross is not None and strict is not None:
        estimate *= dross.estimate / share if share else 0.0
        low = max(0.0, low + strict.low - 1.0)
        assumed += (DROSS_APART,)
        bare.append(dross.estimate / share if share else 0.0)
    least, most = max(0.0, sum(bare) - (len(bare) - 1)) * share, min(bare) * share
    words = f"Whatever the correlation, between {least:.0%} and {most:.0%}."
    whole = estimate * share
    return ChanceResult(label, "all together", place.words, whole, min(low, whole), None, 0, words, assumed)


def _correlations(studied: Mapping[str, Studied], names: Sequence[str]) -> dict[str, Array]:
    """Correlation matrices of the responses' effects at specimen and coupon level, from the coupons they share."""
    found = {level: np.eye(len(names)) for level in ("specimen", "coupon")}
    for i, one in enumerate(names):
        for j, other in enumerate(names[:i]):
            pair = _pair(studied[one], studied[other])
            for level, value in pair.items():
                found[level][i, j] = found[level][j, i] = value
    return found


def _pair(one: Studied, other: Studied) -> dict[str, float]:
    ready = one.ready
    first, means, _ = coupon_means(ready.y, ready.table["coupon"].to_numpy(object))
    second = pd.Series(other.ready.y, index=other.ready.table["coupon"].astype(str)).groupby(level=0).mean()
    beside = second.reindex(ready.table["coupon"].astype(str).to_numpy()[first]).to_numpy(float)
    keep = np.isfinite(beside)
    groups = {g: labels[first][keep] for g, labels in ready.structure.groups.items() if g != "coupon"}
    own = (one.fit.variances.get("coupon", 0.0), other.fit.variances.get("coupon", 0.0))
    try:
        return effect_correlation(
            means[keep], beside[keep], ready.fixed[first][keep], groups, own if min(own) > 0 else None
        )
    except TrialError:
        return {}


def _cuts(coupons: pd.DataFrame, label: str) -> tuple[int, int]:
    outcomes = coupons.loc[coupons[NOZZLE] == label, "outcome"]
    lost = int(outcomes.isin(["not_severed", "aborted"]).sum())
    return lost + int((outcomes == "cut").sum()), lost


def _lost_in(coupons: pd.DataFrame, label: str) -> frozenset[str]:
    """Specimens of a type that lost a cut."""
    lost = coupons[(coupons[NOZZLE] == label) & coupons["outcome"].isin(["not_severed", "aborted"])]
    return frozenset(lost["specimen"].astype(str)) if "specimen" in lost else frozenset()


def _lost_words(cuts: int, lost: int) -> str:
    return f"{lost} of {cuts} cuts were lost and count as not meeting." if lost else ""


def _result(label: str, name: str, place: Place, found: Chance, own: Sequence[str], more: str = "") -> ChanceResult:
    assumed = tuple(word for word in (*found.words, more) if word and "count as not meeting" not in word)
    text = " ".join(word for word in own if word)
    return ChanceResult(label, name, place.words, found.estimate, found.low, None, 0, text, assumed)


def _with_share(row: ChanceResult, grades: pd.DataFrame) -> ChanceResult:
    """Beside the chance, the share of this type's coupons that met everything, over all settings that were cut."""
    own = grades[(grades[NOZZLE] == row.nozzle) & grades["outcome"].isin(["cut", "not_severed", "aborted"])]
    if row.requirement != "all together" or own.empty:
        return row
    return replace(row, share_met=float((own["meets"] == "yes").mean()), n_coupons=len(own))
