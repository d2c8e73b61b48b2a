"""How long nozzles (or lenses) of each type last: lives, ratios against today's, and what they cannot say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trials.decide.wording import number
from trials.errors import InputError, NotIdentifiable, TrialError, WrongShape
from trials.infer.life import (
    LifeFit,
    LifeRatio,
    ShapeCheck,
    SurvivalTable,
    bound_without_failures,
    check_shape,
    fit_life,
    life_ratio,
    survival_table,
)
from trials.infer.life.regression import CHARACTERISTIC

FEW = 5
"""Failures of a type below which its interval is called rough."""


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

    ratios: one per other type under one Weibull shape, the same at every quantile; own_shapes: at each quantile with
    a shape of its own for each type; shape: the common one (assumed where nothing failed); confidence: of each ratio,
    shared out over the types compared; sentences: the answer first; cautions: what these lives cannot say.
    """

    unit: str
    today: str
    shape: float
    shape_assumed: bool
    types: tuple[TypeLife, ...]
    ratios: tuple[LifeRatio, ...]
    own_shapes: tuple[LifeRatio, ...]
    shape_check: ShapeCheck | None
    confidence: float
    sentences: tuple[str, ...]
    cautions: tuple[str, ...]


def study_lives(
    time: Sequence[float],
    failed: Sequence[bool],
    types: Sequence[str],
    today: str,
    unit: str,
    quantiles: Sequence[float] = (0.1, 0.5),
    shape: float | None = None,
) -> LifeStudy:
    """Weibull lives by type, compared with today's.

    time (n,) above zero in `unit`; failed (n,); types (n,) labels in the order they are to be shown; quantiles: shares
    failed at which lives are stated; shape: Weibull shape to assume where nothing failed at all.

    Raises
    ------
    InputError
        If today's type is not in the table or a quantile is not between 0 and 1.
    NotIdentifiable
        If nothing failed and no shape is assumed, or the lives fix no shape.
    WrongShape, NotFinite
        If the lives are not usable numbers.
    """
    at, gone = np.asarray(time, dtype=float), np.asarray(failed, dtype=float)
    labels = np.asarray(types).astype(str)
    names = list(dict.fromkeys(labels))
    _check(names, today, quantiles, shape)
    if gone.size and not gone.any():
        return _nothing_failed(at, gone, labels, names, today, unit, quantiles, shape)
    fit = fit_life(at, gone, (labels[:, None] == np.array(names)).astype(float))
    others = [name for name in names if name != today]
    confidence = 1.0 - 0.05 / max(len(others), 1)
    ratios, said = _ratios(at, gone, labels, today, others, confidence)
    known = tuple(_type_life(fit, at, gone, labels, names, name, quantiles) for name in names)
    checked = _shape_check(at, gone, labels)
    own = _own_shapes(at, gone, labels, today, others, (CHARACTERISTIC, *quantiles), confidence)
    sentences = [
        *(_answer(ratio, confidence) for ratio in ratios),
        *said,
        *(_type_words(each, unit, "97.5 %") for each in known),
    ]
    return LifeStudy(
        unit=unit,
        today=today,
        shape=fit.shape,
        shape_assumed=False,
        types=known,
        ratios=ratios,
        own_shapes=own,
        shape_check=checked,
        confidence=confidence,
        sentences=tuple(sentences),
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


def _ratios(
    at: np.ndarray, gone: np.ndarray, labels: np.ndarray, today: str, others: Sequence[str], confidence: float
) -> tuple[tuple[LifeRatio, ...], list[str]]:
    """Ratios under one shape, and a sentence for each pair that has none."""
    found, said = [], []
    for name in others:
        try:
            found.append(life_ratio(at, gone, labels, name, today, confidence=confidence))
        except NotIdentifiable as error:
            said.append(str(error))
    return tuple(found), said


def _own_shapes(
    at: np.ndarray,
    gone: np.ndarray,
    labels: np.ndarray,
    today: str,
    others: Sequence[str],
    quantiles: Sequence[float],
    confidence: float,
) -> tuple[LifeRatio, ...]:
    """Ratios with a shape for each type, where both types have failures that fix one."""
    found = []
    for name in others:
        for quantile in quantiles:
            try:
                found.append(life_ratio(at, gone, labels, name, today, quantile, False, confidence))
            except (NotIdentifiable, WrongShape):
                break
    return tuple(found)


def _shape_check(at: np.ndarray, gone: np.ndarray, labels: np.ndarray) -> ShapeCheck | None:
    try:
        return check_shape(at, gone, labels)
    except TrialError:
        return None


def _type_life(
    fit: LifeFit,
    at: np.ndarray,
    gone: np.ndarray,
    labels: np.ndarray,
    names: Sequence[str],
    name: str,
    quantiles: Sequence[float],
) -> TypeLife:
    own = labels == name
    row = np.array([float(other == name) for other in names])
    drop = _drop(fit, sum(bool(gone[labels == other].any()) for other in names))
    lives = []
    for quantile in (CHARACTERISTIC, *quantiles):
        value, _ = fit.log_life(row, quantile)
        low, high = fit.limits_at_drop(row, quantile, drop)
        lives.append(LifeAt(quantile, *(float(x) for x in np.exp([value, low, high]))))
    return TypeLife(
        nozzle=name,
        n=int(own.sum()),
        failures=int(gone[own].sum()),
        longest=float(at[own].max()),
        at=tuple(lives),
        survival=survival_table(at[own], gone[own]),
        curve=_curve(lives[0].life, fit.shape, float(at.max())),
    )


def _drop(fit: LifeFit, kinds: int) -> float:
    """How far a 95 % profile limit lies under the supremum; allows for few failures as the limits of a ratio do."""
    from scipy.stats import t

    df = max(fit.failures - kinds, 1)
    return 0.5 * fit.failures * float(np.log1p(t.ppf(0.975, df) ** 2 / df))


def _curve(life: float, shape: float, last: float) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
    if not np.isfinite(life):
        return None
    at = np.linspace(0.0, last, 80)
    return tuple(at.tolist()), tuple(np.exp(-((at / life) ** shape)).tolist())


def _nothing_failed(
    at: np.ndarray,
    gone: np.ndarray,
    labels: np.ndarray,
    names: Sequence[str],
    today: str,
    unit: str,
    quantiles: Sequence[float],
    shape: float | None,
) -> LifeStudy:
    """A lower bound for each type under an assumed shape; no comparison."""
    if shape is None:
        raise NotIdentifiable(
            "Nothing failed, so neither life nor ratio can be estimated; run them longer, or assume a Weibull shape "
            "(--shape 2) for a lower bound of each type's life."
        )
    known = []
    for name in names:
        own = labels == name
        bound = bound_without_failures(at[own], shape)
        lives = tuple(
            LifeAt(q, np.inf, bound * float(-np.log1p(-q)) ** (1 / shape), np.inf) for q in (CHARACTERISTIC, *quantiles)
        )
        table = survival_table(at[own], gone[own])
        known.append(TypeLife(name, int(own.sum()), 0, float(at[own].max()), lives, table, None))
    lead = f"Nothing failed, so types cannot be compared; bounds assume a Weibull shape of {shape:g}."
    return LifeStudy(
        unit=unit,
        today=today,
        shape=shape,
        shape_assumed=True,
        types=tuple(known),
        ratios=(),
        own_shapes=(),
        shape_check=None,
        confidence=0.95,
        sentences=(lead, *(_type_words(each, unit, "95 %") for each in known)),
        cautions=("The shape is an assumption: a smaller one gives another bound. Run them longer.",),
    )


def _answer(found: LifeRatio, confidence: float) -> str:
    """One comparison in words."""
    level, one_sided = f"{100 * confidence:.3g} %", f"{50 * (1 + confidence):.3g} % confidence"
    if np.isinf(found.ratio):
        least = f"at least {found.low:.2f} times as long as today's {found.against}"
        size = f"{found.of} never failed: it lasts {least} ({one_sided})"
    elif found.ratio == 0:
        most = f"at most {found.high:.2f} times as long"
        size = f"today's {found.against} never failed: {found.of} lasts {most} ({one_sided})"
    else:
        lasts = f"lasts {found.ratio:.2f} times as long as today's {found.against}"
        size = f"{found.of} {lasts} ({level} interval {found.low:.2f} to {found.high:.2f})"
    if found.low > 1:
        end = "longer lives are shown."
    elif found.high < 1:
        end = "shorter lives are shown."
    else:
        end = "no difference is shown, and none is ruled out within these limits."
    return f"{size}; {end}"


def _type_words(each: TypeLife, unit: str, confidence: str) -> str:
    """Lives of one type in words; confidence: of a bound on one side, where the type never failed."""
    life = each.at[0]
    lead = f"{each.nozzle}: {each.failures} of {each.n} failed"
    if np.isinf(life.life):
        return f"{lead}; characteristic life above {number(life.low)} {unit} ({confidence} confidence)."
    limits = f"{number(life.low)} to {number(life.high)}" if np.isfinite(life.high) else f"above {number(life.low)}"
    return f"{lead}; characteristic life {number(life.life)} {unit} (95 % interval {limits})."


def _cautions(known: Sequence[TypeLife], shape: float, checked: ShapeCheck | None) -> list[str]:
    said = []
    if checked is None:
        said.append("Whether the types share one Weibull shape cannot be checked with these failures; it is assumed.")
    elif checked.p < 0.05:
        shapes = ", ".join(f"{name} {value:.2f}" for name, value in checked.shapes.items())
        said.append(
            f"The types do not share one Weibull shape (p {checked.p:.3f}; {shapes}): the ratio depends on the share "
            "failed, so read the ratios with shapes of their own."
        )
    else:
        said.append(f"One Weibull shape for all types ({shape:.2f}) is not contradicted (p {checked.p:.2f}).")
    if shape < 1:
        said.append("The shape is below 1: early failures, not wear. Look for damage and mounting faults.")
    few = [each.nozzle for each in known if each.failures < FEW]
    if few:
        said.append(f"Fewer than {FEW} failures of {', '.join(few)}: the limits are rough.")
    far = [each.nozzle for each in known if np.isfinite(each.at[0].life) and each.at[0].life > each.longest]
    if far:
        said.append(
            f"The characteristic life of {', '.join(far)} lies beyond the longest life seen, so it rests on the "
            "Weibull curve."
        )
    said.append("A specimen taken off while still good is taken to be no nearer to failure than the others.")
    return said


def detectable_ratio(sd: float, failures: int) -> float:
    """Ratio of two characteristic lives that is detected with 80 % chance at level 0.05, two-sided.

    sd: standard deviation of log life between specimens, turned into a Weibull shape pi / (sqrt(6) sd); failures: of
    each of the two types. Normal approximation with the shape known: the log characteristic life of n failures has
    variance 1 / (n shape**2).

    Raises
    ------
    WrongShape
        If the spread is not above zero or there is no failure.
    """
    from scipy.stats import norm

    if not sd > 0 or failures < 1:
        raise WrongShape("A spread above zero and one failure or more are needed; state the expected spread of lives.")
    scale = sd * np.sqrt(6.0) / np.pi
    return float(np.exp((norm.ppf(0.975) + norm.ppf(0.8)) * scale * np.sqrt(2.0 / failures)))
