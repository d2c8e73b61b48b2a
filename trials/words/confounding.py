"""What a plan cannot tell apart, as sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from trials.plan.kinds import PlanKind
from trials.words.facts import as_figure, as_row, figure, several
from trials.words.language import plural, text
from trials.words.numbers import listed, percent
from trials.words.settings import factor_name

if TYPE_CHECKING:
    from trials.findings import Fact, Finding


def _feature_name(feature: str) -> str:
    return {
        "double wall": text("wall"),
        "bore": text("bore form"),
        "side jets": text("side jets"),
        "plating": text("plating"),
        "pointed body": text("pointed body"),
    }["bore" if feature.endswith("bore") else feature]


def _carrier(feature: str) -> str:
    return {
        "double wall": text("double-wall nozzle"),
        "conical bore": text("conical nozzle"),
        "cylindrical bore": text("cylindrical nozzle"),
        "diverging bore": text("diverging nozzle"),
        "side jets": text("nozzle with side jets"),
        "plating": text("plated nozzle"),
        "pointed body": text("pointed nozzle"),
    }[feature]


def _style_with_size(f: Finding) -> str:
    feature, orifice = str(f.facts["feature"]), f.facts["size"] == "orifice_mm"
    which = {
        "larger": text("the larger orifice") if orifice else text("the larger flow area"),
        "smaller": text("the smaller orifice") if orifice else text("the smaller flow area"),
        "other": text("an orifice that no other nozzle has")
        if orifice
        else text("a flow area that no other nozzle has"),
    }
    return text(
        "Every {carrier} here has {which}: {feature} and {size} cannot be told apart.",
        carrier=_carrier(feature),
        which=which[str(f.facts["side"])],
        feature=_feature_name(feature),
        size=text("orifice") if orifice else text("flow area"),
    )


def _styles_together(f: Finding) -> str:
    names = listed([_feature_name(str(feature)) for feature in several(f, "features")])
    named = names[:1].upper() + names[1:]
    return text("{features} change together in these nozzles and cannot be told apart.", features=named)


def _one_of_each(f: Finding) -> str:
    return plural(
        "One specimen per type: the trial is about this one nozzle, not about the type it stands for.",
        "One specimen per type: the trial is about these {n} nozzles, not about the types they stand for.",
        len(f.about.nozzles),
    )


def _one_specimen(f: Finding) -> str:
    return plural(
        "One specimen only of {types}: what is found there holds for that piece, not for its type.",
        "One specimen only of {types}: what is found there holds for those pieces, not for their types.",
        len(f.about.nozzles),
        types=listed(f.about.nozzles),
    )


def _along_order(f: Finding) -> str:
    return text(
        "Nozzle type goes along with the order of cutting ({share} of it): a drift over the day would look like a "
        "difference between types.",
        share=percent(figure(f, "share")),
    )


def effect_words(factors: Fact) -> str:
    """A product of factors: `pressure x standoff`."""
    return " x ".join(factor_name(str(factor)) for factor in as_row(factors))


def _aliases(f: Finding) -> str:
    (first, _), *others = map(as_row, several(f, "effects"))
    shown = [
        effect_words(effect)
        if as_figure(sign) > 0
        else text("{effect} (with opposite sign)", effect=effect_words(effect))
        for effect, sign in others
    ]
    return text("{effect} cannot be told apart from {others}.", effect=effect_words(first), others=_either(shown))


def _either(names: Sequence[str]) -> str:
    if len(names) == 1:
        return names[0]
    return text("{first} or {last}", first=", ".join(names[:-1]), last=names[-1])


SENTENCES: Mapping[PlanKind, Callable[[Finding], str]] = {
    PlanKind.STYLE_WITH_SIZE: _style_with_size,
    PlanKind.STYLES_TOGETHER: _styles_together,
    PlanKind.ONE_OF_EACH: _one_of_each,
    PlanKind.ONE_SPECIMEN: _one_specimen,
    PlanKind.TYPES_ON_OWN_SHEETS: lambda f: text(
        "Nozzle type and sheet cannot be told apart: some types meet others on no sheet."
    ),
    PlanKind.TYPES_ONE_AFTER_OTHER: lambda f: text(
        "Nozzle type and time of day cannot be told apart: each type is cut in one go, one after the other."
    ),
    PlanKind.TYPES_ALONG_ORDER: _along_order,
    PlanKind.ALIASES: _aliases,
}
