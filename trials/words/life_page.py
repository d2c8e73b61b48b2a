"""The first page of a paper on lives in words: the answer in short lines, money, the table, who signs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from trials.decide.decision import decide_lives
from trials.decide.decision_result import Action, Decision
from trials.decide.lives import LifeComparison, LivesAnswer
from trials.endings import Ended, Part
from trials.infer.answer import Added, Answer
from trials.words.first_page import AnswerBox, does_words
from trials.words.language import plural, text
from trials.words.life_told import outlasting
from trials.words.lives import end_words, percent_of, unit_words
from trials.words.names import person
from trials.words.numbers import fixed, listed, number, percent
from trials.words.ratios import times_down, times_range, times_up

if TYPE_CHECKING:
    from trials.infer.life import LifeAt, TypeLife

FEW_NAMES = 3
"""So many types are named in a question; more are called another type."""


def question_words(found: LivesAnswer) -> str:
    """What a bare table of lives asks; empty where there is one type."""
    today = _today(found)
    others = [person(each.nozzle) for each in found.study.types if each.nozzle != found.study.today]
    if not others:
        return ""
    if found.part is Part.NOZZLE and len(others) <= FEW_NAMES:
        return plural(
            "Does {names} last longer than today's {today}?",
            "Do {names} last longer than today's {today}?",
            len(others),
            names=listed(others),
            today=today,
        )
    return {
        Part.NOZZLE: text("Does another type last longer than today's {today}?", today=today),
        Part.LENS: text("Does a lens last longer under another type than under today's {today}?", today=today),
        Part.WINDOW: text("Does a window last longer under another type than under today's {today}?", today=today),
    }[found.part]


def life_box(found: LivesAnswer) -> AnswerBox:
    """The answer in three short lines, named by `line_names`; the figures behind the second."""
    decided = decide_lives(found)
    does, others = does_words(decided.action, found.provisional), _others(found, decided)
    if decided.action == Action.CHANGE:
        what, sure = person(decided.nozzle), _longer(found, _against(found, decided.nozzle))
    elif decided.action == Action.KEEP:
        what, sure = person(decided.nozzle), _kept(found, decided)
    elif decided.action == Action.CUT_MORE:
        does = text("Would run more") if found.provisional else text("Run more")
        what, sure = _stays(decided), _open(found)
    else:
        what, sure, others = _seen(found)
    return AnswerBox(decided.action, does, what, "", sure, others, _figures(found, decided))


def line_names(action: Action) -> tuple[str, str]:
    """Names of the second and third line of the answer."""
    if action == Action.NOTHING:
        return text("What is seen"), text("Why")
    return text("How sure"), text("The others")


def _against(found: LivesAnswer, nozzle: str) -> LifeComparison:
    return next(c for c in found.comparisons if c.nozzle == nozzle)


def _longer(found: LivesAnswer, c: LifeComparison) -> str:
    """`It lasts about 1.8 times as long as Plain, surely at least 1.3 times.`"""
    said = _size(c, _it(found.part), found.part)
    if c.answer_adds == Added.HOW_MUCH_OPEN:
        share = percent(found.worthwhile or 0.0)
        said += " " + text("Whether by the {share} that would be worthwhile is open.", share=share)
    return said


def _it(part: Part) -> str:
    return {Part.NOZZLE: text("It"), Part.LENS: text("A lens under it"), Part.WINDOW: text("A window under it")}[part]


def _of_type(nozzle: str, part: Part) -> str:
    """Whose life, at the start of a sentence."""
    name = person(nozzle)
    return {
        Part.NOZZLE: name,
        Part.LENS: text("A lens under {nozzle}", nozzle=name),
        Part.WINDOW: text("A window under {nozzle}", nozzle=name),
    }[part]


def _than(against: str, part: Part) -> str:
    name = person(against)
    return name if part is Part.NOZZLE else text("one under {nozzle}", nozzle=name)


def _size(c: LifeComparison, subject: str, part: Part) -> str:
    """How long one lasts against the other, with what is sure of it."""
    named = {"it": subject, "today": _than(c.against, part)}
    if math.isnan(c.value):
        return text("{it} did not fail, nor did {today}: their lives cannot be compared yet.", **named)
    if math.isinf(c.value):
        return text("{it} never failed: it surely lasts {least} as long as {today}.", **named, least=_least(c.low))
    if c.value == 0:
        most = times_up(c.high)
        return text("{today} never failed: {it} lasts at most {most} times as long.", **named, most=most)
    named["size"] = number(c.value, 2)
    if c.low > 1:
        return text("{it} lasts about {size} times as long as {today}, surely {least}.", **named, least=_least(c.low))
    return text(
        "{it} lasts about {size} times as long as {today}; {range} times is possible.",
        **named,
        range=times_range(c.low, c.high),
    )


def _least(low: float) -> str:
    """The least of a ratio that is sure."""
    return text("longer") if 1 < low < 1.01 else text("at least {low} times", low=times_down(low))


def _may_be(found: LivesAnswer, c: LifeComparison) -> str:
    return _size(c, _of_type(c.nozzle, found.part), found.part)


def _kept(found: LivesAnswer, decided: Decision) -> str:
    """Why today's type stays."""
    if [answer for answer, _ in decided.others] == [Answer.WORSE]:
        return text("Every other type is proved to last less long.")
    share = percent(found.worthwhile or 0.0)
    return text("No other type lasts longer by the {share} that would be worth a change.", share=share)


def _stays(decided: Decision) -> str:
    """That today's type stays until more is known."""
    kept = person(decided.nozzle)
    if all(answer == Answer.NOT_SETTLED for answer, _ in decided.others):
        return text("nothing is settled yet; {nozzle} stays until then", nozzle=kept)
    return text("no type is shown to last longer; {nozzle} stays until then", nozzle=kept)


def _open(found: LivesAnswer) -> str:
    """What is possible of the types that are not settled; of many the table says it."""
    not_settled = [c for c in found.comparisons if c.answer == Answer.NOT_SETTLED]
    if len(not_settled) >= FEW_NAMES:
        return text("Each may last longer than {today} or not; the table says how much.", today=_today(found))
    return " ".join(_may_be(found, c) for c in not_settled)


def _today(found: LivesAnswer) -> str:
    return person(found.study.today)


def _starting(said: str) -> str:
    """Words of ours at the start of a sentence or a title."""
    return said[:1].upper() + said[1:]


def _seen(found: LivesAnswer) -> tuple[str, str, str]:
    """Why there is no answer, what is seen all the same, and what it takes."""
    if len(found.study.types) < 2:
        return (
            text("nothing was compared"),
            _alone(found),
            text("One nozzle type was run: there is nothing to compare."),
        )
    seen = " ".join(_may_be(found, c) for c in found.comparisons)
    why = text("How much longer a life has to be to matter was not said before: there are numbers and no word.")
    return text("no difference was declared worthwhile"), seen, why


def _alone(found: LivesAnswer) -> str:
    """Lives of the only type."""
    unit, stated = unit_words(found.unit), _stated(found.study.types[0])
    lives = [
        text("{who} last at least {life} {unit}", who=outlasting(at.quantile), life=_life(at), unit=unit)
        for at in stated
    ]
    return _starting(text("{lives}.", lives=listed(lives)))


def _others(found: LivesAnswer, decided: Decision) -> str:
    """The other types by their answer."""
    said = [_of_others(answer, [person(n) for n in names], _today(found)) for answer, names in decided.others]
    return " ".join(said) or text("No other type was in the trial.")


def _of_others(answer: Answer, names: Sequence[str], today: str) -> str:
    known = {"names": listed(names), "today": today}
    return {
        Answer.NOT_SETTLED: text("{names}: no proof either way, which is not the same as equal.", **known),
        Answer.SAME: text("{names}: as long as {today} for practical purposes.", **known),
        Answer.BETTER: text("{names}: also longer lives than {today}.", **known),
        Answer.WORSE: text("{names}: shorter lives than {today}.", **known),
    }[answer]


def _figures(found: LivesAnswer, decided: Decision) -> str:
    """`1.78 times, interval 1.30 to 2.63; failed: 12 of 12 Plain, 8 of 12 Plated`, of a change."""
    if decided.action != Action.CHANGE:
        return ""
    c = _against(found, decided.nozzle)
    failed = [
        text("{failed} of {n} {nozzle}", failed=each.failures, n=each.n, nozzle=person(each.nozzle))
        for each in found.study.types
        if each.nozzle in (c.nozzle, c.against)
    ]
    said = text("failed: {counts}", counts=", ".join(failed))
    if not math.isfinite(c.value):
        return said
    size = {"value": fixed(c.value, 2), "low": fixed(c.low, 2), "high": fixed(c.high, 2)}
    return text("{value} times, interval {low} to {high}; {failed}", **size, failed=said)


def table_head(found: LivesAnswer) -> list[tuple[str, float]]:
    """Column titles and widths between the type and the answer."""
    unit, stated = unit_words(found.unit), _stated(found.study.types[0])
    lives = [
        (_starting(text("{who} last at least, {unit}", who=outlasting(at.quantile), unit=unit)), 1.3) for at in stated
    ]
    against = [(text("Times as long as today's"), 1.3)] if found.comparisons else []
    prices = [(text("Price, {currency}", currency=found.currency), 0.8)] if _priced(found) else []
    return [(text("Failed"), 1.3), *lives, *against, *prices]


def _priced(found: LivesAnswer) -> bool:
    return any(price is not None for price in found.prices.values())


def table_cells(found: LivesAnswer, each: TypeLife) -> list[str]:
    """What stands in those columns for one type."""
    against = next((c for c in found.comparisons if c.nozzle == each.nozzle), None)
    cells = [_failed(found, each), *map(_life, _stated(each))]
    cells += [_times(against)] if found.comparisons else []
    price = found.prices.get(each.nozzle)
    return cells + (["–" if price is None else fixed(price, 2)] if _priced(found) else [])


def _failed(found: LivesAnswer, each: TypeLife) -> str:
    """`8 of 12: worn 6, plugged 2`; causes only where one is on record."""
    counts = next((own.counts for own in found.ends if own.nozzle == each.nozzle), {})
    failed = text("{failed} of {n}", failed=each.failures, n=each.n)
    causes = {end: n for end, n in counts.items() if end.failed}
    if not set(causes) - {Ended.NOT_SAID}:
        return failed
    return text("{failed}: {causes}", failed=failed, causes=", ".join(f"{end_words(e)} {n}" for e, n in causes.items()))


def _stated(each: TypeLife) -> list[LifeAt]:
    """Lives that are stated beside the characteristic one: that which half of them outlast first."""
    return sorted(each.at[1:], key=lambda at: -at.quantile)


def _life(at: LifeAt) -> str:
    if math.isinf(at.life):
        return text("above {low}", low=number(at.low, 2))
    if math.isinf(at.high):
        return text("{life} (above {low})", life=number(at.life, 2), low=number(at.low, 2))
    limits = {"low": number(at.low, 2), "high": number(at.high, 2)}
    return text("{life} ({low}\u00a0to\u00a0{high})", life=number(at.life, 2), **limits)


def _times(c: LifeComparison | None) -> str:
    if c is None:
        return "–"
    if math.isnan(c.value):
        return text("not known")
    if not math.isfinite(c.value) or c.value == 0:
        return times_range(c.low, c.high)
    return text("{size} ({range})", size=number(c.value, 2), range=times_range(c.low, c.high).replace(" ", "\u00a0"))


def answer_cell(found: LivesAnswer, nozzle: str) -> str:
    """The word of one type for the table."""
    if nozzle == found.study.today:
        return text("today's nozzle") if found.part is Part.NOZZLE else text("today's")
    c = _against(found, nozzle)
    if c.answer is None:
        return "–"
    if c.answer == Answer.BETTER and c.answer_adds == Added.BY_AT_LEAST:
        return text("better, by at least the worthwhile {share}", share=percent(found.worthwhile or 0.0))
    if c.answer == Answer.BETTER:
        return text("better; how much is open")
    return {
        Answer.SAME: text("same for practical purposes"),
        Answer.WORSE: text("worse"),
        Answer.NOT_SETTLED: text("not settled"),
    }[c.answer]


def table_note(found: LivesAnswer) -> str:
    """What stands in brackets, and against what a word is given."""
    said = text("In brackets, what is still possible: of a life with {level} confidence.", level=percent_of(0.95))
    if found.study.ratios:
        together = 1.0 - len(found.comparisons) * (1.0 - found.study.confidence)
        said = text(
            "In brackets, what is still possible: of a life with {level} confidence, each type by itself; of the times "
            "against today's with {together}, all types together.",
            level=percent_of(0.95),
            together=percent_of(together),
        )
    if found.worthwhile is None:
        return said
    return f"{said} " + text("Worthwhile: {share} longer.", share=percent(found.worthwhile))


def ticks(found: LivesAnswer) -> list[str]:
    """What can be ticked: change, keep, run more."""
    decided = decide_lives(found)
    to = person(decided.nozzle) if decided.action == Action.CHANGE else text("another type:")
    return [
        text("change to {nozzle}", nozzle=to),
        text("keep {nozzle}", nozzle=_today(found)),
        text("run more before deciding"),
    ]


def not_yet(doubted: Sequence[str]) -> str:
    """Why there is nothing to sign yet; doubted: coupons of which a reading is open."""
    return text(
        "Not to be signed yet: a reading of coupon {coupons} is open and could change the answer. Settle it as the "
        "next step says, then make this paper again.",
        coupons=listed(doubted),
    )
