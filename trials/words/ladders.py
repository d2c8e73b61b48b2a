"""Speed ladders in words: how each type compares with today's, and what a ladder leaves open."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum

from trials.decide.ladder import LadderComparison, LadderKind, LadderStudy, Remark
from trials.findings import Finding
from trials.words.facts import several
from trials.words.language import text
from trials.words.lives import percent_of
from trials.words.numbers import fixed, listed, with_unit


def sentences(found: LadderStudy) -> tuple[str, ...]:
    """The answer first, then what there is to say beside it."""
    compared = (comparison_sentence(c, found.unit, found.confidence) for c in found.comparisons)
    return (*compared, *(SENTENCES[finding.kind](finding) for finding in found.said))


def comparison_sentence(c: LadderComparison, unit: str, confidence: float) -> str:
    """How much faster a type cuts clean than today's."""
    size = with_unit(abs(c.difference), unit)
    faster = text("{size} faster", size=size) if c.difference >= 0 else text("{size} slower", size=size)
    return text(
        "{nozzle} cuts clean up to {faster} than today's {against} ({level} interval {low} to {high}, {df} degrees of "
        "freedom): {end}.",
        nozzle=c.nozzle,
        faster=faster,
        against=c.against,
        level=percent_of(confidence),
        low=fixed(c.low, 2, sign=True),
        high=fixed(c.high, 2, sign=True),
        df=f"{c.df:.3g}",
        end=_end(c),
    )


def _end(c: LadderComparison) -> str:
    if c.low > 0:
        return text("a faster clean cut is shown")
    if c.high < 0:
        return text("a slower clean cut is shown")
    return text("no difference is shown")


def remark_words(remark: Remark) -> str:
    """What one ladder leaves open."""
    return {
        Remark.NONE: "",
        Remark.NO_FAILURE: text("clean to the last step"),
        Remark.AT_ONCE: text("not clean at the first step"),
    }[remark]


def _clean_to_the_last(finding: Finding) -> str:
    return text(
        "Clean to the last step in {mounts}: the limit there is higher; raise the ladder to find it.",
        mounts=_mounts(finding),
    )


def _not_clean_at_all(finding: Finding) -> str:
    return text("Not clean at the first step in {mounts}: counted as one step below it.", mounts=_mounts(finding))


def _speeds_rise(finding: Finding) -> str:
    return text("Speeds rise in order inside a mount: warming and wear within a ladder look like an effect of speed.")


def _mounts(finding: Finding) -> str:
    return listed(several(finding, "mounts"))


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    LadderKind.CLEAN_TO_THE_LAST: _clean_to_the_last,
    LadderKind.NOT_CLEAN_AT_ALL: _not_clean_at_all,
    LadderKind.SPEEDS_RISE: _speeds_rise,
}
