"""The planning methods: each turns a trial into mounts and the settings that are cut in each of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trials.errors import Infeasible
from trials.findings import About, Amount, Fact, Finding, Weight
from trials.plan.dealing import deal, dealt_settings
from trials.plan.kinds import PlanKind
from trials.plan.layout import MountRequest, MountRuns, place_mounts
from trials.plan.settings import Setting, allowed_settings, broken, crossed, left_out, repeat_setting, setting_facts
from trials.trial import Trial

Progress = Callable[[int, int], None]  # done, of
_BENCH_COUPONS = 10  # common practice, no source: ten pieces in a measurement study
_RUNGS = 6  # steps of a ladder where the trial file says no number
ENOUGH_MOUNTS = 6  # of each type of a ladder: fewer leave what 95 % of mounts keep wide open (measured)


@dataclass(frozen=True)
class Draft:
    """What a method decides: mounts, the coupons of each mount, and what has to be said about the choice."""

    mounts: pd.DataFrame
    runs: dict[str, MountRuns]
    found: tuple[Finding, ...] = ()


def mount_rows(mounts: pd.DataFrame) -> list[tuple[str, str]]:
    """Mark and nozzle type of each mount, in the order of fitting."""
    return list(zip(mounts["mount"].astype(str), mounts["nozzle"].astype(str), strict=True))


def all_mounts(trial: Trial, rng: np.random.Generator, rounds: int | None = None) -> pd.DataFrame:
    """Mounts of all specimens, `plan.mounts_per_specimen` each, on `plan.sheets` sheets."""
    pieces = {nozzle.type: nozzle.specimens for nozzle in trial.nozzles}
    return place_mounts(MountRequest(pieces, rounds or trial.plan.mounts_per_specimen, trial.plan.sheets), rng)


def with_repeats(trial: Trial, nozzle: str, settings: list[Setting]) -> MountRuns:
    """The settings of one mount and `plan.repeats` more at today's setting, all of these spread through the mount."""
    if trial.plan.repeats == 0:
        return MountRuns(tuple(settings))
    again, _ = repeat_setting(trial, nozzle)
    runs = tuple(settings) + (again,) * trial.plan.repeats
    return MountRuns(runs, spread=tuple(i for i, setting in enumerate(runs) if setting == again))


def moved_repeats(trial: Trial) -> list[Finding]:
    """Types that cannot be repeated at today's setting."""
    off = [nozzle for nozzle in trial.types if trial.plan.repeats and not repeat_setting(trial, nozzle)[1]]
    return [Finding(PlanKind.REPEATS_MOVED, About(nozzle=nozzle), weight=Weight.LOOK_AT) for nozzle in off]


def full(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """Every allowed crossing once in every mount, and the repeats at today's setting; or `dealt` to the mounts."""
    if trial.plan.coupons_per_mount is not None:
        return dealt(trial, rng)
    settings = {nozzle: allowed_settings(trial, nozzle) for nozzle in trial.types}
    mounts = all_mounts(trial, rng)
    runs = {mount: with_repeats(trial, nozzle, settings[nozzle]) for mount, nozzle in mount_rows(mounts)}
    return Draft(mounts, runs, tuple(left_out(trial) + moved_repeats(trial) + unused_budget(trial, runs)))


def dealt(trial: Trial, rng: np.random.Generator) -> Draft:
    """`plan.coupons_per_mount` coupons: the repeats at today's setting, and other settings dealt to the mounts in turn.

    Every type meets every setting equally often, within one; which specimen gets which hand is drawn.
    """
    each, repeats = trial.plan.coupons_per_mount or 0, trial.plan.repeats
    mounts = all_mounts(trial, rng)
    runs = dealt_runs(trial, mounts, each, repeats, rng)
    found = [
        Finding(PlanKind.SETTINGS_DEALT, facts={"each": each, "repeats": repeats, "settings": len(crossed(trial))})
    ]
    return Draft(mounts, runs, (*found, *left_out(trial), *moved_repeats(trial)))


def dealt_runs(
    trial: Trial, mounts: pd.DataFrame, each: int, repeats: int, rng: np.random.Generator
) -> dict[str, MountRuns]:
    """So many coupons for every mount: the repeats at today's setting, other settings of its type dealt in turn."""
    runs: dict[str, MountRuns] = {}
    for nozzle in trial.types:
        others = dealt_settings(trial, nozzle, repeats)
        again, _ = repeat_setting(trial, nozzle)
        fixed = repeats if others else each
        own = mounts[mounts["nozzle"] == nozzle]
        specimens = own["specimen"].drop_duplicates().to_numpy(object)
        order = [mount for s in rng.permutation(specimens) for mount in own.loc[own["specimen"] == s, "mount"]]
        for mount, hand in zip(order, deal(len(others), len(order), each - fixed), strict=True):
            settings = (again,) * fixed + tuple(others[i] for i in hand)
            runs[str(mount)] = MountRuns(settings, spread=tuple(range(fixed)))
    return runs


def unused_budget(trial: Trial, runs: dict[str, MountRuns]) -> list[Finding]:
    """A stated budget that the method does not use."""
    total = sum(len(run.settings) for run in runs.values())
    asked = trial.plan.coupons
    if asked in (None, total):
        return []
    return [Finding(PlanKind.BUDGET_UNUSED, facts={"asked": asked, "method": trial.plan.method, "coupons": total})]


def ladder(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """Speed or thickness raised inside each mount, once for every crossing of the other factors.

    Speed in equal steps: `plan.coupons` over the number of ladders, else as many as levels are listed (at least six).
    Thickness in the listed levels, which are the sheets there are.

    Raises
    ------
    Infeasible
        If no factor is named speed or thickness, its levels are words or one, or there are fewer than three steps.
    """
    levels, rising = _rising_levels(trial), trial.rising
    others = [dict(o) for o in {tuple((n, v) for n, v in s.items() if n != rising): None for s in crossed(trial)}]
    mounts = all_mounts(trial, rng)
    ladders = len(mounts) * len(others)
    rungs, count = sorted(levels), len(levels)
    if rising == "speed":
        count = trial.plan.coupons // ladders if trial.plan.coupons else max(_RUNGS, len(levels))
        rungs = [round(float(speed), 10) for speed in np.linspace(levels[0], levels[-1], count)]
    if count < 3 and rising == "thickness":
        raise Infeasible("A ladder needs three thicknesses or more; add levels to [factors.thickness].")
    if count < 3:
        raise Infeasible(
            f"plan.coupons = {trial.plan.coupons} gives {count} steps to each of {ladders} ladders; a ladder needs 3 "
            f"or more, so set plan.coupons to {3 * ladders} or more."
        )
    unit = trial.factors[rising].unit
    facts: dict[str, Fact] = {"low": Amount(rungs[0], unit), "high": Amount(rungs[-1], unit), "steps": count}
    kind = PlanKind.LADDER_STEPS if rising == "speed" else PlanKind.LADDER_SHEETS
    found = [Finding(kind, facts=facts, weight=Weight.LOOK_AT), *_few_mounts(trial, mounts)]
    runs = {}
    for mount, nozzle in mount_rows(mounts):
        settings = [
            {name: ({**others[i], rising: rung})[name] for name in trial.factors}
            for i in rng.permutation(len(others))
            for rung in rungs
        ]
        kept = _kept_steps(trial, nozzle, settings)
        if len(kept) < len(settings):
            lost = {"count": len(settings) - len(kept)}
            found.append(Finding(PlanKind.LADDER_STEPS_LEFT_OUT, About(nozzle=nozzle), lost))
        runs[mount] = MountRuns(tuple(kept), as_listed=True)
    return Draft(mounts, runs, tuple(found))


def _kept_steps(trial: Trial, nozzle: str, settings: list[Setting]) -> list[Setting]:
    kept = [setting for setting in settings if broken(trial, nozzle, setting) is None]
    if not kept:
        allowed_settings(trial, nozzle)
        raise Infeasible(f"Nozzle {nozzle!r}: limits forbid every step of the ladder. Change them.")
    return kept


def _few_mounts(trial: Trial, mounts: pd.DataFrame) -> list[Finding]:
    """Types with too few mounts for the limit that 95 % of them keep (measured: see the honesty of ladders)."""
    counts = mounts["nozzle"].value_counts()
    few = tuple((t, int(counts[t])) for t in trial.types if t in counts and counts[t] < ENOUGH_MOUNTS)
    facts: dict[str, Fact] = {"mounts": few, "enough": ENOUGH_MOUNTS}
    return [Finding(PlanKind.LADDER_FEW_MOUNTS, facts=facts, weight=Weight.COULD_CHANGE)] if few else []


def _rising_levels(trial: Trial) -> tuple[float, ...]:
    asked = trial.factors.get(trial.rising)
    if asked is None or asked.is_text or len(asked.levels) < 2:
        raise Infeasible(
            "A ladder needs a factor named speed, or thickness, with two or more numbers as levels; add "
            "[factors.speed]."
        )
    return asked.numbers


def life(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """Each specimen used until its end of life at today's setting: one row per specimen."""
    mounts = all_mounts(trial, rng, rounds=1)
    settings = {nozzle: repeat_setting(trial, nozzle) for nozzle in trial.types}
    runs = {mount: MountRuns((settings[nozzle][0],)) for mount, nozzle in mount_rows(mounts)}
    found = [Finding(PlanKind.LIFE_RULE)]
    for nozzle, (setting, today) in settings.items():
        if not today:
            facts = {"setting": setting_facts(trial, setting)}
            found.append(Finding(PlanKind.LIFE_MOVED, About(nozzle=nozzle), facts, Weight.LOOK_AT))
    return Draft(mounts, runs, tuple(found))


def bench(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """Coupons for a measurement study: today's nozzle only, settings spread over what is allowed, for a wide range."""
    count = trial.plan.coupons or _BENCH_COUPONS
    today = trial.today
    mounts = place_mounts(MountRequest({today.type: today.specimens[:1]}, 1, 1), rng)
    allowed = allowed_settings(trial, today.type)
    order = [allowed[i] for i in rng.permutation(len(allowed))]
    settings = tuple(order[i % len(order)] for i in range(count))
    facts = {"coupons": count, "settings": min(count, len(order))}
    found = Finding(PlanKind.BENCH_STUDY, About(nozzle=today.type), facts)
    return Draft(mounts, {str(mounts["mount"][0]): MountRuns(settings)}, (found,))
