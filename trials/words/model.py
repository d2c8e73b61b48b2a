"""What the records carry and what had to be left out of a model, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.infer.kinds import InferKind
from trials.words import facts
from trials.words.language import text
from trials.words.numbers import listed, point
from trials.words.settings import layer_name, layer_words

if TYPE_CHECKING:
    from trials.findings import Finding
    from trials.infer.model.structure import RestsOn


def rests_on_words(found: RestsOn) -> str:
    """What the nozzle test rests on: `12 specimens on 3 sheets; 6 degrees of freedom`."""
    units = layer_name("reading", several=True) if found.n is None else layer_words(found.unit, found.n)
    if found.blocks:
        units = text("{units} on {blocks}", units=units, blocks=layer_words("sheet", found.blocks, found.block))
    if found.df is None:
        return text("{units}; nothing above the coupon was repeated", units=units)
    if found.n is not None and found.df > found.n:  # types that were not cut at the same settings alike
        units = text("{units}, and in part the coupons inside them", units=units)
    return text("{units}; {df} degrees of freedom", units=units, df=point(f"{found.df:.3g}"))


def _few_sheets(finding: Finding) -> str:
    n, block = facts.whole(finding, "n"), facts.word(finding, "block")
    return text(
        "Only {units}: the {one} is a fixed part of the model, so the answer holds for these {many}; with {enough} or "
        "more it would reach to the next one.",
        units=layer_words("sheet", n, block),
        one=layer_name("sheet", block),
        many=layer_name("sheet", block, several=True),
        enough=facts.whole(finding, "enough"),
    )


def _one_reading_per(finding: Finding) -> str:
    if finding.about.source == "coupon":
        return text("One reading per coupon: the spread between coupons and between readings cannot be told apart.")
    name = layer_name(finding.about.source)
    return text("One reading per {layer}: its spread cannot be told apart from that of readings.", layer=name)


def _one_per(finding: Finding) -> str:
    names = {"layer": layer_name(finding.about.source), "other": layer_name(facts.word(finding, "of_each"))}
    return text("One {layer} per {other}: their spreads are one and stand under {other}.", **names)


def _one_specimen_each(finding: Finding) -> str:
    return text("One specimen per type: the result is about these nozzles, not about these types.")


def _one_specimen_of(finding: Finding) -> str:
    return text(
        "One specimen only of {types}: its own spread is taken from the other types.",
        types=listed(finding.about.nozzles),
    )


def _not_named(finding: Finding) -> str:
    missing = [str(name) for name in facts.several(finding, "missing")]
    return text(
        "The records do not name each {layers}: nobody can say how much one nozzle of a type differs from the next, so "
        "nozzle types get differences without p-values, and no answer is called settled.",
        layers=listed([layer_name(name) for name in missing]),
    )


def _not_repeated(finding: Finding) -> str:
    return text(
        "No specimen or mount was repeated within a type: differences between nozzles come without p-values, because "
        "the coupons say only how these pieces, mounted once, compare."
    )


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    InferKind.FEW_SHEETS: _few_sheets,
    InferKind.ONE_READING_PER: _one_reading_per,
    InferKind.ONE_PER: _one_per,
    InferKind.ONE_SPECIMEN_EACH: _one_specimen_each,
    InferKind.ONE_SPECIMEN_OF: _one_specimen_of,
    InferKind.NOT_NAMED: _not_named,
    InferKind.NOT_REPEATED: _not_repeated,
}
