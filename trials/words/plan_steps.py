"""Steps of a ladder, and limits that confirming coupons must fall in, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from trials.findings import Amount, Finding
from trials.plan.kinds import PlanKind
from trials.words.language import plural, text
from trials.words.numbers import bare, listed, number_in_use, with_unit
from trials.words.plan import Say, amount, setting_words, whole


def _ladder_steps(f: Finding) -> str:
    low = cast(Amount, f.facts["low"])
    return text(
        "In each mount speed goes from {low} to {high} in {steps} equal steps, not in random order: stop a ladder at "
        "the first cut that is not clean or not severed, and leave its other coupons uncut.",
        low=bare(low.value, low.unit),
        high=amount(f.facts["high"]),
        steps=f.facts["steps"],
    )


def _ladder_sheets(f: Finding) -> str:
    low = cast(Amount, f.facts["low"])
    return text(
        "In each mount thickness goes from {low} to {high} over {steps} sheets, thin to thick and not in random order: "
        "stop a ladder at the first cut that is not clean or not severed, and leave its other coupons uncut. Keep the "
        "nozzle on the head while sheets are changed.",
        low=bare(low.value, low.unit),
        high=amount(f.facts["high"]),
        steps=f.facts["steps"],
    )


def _ladder_few_mounts(f: Finding) -> str:
    few = [f"{kind} {count}" for kind, count in cast(tuple[tuple[str, int], ...], f.facts["mounts"])]
    return text(
        "Few mounts for a ladder ({mounts}; {enough} of each type or more are better): what 95 % of the mounts keep "
        "clean will stay wide open.",
        mounts=listed(few),
        enough=f.facts["enough"],
    )


def _confirm_limits(f: Finding) -> str:
    low, high = cast(Amount, f.facts["low"]), cast(Amount, f.facts["high"])
    return plural(
        "{nozzle}: the typical edge of the {n} coupon at {setting} must fall between {low} and {high} to confirm.",
        "{nozzle}: the typical edge of the {n} coupons at {setting} must fall between {low} and {high} to confirm.",
        whole(f, "coupons"),
        nozzle=f.about.nozzle,
        setting=setting_words(f.facts["setting"]),
        low=number_in_use(low.value, low.unit),
        high=with_unit(high.value, high.unit),
    )


SENTENCES: Mapping[PlanKind, Say] = {
    PlanKind.LADDER_STEPS: _ladder_steps,
    PlanKind.LADDER_SHEETS: _ladder_sheets,
    PlanKind.LADDER_FEW_MOUNTS: _ladder_few_mounts,
    PlanKind.LADDER_STEPS_LEFT_OUT: lambda f: plural(
        "Nozzle {nozzle}: {n} step of each mount left out by limits.",
        "Nozzle {nozzle}: {n} steps of each mount left out by limits.",
        whole(f, "count"),
        nozzle=f.about.nozzle,
    ),
    PlanKind.CONFIRM_LIMITS: _confirm_limits,
}
