"""What a further block of a trial is for and what it brings, as sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import cast

from trials.findings import Finding
from trials.plan.kinds import PlanKind
from trials.words.language import plural, text
from trials.words.numbers import listed, percent
from trials.words.plan import names_of, number_of, plan_counts, whole

Say = Callable[[Finding], str]


def _block(f: Finding) -> str:
    purposes = {
        "repeat mounts": text("repeat mounts"),
        "axial": text("axial points"),
        "confirm": text("confirmation"),
        "settle": text("to settle the question"),
    }
    return text(
        "Block {block}, added to a trial that was cut ({purpose}): {counts}; order and marks drawn at random.",
        block=f.facts["block"],
        purpose=purposes[str(f.facts["purpose"])],
        counts=plan_counts(f.facts),
    )


def _declared(f: Finding) -> str:
    return plural(
        "Declared: {n} look at the data is left of the {looks} stated before cutting, so the next answer counts in "
        "full.",
        "Declared: {n} looks at the data are left of the {looks} stated before cutting, so the next answer counts in "
        "full.",
        whole(f, "left"),
        looks=f.facts["looks"],
    )


def _exploratory(f: Finding) -> str:
    return plural(
        "Exploratory: the one look at the data stated before cutting has been taken; the first verdict stands, and "
        "what comes after is labelled so.",
        "Exploratory: all {n} looks stated before cutting have been taken; the first verdict stands, and what comes "
        "after is labelled so.",
        whole(f, "looks"),
    )


def _gain_means(f: Finding) -> str:
    falls = cast(tuple[tuple[str, float], ...], f.facts["falls"])
    shown = listed([text("{share} ({nozzle})", share=percent(share), nozzle=nozzle) for nozzle, share in falls])
    head = text(
        "Gain by the expected spreads: the standard error of a type's mean {response} falls by {falls}",
        response=f.about.response,
        falls=shown,
    )
    share = number_of(f, "specimens_share")
    if not share:
        return text("{head}.", head=head)
    return text(
        "{head}; {share} of the variance left lies between specimens, which only further specimens reduce.",
        head=head,
        share=percent(share),
    )


# ---- layout ----------------------------------------------------------------------------------------------------------


def _factors(template: str) -> Say:
    return lambda f: text(template, factors=listed(names_of(f, "factors")))


def _as_it_stands(template: str) -> Say:
    return lambda _: text(template)


SENTENCES: Mapping[PlanKind, Say] = {
    PlanKind.BLOCK: _block,
    PlanKind.BETWEEN_BLOCKS: _as_it_stands(
        "What changed between the blocks (day, sheets, lenses) is in the difference between them, so compare inside a "
        "block."
    ),
    PlanKind.BLOCK_DECLARED: _declared,
    PlanKind.BLOCK_EXPLORATORY: _exploratory,
    PlanKind.GAIN_NO_SPREAD: _as_it_stands(
        "The gain cannot be stated: no expected spread is given for a primary response."
    ),
    PlanKind.GAIN_SPREADS_ZERO: _as_it_stands("The gain cannot be stated: the expected spreads are all zero."),
    PlanKind.GAIN_MEANS: _gain_means,
    PlanKind.GAIN_CURVATURE_NEW: _factors(
        "Gain: curvature over {factors}, which two levels could not show, can be estimated."
    ),
    PlanKind.GAIN_CURVATURE_SHARPER: _factors(
        "Gain: curvature over {factors} could be estimated before and is estimated more sharply now."
    ),
    PlanKind.GAIN_CONFIRMED: lambda f: plural(
        "Gain: if the {n} coupon of a type meets the requirement, its chance to do so is above {chance} ({confidence} "
        "confidence) at best, with coupons taken as independent; coupons of few specimens tell less.",
        "Gain: if all {n} coupons of a type meet the requirement, its chance to do so is above {chance} ({confidence} "
        "confidence) at best, with coupons taken as independent; coupons of few specimens tell less.",
        whole(f, "coupons"),
        chance=percent(number_of(f, "chance")),
        confidence=percent(0.95),
    ),
}
