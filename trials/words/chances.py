"""Chances in words: what is asked, what is found about a chance, and what it rests on."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.infer.chance import ChanceKind
from trials.responses import QUANTITIES
from trials.words.facts import amount, as_figure, as_row, figure, several, whole
from trials.words.language import plural, text
from trials.words.numbers import listed, percent, plain, with_unit
from trials.words.settings import layer_name

if TYPE_CHECKING:
    from trials.decide.chance_result import Asked, ChanceResult
    from trials.findings import Fact, Finding


def asked_words(asked: Asked) -> str:
    """What an edge has to meet: `u at most 0.2 mm`, `dross grade 1 or better`, `all together`."""
    if not asked.response or asked.limit is None:
        return text("all together")
    if asked.response == "dross":
        return text("dross grade {grade} or better", grade=plain(asked.limit.value))
    limit = plain(asked.limit.value, asked.limit.unit)
    return text("{response} at most {limit}", response=QUANTITIES[asked.response].short, limit=limit)


def likely(share: float) -> str:
    """A chance as a whole percentage, never 100 %, and 0 % only where the bound shows nothing."""
    if share >= 0.995:
        return text("over {share}", share=percent(0.99))
    return text("under {share}", share=percent(0.01)) if 0.0 < share <= 0.005 else percent(share)


def at_least(low: float) -> str:
    """What a chance is at least, in whole per cent: rounded down, as edges that fail at most are rounded up.

    >>> at_least(0.7655), at_least(0.77), at_least(0.999)
    ('76 %', '77 %', '99 %')
    """
    return percent(math.floor(100.0 * low + 1e-9) / 100.0)


def likely_beside(share: float, target: float) -> str:
    """As `likely`, with a decimal where a share under a target would be printed as the target.

    >>> likely_beside(0.8964, 0.9), likely_beside(0.89, 0.9), likely_beside(0.9038, 0.9)
    ('89.6 %', '89 %', '90 %')
    """
    if share <= target and likely(share) == likely(target):
        return percent(math.floor(1000.0 * share + 1e-9) / 1000.0, 1)
    return likely(share)


def _rule(finding: Finding) -> str:
    n = whole(finding, "readings")
    if finding.facts["judged_by"] == "worst":
        return plural("Worst of {n} reading per edge.", "Worst of {n} readings per edge.", n)
    return plural("Mean of {n} reading per edge.", "Mean of {n} readings per edge.", n)


def _grade_rule(finding: Finding) -> str:
    grade = plain(figure(finding, "at_most"))
    if finding.facts["new_specimen"]:
        return text("Grade {grade} or better; a new specimen each time.", grade=grade)
    return text("Grade {grade} or better; for these specimens only.", grade=grade)


def _new_each_time(finding: Finding) -> str:
    layers = _layers(finding, "layers")
    if not layers:
        return text("A new edge each time.")
    if several(finding, "pooled"):
        return text(
            "New {layers} each time; spread of {pooled} pooled over the types.",
            layers=listed(layers),
            pooled=listed([layer_name(str(layer), several=True) for layer in several(finding, "pooled")]),
        )
    return text("New {layers} each time.", layers=listed(layers))


def _not_known(finding: Finding) -> str:
    names = [layer_name(str(layer), several=True) for layer in several(finding, "layers")]
    return text("The spread of {layers} could not be estimated on its own.", layers=listed(names))


def _spread_of_type(finding: Finding) -> str:
    if finding.facts["by_type"]:
        return text("Spread of coupons and readings by type.")
    return text("Spread of coupons and readings pooled over the types.")


def _no_grade_model(finding: Finding) -> str:
    return plural(
        "No model of the grades: the share that was seen; the bound counts {n} whole specimen.",
        "No model of the grades: the share that was seen; the bound counts {n} whole specimens.",
        whole(finding, "specimens"),
    )


def _lost_cuts(finding: Finding) -> str:
    return plural(
        "{n} of {cuts} cuts was lost and counts as not meeting.",
        "{n} of {cuts} cuts were lost and count as not meeting.",
        whole(finding, "lost"),
        cuts=finding.facts["cuts"],
    )


def _tolerance(finding: Finding) -> str:
    value = amount(finding, "value")
    return text(
        "With {confidence} confidence {share} of edges that are cut through lie below {value}, {rule}.",
        rule=_judged(finding),
        confidence=percent(figure(finding, "confidence")),
        share=percent(figure(finding, "share")),
        value=with_unit(value.value, value.unit),
    )


def _judged(finding: Finding) -> str:
    n = whole(finding, "readings")
    if finding.facts["judged_by"] == "worst":
        return plural("by its {n} reading", "by the worst of {n} readings", n)
    return plural("by {n} reading", "by the mean of {n} readings", n)


def _reach(finding: Finding) -> str:
    target, specimens = percent(figure(finding, "target")), whole(finding, "specimens")
    if finding.facts["needed"] is not None:
        return text(
            "{specimens} specimens of the type do not show {target}; about {needed} would, if the estimate is right "
            "and the other types grow alike.",
            specimens=specimens,
            target=target,
            needed=finding.facts["needed"],
        )
    if finding.facts["more_than"] is not None:
        return text(
            "{specimens} specimens of the type do not show {target}; if the estimate is right, more than {most} would "
            "be needed.",
            specimens=specimens,
            target=target,
            most=finding.facts["more_than"],
        )
    steps = [_step(*as_row(pair)) for pair in several(finding, "shown")]
    return text(
        "The estimate lies below {target}, so {specimens} specimens of the type do not show it; if the estimate is "
        "right, {steps}.",
        target=target,
        specimens=specimens,
        steps=listed(steps),
    )


def _step(specimens: Fact, low: Fact) -> str:
    return text("{specimens} specimens would show at least {low}", specimens=specimens, low=at_least(as_figure(low)))


def _without_flagged(finding: Finding) -> str:
    return text(
        "Without the flagged readings {estimate}, at least {low}.",
        estimate=likely(figure(finding, "estimate")),
        low=at_least(figure(finding, "low")),
    )


def _any_correlation(finding: Finding) -> str:
    return text("Whatever the correlation, the estimates allow {span}.", span=any_span(finding))


def any_span(finding: Finding) -> str:
    """What the estimates allow whatever the correlation: `86 % to 89 %`, or one figure where both ends agree."""
    least, most = (likely(figure(finding, end)) for end in ("least", "most"))
    return least if least == most else text("{low} to {high}", low=least, high=most)


def _readings_independent(finding: Finding) -> str:
    return text("Coupon and reading spread could not be told apart; readings count as independent, the cautious way.")


def _penalised(finding: Finding) -> str:
    return text(
        "Estimated with a weak prior: as many coupons as there are coefficients plus one, spread evenly over the "
        "settings with the grades in their overall shares."
    )


def _move_together(finding: Finding) -> str:
    return text(
        "Responses move together at specimen and coupon level as they did in this trial; readings are independent."
    )


def _dross_apart(finding: Finding) -> str:
    return text("Dross is taken as independent of the rest; the bound for all together holds whatever the correlation.")


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    ChanceKind.RULE: _rule,
    ChanceKind.GRADE_RULE: _grade_rule,
    ChanceKind.NEW_EACH_TIME: _new_each_time,
    ChanceKind.SPREAD_NOT_KNOWN: _not_known,
    ChanceKind.READINGS_INDEPENDENT: _readings_independent,
    ChanceKind.SPREAD_OF_TYPE: _spread_of_type,
    ChanceKind.PENALISED: _penalised,
    ChanceKind.NO_GRADE_MODEL: _no_grade_model,
    ChanceKind.MOVE_TOGETHER: _move_together,
    ChanceKind.DROSS_APART: _dross_apart,
    ChanceKind.LOST_CUTS: _lost_cuts,
    ChanceKind.TOLERANCE: _tolerance,
    ChanceKind.REACH: _reach,
    ChanceKind.WITHOUT_FLAGGED: _without_flagged,
    ChanceKind.ANY_CORRELATION: _any_correlation,
}


def notes(chance: ChanceResult) -> str:
    """What is found about one chance, as one paragraph."""
    return " ".join(SENTENCES[finding.kind](finding) for finding in chance.notes)


def _layers(finding: Finding, name: str) -> list[str]:
    """Layers of a nozzle trial as nouns of the trade."""
    return [layer_name(str(layer)) for layer in several(finding, name)]
