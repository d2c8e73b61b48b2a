"""Money of lives, what would settle them, and lives of lens and window, each as one short line."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trials.decide.decision import decide_lives
from trials.decide.decision_result import Action, Decision, Span
from trials.decide.lives import LivesAnswer
from trials.decide.lives_advice import LifeCost, life_cost, more_pieces, settling_number
from trials.endings import Part
from trials.infer.answer import Answer
from trials.words.language import text
from trials.words.life_told import pieces_words
from trials.words.lives import unit_words
from trials.words.money import amount_words, price_words
from trials.words.names import person
from trials.words.numbers import fixed, number, percent
from trials.words.ratios import times_range

if TYPE_CHECKING:
    from trials.plan.power import Needed

Row = tuple[str, str]


def life_rows(found: LivesAnswer) -> list[Row]:
    """Name and words of each short line below the answer: price, where it pays, what would settle it, lens, window."""
    decided = decide_lives(found)
    rows: list[Row] = []
    if decided.action == Action.CHANGE and (cost := life_cost(found, decided.nozzle)) is not None:
        rows = [(text("Cost"), _cost(cost, found)), (text("Breaks even"), _pays(cost))]
    elif decided.action == Action.CUT_MORE:
        rows = [(text("Breaks even"), pays)] if (pays := _each_pays(found, decided)) else []
        needed = more_pieces(found)
        n = None if needed is None else settling_number(needed)
        rows += [(text("To settle it"), _settles(found, needed, n))] if needed is not None and n is not None else []
    return rows + [row for part in found.beside if (row := _beside(part)) is not None]


def money_note(found: LivesAnswer) -> str:
    """What the money of lives leaves out; empty where none is told."""
    decided = decide_lives(found)
    if decided.action not in (Action.CHANGE, Action.CUT_MORE) or not any(
        life_cost(found, c.nozzle) for c in found.comparisons
    ):
        return ""
    return text(
        "The price of nozzles alone: work and standstill at each change are not counted; fewer changes speak for the "
        "longer life."
    )


def _cost(cost: LifeCost, found: LivesAnswer) -> str:
    prices = [price_words(price, found.currency) for price in (cost.price, cost.price_against)]
    said = [text("A nozzle: {price} instead of {today}.", price=prices[0], today=prices[1])]
    if cost.share is not None and cost.work is not None and cost.money is not None:
        own, todays = (amount_words(size, found.currency) for size in cost.money)
        work = {
            "work": f"{cost.work:,.0f}".replace(",", "\u00a0"),
            "unit": unit_words(found.unit),
            "cost": own,
            "today": todays,
        }
        size = _dearer_or_less(cost.share)
        said.append(text("For {work} {unit} nozzles cost {cost} instead of {today}: {size}.", **work, size=size))
    return " ".join(said)


def _dearer_or_less(share: Span) -> str:
    """`about 34 % less, surely at least 10 % less`; limits on both sides of none in full."""
    size = _less(share.value)
    if share.high < 1:
        return text("about {size}, surely at least {least}", size=size, least=_less(share.high))
    if share.low > 1:
        return text("about {size}, surely at least {least}", size=size, least=_less(share.low))
    if math.isinf(share.high):
        return text("about {size}", size=size)
    return text("about {size} (between {low} and {high})", size=size, low=_less(share.low), high=_less(share.high))


def _less(share: float) -> str:
    if share <= 1:
        return text("{share} less", share=percent(1.0 - share))
    return text("{share} more", share=percent(share - 1.0))


def _pays(cost: LifeCost) -> str:
    """From which ratio of lives on a type pays for its price, and whether that is proved."""
    if cost.breaks_even <= 1:
        return text("A nozzle is no dearer to buy: any longer life pays.")
    ratio = fixed(cost.breaks_even, 2)
    if cost.proved:
        return text("It pays for its price from {ratio} times the life on, which is proved.", ratio=ratio)
    if cost.proved is False:
        return text("It would pay for its price from {ratio} times the life on; it lasts less, surely.", ratio=ratio)
    if cost.share is None or cost.share.value <= 1:
        return text("It pays for its price from {ratio} times the life on: likely, but not proved.", ratio=ratio)
    return text("It would pay for its price from {ratio} times the life on; less is likely.", ratio=ratio)


def _each_pays(found: LivesAnswer, decided: Decision) -> str:
    """From which ratio of lives on each type that is not settled pays for its price; empty without prices."""
    names = [name for answer, own in decided.others if answer == Answer.NOT_SETTLED for name in own]
    costs = [cost for name in names if (cost := life_cost(found, name)) is not None]
    if not costs:
        return ""
    sizes = [text("{nozzle} {ratio}", nozzle=person(c.nozzle), ratio=fixed(c.breaks_even, 2)) for c in costs]
    today = person(found.study.today)
    return text(
        "A type pays for its price if it lasts so many times as long as {today}: {sizes}.",
        today=today,
        sizes=", ".join(sizes),
    )


def _settles(found: LivesAnswer, needed: Needed, n: int) -> str:
    """How many pieces would settle it, and what they cost where all prices are known."""
    said = text(
        "{n} {pieces} of each type instead of {now}, all run until they fail, for a chance of {chance} of a settled "
        "answer",
        n=n,
        pieces=pieces_words(found.part),
        now=needed.counts.specimens,
        chance=percent(needed.chance),
    )
    prices = [found.prices.get(each.nozzle) for each in found.study.types]
    known = [price for price in prices if price is not None]
    more = [max(n - each.n, 0) for each in found.study.types]
    if len(known) < len(more) or not sum(more):
        return f"{said}."
    money = amount_words(sum(count * price for count, price in zip(more, known, strict=True)), found.currency)
    return text("{said}; {more} more nozzles cost {money}.", said=said, more=sum(more), money=money)


def _beside(part: LivesAnswer) -> Row | None:
    """Lives of lens or window in one line; nothing where none can be compared."""
    said = [
        text(
            "under {nozzle} about {size} times as long as under {today} ({range} is possible)",
            nozzle=person(c.nozzle),
            size=number(c.value, 2),
            today=person(c.against),
            range=times_range(c.low, c.high),
        )
        for c in part.comparisons
        if math.isfinite(c.value) and c.value > 0
    ]
    name = text("Lens life") if part.part is Part.LENS else text("Window life")
    return (name, _sentence("; ".join(said))) if said else None


def _sentence(said: str) -> str:
    return f"{said[:1].upper()}{said[1:]}."
