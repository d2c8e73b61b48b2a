"""The decision in words: what it gains and costs, where it breaks even, in one sentence and in short lines."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trials.decide.decision import LIFE, decide, decide_lives
from trials.decide.decision_result import Action, Because, Decision, FewerFail, Gain, MoreCutting, Question
from trials.findings import PlaceKind
from trials.infer.answer import Answer
from trials.next_command import Blank, Command
from trials.words import ladders
from trials.words import money as words
from trials.words.findings import say
from trials.words.language import plural, text
from trials.words.money import amount_words, price_words
from trials.words.names import person
from trials.words.numbers import fixed, listed, number, percent, with_unit
from trials.words.settings import at_place
from trials.words.study import change_words, symbol

if TYPE_CHECKING:
    from trials.decide.lives import LivesAnswer
    from trials.decide.results import ResponseResult, Study

Row = tuple[str, str]
SETTLE = Command("plan", (Blank.FOLDER, "--settle", "80", "--spreads-from", Blank.FOLDER))


def decision_sentence(study: Study) -> str:
    """The decision of a study in one sentence."""
    found = decide(study)
    parts = [_does(found), *_gained(study, found), *_side_effects(study, found)]
    sentence = "; ".join(parts)
    if study.provisional:
        return text("provisional, since a reading is still open: {sentence}.", sentence=sentence)
    return text("{sentence}.", sentence=sentence)


def decision_rows(study: Study) -> list[Row]:
    """Name and words of each short line below the answer: what it gains, what it costs, where it breaks even."""
    found = decide(study)
    edges, metre = _edges(found), _metre(study, found)
    fewer, less = _fewer_fail(found) > 0, _costs_less(study, found)
    gains = [edges if fewer else "", *_gains(study, found), metre if less else ""]
    rows = [
        (text("Gain"), " ".join(filter(None, gains))),
        (text("Edges"), "" if fewer else edges),
        (text("Cost"), _price(found)),
        (text("To settle it"), more_words(found.more) if found.more and found.action == Action.CUT_MORE else ""),
        (text("Money"), (not less and metre) or _money_of_all(study, found)),
        (text("Breaks even"), _turns(found)),
    ]
    return [(name, said) for name, said in rows if said]


def _fewer_fail(found: Decision) -> int:
    """Of 100 edges how many fewer fail, as printed; below zero: more."""
    return 0 if found.fewer_fail is None else round(found.fewer_fail.today) - round(found.fewer_fail.with_it)


def _costs_less(study: Study, found: Decision) -> bool:
    """Whether a metre costs less than today, as printed."""
    money = found.money
    return money is not None and study.money is not None and words.shown_difference(money, study.money) < 0.0


def for_the_file(study: Study) -> list[str]:
    """What to type or to write for more than this: for whoever keeps the trial file, not for the first page."""
    plan = plan_words(study)
    return [*([plan] if plan else []), *([] if study.money is None else words.to_state(study.money))]


def plan_words(study: Study) -> str:
    """The command that makes the plan that settles it; empty where nothing is to be settled."""
    found = decide(study)
    if found.more is None or found.action != Action.CUT_MORE:
        return ""
    return text("A plan made for the question: `{command}`.", command=SETTLE.typed())


def money_notes(study: Study) -> list[str]:
    """What the figures of money rest on, and what they leave out."""
    if study.money is None:
        return []
    lives = study.money.lives
    from_lives = [text("Lives of nozzles: {source}.", source=lives)] if lives else []
    assumed = words.assumed_words(study.money)
    return [*([assumed] if assumed else []), *from_lives, *map(say, study.money.said)]


def _does(found: Decision) -> str:
    if found.action == Action.CHANGE:
        names = {"nozzle": person(found.nozzle), "settings": _settings(found, " ")}
        if found.unconfirmed:
            return text("confirm, then change to {nozzle}{settings}", **names)
        return text("change to {nozzle}{settings}", **names)
    if found.action == Action.KEEP:
        place = _settings(found, " ") if found.question == Question.WINDOW else ""
        place = confirmed_first(place) if place and found.unconfirmed else place
        return text("keep {nozzle}{settings}", nozzle=person(found.nozzle), settings=place)
    if found.action == Action.CUT_MORE:
        return text("cut more before deciding; {nozzle} stays until then", nozzle=person(found.nozzle))
    return text("nothing was compared")


def confirmed_first(place: str) -> str:
    """The settings of a type that stays, where coupons are to confirm them."""
    return text("{place}, to be confirmed first", place=place)


def at_words(found: Decision) -> str:
    """The settings of a decision, for the line below the name; empty where nothing changes or nothing was varied."""
    if found.action != Action.CHANGE:
        return ""
    where, place = _settings(found, ""), found.place
    as_today = place is not None and place.kind == PlaceKind.TODAY and any(place.settings) and found.safe_speed is None
    return text("{where}, as today", where=where) if as_today else where


def _settings(found: Decision, before: str) -> str:
    if found.safe_speed is not None:
        speed = with_unit(found.safe_speed.value, found.safe_speed.unit)
        return before + text("up to {speed}: at least 95 % of its mounts stay clean", speed=speed)
    if found.place is None or not any(found.place.settings):
        return ""
    return before + at_place(found.place)


def _gained(study: Study, found: Decision) -> list[str]:
    parts = [text("of 100 edges {fewer}", fewer=fewer_words(found.fewer_fail))] if found.fewer_fail else []
    if found.money is not None and study.money is not None:
        size = words.difference_words(found.money, study.money)
        said = (
            text("a metre without rework costs {size}", size=size)
            if words.without_rework(study.money)
            else text("a metre of good edge costs {size}", size=size)
        )
        parts.append(said)
    if found.action == Action.CUT_MORE and found.more is not None:
        parts.append(_effort(found.more))
    return parts


def _edges(found: Decision) -> str:
    """How many edges fail with the type to change to, against today."""
    return text("Of 100 edges {fewer}.", fewer=fewer_words(found.fewer_fail)) if found.fewer_fail else ""


def _metre(study: Study, found: Decision) -> str:
    """What a metre costs with the type to change to, against today."""
    return "" if found.money is None or study.money is None else words.metre_words(found.money, study.money)


def _gains(study: Study, found: Decision) -> list[str]:
    """What a change gains beside edges and money."""
    said = []
    if study.window is not None and study.window.asked:
        said += [_at_best(gain, found, study) for gain in found.gains]
    if study.ladder is not None and found.against:
        said += filter(None, [ladders.safe_words(found.nozzle, found.against, study.ladder)])
    if found.because == Because.MONEY:
        said.append(text("The edge is the same for practical purposes."))
    return said


def _at_best(gain: Gain, found: Decision, study: Study) -> str:
    """What a change of type gains, each at its best; or what today's type gains at its best over today's setting."""
    result = next(each for each in study.results if each.response == gain.response)
    names = {"symbol": symbol(result), "size": change_words(gain, result.unit)}
    names |= {"nozzle": person(found.nozzle), "against": person(found.against)}
    if found.against:
        return text("{symbol} of {nozzle} at its best against {against} at its own: {size}.", **names)
    return text("{symbol} of {nozzle} at its best against today's setting: {size}.", **names)


def fewer_words(found: FewerFail) -> str:
    """How many fewer edges of 100 fail: `about 32 fewer fail (between 9 more and 71 fewer)`.

    The number is the difference of the two that stand in the table, so that they agree.
    """
    size = round(found.today) - round(found.with_it)
    limits = _limits(round(found.fewer.low), round(found.fewer.high))
    if size == 0:
        return text("about as many fail ({limits})", limits=limits)
    if size < 0:
        return text("about {n} more fail ({limits})", n=-size, limits=limits)
    return text("about {n} fewer fail ({limits})", n=size, limits=limits)


def _limits(low: int, high: int) -> str:
    if low < 0 < high:
        return text("between {low} more and {high} fewer", low=-low, high=high)
    near, far = sorted((abs(low), abs(high)))
    if high <= 0:
        return text("between {low} and {high} more", low=near, high=far)
    return text("between {low} and {high} fewer", low=near, high=far)


def _price(found: Decision) -> str:
    if found.action != Action.CHANGE or (found.price is None and found.price_against is None):
        return ""
    prices = [price_words(price, found.currency) for price in (found.price, found.price_against)]
    said = text("A nozzle: {price} instead of {today}.", price=prices[0], today=prices[1])
    if found.money is None or found.money.life_ratio is None or found.price == found.price_against:
        return said
    ratio = text(
        "By longer life alone, without what is saved otherwise, it is paid back if it lasts {ratio} times as long as "
        "today's.",
        ratio=words.ratio_words(found.money.life_ratio),
    )
    return f"{said} {ratio}"


def _money_of_all(study: Study, found: Decision) -> str:
    """Money of every type where none is chosen; why there is none where it cannot be reckoned."""
    if study.money is None or found.action == Action.CHANGE and study.money.against:
        return ""
    return words.each_words(study.money) if study.money.against else ""


def _turns(found: Decision) -> str:
    if found.money is None:
        return ""
    return " ".join(filter(None, (words.turns_words(found.money), words.decides_words(found.money))))


def more_words(more: MoreCutting) -> str:
    """What would settle it, with hours and money."""
    return text(
        "{specimens} nozzles of each type instead of {now}: {effort}, for a chance of {chance} of a settled answer. A "
        "plan made for the question may take less.",
        specimens=more.specimens,
        now=more.now,
        effort=_effort(more),
        chance=percent(more.chance),
    )


def _effort(more: MoreCutting) -> str:
    hours = fixed(more.hours, 0)
    coupons = plural("{n} more coupon", "{n} more coupons", more.coupons)
    if more.money is None:
        return text("{coupons} cut and measured like these, about {hours} h", coupons=coupons, hours=hours)
    money = amount_words(more.money, more.currency)
    return text(
        "{coupons} cut and measured like these, about {hours} h and {money}", coupons=coupons, hours=hours, money=money
    )


def side_effect_words(study: Study, found: Decision) -> str:
    """`But u is higher.`, for the secondary responses that are worse by their worthwhile difference; empty for none."""
    return " ".join(text("But {clause}.", clause=clause) for clause in _clauses(study, found))


def _side_effects(study: Study, found: Decision) -> list[str]:
    return [text("but {clause}", clause=clause) for clause in _clauses(study, found)]


def _clauses(study: Study, found: Decision) -> list[str]:
    named = {result.response: result for result in study.results}
    return [_clause(named[each.response], each.higher, each.proved) for each in found.worse]


def _clause(result: ResponseResult, higher: bool, proved: bool) -> str:
    name = symbol(result)
    if proved:
        return text("{name} is higher", name=name) if higher else text("{name} is lower", name=name)
    if higher:
        return text("{name} looks higher, which is not proved", name=name)
    return text("{name} looks lower, which is not proved", name=name)


def lives_decided(found: LivesAnswer) -> str:
    """The decision of a life trial; empty where no word was given."""
    decided = decide_lives(found)
    if decided.action == Action.NOTHING:
        return ""
    said = life_sentence(decided)
    return text("As the records stand: {sentence}", sentence=said) if found.provisional else said


def life_sentence(found: Decision) -> str:
    """The decision of a life trial in one sentence, with the price of a unit of life and the break-even."""
    if found.action == Action.CHANGE:
        gain = next(each for each in found.gains if each.response == LIFE)
        said = _longer(found, gain)
        return text("{said}{price}.", said=said, price=_price_of_life(found, gain.value))
    names = listed([person(n) for answer, own in found.others if answer == Answer.NOT_SETTLED for n in own])
    if found.action == Action.KEEP:
        return text("Keep {nozzle}: no other type is shown to last longer.", nozzle=person(found.nozzle))
    if found.action == Action.CUT_MORE:
        kept = person(found.nozzle)
        return text(
            "Run more before deciding: {names} not settled; {nozzle} stays until then.", names=names, nozzle=kept
        )
    return text("Nothing was compared.")


def _longer(found: Decision, gain: Gain) -> str:
    """How much longer the chosen type lasts; without a failure only the least of it is known."""
    named = {"nozzle": person(found.nozzle), "today": person(found.against), "low": number(gain.low, 3)}
    if not math.isfinite(gain.value):
        return text("Change to {nozzle}: it lasts at least {low} times as long as {today}", **named)
    ratio = number(gain.value, 3)
    return text(
        "Change to {nozzle}: it lasts {ratio} times as long as {today}, at least {low} times", ratio=ratio, **named
    )


def _price_of_life(found: Decision, ratio: float) -> str:
    """What a unit of life costs against today's; the price alone, since the change depends on the shop."""
    if found.price is None or not found.price_against or not math.isfinite(ratio):
        return ""
    dearer = found.price / found.price_against
    return text(
        "; a unit of life costs {share} of what it costs today (it pays from {ratio} times the life on)",
        share=number(dearer / ratio, 3),
        ratio=number(dearer, 3),
    )
