"""The planning methods: each turns a trial into mounts and the settings that are cut in each of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.errors import Infeasible
from trials.plan.layout import MountRuns, place_mounts
from trials.plan.settings import Setting, allowed_settings, broken, crossed, left_out, repeat_setting, words
from trials.trial import Trial

Progress = Callable[[int, int], None]  # done, of
_BENCH_COUPONS = 10  # common practice, no source: ten pieces in a measurement study
_RUNGS = 6  # steps of a ladder where the trial file says no number


@dataclass(frozen=True)
class Draft:
    """What a method decides: mounts, the coupons of each mount, and what has to be said about the choice."""

    mounts: pd.DataFrame
    runs: dict[str, MountRuns]
    said: tuple[str, ...] = ()


def all_mounts(trial: Trial, rng: np.random.Generator, rounds: int | None = None) -> pd.DataFrame:
    """Mounts of all specimens, `plan.mounts_per_specimen` each, on `plan.sheets` sheets."""
    pieces = {nozzle.type: nozzle.specimens for nozzle in trial.nozzles}
    return place_mounts(pieces, rounds or trial.plan.mounts_per_specimen, trial.plan.sheets, rng)


def with_repeats(trial: Trial, nozzle: str, settings: list[Setting]) -> MountRuns:
    """The settings of one mount and `plan.repeats` more at today's setting, all of these spread through the mount."""
    if trial.plan.repeats == 0:
        return MountRuns(tuple(settings))
    again, _ = repeat_setting(trial, nozzle)
    runs = tuple(settings) + (again,) * trial.plan.repeats
    return MountRuns(runs, spread=tuple(i for i, setting in enumerate(runs) if setting == again))


def repeat_words(trial: Trial) -> list[str]:
    """Which types cannot be repeated at today's setting."""
    off = [nozzle for nozzle in trial.types if trial.plan.repeats and not repeat_setting(trial, nozzle)[1]]
    return [f"Nozzle {n}: today's setting is forbidden, repeats are cut at the nearest allowed one." for n in off]


def full(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """Every allowed crossing once in every mount, and the repeats at today's setting."""
    settings = {nozzle: allowed_settings(trial, nozzle) for nozzle in trial.types}
    mounts = all_mounts(trial, rng)
    runs = {row.mount: with_repeats(trial, row.nozzle, settings[row.nozzle]) for row in mounts.itertuples()}
    return Draft(mounts, runs, tuple(left_out(trial) + repeat_words(trial) + budget_words(trial, runs)))


def budget_words(trial: Trial, runs: dict[str, MountRuns]) -> list[str]:
    """A stated budget that the method does not use."""
    total = sum(len(run.settings) for run in runs.values())
    if trial.plan.coupons in (None, total):
        return []
    return [
        f"plan.coupons = {trial.plan.coupons} is a budget for other methods; the method "
        f"'{trial.plan.method}' gives {total} coupons."
    ]


def ladder(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """Speed raised in equal steps inside each mount, once for every crossing of the other factors.

    The number of steps is `plan.coupons` over the number of ladders, else that of the listed levels (at least six).

    Raises
    ------
    Infeasible
        If no factor is named speed, its levels are words or one, or the budget gives fewer than three steps.
    """
    speeds = _speed_levels(trial)
    others = list({tuple((n, v) for n, v in s.items() if n != "speed"): None for s in crossed(trial)})
    mounts = all_mounts(trial, rng)
    ladders = len(mounts) * len(others)
    count = trial.plan.coupons // ladders if trial.plan.coupons else max(_RUNGS, len(speeds))
    if count < 3:
        raise Infeasible(
            f"plan.coupons = {trial.plan.coupons} gives {count} steps to each of {ladders} ladders; a ladder needs 3 "
            f"or more, so set plan.coupons to {3 * ladders} or more."
        )
    rungs = [round(float(speed), 10) for speed in np.linspace(speeds[0], speeds[-1], count)]
    runs, said = {}, []
    for row in mounts.itertuples():
        settings: list[Setting] = []
        for i in rng.permutation(len(others)):
            steps = [dict(others[i]) | {"speed": speed} for speed in rungs]
            settings += [{n: step[n] for n in trial.factors} for step in steps]
        kept = [setting for setting in settings if broken(trial, row.nozzle, setting) is None]
        if not kept:
            allowed_settings(trial, row.nozzle)
            raise Infeasible(f"Nozzle {row.nozzle!r}: limits forbid every step of the ladder. Change them.")
        if len(kept) < len(settings):
            said.append(f"Nozzle {row.nozzle}: {len(settings) - len(kept)} steps of each mount left out by limits.")
        runs[row.mount] = MountRuns(tuple(kept), as_listed=True)
    unit = trial.factors["speed"].unit
    said.insert(
        0,
        f"In each mount speed goes from {rungs[0]:g} to {rungs[-1]:g} {unit} in {count} equal steps, not in random "
        "order: stop a ladder at the first cut that is not clean or not severed, and leave its other coupons uncut.",
    )
    return Draft(mounts, runs, tuple(said))


def _speed_levels(trial: Trial) -> tuple[float, ...]:
    asked = trial.factors.get("speed")
    if asked is None or asked.is_text or len(asked.levels) < 2:
        raise Infeasible("A ladder needs a factor named speed with two or more numbers as levels; add [factors.speed].")
    return tuple(float(level) for level in asked.levels)


def life(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """Each specimen used until its end of life at today's setting: one row per specimen."""
    mounts = all_mounts(trial, rng, rounds=1)
    settings = {nozzle: repeat_setting(trial, nozzle) for nozzle in trial.types}
    runs = {row.mount: MountRuns((settings[row.nozzle][0],)) for row in mounts.itertuples()}
    said = [
        "Each specimen is used until its end of life, with the same work for all, or until the trial ends: record its "
        "life and whether it failed; one that is still good when the trial ends counts as such, not as failed.",
    ]
    for nozzle, (setting, today) in settings.items():
        if not today:
            said.append(f"Nozzle {nozzle}: today's setting is forbidden, it runs at {words(trial, setting)}.")
    return Draft(mounts, runs, tuple(said))


def bench(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """Coupons for a measurement study: today's nozzle only, settings spread over what is allowed, for a wide range."""
    count = trial.plan.coupons or _BENCH_COUPONS
    today = trial.today
    mounts = place_mounts({today.type: today.specimens[:1]}, 1, 1, rng)
    allowed = allowed_settings(trial, today.type)
    order = [allowed[i] for i in rng.permutation(len(allowed))]
    settings = tuple(order[i % len(order)] for i in range(count))
    said = [
        f"Measurement study: {count} coupons of today's nozzle {today.type}, cut at {min(count, len(order))} settings "
        "so that the edges differ; each coupon is measured by each inspector several times at the same place, blind "
        "and in random order (column repeat).",
    ]
    return Draft(mounts, {mounts["mount"][0]: MountRuns(settings)}, tuple(said))
