"""Dross grades: what an ordered model says of them, and the nozzle test where a type is always the same."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trials.decide.measured import Place
from trials.decide.prepare import NOZZLE, Prepared
from trials.decide.results import TermTest
from trials.errors import TrialError
from trials.infer.checks import Shuffle, shuffle_test
from trials.infer.ordinal import OrdinalFit, fit_ordinal, proportional_odds

Array = NDArray[np.float64]


def _names(ready: Prepared) -> list[str]:
    return [t.name for t in ready.model.terms if len(set(t.parts)) == 1 and t.parts[0] != NOZZLE]


def _columns(ready: Prepared, matrix: Array, labels: NDArray) -> Array:
    """Columns of the ordered model: each type against the reference, then slopes and squares of the settings."""
    slices = ready.model.slices()
    dummies = [(labels == t).astype(float)[:, None] for t in _others(ready)]
    return np.hstack([*dummies, *(matrix[:, slices[name]] for name in _names(ready)), np.empty((len(matrix), 0))])


def _others(ready: Prepared) -> list[str]:
    return [t for t in ready.types if t != (ready.today or ready.types[0])]


def fit_grades(ready: Prepared) -> OrdinalFit | None:
    """Cumulative-logit model of the worst grade per coupon with a specimen effect; None where the grades carry none."""
    labels = ready.table[NOZZLE].to_numpy(object)
    try:
        return fit_ordinal(ready.y, _columns(ready, ready.fixed, labels), ready.structure.groups.get("specimen"))
    except TrialError:
        return None


def grade_row(ready: Prepared, label: str, place: Place) -> Array:
    """Row (k,) of the ordered model for one type at a place."""
    table = {a.name: [label if a.name == NOZZLE else p[a.name] for p in place.settings] for a in ready.model.axes}
    matrix = ready.model.matrix(table) if table else ready.fixed[:1]
    return _columns(ready, matrix, np.array([label] * len(matrix), dtype=object)).mean(axis=0)


def always_same(ready: Prepared) -> dict[str, float]:
    """Types all of whose coupons have one grade, with that grade."""
    found = ready.table.groupby(NOZZLE, sort=False)["value"].agg(["min", "max"])
    return {str(t): float(row["min"]) for t, row in found.iterrows() if row["min"] == row["max"]}


def _shuffle(ready: Prepared) -> Shuffle | None:
    """Whole specimens shuffled within sheets by their mean grade; None where no specimens are named."""
    specimen = ready.structure.groups.get("specimen")
    if specimen is None or len(ready.types) < 2:
        return None
    _, first, place = np.unique(specimen.astype(str), return_index=True, return_inverse=True)
    means = np.bincount(place, ready.y) / np.bincount(place)
    sheet = ready.table["sheet"].to_numpy(object)[first] if "sheet" in ready.table else None
    return shuffle_test(means, ready.table[NOZZLE].to_numpy(object)[first], sheet)


def _same_words(same: dict[str, float]) -> str:
    return "; ".join(f"{t} always has grade {g:g}" for t, g in same.items())


def without_spread(ready: Prepared) -> str:
    """What grades say that leave no spread to judge by."""
    if len(set(ready.y)) == 1:
        return f"Every coupon has grade {ready.y[0]:g}: the grades tell no nozzle from another."
    same, found = always_same(ready), _shuffle(ready)
    if not same or found is None:
        return "The grades leave no spread to judge by; compare them by eye."
    return f"{_same_words(same)}. Shuffling whole specimens within sheets: {found.sentence()}"


def shuffled(ready: Prepared, tests: tuple[TermTest, ...]) -> tuple[tuple[TermTest, ...], list[str]]:
    """Where a type is always the same, the nozzle test is done by shuffling specimens within sheets."""
    same, found = always_same(ready), _shuffle(ready)
    if not same or found is None:
        return tests, []
    said = f"{_same_words(same)}, so the nozzle test shuffles whole specimens within sheets. {found.sentence()}"
    moved = tuple(replace(t, p=found.p, strata_F=None, strata_p=None) if t.term == NOZZLE else t for t in tests)
    return moved, [said]


def grade_sentences(ready: Prepared, fit: OrdinalFit | None) -> list[str]:
    """What the ordered model says of each type against the reference, with separation named."""
    reference = ready.today or ready.types[0]
    if fit is None:
        return ["The grades carry no ordered model: too few of them differ."]
    said = [_against(fit, i, label, reference) for i, label in enumerate(_others(ready))]
    return [text for text in said if text] + _proportional(fit, len(_others(ready)))


def _against(fit: OrdinalFit, i: int, label: str, reference: str) -> str:
    try:
        low, high = fit.profile(i)
    except TrialError:
        return ""
    value = fit.coefficients[i]
    if math.isinf(value):
        side, bound = ("lower", high) if value < 0 else ("higher", low)
        at = f"at most {math.exp(bound):.2g}" if value < 0 else f"at least {math.exp(bound):.2g}"
        limit = f"; the odds of a worse grade are {at} times those of {reference}" if math.isfinite(bound) else ""
        return f"{label} has {side} grades than {reference} throughout, so no finite estimate exists{limit}."
    return (
        f"The odds of a worse dross grade with {label} are {math.exp(value):.2g} times those of {reference} "
        f"(95 % interval {_bound(low)} to {_bound(high)}, specimens taken into account)."
    )


def _bound(value: float) -> str:
    return "0" if value == -math.inf else "no bound" if value == math.inf else f"{math.exp(value):.2g}"


def _proportional(fit: OrdinalFit, types: int) -> list[str]:
    if types == 0:
        return []
    try:
        found = proportional_odds(fit, tuple(range(types)))
    except TrialError:
        return []
    if not found.p < 0.01:
        return []
    return [
        f"The types do not shift all grades alike (p = {found.p:.2g}): compare the shares of each grade, not one odds "
        f"ratio."
    ]
