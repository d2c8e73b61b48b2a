"""Going on with a trial that was cut: more mounts, points for curvature, or coupons that confirm a setting."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
import pandas as pd

from trials.errors import Infeasible, InputError
from trials.nozzles import cautions
from trials.plan.assess.gain import gain_words
from trials.plan.choose import Plan, size_words
from trials.plan.layout import MountRuns, lay_out, place_mounts, sheet_balance
from trials.plan.settings import Setting, broken, words
from trials.trial import Trial

Kind = Literal["repeat mounts", "axial", "confirm"]
KINDS: tuple[Kind, ...] = ("repeat mounts", "axial", "confirm")


def extend(
    trial: Trial,
    coupons_so_far: pd.DataFrame,
    mounts_so_far: pd.DataFrame,
    kind: Kind,
    settings: Sequence[Mapping[str, float | str]] | None = None,
    nozzles: Sequence[str] | None = None,
    seed: int = 1,
) -> Plan:
    """New mounts on new sheets as a further block; only the new coupons, mounts and sheets are in the plan.

    kind: "repeat mounts" cuts what each type was planned for once more, in one new mount of each specimen; "axial"
    cuts each number factor at its lowest and highest level with the others in the middle, and the middle itself;
    "confirm" cuts the `settings` that are named. nozzles: types to cut, all by default; a repeat always includes
    today's, because the others are compared with it. Marks, mounts and sheets are unlike those so far.

    Raises
    ------
    InputError
        If the kind, a nozzle or a setting is not known, or the seed is negative.
    Infeasible
        If no setting is left within the limits, or the coupons do not fit on the sheets.
    """
    types = _types(trial, kind, nozzles, seed)
    rng = np.random.default_rng(seed)
    wanted, said = _settings(trial, coupons_so_far, kind, settings, types)
    sheets = min([trial.plan.sheets, *(len(_specimens(trial, nozzle)) for nozzle in types)])
    mounts = place_mounts(
        {nozzle: _specimens(trial, nozzle) for nozzle in types},
        1,
        sheets,
        rng,
        first_mount=_last(mounts_so_far["mount"], "M") + 1,
        first_sheet=_last(mounts_so_far["sheet"], "S") + 1,
    )
    block = 1 + int(coupons_so_far["block"].max() if "block" in coupons_so_far else 1)
    coupons, places = lay_out(
        trial,
        mounts,
        {row.mount: MountRuns(tuple(wanted[row.nozzle])) for row in mounts.itertuples()},
        rng,
        block=block,
        first_order=1 + int(coupons_so_far["order"].max()),
        taken=[str(mark) for mark in coupons_so_far["coupon"]],
    )
    new_sheets = pd.DataFrame({"sheet": mounts["sheet"].drop_duplicates().to_list()})
    lines = [
        f"Block {block}, added to a trial that was cut ({kind}): {size_words(coupons, mounts, new_sheets)}",
        "What changed between the blocks (day, sheets, lenses) is in the difference between them, so compare inside "
        "a block.",
        *gain_words(trial, kind, coupons_so_far, coupons),
        *said,
        *sheet_balance(mounts),
        *places,
        *cautions([n for n in trial.nozzles if n.type in types], trial.application.gas, trial.application.material),
    ]
    return Plan(coupons, mounts, new_sheets, tuple(dict.fromkeys(lines)))


def _types(trial: Trial, kind: str, nozzles: Sequence[str] | None, seed: int) -> list[str]:
    if kind not in KINDS:
        raise InputError("no such way to extend a trial", found=kind, allowed=", ".join(KINDS), do="Choose one.")
    if seed < 0:
        raise InputError("the seed is negative", found=seed, allowed="0 or more", do="Change it.")
    unknown = [nozzle for nozzle in nozzles or () if nozzle not in trial.types]
    if unknown:
        raise InputError(
            "no such nozzle type", found=unknown[0], allowed=", ".join(trial.types), do="Name one of them."
        )
    asked = set(trial.types if nozzles is None else nozzles)
    if kind == "repeat mounts":
        asked.add(trial.today.type)
    return [nozzle for nozzle in trial.types if nozzle in asked]


def _specimens(trial: Trial, nozzle: str) -> tuple[str, ...]:
    return next(n.specimens for n in trial.nozzles if n.type == nozzle)


def _last(labels: pd.Series, letter: str) -> int:
    """Highest number among labels like M07; how many labels there are where they look otherwise."""
    numbers = labels.astype(str).str.extract(rf"^{letter}(\d+)$")[0].dropna().astype(int)
    return int(max([labels.nunique(), *numbers]))


def _settings(
    trial: Trial, so_far: pd.DataFrame, kind: str, settings: Sequence[Mapping] | None, types: Sequence[str]
) -> tuple[dict[str, list[Setting]], list[str]]:
    """Settings of each type, and what was left out."""
    if kind == "confirm":
        named = [_checked(trial, setting) for setting in settings or ()]
        if not named:
            raise InputError("no setting is named to confirm", do="Give settings, one value for each factor.")
        return _within_limits(trial, dict.fromkeys(types, named))
    if kind == "axial":
        return _within_limits(trial, dict.fromkeys(types, axial_settings(trial)))
    columns = {name: trial.factor_column(name) for name in trial.factors}
    found: dict[str, list[Setting]] = {}
    for nozzle in types:
        own = so_far[so_far["nozzle"] == nozzle].drop_duplicates(list(columns.values()) or ["nozzle"])
        if own.empty:
            raise InputError("nothing was planned for this nozzle so far", found=nozzle, do="Extend in another way.")
        own = own.sort_values(list(columns.values())) if columns else own
        found[nozzle] = [{name: row[column] for name, column in columns.items()} for _, row in own.iterrows()]
    return found, []


def _checked(trial: Trial, setting: Mapping[str, float | str]) -> Setting:
    """A named setting with a value for each factor; factors left out stay at today's."""
    for name, value in setting.items():
        if name not in trial.factors:
            raise InputError("no such factor", found=name, allowed=", ".join(trial.factors), do="Correct the name.")
        asked = trial.factors[name]
        if asked.is_text and value not in asked.levels:
            allowed = ", ".join(map(str, asked.levels))
            raise InputError(f"no such level of {name}", found=value, allowed=allowed, do="Name a level of the trial.")
        if not asked.is_text and (isinstance(value, (str, bool)) or not np.isfinite(value)):
            raise InputError(f"{name} needs a number", found=value, do="Correct the setting.")
    today = trial.today_settings
    return {
        n: setting.get(n, today[n]) if f.is_text else float(setting.get(n, today[n])) for n, f in trial.factors.items()
    }


def axial_settings(trial: Trial) -> list[Setting]:
    """The middle of the number factors, and each of them at its lowest and highest level; words stay at today's.

    Raises
    ------
    Infeasible
        If no factor has numbers with two levels or more.
    """
    varied = {n: f for n, f in trial.factors.items() if not f.is_text and len(f.levels) > 1}
    if not varied:
        raise Infeasible("Points for curvature need a factor with two numbers or more as levels; none has.")
    middle = dict(trial.today_settings)
    middle |= {n: round((min(f.levels) + max(f.levels)) / 2.0, 10) for n, f in varied.items()}
    ends = [middle | {n: float(end)} for n, f in varied.items() for end in (min(f.levels), max(f.levels))]
    return [middle, *ends]


def _within_limits(trial: Trial, wanted: Mapping[str, list[Setting]]) -> tuple[dict[str, list[Setting]], list[str]]:
    kept, said = {}, []
    for nozzle, settings in wanted.items():
        kept[nozzle] = [setting for setting in settings if broken(trial, nozzle, setting) is None]
        for setting in settings:
            limit = broken(trial, nozzle, setting)
            if limit is not None:
                said.append(f"Nozzle {nozzle}: {words(trial, setting)} left out by the limit '{limit.words()}'.")
        if not kept[nozzle]:
            raise Infeasible(f"Limits forbid every setting asked of nozzle {nozzle!r}: {said[-1]} Name other settings.")
    return kept, said
