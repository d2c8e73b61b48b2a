"""Classical plans of the settings, the same in every mount: a fraction of the corners, a screening plan, a surface."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence

import numpy as np

from trials.errors import Infeasible, InputError
from trials.findings import About, Fact, Finding, Weight
from trials.plan.classical.plans import (
    CodedPlan,
    Effect,
    Fraction,
    alias_groups,
    best_generators,
    box_behnken,
    central_composite,
    definitive_screening,
)
from trials.plan.classical.plans import fraction as coded_fraction
from trials.plan.kinds import PlanKind
from trials.plan.layout import MountRequest, MountRuns, place_mounts
from trials.plan.methods.plain import (
    Draft,
    Progress,
    all_mounts,
    mount_rows,
    moved_repeats,
    unused_budget,
    with_repeats,
)
from trials.plan.settings import Setting, broken, repeat_setting, setting_formula
from trials.trial import Level, Trial


def fraction(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """Lowest and highest level of each factor in a fraction of all crossings, in every mount.

    `plan.generators` names the fraction (`"speed = pressure x standoff"`); without it the fewest runs in which no
    factor is confused with a product of two, or the most that `plan.coupons` allows.

    Raises
    ------
    Infeasible
        If a factor has more than two words as levels, limits forbid a setting, or the budget carries no fraction.
    InputError
        If a generator cannot be read.
    """
    names = _varied(trial)
    many = [name for name in names if trial.factors[name].is_text and len(trial.factors[name].levels) > 2]
    if many:
        raise Infeasible(
            f"A fraction cuts two levels of each factor, {many[0]} has more words; use plan.method optimal."
        )
    plan = _fraction(trial, names)
    facts: dict[str, Fact] = {"settings": len(plan.runs), "resolution": plan.resolution}
    found = [Finding(PlanKind.FRACTION, facts=facts), *_aliases(plan)]
    return _in_every_mount(trial, rng, _settings(trial, plan), found)


def _aliases(plan: Fraction) -> list[Finding]:
    """Effects that the fraction cannot tell apart, one finding per group of two effects or more."""

    def fact(effect: Effect) -> tuple[Fact, ...]:
        return effect.factors, effect.sign

    return [
        Finding(PlanKind.ALIASES, facts={"effects": tuple(map(fact, group))}, weight=Weight.COULD_CHANGE)
        for group in alias_groups(plan)
        if len(group) > 1
    ]


def _fraction(trial: Trial, names: Sequence[str]) -> Fraction:
    if trial.plan.generators:
        generators, minus = _read_generators(trial.plan.generators)
        return coded_fraction(names, generators, minus)
    if trial.plan.coupons:
        mounts = trial.plan.mounts_per_specimen * sum(len(nozzle.specimens) for nozzle in trial.nozzles)
        each = trial.plan.coupons // mounts - trial.plan.repeats
        basic = min(len(names), max(each, 1).bit_length() - 1)
        return coded_fraction(names, best_generators(names, basic))
    for basic in range(2, len(names)):
        try:
            found = coded_fraction(names, best_generators(names, basic))
        except Infeasible:
            continue
        if found.resolution is None or found.resolution >= 4:
            return found
    return coded_fraction(names, {})


def _read_generators(texts: Sequence[str]) -> tuple[dict[str, tuple[str, ...]], tuple[str, ...]]:
    generators: dict[str, tuple[str, ...]] = {}
    minus: list[str] = []
    for text in texts:
        found = re.fullmatch(r"\s*(\w+)\s*=\s*(-?)\s*(\w+(?:\s+x\s+\w+)*)\s*", text)
        if not found:
            raise InputError(
                "a generator cannot be read",
                column="plan.generators",
                found=text,
                allowed="one factor as a product of others, like 'speed = pressure x standoff'",
                do="Correct it.",
            )
        generators[found[1]] = tuple(re.split(r"\s+x\s+", found[3]))
        minus += [found[1]] if found[2] else []
    return generators, tuple(minus)


def screening(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """A definitive screening plan in every mount: each factor low, middle and high, effects clear of each other.

    Raises
    ------
    Infeasible
        If a factor has words as levels, there are too few or too many factors, or limits forbid a setting.
    """
    names = _varied(trial)
    text = [name for name in names if trial.factors[name].is_text]
    if text:
        raise Infeasible(f"A screening plan needs numbers, {text[0]} has words; use plan.method fraction or optimal.")
    plan = definitive_screening(names)
    facts = {"settings": len(plan.runs), "factors": len(names)}
    return _in_every_mount(trial, rng, _settings(trial, plan), [Finding(PlanKind.SCREENING, facts=facts)])


def surface(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """A plan for curved responses in every mount, for each crossing of the text factors.

    Corners, faces and centre of the box (central composite); where limits forbid one of these, edges and centre
    (Box-Behnken).

    Raises
    ------
    Infeasible
        If fewer than two factors have numbers, or limits forbid settings of both plans.
    """
    names = [name for name in _varied(trial) if not trial.factors[name].is_text]
    if len(names) < 2:
        raise Infeasible("A surface plan needs two factors with numbers as levels; add one or use plan.method full.")
    plans: dict[str, CodedPlan] = {"corners": central_composite(names, "faced", centre=1)}
    if 3 <= len(names) <= 7:
        plans["edges"] = box_behnken(names, centre=1)
    choices = {where: _settings(trial, plan) for where, plan in plans.items()}
    free = [where for where, settings in choices.items() if not _forbidden(trial, settings)]
    where = free[0] if free else next(iter(choices))
    facts: dict[str, Fact] = {"settings": len(choices[where]), "where": where}
    return _in_every_mount(trial, rng, choices[where], [Finding(PlanKind.SURFACE, facts=facts)])


def pilot(trial: Trial, rng: np.random.Generator, progress: Progress | None = None) -> Draft:
    """A few coupons at the corners of the levels and two at today's setting, to see that all cuts and how it spreads.

    The first two specimens of each type, in `plan.mounts_per_specimen` mounts; corners that limits forbid are left out.
    """
    names = [name for name, asked in trial.factors.items() if len(asked.levels) > 1 and not asked.is_text]
    corners = [trial.today_settings]
    if names:
        corners = _corners(trial, names)
    pieces = {nozzle.type: nozzle.specimens[:2] for nozzle in trial.nozzles}
    mounts = place_mounts(MountRequest(pieces, trial.plan.mounts_per_specimen, min(trial.plan.sheets, 2)), rng)
    runs = {}
    for mount, nozzle in mount_rows(mounts):
        today = repeat_setting(trial, nozzle)[0]
        own = [corner for corner in corners if names and broken(trial, nozzle, corner) is None]
        runs[mount] = MountRuns((*own, today, today), spread=(len(own), len(own) + 1))
    found = [Finding(PlanKind.PILOT_RULE, weight=Weight.LOOK_AT), Finding(PlanKind.PILOT_SPREADS)]
    for nozzle in trial.types:
        lost = sum(broken(trial, nozzle, corner) is not None for corner in corners)
        if lost:
            facts = {"count": lost, "of": len(corners)}
            found.append(Finding(PlanKind.CORNERS_LEFT_OUT, About(nozzle=nozzle), facts))
    return Draft(mounts, runs, tuple(found))


def _corners(trial: Trial, names: Sequence[str]) -> list[Setting]:
    """Corners of the levels, so many that no two factors share a column; words stay at today's."""
    basic = len(names) if len(names) <= 2 else max(2, len(names).bit_length())
    ends = coded_fraction(names, best_generators(names, basic))
    levels = [{n: _level(trial, n, c) for n, c in zip(names, run, strict=True)} for run in ends.runs]
    return [trial.today_settings | corner for corner in levels]


def _varied(trial: Trial) -> list[str]:
    names = [name for name, asked in trial.factors.items() if len(asked.levels) > 1]
    if not names:
        raise Infeasible(f"plan.method {trial.plan.method} needs factors with two levels or more; add [factors.NAME].")
    return names


def _settings(trial: Trial, plan: CodedPlan) -> list[Setting]:
    """Settings behind coded runs, for each crossing of the text factors that the plan does not code."""
    others = [name for name in trial.factors if name not in plan.names]
    found = []
    for run, levels in itertools.product(plan.runs, itertools.product(*(trial.factors[n].levels for n in others))):
        setting = {n: _level(trial, n, c) for n, c in zip(plan.names, run, strict=True)}
        setting |= dict(zip(others, levels, strict=True))
        found.append({name: setting[name] for name in trial.factors})
    return found


def _level(trial: Trial, name: str, code: float) -> Level:
    asked = trial.factors[name]
    if asked.is_text:
        return asked.levels[0] if code < 0 else asked.levels[1]
    low, high = min(asked.numbers), max(asked.numbers)
    return round((low + high) / 2.0 + code * (high - low) / 2.0, 10)


def _forbidden(trial: Trial, settings: Sequence[Setting]) -> list[tuple[str, Setting]]:
    return [(nozzle, s) for nozzle in trial.types for s in settings if broken(trial, nozzle, s) is not None]


def _in_every_mount(trial: Trial, rng: np.random.Generator, settings: list[Setting], found: list[Finding]) -> Draft:
    forbidden = _forbidden(trial, settings)
    if forbidden:
        nozzle, setting = forbidden[0]
        limit = next(limit for limit in trial.plan.limits if limit.forbids(nozzle, setting))
        raise Infeasible(
            f"Limits forbid {len(forbidden)} settings of the {trial.plan.method} plan, the first for nozzle {nozzle!r} "
            f"at {setting_formula(trial, setting)} by '{limit.formula}'; narrow the levels, or set "
            "plan.method to optimal, which plans inside limits."
        )
    mounts = all_mounts(trial, rng)
    runs = {mount: with_repeats(trial, nozzle, settings) for mount, nozzle in mount_rows(mounts)}
    return Draft(mounts, runs, (*found, *moved_repeats(trial), *unused_budget(trial, runs)))
