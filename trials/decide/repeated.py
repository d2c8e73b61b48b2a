"""The answer repeated without what was flagged, and with zeros counted otherwise: does any word or size change?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from trials.decide.checking import far_coupons, far_mask
from trials.decide.kinds import StudyKind
from trials.decide.measured import compare
from trials.decide.prepare import Prepared, with_zeros_at, without
from trials.decide.results import Comparison
from trials.errors import TrialError
from trials.findings import Amount, Fact, Finding, Place, Weight
from trials.infer.answer import Levels
from trials.infer.mixed import MixedFit

QUARTER = 0.25  # of the instrument's step: half of what a zero counts as otherwise


class Fit(Protocol):
    """A response made ready, with its fit."""

    @property
    def ready(self) -> Prepared:
        """The response made ready."""
        ...

    @property
    def fit(self) -> MixedFit:
        """Its fit."""
        ...


@dataclass(frozen=True)
class Asked:
    """What types are compared by: place, levels, the worthwhile difference, and whether words are given."""

    place: Place
    levels: Levels
    worthwhile: float | None
    primary: bool


def repeated(
    found: Fit, asked: Asked, before: Sequence[Comparison], judge: Callable[[Prepared], Fit]
) -> tuple[Finding, ...]:
    """One finding for each repetition that these records call for; judge fits a response as the answer was."""
    if not before:
        return ()
    ready, made = found.ready, []
    named = set(far_coupons(ready, found.fit).about.coupons)
    far = far_mask(ready) | ready.table["coupon"].astype(str).isin(named).to_numpy()
    if far.any():
        after = _again(lambda: without(ready, far), asked, judge)
        made.append(_beside(StudyKind.WITHOUT_THE_FAR, int(far.sum()), before, after, ready.quantity.unit))
    zeros = int((ready.table["value"] <= 0).sum())
    if ready.quantity.scale == "log" and zeros:
        after = _again(lambda: with_zeros_at(ready, QUARTER), asked, judge)
        made.append(_beside(StudyKind.ZEROS_AT_A_QUARTER, zeros, before, after, ready.quantity.unit))
    return tuple(made)


def _again(
    make: Callable[[], Prepared], asked: Asked, judge: Callable[[Prepared], Fit]
) -> tuple[Comparison, ...] | str:
    try:
        by = judge(make())
        return compare(by.ready, by.fit, asked.place, asked.levels, asked.worthwhile, asked.primary)
    except TrialError as error:
        return str(error)


def _beside(
    kind: StudyKind, n: int, before: Sequence[Comparison], after: tuple[Comparison, ...] | str, unit: str
) -> Finding:
    """Facts: n readings; gone: types without a comparison now; sizes: (type, was, is, word was, word is) of each."""
    if isinstance(after, str):
        return Finding(kind, facts={"n": n, "problem": after}, weight=Weight.COULD_CHANGE)
    now = {c.nozzle: c for c in after}
    gone = tuple(b.nozzle for b in before if b.nozzle not in now)
    pairs = [(b, now[b.nozzle]) for b in before if b.nozzle in now]
    sizes = tuple((b.nozzle, _size(b, unit), _size(a, unit), b.answer, a.answer) for b, a in pairs)
    moved = bool(gone) or any(a.answer != b.answer for b, a in pairs)
    facts: dict[str, Fact] = {"n": n, "gone": gone, "sizes": sizes, "words_change": moved}
    return Finding(kind, facts=facts, weight=Weight.COULD_CHANGE if moved else Weight.NOTHING_FOUND)


def _size(c: Comparison, unit: str) -> Amount:
    return Amount(100.0 * (c.value - 1.0), "%") if c.kind == "ratio" else Amount(c.value, unit)
