"""From the question to the coupons: each planning method ends in the same tables of coupons, mounts and sheets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.errors import InputError
from trials.nozzles import cautions
from trials.plan.confounding import confounded
from trials.plan.layout import LAYOUT_COLUMNS, MountRuns, lay_out, place_mounts, sheet_balance
from trials.plan.settings import Setting, allowed_settings, left_out, repeat_setting
from trials.trial import Trial

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Plan:
    """What is to be cut.

    coupons: one row per coupon in cutting order (see `trials.plan.layout.lay_out`); mounts: `mount, order, sheet,
    nozzle, specimen`; sheets: `sheet`, in the order of loading; said: what the reader has to know, in plain sentences.
    """

    coupons: pd.DataFrame
    mounts: pd.DataFrame
    sheets: pd.DataFrame
    said: tuple[str, ...]


def make_plan(trial: Trial, progress: Progress | None = None) -> Plan:
    """Choose the coupons of a trial and lay them out; the same trial and seed give the same plan.

    progress: called with (done, of) while an optimal plan is searched for.

    Raises
    ------
    Infeasible
        If the limits, the number of sheets, the sheet's size or the budget leave no plan; the text gives the reason.
    InputError
        If a factor takes the name of a column of the plan, or the seed is negative.
    """
    _check_names(trial)
    rng = np.random.default_rng(trial.plan.seed)
    return _full(trial, rng)


def _check_names(trial: Trial) -> None:
    reserved = {"coupon", "order", "sheet", "mount", "nozzle", "specimen", *LAYOUT_COLUMNS}
    for name in trial.factors:
        if trial.factor_column(name) in reserved:
            raise InputError(
                f"factor {name!r} has the name of a column of the plan", column=f"factors.{name}", do="Rename it."
            )
    if trial.plan.seed < 0:
        raise InputError(
            "the seed is negative", column="plan.seed", found=trial.plan.seed, allowed="0 or more", do="Change it."
        )


def _full(trial: Trial, rng: np.random.Generator) -> Plan:
    """Every allowed crossing once in every mount, and the repeats at today's setting."""
    settings = {nozzle: allowed_settings(trial, nozzle) for nozzle in trial.types}
    mounts = all_mounts(trial, rng)
    runs = {row.mount: with_repeats(trial, row.nozzle, settings[row.nozzle]) for row in mounts.itertuples()}
    return finish(trial, mounts, runs, rng, left_out(trial) + budget_words(trial, runs))


def all_mounts(trial: Trial, rng: np.random.Generator) -> pd.DataFrame:
    """Mounts of all specimens, `plan.mounts_per_specimen` each, on `plan.sheets` sheets."""
    pieces = {nozzle.type: nozzle.specimens for nozzle in trial.nozzles}
    return place_mounts(pieces, trial.plan.mounts_per_specimen, trial.plan.sheets, rng)


def with_repeats(trial: Trial, nozzle: str, settings: list[Setting]) -> MountRuns:
    """The settings of one mount and `plan.repeats` more at today's setting, all of these spread through the mount."""
    if trial.plan.repeats == 0:
        return MountRuns(tuple(settings))
    again, _ = repeat_setting(trial, nozzle)
    runs = tuple(settings) + (again,) * trial.plan.repeats
    return MountRuns(runs, spread=tuple(i for i, setting in enumerate(runs) if setting == again))


def repeat_words(trial: Trial) -> list[str]:
    """Which types cannot be repeated at today's setting."""
    if trial.plan.repeats == 0:
        return []
    off = [nozzle for nozzle in trial.types if not repeat_setting(trial, nozzle)[1]]
    return [f"Nozzle {n}: today's setting is forbidden, repeats are cut at the nearest allowed one." for n in off]


def budget_words(trial: Trial, runs: dict[str, MountRuns]) -> list[str]:
    """A stated budget that this method does not use."""
    total = sum(len(run.settings) for run in runs.values())
    if trial.plan.coupons is None or trial.plan.coupons == total:
        return []
    return [
        f"plan.coupons = {trial.plan.coupons} is a budget for other methods; the method "
        f"'{trial.plan.method}' gives {total} coupons."
    ]


def finish(
    trial: Trial, mounts: pd.DataFrame, runs: dict[str, MountRuns], rng: np.random.Generator, said: list[str]
) -> Plan:
    """Lay the coupons out and put everything that has to be said in one list, most important first."""
    coupons, places = lay_out(trial, mounts, runs, rng)
    sheets = pd.DataFrame({"sheet": mounts["sheet"].drop_duplicates().to_list()})
    used = [nozzle for nozzle in trial.nozzles if nozzle.type in set(mounts["nozzle"])]
    lines = [
        _size_words(coupons, mounts, sheets),
        *(confounded(trial) if len(used) == len(trial.nozzles) else []),
        *said,
        *repeat_words(trial),
        *sheet_balance(mounts),
        *places,
        *cautions(used, trial.application.gas, trial.application.material),
    ]
    return Plan(coupons, mounts, sheets, tuple(dict.fromkeys(lines)))


def _size_words(coupons: pd.DataFrame, mounts: pd.DataFrame, sheets: pd.DataFrame) -> str:
    def number(count: int, name: str) -> str:
        return f"{count} {name}{'' if count == 1 else 's'}"

    return (
        f"{number(len(coupons), 'coupon')} in {number(len(mounts), 'mount')} of "
        f"{number(mounts['specimen'].nunique(), 'specimen')} on {number(len(sheets), 'sheet')}; order and marks drawn "
        "at random."
    )
