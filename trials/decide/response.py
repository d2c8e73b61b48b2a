"""One response from its readings to its result: prepared once, fitted, then what was found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.decide.checking import run_checks
from trials.decide.dross_shares import by_shares, shares_needed, shares_said
from trials.decide.graded import against_reference, fit_grades, shuffled, without_spread
from trials.decide.judged import Fitted, Judged, judged_by
from trials.decide.kinds import StudyKind
from trials.decide.measured import (
    all_comparisons,
    compare,
    effects,
    mean_rows,
    mean_table,
    order_changes,
    places,
    spreads,
    term_tests,
)
from trials.decide.prepare import NOZZLE, Prepared, per_type, prepare, specimens_of
from trials.decide.repeated import Asked, repeated, unsettled
from trials.decide.results import Comparison, Mean, ResponseResult, State, TermTest
from trials.errors import TrialError
from trials.findings import About, Fact, Finding, Place, Weight, each_once
from trials.infer.answer import Levels
from trials.infer.mixed import MixedFit
from trials.infer.model import rests_on
from trials.infer.ordinal import OrdinalFit
from trials.plan.power import Counts, specimens_needed
from trials.trial import Level, Trial, expected_level, worthwhile_margins
from trials.worthwhile import Margins

Allowed = Mapping[str, Sequence[tuple[Level, ...]]]
NOTHING = 1e-10  # share of all variance below which a spread came out as zero: what the optimiser leaves of one


@dataclass(frozen=True)
class Studied:
    """One fitted response.

    ready, fit: with every source of spread; judged: what types are compared by; graded: the ordered model beside it,
    where the response is a grade.
    """

    ready: Prepared
    fit: MixedFit
    judged: Judged
    graded: OrdinalFit | None = None


def fit_response(trial: Trial, name: str, table: pd.DataFrame) -> Studied | ResponseResult:
    """Fit one response; one that cannot be studied comes back as a result without numbers and the reason in `said`."""
    try:
        ready = prepare(trial, name, table)
    except TrialError as error:
        return _not_studied(trial, name, table, _refused(error))
    try:
        fit = ready.design.fit(ready.y)
    except TrialError as error:
        grade = ready.quantity.scale == "grade"
        return _not_studied(trial, name, table, without_spread(ready) if grade else _refused(error))
    graded = fit_grades(ready) if ready.quantity.scale == "grade" else None
    return Studied(ready, fit, judged_by(ready, fit), graded)


def compared_at(trial: Trial, allowed: Allowed) -> tuple[Place, Place | None]:
    """Where types are compared, and the other place of the two."""
    found = places(trial, allowed)
    place = found.get(trial.plan.compare_at, found["today"])
    return place, next((p for p in found.values() if p is not place), None)


def study_response(
    trial: Trial,
    studied: Studied,
    allowed: Allowed,
    levels: Levels,
    exploratory: bool = False,
    lost: pd.DataFrame | None = None,
) -> ResponseResult:
    """The result of one fitted response.

    allowed: planned settings of each type; exploratory: an undeclared look; lost: one row per coupon that was not
    severed or aborted (columns of the as-cut table without readings), with which the answer is repeated.
    """
    ready, fit = studied.ready, studied.fit
    found = Fitted(ready, fit, studied.judged)
    primary = trial.responses[ready.name].primary
    worthwhile = worthwhile_margins(trial, ready.name)
    place, other = compared_at(trial, allowed)
    tests, graded = _tests(studied)
    shares = by_shares(trial, ready, allowed, levels, lost) if primary else None
    first = compare(found, place, levels, worthwhile, primary) if shares is None else shares
    again = () if shares is not None else repeated(found, Asked(place, levels, worthwhile, primary), first, lost)
    said = [
        *ready.said,
        *shares_said(trial, ready, shares, primary),
        *graded,
        *_cautious(studied, tests),
        *order_changes(found, tests, place),
    ]
    compared = len(ready.types) > 1
    means = mean_table(ready, fit, place)
    return ResponseResult(
        response=ready.name,
        label=ready.quantity.label,
        symbol=ready.quantity.short,
        scale=ready.quantity.scale,
        unit=ready.quantity.unit,
        primary=primary,
        n_readings=len(ready.table),
        n_coupons=int(ready.table["coupon"].nunique()),
        state=State.COMPARED if compared else State.ONE_TYPE,
        rests_on=rests_on(ready.structure, _nozzle_df(ready, tests)) if compared else None,
        replicated=ready.structure.replicated,
        pieces=ready.pieces,
        block=ready.structure.block_word,
        exploratory=exploratory,
        terms=tests,
        spread=spreads(fit),
        means=means,
        comparisons=unsettled(first, again),
        pairs=all_comparisons(found, place, levels.difference),
        worthwhile=None if worthwhile is None else worthwhile.smaller,
        worthwhile_better=None if worthwhile is None else worthwhile.better,
        worthwhile_worse=None if worthwhile is None else worthwhile.worse,
        worthwhile_level=_level(trial, ready, means),
        higher_is_better=ready.quantity.higher_is_better,
        spread_by_type=studied.judged.by_type,
        checks=(*run_checks(ready, fit), *(each.finding for each in again)),
        more=_more(found, place, levels, worthwhile, first)
        if shares is None
        else shares_needed(trial, ready, shares, levels, lost),
        said=each_once([*said, *_outside(ready, allowed, place)]),
        other_means=mean_table(ready, fit, other) if other else (),
        effects=effects(ready, fit, place),
        criterion=fit.reml_criterion,
    )


def _level(trial: Trial, ready: Prepared, means: Sequence[Mean]) -> float | None:
    """The level at which a worthwhile share becomes a figure: the expected one, else today's typical edge."""
    asked = expected_level(trial, ready.name)
    return asked if asked is not None else next((m.mean for m in means if m.nozzle == ready.today), None)


def _tests(studied: Studied) -> tuple[tuple[TermTest, ...], tuple[Finding, ...]]:
    """Tests of the terms; for grades also what the ordered model says."""
    ready = studied.ready
    tests = term_tests(Fitted(ready, studied.fit, studied.judged))
    if ready.quantity.scale != "grade":
        return tests, ()
    tests, moved = shuffled(ready, tests)
    return tests, (*moved, *against_reference(ready, studied.graded))


def _nozzle_df(ready: Prepared, tests: Sequence[TermTest]) -> float | None:
    if not ready.structure.replicated:
        return None
    return next((t.den_df for t in tests if t.term == NOZZLE), None)


def _refused(error: TrialError) -> tuple[Finding, ...]:
    return (Finding(StudyKind.REFUSED, facts={"why": str(error)}),)


def _not_studied(trial: Trial, name: str, table: pd.DataFrame, why: tuple[Finding, ...]) -> ResponseResult:
    quantity = trial.quantity(name)
    return ResponseResult(
        response=name,
        label=quantity.label,
        symbol=quantity.short,
        scale=quantity.scale,
        unit=quantity.unit,
        primary=trial.responses[name].primary,
        n_readings=len(table),
        n_coupons=int(table["coupon"].nunique()) if len(table) else 0,
        state=State.NOT_STUDIED,
        said=(Finding(StudyKind.NOT_STUDIED, About(response=name), weight=Weight.LOOK_AT), *why),
    )


def _cautious(studied: Studied, tests: Sequence[TermTest]) -> list[Finding]:
    """How types were judged; sources of spread that came out as zero, and what follows."""
    variances, word = studied.fit.variances, studied.ready.structure.block_word
    total = sum(variances.values())
    zero = [g for g, v in variances.items() if v <= NOTHING * total and g != "reading"]
    found = list(studied.judged.said)
    if zero:
        beside = any(t.F_classical is not None for t in tests)
        facts: dict[str, Fact] = {"sources": tuple(zero), "block": word, "classical_beside": beside}
        found.append(Finding(StudyKind.SPREAD_ZERO, facts=facts))
    return found


def _outside(ready: Prepared, allowed: Allowed, place: Place) -> list[Finding]:
    """Types compared at a setting that they were not allowed to cut."""
    if len(place.settings) != 1:
        return []
    point = tuple(place.settings[0].values())
    names = tuple(t for t in ready.types if t in allowed and not _within(point, allowed[t]))
    about = About(nozzles=names, place=place)
    return [Finding(StudyKind.OUTSIDE_OWN_SETTINGS, about, weight=Weight.COULD_CHANGE)] if names else []


def _within(point: tuple[Level, ...], settings: Sequence[tuple[Level, ...]]) -> bool:
    return all(_reached(level, [s[i] for s in settings]) for i, level in enumerate(point))


def _reached(level: Level, cut: Sequence[Level]) -> bool:
    if isinstance(level, str):
        return level in cut
    figures = [x for x in cut if not isinstance(x, str)]
    return min(figures) - 1e-9 <= level <= max(figures) + 1e-9  # settings are typed with few digits


def _more(
    found: Fitted, place: Place, levels: Levels, margins: Margins | None, comparisons: Sequence[Comparison]
) -> tuple[Finding, ...]:
    """How many more specimens or mounts would settle what is not settled."""
    ready, worthwhile = found.ready, None if margins is None else margins.smaller
    if worthwhile is None or not any(c.answer == "not settled" for c in comparisons):
        return ()
    if not ready.structure.replicated:
        return (Finding(StudyKind.ONE_PIECE_OF_EACH),)
    specimens, today = specimens_of(ready)
    pieces = (len(ready.types) - 1 + today) * specimens
    coupons = ready.table["coupon"].nunique()
    mounts = max(1, round(per_type(ready, "mount") * len(ready.types) / pieces))
    counts = Counts(
        types=len(ready.types),
        specimens=specimens,
        mounts=mounts,
        coupons=_coupons_worth(ready, place),
        readings=max(1, round(len(ready.table) / coupons)),
        sheets=max(1, ready.structure.counts.get("sheet", 1)),
        coupons_cut=coupons / (pieces * mounts),
        terms=ready.fixed.shape[1] - len(ready.types),
        today=today,
    )
    needed = specimens_needed(found.fit.variances, worthwhile, counts, levels)
    return (needed.finding(),)


def _coupons_worth(ready: Prepared, place: Place) -> float:
    """How many coupons of one mount a mean at the place is worth, from the coupon-level least squares variance."""
    first = ready.table.drop_duplicates("coupon").index.to_numpy()
    rows = mean_rows(ready, place)
    spread = np.linalg.pinv(ready.fixed[first].T @ ready.fixed[first])
    variance = float(np.mean(np.einsum("ij,jk,ik->i", rows, spread, rows)))
    mounts = ready.table["mount"].nunique() if "mount" in ready.table else len(ready.types)
    return 1.0 / variance / max(1.0, mounts / len(ready.types))
