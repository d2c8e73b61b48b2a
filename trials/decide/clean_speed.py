"""The fastest clean cut: each mount's speed limit between two steps of its ladder, and the types compared.

The same holds for any ladder of rising steps, a thickness limit among them: the column of steps and its unit are given.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from trials.errors import InputError, NotFinite
from trials.infer.answer import Added, Answer, Levels, answer
from trials.worthwhile import Margins

if TYPE_CHECKING:
    from trials.infer.ladder import LadderComparison, LadderTypes, TypeLadder

Kind = Literal["difference", "ratio"]
COLUMNS = ("nozzle", "specimen", "mount", "low", "high")


@dataclass(frozen=True)
class Worthwhile:
    """The difference declared worthwhile: a figure in the unit of the steps, or a share (0.15 for 15 %) of a ratio."""

    value: float
    kind: Kind

    @property
    def limits(self) -> tuple[float, float]:
        """Where a change becomes worthwhile, down and up, on the scale of the comparison (log for a ratio)."""
        if self.kind == "ratio":
            return float(np.log1p(-self.value)), float(np.log1p(self.value))
        return -self.value, self.value


@dataclass(frozen=True)
class CleanSpeed:
    """One nozzle type.

    Attributes:
        nozzle: the type; today: the one in use.
        typical, low, high: speed at which half of its mounts stop cutting clean, with its 95 % interval; infinite
            where the ladder gives no bound.
        clean_95, clean_95_low: speed at which 95 % of its mounts cut clean, and its 95 % lower bound.
        n_mounts, n_specimens: ladders that say something, and pieces they were cut with.
        n_censored_low: mounts without a clean step; n_censored_high: mounts clean to their last step.
    """

    nozzle: str
    today: bool
    typical: float
    low: float
    high: float
    clean_95: float
    clean_95_low: float
    n_mounts: int
    n_specimens: int
    n_censored_low: int
    n_censored_high: int


@dataclass(frozen=True)
class CleanSpeedComparison:
    """One type against today's: simultaneous interval, adjusted p, and the word where a difference is worthwhile.

    kind "difference" in the unit of the steps or "ratio"; one_specimen: either type was cut with one piece only, so
    that the word holds for these pieces and not for their types; value NaN where neither ended inside the ladder.
    """

    nozzle: str
    against: str
    kind: Kind
    value: float
    low: float
    high: float
    p: float
    answer: Answer | None
    answer_adds: Added | None
    one_specimen: bool


@dataclass(frozen=True)
class CleanSpeedStudy:
    """What the ladders of a trial say.

    Attributes:
        unit: of the steps; today: the type compared with.
        types: today's first; comparisons: the others with it.
        worthwhile: as declared, None without; confidence: of differences, sameness: of "same", each for all together.
        judged_by: "specimen" or "mount"; units, df: how many were counted and the degrees of freedom left; pooled: the
            specimens showed no spread beyond their mounts.
        mount_sd, specimen_sd: standard deviations of the limit, one for all types; sd_zero: every type's mounts can
            have one and the same limit, so that the spread and clean_95 rest on the steps alone.
        first_step, last_step: the lowest and highest step that decided anything; open_above: mounts clean to their
            last step; open_below: mounts without a clean step.
        left_out: mounts of which no step says anything.
    """

    unit: str
    today: str
    types: tuple[CleanSpeed, ...]
    comparisons: tuple[CleanSpeedComparison, ...]
    worthwhile: Worthwhile | None
    confidence: float
    sameness: float
    judged_by: Literal["specimen", "mount"]
    units: int
    df: int
    pooled: bool
    mount_sd: float
    specimen_sd: float
    sd_zero: bool
    first_step: float
    last_step: float
    open_above: tuple[str, ...]
    open_below: tuple[str, ...]
    left_out: tuple[str, ...]


def mount_steps(
    coupons: pd.DataFrame, grades: Mapping[str, float], dross_allowed: float, step: str, others: Sequence[str] = ()
) -> pd.DataFrame:
    """Last clean and first unclean step of every mount: `nozzle, specimen, mount, low, high`.

    coupons: as cut, `coupon, mount, nozzle, specimen, outcome`, the column `step` and `others` (further factors: one
    ladder for each crossing; the ends are averaged within the mount, and open where one of them is). A coupon is clean
    if it was cut and its dross grade is at most `dross_allowed`, unclean if it was not severed, aborted or graded
    worse; scrapped and uncut coupons and those without a grade say nothing. A clean cut above the first unclean one
    does not count. low NaN: no clean step; high NaN: no unclean step; both NaN: nothing is known.
    """
    rows = []
    for mount, part in coupons.groupby("mount", sort=False):
        ladders = [rows for _, rows in part.groupby(list(others), sort=False)] if others else [part]
        ends = np.array([_ends(ladder, grades, dross_allowed, step) for ladder in ladders])
        known = ends[~np.isnan(ends).all(axis=1)]
        low, high = known.mean(axis=0) if len(known) else (np.nan, np.nan)
        first = part.iloc[0]
        rows.append([first["nozzle"], first["specimen"], mount, low, high])
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _ends(ladder: pd.DataFrame, grades: Mapping[str, float], allowed: float, step: str) -> tuple[float, float]:
    """Last clean step before the first unclean one, and that one; NaN where there is none."""
    low = np.nan
    for row in ladder.sort_values(step).to_dict("records"):
        grade = grades.get(row["coupon"])
        if row["outcome"] in ("not_severed", "aborted") or (
            row["outcome"] == "cut" and grade is not None and grade > allowed
        ):
            return low, float(row[step])
        if row["outcome"] == "cut" and grade is not None:
            low = float(row[step])
    return low, np.nan


def study_clean_speed(
    mounts: pd.DataFrame, today: str, worthwhile: Worthwhile | None, levels: Levels, unit: str = "m/min"
) -> CleanSpeedStudy:
    """Typical and safe speeds by type, and the answer in four words against today's type.

    mounts: `nozzle, specimen, mount, low, high`, one row per mount as `mount_steps` gives them; a mount with neither
    end is left out and named. An empty specimen counts as a piece of its own.

    Raises
    ------
    InputError
        If a column is missing, today's type is not among the mounts, or the worthwhile difference is not usable.
    NotIdentifiable
        If the mounts cannot tell the spread: no more of them than types, or none that ended inside its ladder.
    WrongShape, NotFinite
        If the steps do not fit together; see `trials.infer.ladder.fit_ladder`.
    """
    from trials.infer.ladder import compare_ladders

    _check(mounts, today, worthwhile)
    told = mounts[mounts["low"].notna() | mounts["high"].notna()]
    if today not in set(told["nozzle"].astype(str)):
        raise InputError(
            "no ladder of today's type says anything",
            found=today,
            do="Record its cuts and grades with `trials record`.",
        )
    low, high = told["low"].to_numpy(float), told["high"].to_numpy(float)
    found = compare_ladders(
        low,
        high,
        told["nozzle"].to_numpy(str),
        today,
        _specimens(told),
        kind=worthwhile.kind if worthwhile else "difference",
        confidence=levels.difference,
        sameness=levels.sameness,
    )
    steps = np.append(low, high)
    return CleanSpeedStudy(
        unit=unit,
        today=today,
        types=tuple(_type(each, today) for each in found.types),
        comparisons=tuple(_compared(each, found, worthwhile) for each in found.comparisons),
        worthwhile=worthwhile,
        confidence=levels.difference,
        sameness=levels.sameness,
        judged_by=found.unit,
        units=found.units,
        df=found.df,
        pooled=found.pooled,
        mount_sd=found.fit.scale,
        specimen_sd=found.fit.group_sd,
        sd_zero=found.fit.scale_zero,
        first_step=float(np.nanmin(steps)),
        last_step=float(np.nanmax(steps)),
        open_above=_marks(told, np.isnan(high)),
        open_below=_marks(told, np.isnan(low)),
        left_out=_marks(mounts, ~mounts.index.isin(told.index)),
    )


def _marks(mounts: pd.DataFrame, which: np.ndarray) -> tuple[str, ...]:
    return tuple(mounts.loc[which, "mount"].astype(str))


def _check(mounts: pd.DataFrame, today: str, worthwhile: Worthwhile | None) -> None:
    missing = [name for name in COLUMNS if name not in mounts]
    if missing:
        raise InputError(f"the table of mounts has no column {', '.join(missing)}", allowed=", ".join(COLUMNS))
    if today not in set(mounts["nozzle"].astype(str)):
        kinds = ", ".join(dict.fromkeys(mounts["nozzle"].astype(str)))
        raise InputError("today's type is not among the mounts", found=today, allowed=kinds)
    if worthwhile and not (
        np.isfinite(worthwhile.value)
        and worthwhile.value > 0
        and (worthwhile.kind == "difference" or worthwhile.value < 1)
    ):
        raise InputError(
            "the worthwhile difference of the clean speed cannot be used",
            found=worthwhile.value,
            allowed="a figure above zero; a share of a ratio under 1",
            do="State it under [responses.clean_speed].",
        )


def _specimens(told: pd.DataFrame) -> np.ndarray:
    """Marks of the pieces; a mount without one stands for a piece of its own."""
    marks = told["specimen"].astype("string").fillna("").str.strip()
    own = "mount " + told["mount"].astype("string")
    return marks.where(marks != "", own).to_numpy(str)


def _type(found: TypeLadder, today: str) -> CleanSpeed:
    return CleanSpeed(
        nozzle=found.name,
        today=found.name == today,
        typical=found.typical,
        low=found.low,
        high=found.high,
        clean_95=found.clean_95,
        clean_95_low=found.clean_95_low,
        n_mounts=found.mounts,
        n_specimens=found.specimens,
        n_censored_low=found.below,
        n_censored_high=found.above,
    )


def _compared(each: LadderComparison, found: LadderTypes, worthwhile: Worthwhile | None) -> CleanSpeedComparison:
    word, adds = (None, None) if worthwhile is None else _word(each, worthwhile)
    pieces = {kind.name: kind.specimens for kind in found.types}
    return CleanSpeedComparison(
        nozzle=each.name,
        against=each.against,
        kind=each.kind,
        value=each.value,
        low=each.low,
        high=each.high,
        p=each.p,
        answer=word,
        answer_adds=adds,
        one_specimen=min(pieces[each.name], pieces[each.against]) == 1,
    )


def _word(each: LadderComparison, worthwhile: Worthwhile) -> tuple[Answer, Added | None]:
    """The word, faster being better; both intervals are counted in worthwhile differences of their own side."""
    down, up = worthwhile.limits

    def counted(value: float) -> float:
        with np.errstate(divide="ignore"):
            on_scale = float(np.log(value)) if each.kind == "ratio" else value
        return on_scale / (up if on_scale >= 0 else -down)

    if np.isnan(each.low) or np.isnan(each.high):
        raise NotFinite("An interval of the clean speed is missing; check the ladders.")
    return answer(
        (counted(each.low), counted(each.high)), (counted(each.same_low), counted(each.same_high)), Margins(1.0, 1.0)
    )
