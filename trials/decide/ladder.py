"""Speed ladders: the fastest clean cut of each mount, and whether nozzle types differ in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trials.errors import InputError, NotIdentifiable
from trials.findings import Finding, Weight
from trials.infer.answer import levels
from trials.infer.mixed import MixedFit, fit_mixed
from trials.trial import LOST, Outcome


class Remark(StrEnum):
    """What a ladder leaves open."""

    NONE = ""
    NO_FAILURE = "clean to the last step"
    AT_ONCE = "not clean at the first step"


class LadderKind(StrEnum):
    """What there is to say beside the comparisons of a ladder."""

    CLEAN_TO_THE_LAST = "ladder_clean_to_the_last"
    NOT_CLEAN_AT_ALL = "ladder_not_clean_at_all"
    SPEEDS_RISE = "ladder_speeds_rise"


@dataclass(frozen=True)
class LadderComparison:
    """Fastest clean cut of one type less that of today's, in the unit of speed, with its interval."""

    nozzle: str
    against: str
    difference: float
    low: float
    high: float
    p: float
    df: float


@dataclass(frozen=True)
class LadderStudy:
    """ladders: `mount, nozzle, specimen, speed, remark`, one row per mount; unit of speed; said: beside the answer."""

    unit: str
    ladders: pd.DataFrame
    comparisons: tuple[LadderComparison, ...]
    confidence: float
    said: tuple[Finding, ...]


def fastest_clean(
    coupons: pd.DataFrame, grades: Mapping[str, float], dross_allowed: float, speed: str, others: list[str]
) -> pd.DataFrame:
    """The fastest clean cut before the first failure, one row per mount.

    coupons: as cut, `coupon, mount, nozzle, specimen, outcome`, the columns `speed` and `others` (further factors, one
    ladder for each crossing, averaged within the mount). A coupon is clean if it was cut and its dross grade is at
    most `dross_allowed`; scrapped and uncut coupons and those without a grade say nothing. remark:
    `Remark.NO_FAILURE` where the speed is a lower bound, `AT_ONCE` where it counts as one step below the first.
    """
    rows = []
    for mount, part in coupons.groupby("mount", sort=False):
        found = [_fastest(ladder, grades, dross_allowed, speed) for ladder in _ladders(part, others)]
        known = [one for one in found if one is not None]
        if known:
            first = part.iloc[0]
            remarks = [remark for _, remark in known if remark]
            mean = float(np.mean([value for value, _ in known]))
            rows.append([mount, first["nozzle"], first["specimen"], mean, remarks[0] if remarks else Remark.NONE])
    return pd.DataFrame(rows, columns=["mount", "nozzle", "specimen", "speed", "remark"])


def _ladders(part: pd.DataFrame, others: list[str]) -> list[pd.DataFrame]:
    return [rows for _, rows in part.groupby(others, sort=False)] if others else [part]


def _fastest(
    ladder: pd.DataFrame, grades: Mapping[str, float], allowed: float, speed: str
) -> tuple[float, Remark] | None:
    """Fastest clean speed of one ladder and a remark; None where nothing of it is known."""
    best, steps = None, ladder[speed].astype(float).sort_values()
    for value, (_, row) in zip(steps, ladder.loc[steps.index].iterrows(), strict=True):
        if row["outcome"] in LOST:
            clean = False
        elif row["outcome"] == Outcome.CUT and row["coupon"] in grades:
            clean = grades[row["coupon"]] <= allowed
        else:
            continue
        if not clean:
            step = float(np.diff(steps.unique())[0]) if steps.nunique() > 1 else 0.0
            return (value - step, Remark.AT_ONCE) if best is None else (best, Remark.NONE)
        best = value
    return None if best is None else (best, Remark.NO_FAILURE)


def study_ladders(ladders: pd.DataFrame, types: tuple[str, ...], today: str, unit: str) -> LadderStudy:
    """Compare the fastest clean cut of each type with today's: mixed model by type, specimen random.

    ladders: as `fastest_clean` gives them. With one mount per specimen the specimens are the residual.

    Raises
    ------
    InputError
        If no ladder of today's type, or of any other, is known.
    NotIdentifiable
        If no type has a second mount or specimen, so that nothing is left to judge by.
    """
    present = [name for name in types if name in set(ladders["nozzle"])]
    if today not in present or len(present) < 2:
        raise InputError(
            "the ladders cannot be compared: graded cuts of today's type and of another are needed",
            do="Record dross grades with `trials record`.",
        )
    if len(ladders) <= len(present):
        raise NotIdentifiable("One ladder per type leaves nothing to judge by; cut a second mount or specimen.")
    names = [today, *(name for name in present if name != today)]
    fixed = (ladders["nozzle"].to_numpy(str)[:, None] == np.array(names)).astype(float)
    fit = _fit(ladders, fixed)
    confidence = levels(1).shared(len(names) - 1).difference
    found = []
    for i, name in enumerate(names[1:], 1):
        contrast = np.zeros(len(names))
        contrast[[0, i]] = -1.0, 1.0
        e = fit.estimate(contrast, confidence)
        found.append(LadderComparison(name, today, e.value, e.low, e.high, e.p, e.df))
    return LadderStudy(unit, ladders, tuple(found), confidence, tuple(_remarks(ladders)))


def _fit(ladders: pd.DataFrame, fixed: NDArray[np.float64]) -> MixedFit:
    speeds = ladders["speed"].to_numpy(float)
    specimens = ladders["specimen"].to_numpy(str)
    repeated = len(set(specimens)) < len(specimens) and len(set(specimens)) > fixed.shape[1]
    return fit_mixed(speeds, fixed, {"specimen": specimens} if repeated else {})


def _remarks(ladders: pd.DataFrame) -> list[Finding]:
    """Mounts whose limit lies beyond their ladder, and what a ladder cannot say."""
    beyond = (
        (LadderKind.CLEAN_TO_THE_LAST, Remark.NO_FAILURE),
        (LadderKind.NOT_CLEAN_AT_ALL, Remark.AT_ONCE),
    )
    found = []
    for kind, remark in beyond:
        mounts = tuple(map(str, ladders.loc[ladders["remark"] == remark, "mount"]))
        if mounts:
            found.append(Finding(kind, facts={"mounts": mounts}, weight=Weight.LOOK_AT))
    return [*found, Finding(LadderKind.SPEEDS_RISE)]
