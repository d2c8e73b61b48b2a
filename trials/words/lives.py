"""Lives in words: the answer for each type, its lives, and what they cannot say."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.decide.lives import LifeComparison, LivesAnswer, LivesKind, TypeCare
from trials.endings import Ended, Part
from trials.infer.answer import Added, Answer
from trials.infer.life import CauseLife, CauseStudy, LifeKind, LifeRatio, TypeLife
from trials.infer.life.regression import CHARACTERISTIC
from trials.words.facts import as_figure, as_row, figure, several, whole
from trials.words.language import plural, text
from trials.words.names import person
from trials.words.numbers import fixed, listed, number, percent, with_unit

if TYPE_CHECKING:
    from trials.findings import Finding

TWO_SIDED = 0.95  # confidence of the limits of a type's life


def sentences(found: LivesAnswer) -> tuple[str, ...]:
    """The answer first, one sentence per comparison; then what there is to say; then the lives of each type; then the
    same of lens and window."""
    return (
        *comparison_sentences(found),
        *(say_life(finding) for finding in (*found.study.said, *found.said)),
        *(type_sentence(each, found) for each in found.study.types),
        *(line for part in found.beside for line in (*comparison_sentences(part), *_types(part))),
    )


def comparison_sentences(found: LivesAnswer) -> tuple[str, ...]:
    """One sentence for each type that can be compared with today's."""
    compared = [c for c in found.comparisons if not math.isnan(c.value)]
    return tuple(comparison_sentence(c, found.worthwhile, found.part) for c in compared)


def _types(found: LivesAnswer) -> tuple[str, ...]:
    return tuple(type_sentence(each, found) for each in found.study.types)


def comparison_sentence(c: LifeComparison, worthwhile: float | None, part: Part = Part.NOZZLE) -> str:
    """How long a type lasts against today's, with its word, or with what is shown where no word is asked for."""
    size = _starting(_size(c, part), part)
    return text("{size}; {end}.", size=size, end=_word(c, worthwhile) if c.answer else _shown(c))


def _starting(sentence: str, part: Part) -> str:
    """A sentence that starts with our own words starts with a capital; the name of a type stays as it is."""
    return sentence if part is Part.NOZZLE else sentence[:1].upper() + sentence[1:]


def _subject(nozzle: str, part: Part) -> str:
    """Whose life: a type, or the lens or window under it."""
    return {
        Part.NOZZLE: nozzle,
        Part.LENS: text("a lens under {nozzle}", nozzle=nozzle),
        Part.WINDOW: text("a window under {nozzle}", nozzle=nozzle),
    }[part]


def _todays(against: str, part: Part) -> str:
    if part is Part.NOZZLE:
        return text("today's {against}", against=against)
    return text("one under today's {against}", against=against)


def _size(c: LifeComparison, part: Part) -> str:
    """The ratio of lives with its limits, on one side where a type never failed."""
    one_sided = percent_of(0.5 * (1.0 + c.confidence))
    subject, todays = _subject(c.nozzle, part), _todays(c.against, part)
    if math.isinf(c.value):
        return text(
            "{nozzle} never failed: it lasts at least {low} times as long as {today} ({level} confidence)",
            nozzle=subject,
            low=fixed(c.low, 2),
            today=todays,
            level=one_sided,
        )
    if c.value == 0:
        return text(
            "{today} never failed: {nozzle} lasts at most {high} times as long ({level} confidence)",
            nozzle=subject,
            high=fixed(c.high, 2),
            today=todays,
            level=one_sided,
        )
    return text(
        "{nozzle} lasts {ratio} times as long as {today} ({level} interval {low} to {high})",
        nozzle=subject,
        ratio=fixed(c.value, 2),
        today=todays,
        level=percent_of(c.confidence),
        low=fixed(c.low, 2),
        high=fixed(c.high, 2),
    )


def percent_of(confidence: float) -> str:
    """A confidence with the digits it needs: `95 %`, `97.5 %`, `98.3 %`."""
    return percent(confidence, 0 if math.isclose(100 * confidence, round(100 * confidence), abs_tol=1e-9) else 1)


def _shown(c: LifeComparison) -> str:
    if c.low > 1:
        return text("longer lives are shown")
    if c.high < 1:
        return text("shorter lives are shown")
    return text("no difference is shown, and none is ruled out within these limits")


def _word(c: LifeComparison, worthwhile: float | None) -> str:
    """The word and its added clause, with the worthwhile difference."""
    share = percent(worthwhile or 0.0)
    if c.answer == Answer.BETTER and c.answer_adds == Added.BY_AT_LEAST:
        return text("better, by at least the worthwhile {share}", share=share)
    if c.answer == Answer.BETTER:
        return text("better; whether by the worthwhile {share} is open", share=share)
    if c.answer == Answer.WORSE:
        return text("worse (worthwhile: {share} longer)", share=share)
    if c.answer == Answer.SAME:
        return text("same for practical purposes (worthwhile: {share} longer)", share=share)
    return text("not settled (worthwhile: {share} longer)", share=share)


def type_sentence(each: TypeLife, found: LivesAnswer) -> str:
    """Lives of one type; where nothing failed at all the bound is one-sided by itself."""
    life, unit, assumed = each.at[0], found.unit, found.study.shape_assumed
    subject = _starting(_subject(each.nozzle, found.part), found.part)
    lead = text("{nozzle}: {failed} of {n} failed", nozzle=subject, failed=each.failures, n=each.n)
    if math.isinf(life.life):
        level = percent_of(TWO_SIDED if assumed else 0.5 * (1.0 + TWO_SIDED))
        return text(
            "{lead}; characteristic life above {low} ({level} confidence).",
            lead=lead,
            low=with_unit(life.low, unit_words(unit)),
            level=level,
        )
    return text(
        "{lead}; characteristic life {life} ({level} interval {limits}).",
        lead=lead,
        life=with_unit(life.life, unit_words(unit)),
        level=percent_of(TWO_SIDED),
        limits=_limits(life.low, life.high),
    )


def _limits(low: float, high: float) -> str:
    if math.isfinite(high):
        return text("{low} to {high}", low=number(low), high=number(high))
    return text("above {low}", low=number(low))


def unit_words(unit: str) -> str:
    """The unit of a life; another than these is the user's own column."""
    return {"hours": text("hours"), "metres": text("metres"), "pierces": text("pierces")}.get(unit, unit)


def share_words(quantile: float) -> str:
    """A share failed as a column head: `10 % failed`, and the name of the characteristic life."""
    if math.isclose(quantile, CHARACTERISTIC, abs_tol=1e-3):
        return text("characteristic life")
    places = 0 if math.isclose(100 * quantile, round(100 * quantile), abs_tol=1e-9) else 1
    return text("{share} failed", share=percent(quantile, places))


def life_words(life: float, low: float, high: float) -> str:
    """A life with its limits: `170 (120 to 240)`, or `above 120` where it has no upper bound."""
    if math.isinf(life):
        return text("above {low}", low=number(low))
    return text("{life} ({low} to {high})", life=number(life), low=number(low), high=number(high))


def ratio_words(ratio: LifeRatio) -> str:
    """A ratio with its limits, one-sided where a type never failed."""
    if math.isinf(ratio.ratio):
        return text("at least {low}", low=number(ratio.low))
    if ratio.ratio == 0:
        return text("at most {high}", high=number(ratio.high))
    return text("{ratio} ({low} to {high})", ratio=number(ratio.ratio), low=number(ratio.low), high=number(ratio.high))


def ratio_head() -> list[str]:
    """Column titles of a table of ratios."""
    return [text("nozzle type"), text("against"), text("at"), text("shape"), text("ratio of lives"), text("p")]


def ratio_cells(ratio: LifeRatio) -> list[str]:
    """One ratio as cells: type, against, at which share failed, shape, ratio with limits, p."""
    at = text("every share") if ratio.common_shape else share_words(ratio.quantile)
    shape = text("one for all") if ratio.common_shape else text("own")
    return [ratio.of, ratio.against, at, shape, ratio_words(ratio), p_words(ratio.p)]


def p_words(p: float) -> str:
    """A p-value: three decimals, or the bound that it lies beyond."""
    if p > 0.999:
        return text("above {bound}", bound=fixed(0.999, 3))
    return text("below {bound}", bound=fixed(0.001, 3)) if p < 0.001 else fixed(p, 3)


def ratio_note(ratio: LifeRatio) -> str:
    """What a ratio rests on: shapes and failures."""
    failures = plural("{first} and {n} failure", "{first} and {n} failures", ratio.failures[1], first=ratio.failures[0])
    shapes = [fixed(shape, 2) for shape in ratio.shapes]
    if ratio.common_shape:
        said = text("One Weibull shape ({shape}) for all types; {failures}.", shape=shapes[0], failures=failures)
    else:
        said = text("Weibull shapes of their own ({shapes}); {failures}.", shapes=listed(shapes), failures=failures)
    if math.isfinite(ratio.ratio) and ratio.ratio > 0:
        return said
    never = ratio.of if math.isinf(ratio.ratio) else ratio.against
    return f"{said} " + text("{nozzle} never failed: the ratio has a bound on one side only.", nozzle=never)


def end_words(ended: Ended) -> str:
    """How a life ended."""
    return {
        Ended.WORN: text("worn"),
        Ended.PLUGGED: text("plugged"),
        Ended.DAMAGED: text("damaged"),
        Ended.OUT_OF_CENTRE: text("out of centre"),
        Ended.WINDOW_BURNT: text("window burnt"),
        Ended.LENS_BURNT: text("lens burnt"),
        Ended.NOT_SAID: text("failed, cause not said"),
        Ended.TAKEN_OFF_GOOD: text("taken off while good"),
    }[ended]


def part_title(part: Part) -> str:
    """Heading over the lives of a part."""
    return {
        Part.NOZZLE: text("Lives"),
        Part.LENS: text("Lens lives by nozzle type"),
        Part.WINDOW: text("Window lives by nozzle type"),
    }[part]


def part_words(part: Part) -> str:
    """Whose life a row is."""
    return {Part.NOZZLE: text("nozzle"), Part.LENS: text("lens"), Part.WINDOW: text("window")}[part]


def cause_head(found: LivesAnswer) -> list[str]:
    """Column titles of the table of causes."""
    by = with_unit(found.causes[0].by, unit_words(found.unit))
    return [
        text("cause"),
        text("nozzle type"),
        text("ended so"),
        text("share ended so by {time}", time=by),
        text("life if nothing else ended it"),
        text("ratio to today's"),
    ]


def cause_rows(found: LivesAnswer) -> list[list[str]]:
    """One row per cause and type; the cause is named once."""
    return [_cause_row(cause, each, first=k == 0) for cause in found.causes for k, each in enumerate(cause.types)]


def _cause_row(cause: CauseStudy, each: CauseLife, first: bool) -> list[str]:
    ratio = next((ratio_words(r) for r in cause.ratios if r.of == each.nozzle), "")
    share = text("{share} ({low} to {high})", share=percent(each.ended), low=percent(each.low), high=percent(each.high))
    life = "" if math.isnan(each.life) else text("no such end seen") if math.isinf(each.life) else number(each.life)
    name = end_words(Ended(cause.cause)) if first else ""
    return [name, each.nozzle, str(each.ends), share, life, ratio]


def cause_note(found: LivesAnswer) -> str:
    """How to read the table of causes."""
    return text(
        "Share ended so: of all pieces put to work, those that ended otherwise counted as ended otherwise (Aalen and "
        "Johansen; 95 % limits). Life and ratio: Weibull, ends of another cause taken as taken off while good; limits "
        "of ratios {level} each, so that all causes hold together.",
        level=percent_of(1.0 - (1.0 - found.study.confidence) / len(found.causes)),
    )


def lives_alt(found: LivesAnswer) -> str:
    """Share of specimens still good over time, with what is said of it."""
    return " ".join([text("Share still good over {unit}.", unit=unit_words(found.unit)), *sentences(found)])


def lives_caption(found: LivesAnswer) -> str:
    """How to read the picture of the share still good; what is not in it is not spoken of."""
    parts = [text("Each step down is a piece that failed.")]
    if any(each.counts.get(Ended.TAKEN_OFF_GOOD) for each in found.ends):
        parts.append(text("An upright bar is a piece that was taken off while still good."))
    if any(each.curve is not None for each in found.study.types):
        parts.append(text("The thin line of a type smooths its steps; the lives in the table are read from it."))
    return " ".join(parts)


def causes_alt(found: LivesAnswer) -> str:
    """What ended the pieces of each type, with the figures."""
    return " ".join([causes_caption(found), *(" ".join(row) for row in cause_rows(found))])


def causes_caption(found: LivesAnswer) -> str:
    """What ended the pieces of each type."""
    by = with_unit(found.causes[0].by, unit_words(found.unit))
    return text("Of a hundred pieces of each type, by {time}.", time=by)


def care_sentences(found: LivesAnswer) -> tuple[str, ...]:
    """What was cleaned and put back, by type."""
    return tuple(_care_sentence(each) for each in found.care)


def _care_sentence(each: TypeCare) -> str:
    cleaned = plural("{n} piece cleaned", "{n} pieces cleaned", each.cleaned_pieces)
    refitted = plural("{n} put back", "{n} put back", each.refitted_pieces)
    return text(
        "{nozzle}: {cleaned} ({times} in all), {refitted} ({again} in all).",
        nozzle=each.nozzle,
        cleaned=cleaned,
        times=_times(each.cleaned),
        refitted=refitted,
        again=_times(each.refitted),
    )


def _times(n: int) -> str:
    return plural("once", "{n} times", n)


def kept_words(added: int, known: int) -> str:
    """How many values of a table of lives were kept."""
    return plural(
        "{n} value recorded, {known} on record already.",
        "{n} values recorded, {known} on record already.",
        added,
        known=known,
    )


def _causes_apart(finding: Finding) -> str:
    return text(
        "A cause by itself: the other causes are thought away, which holds where one does not bring on the other (a "
        "plugged nozzle that burns the lens does)."
    )


def _cleaned_is_one_life(finding: Finding) -> str:
    return text(
        "A piece that was cleaned or put back has one life, from new to its end; cleaning does not start another."
    )


def _part_not_studied(finding: Finding) -> str:
    part = {Part.LENS: text("a lens"), Part.WINDOW: text("a window"), Part.NOZZLE: text("a nozzle")}
    return plural(
        "{n} life of {part} is on record: too few ends to compare nozzle types by.",
        "{n} lives of {part} are on record: too few ends to compare nozzle types by.",
        whole(finding, "lives"),
        part=part[Part(str(finding.facts["part"]))],
    )


def _nothing_failed(finding: Finding) -> str:
    return text(
        "Nothing failed, so types cannot be compared; bounds assume a Weibull shape of {shape}.",
        shape=number(figure(finding, "shape")),
    )


def _neither_failed(finding: Finding) -> str:
    return text(
        "Neither {nozzle} nor {against} failed, so their lives cannot be compared; run them longer.",
        nozzle=finding.about.nozzle,
        against=finding.about.against,
    )


def _shape_assumed(finding: Finding) -> str:
    return text("The shape is an assumption: a smaller one gives another bound. Run them longer.")


def _shapes_not_checked(finding: Finding) -> str:
    return text("Whether the types share one Weibull shape cannot be checked with these failures; it is assumed.")


def _shapes_differ(finding: Finding) -> str:
    pairs = [as_row(pair) for pair in several(finding, "shapes")]
    shapes = [f"{name} {fixed(as_figure(shape), 2)}" for name, shape in pairs]
    return text(
        "The types do not share one Weibull shape (p {p}; {shapes}): the ratio depends on the share failed, so read "
        "the ratios with shapes of their own.",
        p=fixed(figure(finding, "p"), 3),
        shapes=", ".join(shapes),
    )


def _shapes_alike(finding: Finding) -> str:
    return text(
        "One Weibull shape for all types ({shape}) is not contradicted (p {p}).",
        shape=fixed(figure(finding, "shape"), 2),
        p=fixed(figure(finding, "p"), 2),
    )


def _early_failures(finding: Finding) -> str:
    return text("The shape is below 1: early failures, not wear. Look for damage and mounting faults.")


def _few_failures(finding: Finding) -> str:
    return text(
        "Fewer than {few} failures of {nozzles}: the limits are rough.",
        few=finding.facts["few"],
        nozzles=listed([person(name) for name in finding.about.nozzles]),
    )


def _beyond_longest(finding: Finding) -> str:
    return text(
        "The characteristic life of {nozzles} lies beyond the longest life seen, so it rests on the Weibull curve.",
        nozzles=listed(finding.about.nozzles),
    )


def _taken_off(finding: Finding) -> str:
    return text("A specimen taken off while still good is taken to be no nearer to failure than the others.")


def _no_worthwhile(finding: Finding) -> str:
    return text(
        "No worthwhile difference is declared, so the types get numbers and no word; say before the trial how much "
        "longer a life has to be to matter."
    )


def _note_means_good(finding: Finding) -> str:
    return plural(
        "The note of {n} life says that it was still good: read as taken off while good. New records say so in "
        "their column ended.",
        "The notes of {n} lives say that they were still good: read as taken off while good. New records say so in "
        "their column ended.",
        whole(finding, "lives"),
    )


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    LifeKind.NOTHING_FAILED: _nothing_failed,
    LifeKind.NEITHER_FAILED: _neither_failed,
    LifeKind.SHAPE_ASSUMED: _shape_assumed,
    LifeKind.SHAPES_NOT_CHECKED: _shapes_not_checked,
    LifeKind.SHAPES_DIFFER: _shapes_differ,
    LifeKind.SHAPES_ALIKE: _shapes_alike,
    LifeKind.EARLY_FAILURES: _early_failures,
    LifeKind.FEW_FAILURES: _few_failures,
    LifeKind.BEYOND_LONGEST: _beyond_longest,
    LifeKind.TAKEN_OFF_LIKE_OTHERS: _taken_off,
    LivesKind.NO_WORTHWHILE: _no_worthwhile,
    LivesKind.NOTE_MEANS_GOOD: _note_means_good,
    LivesKind.CAUSES_APART: _causes_apart,
    LivesKind.CLEANED_IS_ONE_LIFE: _cleaned_is_one_life,
    LivesKind.PART_NOT_STUDIED: _part_not_studied,
}


def say_life(finding: Finding) -> str:
    """The sentence of a finding about lives."""
    return SENTENCES[finding.kind](finding)


def cautions(found: LivesAnswer) -> Sequence[str]:
    """What these lives cannot say."""
    return tuple(say_life(finding) for finding in (*found.study.cautions, *found.cautions))
