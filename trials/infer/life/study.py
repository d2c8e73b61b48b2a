"""How long nozzles (or lenses) of each type last: lives, ratios against today's type, and what they cannot say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from trials.errors import InputError, NotIdentifiable, TrialError
from trials.findings import About, Fact, Finding, Weight
from trials.infer.answer import Levels, levels
from trials.infer.life.kinds import LifeKind
from trials.infer.life.ratio import (
    LifeRatio,
    ShapeCheck,
    SurvivalTable,
    bound_without_failures,
    check_shape,
    life_ratio,
    survival_table,
)
from trials.infer.life.regression import CHARACTERISTIC, LifeFit, fit_life

Array = NDArray[np.float64]
Labels = NDArray[np.str_]

FEW = 5
"""Failures of a type below which its interval is called rough (common practice, no source)."""
OWN_SHAPE = 2
"""Failures below which a type has no shape of its own: one failure fits any."""
SHAPES_DIFFER = 0.05
"""p below which types are said not to share one Weibull shape."""


@dataclass(frozen=True)
class LifeAt:
    """Life by which the share `quantile` of a type has failed, with limits; infinite where nothing bounds it."""

    quantile: float
    life: float
    low: float
    high: float


@dataclass(frozen=True)
class TypeLife:
    """Lives of one type. at: characteristic life first, then each quantile asked; curve: Weibull line (time, good)."""

    nozzle: str
    n: int
    failures: int
    longest: float
    at: tuple[LifeAt, ...]
    survival: SurvivalTable
    curve: tuple[tuple[float, ...], tuple[float, ...]] | None


@dataclass(frozen=True)
class LifeStudy:
    """Lives by type against today's.

    today: the type compared with; types: in the order they came; ratios: one per other type under one Weibull shape,
    the same at every quantile, with limits at `confidence`; narrow: the same with limits at `sameness`, for the word;
    own_shapes: at each quantile with a shape of its own for each type; shape: the common one (assumed where nothing
    failed); confidence, sameness: of each ratio, shared out over the types compared; not_compared: types that have no
    ratio; said: what there is to say beside the numbers; cautions: what these lives cannot say.
    """

    today: str
    shape: float
    shape_assumed: bool
    types: tuple[TypeLife, ...]
    ratios: tuple[LifeRatio, ...] = ()
    narrow: tuple[LifeRatio, ...] = ()
    own_shapes: tuple[LifeRatio, ...] = ()
    shape_check: ShapeCheck | None = None
    confidence: float = 0.95
    sameness: float = 0.90
    not_compared: tuple[str, ...] = ()
    said: tuple[Finding, ...] = ()
    cautions: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class _Lives:
    """Lives as arrays (n,); names: types in order; others: those compared with today's."""

    time: Array
    failed: Array
    labels: Labels
    today: str
    names: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "names", tuple(dict.fromkeys(self.labels.tolist())))

    @property
    def others(self) -> tuple[str, ...]:
        return tuple(name for name in self.names if name != self.today)

    def ratio(self, of: str, confidence: float) -> LifeRatio:
        return life_ratio(self.time, self.failed, self.labels, of, self.today, confidence=confidence)


def study_lives(
    time: Sequence[float],
    failed: Sequence[bool],
    types: Sequence[str],
    today: str,
    quantiles: Sequence[float] = (0.1, 0.5),
    shape: float | None = None,
    at: Levels | None = None,
) -> LifeStudy:
    """Weibull lives by type, compared with today's.

    time (n,) above zero; failed (n,); types (n,) labels in the order they are to be shown; quantiles: shares failed at
    which lives are stated; shape: Weibull shape to assume where nothing failed at all; at: confidence of all ratios
    together, that of one primary response and one look if left out.

    Raises
    ------
    InputError
        If today's type is not in the table, a quantile is not between 0 and 1, or an assumed shape not above zero.
    NotIdentifiable
        If nothing failed and no shape is assumed, or the lives fix no shape.
    WrongShape, WrongArgument, NotFinite
        If the lives are not usable numbers.
    """
    lives = _Lives(np.asarray(time, float), np.asarray(failed, float), np.asarray(types).astype(str), today)
    _check(lives.names, today, quantiles, shape)
    if lives.failed.size and not lives.failed.any():
        return _nothing_failed(lives, quantiles, shape)
    fit = fit_life(lives.time, lives.failed, (lives.labels[:, None] == np.array(lives.names)).astype(float))
    shared = (at or levels(1)).shared(len(lives.others))
    confidence, sameness = shared.difference, shared.sameness
    compared = [name for name in lives.others if _some_failed(lives, name)]
    known = tuple(_type_life(fit, lives, name, quantiles) for name in lives.names)
    checked = _shape_check(lives)
    return LifeStudy(
        today=today,
        shape=fit.shape,
        shape_assumed=False,
        types=known,
        ratios=tuple(lives.ratio(name, confidence) for name in compared),
        narrow=tuple(lives.ratio(name, sameness) for name in compared),
        own_shapes=_own_shapes(lives, (CHARACTERISTIC, *quantiles), confidence),
        shape_check=checked,
        confidence=confidence,
        sameness=sameness,
        not_compared=tuple(name for name in lives.others if name not in compared),
        said=tuple(_neither(name, today) for name in lives.others if name not in compared),
        cautions=tuple(_cautions(known, fit.shape, checked)),
    )


def _check(names: Sequence[str], today: str, quantiles: Sequence[float], shape: float | None) -> None:
    if shape is not None and not (np.isfinite(shape) and shape > 0):
        raise InputError("the assumed shape must be above zero", found=shape, do="2 stands for gradual wear.")
    if today not in names:
        raise InputError(
            "today's type is not in the table", found=today, allowed=", ".join(names), do="Name one of them as today's."
        )
    for quantile in quantiles:
        if not 0 < quantile < 1:
            raise InputError(
                "a share failed must lie between 0 and 1",
                found=quantile,
                do="0.1 is the life that nine in ten outlast.",
            )


def _some_failed(lives: _Lives, name: str) -> bool:
    """Whether a type or today's has a failure, without which no ratio exists."""
    return bool(lives.failed[(lives.labels == name) | (lives.labels == lives.today)].any())


def _neither(name: str, today: str) -> Finding:
    return Finding(LifeKind.NEITHER_FAILED, About(nozzle=name, against=today), weight=Weight.LOOK_AT)


def _own_shapes(lives: _Lives, quantiles: Sequence[float], confidence: float) -> tuple[LifeRatio, ...]:
    """Ratios with a shape for each type, where both types have failures that fix one."""
    found: list[LifeRatio] = []
    for name in lives.others:
        if min(lives.failed[lives.labels == kind].sum() for kind in (name, lives.today)) < OWN_SHAPE:
            continue
        for quantile in quantiles:
            try:
                found.append(
                    life_ratio(lives.time, lives.failed, lives.labels, name, lives.today, quantile, False, confidence)
                )
            except NotIdentifiable:
                break
    return tuple(found)


def _shape_check(lives: _Lives) -> ShapeCheck | None:
    try:
        return check_shape(lives.time, lives.failed, lives.labels)
    except TrialError:
        return None


def _type_life(fit: LifeFit, lives: _Lives, name: str, quantiles: Sequence[float]) -> TypeLife:
    own = lives.labels == name
    row = np.array([float(other == name) for other in lives.names])
    drop = _drop(fit, sum(bool(lives.failed[lives.labels == other].any()) for other in lives.names))
    found = [_life_at(fit, row, quantile, drop) for quantile in (CHARACTERISTIC, *quantiles)]
    return TypeLife(
        nozzle=name,
        n=int(own.sum()),
        failures=int(lives.failed[own].sum()),
        longest=float(lives.time[own].max()),
        at=tuple(found),
        survival=survival_table(lives.time[own], lives.failed[own]),
        curve=_curve(found[0].life, fit.shape, float(lives.time.max())),
    )


def _life_at(fit: LifeFit, row: Array, quantile: float, drop: float) -> LifeAt:
    value, _ = fit.log_life(row, quantile)
    low, high = fit.limits_at_drop(row, quantile, drop)
    return LifeAt(quantile, float(np.exp(value)), float(np.exp(low)), float(np.exp(high)))


def _drop(fit: LifeFit, kinds: int) -> float:
    """How far a 95 % profile limit lies under the supremum; allows for few failures as the limits of a ratio do."""
    df = max(fit.failures - kinds, 1)
    return 0.5 * fit.failures * float(np.log1p(stdtrit(df, 0.975) ** 2 / df))


def _curve(life: float, shape: float, last: float) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
    if not np.isfinite(life):
        return None
    at = np.linspace(0.0, last, 80)
    return tuple(at.tolist()), tuple(np.exp(-((at / life) ** shape)).tolist())


def _nothing_failed(lives: _Lives, quantiles: Sequence[float], shape: float | None) -> LifeStudy:
    """A lower bound for each type under an assumed shape; no comparison."""
    if shape is None:
        raise NotIdentifiable(
            "Nothing failed, so neither life nor ratio can be estimated; run them longer, or assume a Weibull shape "
            "(--shape 2) for a lower bound of each type's life."
        )
    return LifeStudy(
        today=lives.today,
        shape=shape,
        shape_assumed=True,
        types=tuple(_bounded(lives, name, quantiles, shape) for name in lives.names),
        not_compared=lives.others,
        said=(Finding(LifeKind.NOTHING_FAILED, facts={"shape": shape}, weight=Weight.LOOK_AT),),
        cautions=(Finding(LifeKind.SHAPE_ASSUMED, facts={"shape": shape}, weight=Weight.LOOK_AT),),
    )


def _bounded(lives: _Lives, name: str, quantiles: Sequence[float], shape: float) -> TypeLife:
    own = lives.labels == name
    bound = bound_without_failures(lives.time[own], shape)
    found = tuple(
        LifeAt(q, np.inf, bound * float(-np.log1p(-q)) ** (1 / shape), np.inf) for q in (CHARACTERISTIC, *quantiles)
    )
    table = survival_table(lives.time[own], lives.failed[own])
    return TypeLife(name, int(own.sum()), 0, float(lives.time[own].max()), found, table, None)


def _cautions(known: Sequence[TypeLife], shape: float, checked: ShapeCheck | None) -> list[Finding]:
    said = [_shapes(shape, checked)]
    if shape < 1:
        said.append(Finding(LifeKind.EARLY_FAILURES, facts={"shape": shape}, weight=Weight.LOOK_AT))
    few = tuple(each.nozzle for each in known if each.failures < FEW)
    if few:
        said.append(Finding(LifeKind.FEW_FAILURES, About(nozzles=few), {"few": FEW}, Weight.LOOK_AT))
    far = tuple(each.nozzle for each in known if np.isfinite(each.at[0].life) and each.at[0].life > each.longest)
    if far:
        said.append(Finding(LifeKind.BEYOND_LONGEST, About(nozzles=far), weight=Weight.LOOK_AT))
    return [*said, Finding(LifeKind.TAKEN_OFF_LIKE_OTHERS)]


def _shapes(shape: float, checked: ShapeCheck | None) -> Finding:
    """Whether the types share one Weibull shape."""
    if checked is None:
        return Finding(LifeKind.SHAPES_NOT_CHECKED)
    facts: dict[str, Fact] = {"p": checked.p, "shape": shape, "shapes": tuple(checked.shapes.items())}
    if checked.p < SHAPES_DIFFER:
        return Finding(LifeKind.SHAPES_DIFFER, facts=facts, weight=Weight.COULD_CHANGE)
    return Finding(LifeKind.SHAPES_ALIKE, facts=facts, weight=Weight.NOTHING_FOUND)
