"""Coupons that confirm each nozzle type at its best: planned as a block with limits, judged once they are measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from trials.errors import InputError
from trials.findings import About, Amount, Finding, each_once
from trials.plan.kinds import PlanKind
from trials.steps.extend import Extension, extension
from trials.steps.load import load
from trials.steps.window import window

BEST = "best"
"""What is typed in place of a setting: each type at its own best."""


def confirm_best(folder: Path | str, nozzles: Sequence[str] | None = None) -> Extension:
    """A further block that cuts each type at its best, with the limits that the means must fall in; nothing is written.

    nozzles: types to confirm, all where None.

    Raises
    ------
    InputError
        If no window can be told, a type has no best that can be confirmed, or the trial cannot be extended.
    Infeasible
        If limits or sheets leave no room.
    """
    from trials.plan.extend import ExtensionKind
    from trials.plan.settings import setting_facts

    trial, found = load(folder).trial, window(folder)
    known = {each.nozzle: each.best.confirm for each in found.types}
    wanted = {label: known.get(label) for label in nozzles or known}
    for label, confirm in wanted.items():
        if confirm is None:
            allowed = ", ".join(name for name, one in known.items() if one is not None)
            raise InputError(
                "no best setting to confirm", column="--nozzle", found=label, allowed=allowed or "none",
                do='Name a setting: --confirm "pressure=0.6; standoff=1.2".',
            )  # fmt: skip
    limits = [
        Finding(
            PlanKind.CONFIRM_LIMITS,
            About(response=found.response, nozzle=label),
            {
                "setting": setting_facts(trial, one.settings),
                "coupons": one.coupons,
                "readings": one.readings,
                "low": Amount(one.low, found.unit),
                "high": Amount(one.high, found.unit),
                "confidence": one.confidence,
            },
        )
        for label, one in wanted.items()
        if one is not None
    ]
    settings = {label: one.settings for label, one in wanted.items() if one is not None}
    chosen = extension(folder, ExtensionKind.CONFIRM, (), tuple(settings), settings)
    lead, *rest = chosen.plan.found
    return replace(chosen, plan=replace(chosen.plan, found=each_once([lead, *limits, *rest])))
