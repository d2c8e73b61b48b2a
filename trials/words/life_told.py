"""What lives do not tell, and what to do next, one sentence for each finding."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.decide.lives_advice import LifeTold
from trials.endings import Part
from trials.words.facts import amount, as_amount, as_row, figure, several, whole, word
from trials.words.language import text
from trials.words.lives import unit_words
from trials.words.names import person
from trials.words.numbers import listed, percent, plain
from trials.words.ratios import times_down, times_up

if TYPE_CHECKING:
    from trials.findings import Amount, Finding


def pieces_words(part: Part) -> str:
    """What the pieces are that were run."""
    return {Part.NOZZLE: text("nozzles"), Part.LENS: text("lenses"), Part.WINDOW: text("windows")}[part]


def _pieces(finding: Finding) -> str:
    return pieces_words(Part(word(finding, "part")))


def _life(life: Amount) -> str:
    return f"{plain(life.value)} {unit_words(life.unit)}"


def outlasting(quantile: float) -> str:
    """Those who outlast the life by which a share has failed: `half`, `nine in ten`, `97.5 %`."""
    if math.isclose(quantile, 0.5):
        return text("half")
    return text("nine in ten") if math.isclose(quantile, 0.1) else percent(1.0 - quantile, 1)


def _early_open(finding: Finding) -> str:
    return text(
        "Early failures are not settled: that fewer of {nozzle} fail early is not proved (the life that {outlast} "
        "outlast, judged by itself: {low} to {high} times that of {today}).",
        nozzle=person(finding.about.nozzle),
        outlast=outlasting(figure(finding, "quantile")),
        low=times_down(figure(finding, "low")),
        high=times_up(figure(finding, "high")),
        today=person(finding.about.against),
    )


def _failed_first(finding: Finding) -> str:
    return text(
        "The first {nozzle} failed sooner than the first {today}: after {life}, against {todays}.",
        nozzle=person(finding.about.nozzle),
        today=person(finding.about.against),
        life=_life(amount(finding, "life")),
        todays=plain(amount(finding, "todays").value),
    )


def _ages_differ(finding: Finding) -> str:
    return text(
        "By how much a type outlasts today's depends on the age: early and late failures give different figures, "
        "which stand on the next pages."
    )


def _none_ran_longer(finding: Finding) -> str:
    rows = [as_row(row) for row in several(finding, "types")]
    types = [f"{person(str(name))} ({_life(as_amount(life))})" for name, life in rows]
    return text(
        "Most pieces still good after the longest life seen: {types}. How long they last is read from the fitted line.",
        types=listed(types),
    )


def _least_assumed(finding: Finding) -> str:
    return text("Nothing failed: the least lives in the table rest on an assumption of how pieces age.")


def _lives_alone(finding: Finding) -> str:
    return text("Edge and speed: only lives are compared here.")


def _job_not_said(finding: Finding) -> str:
    return text("Material, thickness, gas and settings: the table of lives does not say them.")


def _weigh_price(finding: Finding) -> str:
    nozzle = person(finding.about.nozzle)
    if finding.facts["dearer"]:
        return text("Weigh the price first: the longer life of {nozzle} does not pay for it.", nozzle=nozzle)
    return text("Weigh the price first: that {nozzle} pays for it by its longer life is not proved.", nozzle=nozzle)


def _change_over(finding: Finding) -> str:
    return text(
        "Change over to {nozzle} for this job; write down how long the first {pieces} last, and how they end.",
        nozzle=person(finding.about.nozzle),
        pieces=_pieces(finding),
    )


def _watch_first(finding: Finding) -> str:
    return text(
        "Look at them more often from {life} on: the first one here failed then.", life=_life(amount(finding, "life"))
    )


def _keep_on(finding: Finding) -> str:
    return text("Keep {nozzle}: nothing else follows from these lives.", nozzle=person(finding.about.nozzle))


def _more_pieces(finding: Finding) -> str:
    named = {"n": whole(finding, "n"), "pieces": _pieces(finding), "now": whole(finding, "now")}
    if named["n"] == named["now"]:
        return text(
            "Run a life trial with as many {pieces} again ({n} of each type), all until they fail: that most likely "
            "settles it.",
            **named,
        )
    return text(
        "Run a life trial with {n} {pieces} of each type instead of {now}, all until they fail: that most likely "
        "settles it.",
        **named,
    )


def _no_number(finding: Finding) -> str:
    return text(
        "No number of {pieces} up to {most} of each type would most likely settle a difference of {share}: pieces of "
        "one type differ too much. Ask for a larger difference.",
        pieces=_pieces(finding),
        most=whole(finding, "most"),
        share=percent(figure(finding, "worthwhile")),
    )


def _run_longer(finding: Finding) -> str:
    return text(
        "Run {nozzles} and today's on until some fail: without a failure their lives cannot be compared.",
        nozzles=listed([person(name) for name in finding.about.nozzles]),
    )


def _run_another(finding: Finding) -> str:
    return text(
        "To compare, give another type the same work as {nozzle}; say before how much longer a life has to be to "
        "matter.",
        nozzle=person(finding.about.nozzle),
    )


def _not_by_wear(finding: Finding) -> str:
    return text(
        "Look for damage and mounting faults: {pieces} fail early here rather than by wear.", pieces=_pieces(finding)
    )


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    LifeTold.EARLY_OPEN: _early_open,
    LifeTold.FAILED_FIRST: _failed_first,
    LifeTold.AGES_DIFFER: _ages_differ,
    LifeTold.NONE_RAN_LONGER: _none_ran_longer,
    LifeTold.LEAST_ASSUMED: _least_assumed,
    LifeTold.LIVES_ALONE: _lives_alone,
    LifeTold.JOB_NOT_SAID: _job_not_said,
    LifeTold.WEIGH_PRICE: _weigh_price,
    LifeTold.CHANGE_OVER: _change_over,
    LifeTold.WATCH_FIRST: _watch_first,
    LifeTold.KEEP_ON: _keep_on,
    LifeTold.MORE_PIECES: _more_pieces,
    LifeTold.NO_NUMBER: _no_number,
    LifeTold.RUN_LONGER: _run_longer,
    LifeTold.RUN_ANOTHER: _run_another,
    LifeTold.NOT_BY_WEAR: _not_by_wear,
}
