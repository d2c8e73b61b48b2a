"""The answer of a study in words: the sentence for the manager, sizes, words of nozzle types, spreads, next steps."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.decide.decision_result import Gain
from trials.decide.results import Comparison, Effect, NextStep, NozzleRow, ResponseResult, Spread, State, Study, Worded
from trials.infer.answer import Added, Answer
from trials.responses import QUANTITIES, Scale
from trials.units import shown
from trials.words import ladders, window
from trials.words.answer import word_of
from trials.words.findings import say
from trials.words.language import text
from trials.words.model import rests_on_words
from trials.words.numbers import (
    beside,
    confidence,
    fixed,
    listed,
    number,
    p_value,
    percent,
    point,
    rounded,
    signed,
    with_unit,
)
from trials.words.settings import at_place, factor_name, source_words
from trials.words.system import shown_unit, step_in_use

if TYPE_CHECKING:
    from trials.findings import Place


def answer_sentence(study: Study) -> str:
    """The answer in one sentence, from the primary responses."""
    parts = [] if study.ladder is None else [ladders.answer_clause(study.ladder)]
    parts += [window.answer(study.window)] if study.window is not None and study.window.asked else []
    parts += [_response_clause(result) for result in study.results if result.primary and result.comparisons]
    if parts:
        return " ".join(parts)
    if len(study.nozzles) < 2:
        return text("One nozzle type was cut, so there is nothing to compare.")
    return text("No answer yet: the decisive response has no readings that can be compared.")


def _response_clause(result: ResponseResult) -> str:
    first = result.comparisons[0]
    sized = [c for word in (Answer.BETTER, Answer.WORSE) for c in result.comparisons if c.answer == word]
    said = [_sized_clause(c, result) for c in sized]
    for word in (Answer.SAME, Answer.NOT_SETTLED):
        names = [named(c.nozzle, result) for c in result.comparisons if c.answer == word]
        if names and result.pieces:
            against = named(first.against, result)
            said.append(
                text("{names} against {against}: {answer}", names=listed(names), against=against, answer=text(word))
            )
        elif names:
            said.append(text("{names}: {answer}", names=listed(names), answer=text(word)))
    place = at_place(first.settings)
    if sized and not math.isnan(first.low):
        tail = text("{place}; {covered}", place=place, covered=covered(result.comparisons))
    elif sized:
        tail = place
    else:
        tail = text("{place}, by {symbol}", place=place, symbol=symbol(result))
    sentence = text("{clauses} ({tail}).", clauses="; ".join(said), tail=tail)
    if result.replicated:
        return sentence
    return f"{sentence} {text('Nothing above the coupon was repeated.')}"


def _sized_clause(c: Comparison, result: ResponseResult) -> str:
    names = {
        "nozzle": named(c.nozzle, result),
        "against": named(c.against, result),
        "size": change_words(c, result.unit)
        if c.kind == "share"
        else text("{symbol} {change}", symbol=symbol(result), change=change_words(c, result.unit)),
    }
    if result.pieces:
        names["today"] = names["against"]
    else:
        names["today"] = text("today's {nozzle}", nozzle=names["against"])
    if c.answer == Answer.WORSE:
        return text("{nozzle} is worse than {today} ({size})", **names)
    if c.answer_adds == Added.BY_AT_LEAST:
        return text("{nozzle} is better than {today} by at least the worthwhile difference ({size})", **names)
    if c.answer_adds == Added.HOW_MUCH_OPEN:
        return text("{nozzle} is better than {today}, how much is open ({size})", **names)
    return text("{nozzle} is better than {today} ({size})", **names)


def named(nozzle: str, result: ResponseResult) -> str:
    """A nozzle type, or the one piece of it that the result is about."""
    piece = result.pieces.get(nozzle)
    return text("nozzle {piece}", piece=piece) if piece else nozzle


def symbol(result: ResponseResult) -> str:
    """A response inside a sentence: its symbol, or its label; names of the user's own stay as they are."""
    return text(result.symbol) if _known(result) else result.symbol


def label(result: ResponseResult) -> str:
    """A response as a heading names it; names of the user's own stay as they are."""
    return text(result.label) if _known(result) else result.label


def _known(result: ResponseResult) -> bool:
    return result.response in QUANTITIES


def covered(found: Iterable[Comparison]) -> str:
    """What the intervals of comparisons cover."""
    levels = {c.confidence for c in found}
    return text("intervals {level}, for all types together", level=listed([confidence(x) for x in sorted(levels)]))


def change_words(c: Comparison | Gain, unit: str) -> str:
    """The size of a comparison with its interval: `33 % lower, interval 19 to 45 %`."""
    bare = math.isnan(c.low)
    if c.kind == "share":
        return _coupons_words(c)
    if c.kind == "difference":
        own, *limits = beside(c.low, c.high, c.value, c.low, c.high, sign=True)
        size = f"{own} {shown(unit)}".strip()
        return size if bare else text("{size}, interval {low} to {high}", size=size, low=limits[0], high=limits[1])
    value, low, high = (x - 1.0 for x in (c.value, c.low, c.high))
    lower = value < 0
    if bare:
        return _lower_or_higher(lower, percent(abs(value)))
    if high < 0 or low > 0:
        ends = sorted((abs(low), abs(high)))
        size = _lower_or_higher(lower, percent(abs(value)))
        return text("{size}, interval {low} to {high}", size=size, low=fixed(100.0 * ends[0], 0), high=percent(ends[1]))
    span = {"low": fixed(100.0 * low, 0, sign=True), "high": percent(high, sign=True)}
    return text("{size}, interval {low} to {high}", size=percent(value, sign=True), **span)


def _coupons_words(c: Comparison | Gain) -> str:
    """How many of 100 coupons more or fewer reach the grade: `67 of 100 coupons fewer ..., interval 8 to 100 fewer`."""
    value, low, high = (100.0 * x for x in in_share(c))
    n = {"n": fixed(abs(value), 0)}
    fewer = round(value) < 0
    size = (
        text("{n} of 100 coupons fewer at the required grade", **n)
        if fewer
        else text("{n} of 100 coupons more at the required grade", **n)
    )
    if math.isnan(low):
        return size
    if low < 0 < high:
        ends = {"low": fixed(abs(low), 0), "high": fixed(high, 0)}
        return text("{size}, interval {low} fewer to {high} more", size=size, **ends)
    near, far = sorted((abs(low), abs(high)))
    return text("{size}, interval {low} to {high}", size=size, low=fixed(near, 0), high=fixed(far, 0))


def in_share(c: Comparison | Gain) -> tuple[float, float, float]:
    """Size and limits of a comparison; of shares within what a difference of two shares can be."""
    if c.kind != "share":
        return c.value, c.low, c.high
    return c.value, max(c.low, -1.0), min(c.high, 1.0)


def effect_words(effect: Effect, unit: str) -> tuple[str, str]:
    """Size and interval of what one unit more of a setting does: per cent where it is a ratio, else in the unit."""
    if effect.kind == "ratio":
        ends = [percent(x - 1.0, 1, sign=True) for x in (effect.value, effect.low, effect.high)]
    else:
        ends = [f"{signed(x)} {shown(unit)}".strip() for x in (effect.value, effect.low, effect.high)]
    return ends[0], text("{low} to {high}", low=ends[1], high=ends[2])


def effect_name(effect: Effect) -> str:
    """The setting with its step: `pressure, per bar`; `standoff, per 0.01 in` where inches are in use."""
    name, (_, step) = factor_name(effect.factor), step_in_use(effect.unit)
    unit = f"{point(step)} {shown_unit(effect.unit)}".strip()
    return text("{factor}, per {unit}", factor=name, unit=unit) if effect.unit else name


def _lower_or_higher(lower: bool, size: str) -> str:
    return text("{size} lower", size=size) if lower else text("{size} higher", size=size)


def row_words(row: NozzleRow) -> str:
    """The answer cell of a nozzle type: its word in each primary response."""
    if row.today:
        return text("today's nozzle")
    return "; ".join(_short(one) for one in row.answers)


def _short(one: Worded) -> str:
    return word_of(one.answer, one.adds if one.answer == Answer.BETTER else None)


def basis_words(result: ResponseResult) -> str:
    """What the nozzle test of a response rests on; why there is none."""
    if result.rests_on is not None:
        return rests_on_words(result.rests_on)
    if result.state == State.ONE_TYPE:
        return text("one nozzle type: nothing to compare")
    return text("not studied")


def worthwhile_words(result: ResponseResult) -> str:
    """The worthwhile difference: `15 %` or `0.03 mm`; empty where none was stated."""
    if result.worthwhile is None:
        return ""
    if result.scale == Scale.LOG:
        return f"{rounded(100.0 * math.expm1(result.worthwhile), 3)} %"
    return f"{rounded(result.worthwhile, 4)} {shown(result.unit)}".strip()


def spread_words(spread: Spread, result: ResponseResult) -> str:
    """One spread: `8.1 % from one nozzle of a type to the next`."""
    size = percent(math.expm1(spread.sd), 1) if result.scale == Scale.LOG else with_unit(spread.sd, result.unit)
    return text("{size} {source}", size=size, source=source_words(spread.source, result.block))


def means_heading(result: ResponseResult, place: Place) -> str:
    """Over the table of means: `Typical edge at pressure 0.7 bar:`."""
    if result.scale == Scale.GRADE:
        return text("Mean grade {place}:", place=at_place(place))
    return text("Typical edge {place}:", place=at_place(place))


def step_words(step: NextStep) -> str:
    """One next step; what it follows from stands behind it."""
    said = say(step.finding)
    return said if step.because is None else text("{step} {because}", step=said, because=say(step.because))


def exploratory_words() -> str:
    """What is said of each response in a look that was not declared."""
    return text("Undeclared second look: these words are exploratory; the first verdict stands.")


def remarks(result: ResponseResult, without: Collection[StrEnum] = ()) -> list[str]:
    """What was said about a response, before its checks; without: kinds that stand in a table of their own."""
    first = [exploratory_words()] if result.exploratory else []
    return [*first, *(say(finding) for finding in result.said if finding.kind not in without)]


def beside_headline(result: ResponseResult) -> str | None:
    """The nozzle test of Kenward and Roger, which stands beside the headline; None where there is none."""
    for t in result.terms:
        if t.F_kenward_roger is not None and t.den_df_kenward_roger is not None and t.p_kenward_roger is not None:
            return text(
                "Beside the nozzle test above, that of Kenward and Roger: F {f}, df {df} and {den_df}, p {p}.",
                f=fixed(t.F_kenward_roger, 2),
                df=t.df,
                den_df=fixed(t.den_df_kenward_roger, 1),
                p=p_value(t.p_kenward_roger),
            )
    return None


def interval_words(low: float, high: float, digits: int = 4) -> str:
    """`25.9 to 32.8`."""
    return text("{low} to {high}", low=number(low, digits), high=number(high, digits))
