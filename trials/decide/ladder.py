"""The answer of a ladder trial: the fastest clean cut of each type, in four words, from what was cut and graded."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
import pandas as pd

from trials.decide.clean_speed import (
    CleanSpeed,
    CleanSpeedComparison,
    CleanSpeedStudy,
    Worthwhile,
    mount_steps,
    study_clean_speed,
)
from trials.errors import TrialError
from trials.findings import Amount, Fact, Finding, Place, PlaceKind, Weight
from trials.infer.answer import Added, Answer, Levels
from trials.plan.power import Counts, specimens_needed
from trials.trial import Method, Trial
from trials.units import step_difference


class LadderKind(StrEnum):
    """What there is to say of a ladder beside its comparisons."""

    CLEAN_MEANS = "ladder_clean_means"
    CLEAN_TO_THE_LAST = "ladder_clean_to_the_last"
    NOT_CLEAN_AT_ALL = "ladder_not_clean_at_all"
    SAYS_NOTHING = "ladder_says_nothing"
    ONE_STEP_WIDE = "ladder_one_step_wide"
    BELOW_THE_LADDER = "ladder_below_the_steps"
    JUDGED_BY = "ladder_judged_by"
    SPEEDS_RISE = "ladder_speeds_rise"
    THICKNESS_RISES = "ladder_thickness_rises"
    NO_WORTHWHILE = "ladder_no_worthwhile"
    NOT_COMPARED = "ladder_not_compared"
    CONSIDER = "ladder_consider"
    NO_CHANCE_AT_ONE_STEP = "ladder_no_chance_at_one_step"


@dataclass(frozen=True)
class MountLadder:
    """One mount: its last clean step and the first unclean one; NaN where there is none."""

    mount: str
    nozzle: str
    specimen: str
    low: float
    high: float


@dataclass(frozen=True)
class LadderComparison:
    """One type against today's in its fastest clean cut; fields as in every comparison of a study."""

    nozzle: str
    against: str
    settings: Place
    kind: str
    value: float
    low: float
    high: float
    p: float
    answer: Answer | None
    answer_adds: Added | None
    confidence: float
    in_unit: tuple[float, float, float]
    times_worthwhile: float | None
    times_spread: float | None


@dataclass(frozen=True)
class LadderAnswer:
    """Everything found of the fastest clean cut.

    Attributes:
        rising: the factor that rises, speed or thickness; unit: of its steps; today: the type compared with; place:
            where the ladders were cut.
        types, comparisons: empty where the ladders cannot be compared; said then tells why.
        mounts: every ladder that was cut; steps: lowest and highest step planned.
        pieces: by type its one specimen, where the answer is about these pieces and not about types.
        worthwhile: in the unit or as a share; None where none was declared.
        said: what stands beside the answer; more: what would settle it.
    """

    rising: str
    unit: str
    today: str
    place: Place
    types: tuple[CleanSpeed, ...] = ()
    comparisons: tuple[LadderComparison, ...] = ()
    mounts: tuple[MountLadder, ...] = ()
    steps: tuple[float, float] = (math.nan, math.nan)
    pieces: Mapping[str, str] = field(default_factory=dict)
    worthwhile: Worthwhile | None = None
    said: tuple[Finding, ...] = ()
    more: tuple[Finding, ...] = ()


def answer_ladder(
    trial: Trial, coupons: pd.DataFrame, dross: pd.DataFrame | None, levels: Levels
) -> LadderAnswer | None:
    """The fastest clean cut of every type; None where the trial is no ladder judged by dross.

    coupons: as cut, one row per coupon with the factor columns; dross: worst grade of each, `coupon, value`.
    """
    if trial.plan.method != Method.LADDER or not trial.rising or "dross" not in trial.responses:
        return None
    column = trial.factor_column(trial.rising)
    others = [trial.factor_column(name) for name in trial.factors if name != trial.rising]
    grades = {} if dross is None else dict(zip(dross["coupon"], dross["value"].astype(float), strict=True))
    allowed, stated = clean_grade(trial)
    mounts = mount_steps(coupons, grades, allowed, column, others)
    bare = _bare(trial, mounts, coupons[column].astype(float))
    clean = Finding(LadderKind.CLEAN_MEANS, facts={"grade": allowed, "stated": stated})
    try:
        found = study_clean_speed(mounts, trial.today.type, bare.worthwhile, levels, bare.unit)
    except TrialError as error:
        why = Finding(LadderKind.NOT_COMPARED, facts={"text": str(error)}, weight=Weight.COULD_CHANGE)
        return replace(bare, said=(why, clean, _rises(trial)))
    pieces = _pieces(bare.mounts) if any(c.one_specimen for c in found.comparisons) else {}
    means = {each.nozzle: each.typical for each in found.types}
    return replace(
        bare,
        types=found.types,
        comparisons=tuple(_compared(c, found, bare.place, means[found.today]) for c in found.comparisons),
        pieces=pieces,
        said=(clean, *_said(found), _rises(trial), Finding(LadderKind.NO_CHANCE_AT_ONE_STEP)),
        more=_more(trial, found, levels, bare.steps, coupons[column].nunique()),
    )


def clean_grade(trial: Trial) -> tuple[int, bool]:
    """Highest dross grade that counts as clean, and whether the trial file states one."""
    own = None if trial.clean is None else trial.clean.dross_grade
    asked = own if own is not None else trial.application.required.dross_grade
    return (0, False) if asked is None else (asked, True)


def _bare(trial: Trial, mounts: pd.DataFrame, steps: pd.Series[float]) -> LadderAnswer:
    units = {name: asked.unit for name, asked in trial.factors.items()}
    settings = {name: level for name, level in trial.today_settings.items() if name != trial.rising}
    several = any(len(asked.levels) > 1 for name, asked in trial.factors.items() if name != trial.rising)
    asked, unit = trial.clean, trial.factors[trial.rising].unit
    declared = None if asked is None else step_difference(asked.worthwhile, unit, trial.clean_name)
    kept = mounts[mounts["low"].notna() | mounts["high"].notna()]
    return LadderAnswer(
        rising=trial.rising,
        unit=unit,
        today=trial.today.type,
        place=Place(PlaceKind.STATED, ({} if several else settings,), units),
        mounts=tuple(MountLadder(*row) for row in _rows(kept)),
        steps=(float(steps.min()), float(steps.max())),
        worthwhile=None if declared is None else Worthwhile(*declared),
    )


def _rows(mounts: pd.DataFrame) -> list[tuple[str, str, str, float, float]]:
    names = ("mount", "nozzle", "specimen", "low", "high")
    columns = (mounts[name].tolist() for name in names)
    return [(str(m), str(n), str(s), float(a), float(b)) for m, n, s, a, b in zip(*columns, strict=True)]


def _pieces(mounts: tuple[MountLadder, ...]) -> dict[str, str]:
    """By type its one specimen; empty where some type had several, or a piece without a mark."""
    marks: dict[str, set[str]] = {}
    for each in mounts:
        marks.setdefault(each.nozzle, set()).add(each.specimen)
    alone = all(len(own) == 1 and "" not in own for own in marks.values())
    return {nozzle: next(iter(own)) for nozzle, own in marks.items()} if alone else {}


def _compared(c: CleanSpeedComparison, found: CleanSpeedStudy, place: Place, today: float) -> LadderComparison:
    span = (c.value, c.low, c.high)
    moved = span if c.kind == "difference" else tuple(today * (x - 1.0) for x in span)
    spread = math.hypot(found.mount_sd, found.specimen_sd)
    return LadderComparison(
        nozzle=c.nozzle,
        against=c.against,
        settings=place,
        kind=c.kind,
        value=c.value,
        low=c.low,
        high=c.high,
        p=c.p,
        answer=c.answer,
        answer_adds=c.answer_adds,
        confidence=found.confidence,
        in_unit=(moved[0], moved[1], moved[2]),
        times_worthwhile=_times(c, found.worthwhile),
        times_spread=abs(moved[0]) / spread if spread > 0 else None,
    )


def _times(c: CleanSpeedComparison, worthwhile: Worthwhile | None) -> float | None:
    """Size of a comparison in worthwhile differences of its own side."""
    if worthwhile is None or not math.isfinite(c.value) or (c.kind == "ratio" and c.value <= 0):
        return None
    size = math.log(c.value) if c.kind == "ratio" else c.value
    down, up = worthwhile.limits
    return size / up if size >= 0 else size / down


def _said(found: CleanSpeedStudy) -> tuple[Finding, ...]:
    """What the answer rests on, and what the ladders leave open."""
    rests: dict[str, Fact] = {"unit": found.judged_by, "n": found.units, "df": found.df, "pooled": found.pooled}
    listed = (
        (LadderKind.CLEAN_TO_THE_LAST, found.open_above),
        (LadderKind.NOT_CLEAN_AT_ALL, found.open_below),
        (LadderKind.SAYS_NOTHING, found.left_out),
    )
    said = [Finding(LadderKind.JUDGED_BY, facts=rests)]
    if found.worthwhile is None:
        said.append(Finding(LadderKind.NO_WORTHWHILE, weight=Weight.COULD_CHANGE))
    said += [Finding(kind, facts={"mounts": marks}, weight=Weight.LOOK_AT) for kind, marks in listed if marks]
    if found.sd_zero:
        said.append(Finding(LadderKind.ONE_STEP_WIDE, weight=Weight.LOOK_AT))
    for each in found.types:
        if math.isfinite(each.clean_95_low) and each.clean_95_low < found.first_step:
            facts: dict[str, Fact] = {"nozzle": each.nozzle, "speed": Amount(each.clean_95_low, found.unit)}
            facts["first"] = Amount(found.first_step, found.unit)
            said.append(Finding(LadderKind.BELOW_THE_LADDER, facts=facts, weight=Weight.LOOK_AT))
    return tuple(said)


def _rises(trial: Trial) -> Finding:
    """What the order inside a ladder may be taken for."""
    return Finding(LadderKind.THICKNESS_RISES if trial.rising == "thickness" else LadderKind.SPEEDS_RISE)


def _more(
    trial: Trial, found: CleanSpeedStudy, levels: Levels, ends: tuple[float, float], count: int
) -> tuple[Finding, ...]:
    """How many more specimens or mounts would settle what is not settled.

    A limit known to a step stands for one known exactly with a twelfth of the step squared added to its variance
    (Sheppard 1898); a share is taken at today's typical speed.
    """
    if found.worthwhile is None or not any(c.answer == Answer.NOT_SETTLED for c in found.comparisons):
        return ()
    typical = found.types[0].typical
    scale = 1.0 if found.worthwhile.kind == "difference" else typical
    if not (np.isfinite(scale) and scale > 0):
        return ()
    step = (ends[1] - ends[0]) / max(1, count - 1)
    specimens = max(1, round(float(np.mean([each.n_specimens for each in found.types]))))
    mounts = max(1, round(float(np.mean([each.n_mounts for each in found.types])) / specimens))
    variances = {
        "specimen": (found.specimen_sd / scale) ** 2,
        "mount": (found.mount_sd**2 + step**2 / 12.0) / scale**2,
    }
    counts = Counts(types=len(found.types), specimens=specimens, mounts=mounts)
    if counts.yardstick_df < 1:
        return ()
    return (specimens_needed(variances, found.worthwhile.limits[1], counts, levels).finding(),)
