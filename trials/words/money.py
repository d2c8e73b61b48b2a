"""Money in words: what a metre of good edge costs, what decides, where the choice turns, what was not counted."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.decide.decision_result import Assumed, CostAgainst, CostInput, Flip, Money, MoneyKind, Span, TypeCost
from trials.words.facts import figure, several, word
from trials.words.language import text
from trials.words.names import person
from trials.words.numbers import fixed, listed, number, percent, point, with_unit

if TYPE_CHECKING:
    from trials.findings import Finding

LARGE = 1000.0
FEWEST_HUNDREDTHS = 0.015  # below it a difference is not told from two costs in hundredths
MOST_PLACES = 3  # of the cost of a metre
FAR_OFF = 5.0  # times the life or price that is expected: beyond it nobody asks
NEAR_NOTHING = 0.001  # of the money of a metre: below a tenth of a hundredth it is nothing to anybody


def amount_words(value: float, currency: str) -> str:
    """An amount of money without its sign: two figures of large ones, hundredths of the others, never an exponent.

    >>> amount_words(18035.2, "EUR"), amount_words(-0.4509, "EUR"), amount_words(0.0042, "EUR")
    ('18\\xa0000\\xa0EUR', '0.45\\xa0EUR', '0.004\\xa0EUR')
    """
    return f"{_figure(abs(value))}\u00a0{currency}".strip()


def _figure(size: float) -> str:
    if size >= LARGE:
        step = 10.0 ** (math.floor(math.log10(size)) - 1)
        return f"{round(size / step) * step:,.0f}".replace(",", "\u00a0")
    if size >= FEWEST_HUNDREDTHS or size == 0.0:
        return fixed(size, 2 if size < 100 else 0)
    return point(f"{size:.1g}" if size >= NEAR_NOTHING else "0.00")


def _two_figures(size: float) -> str:
    """Money of a year: two figures, whole where there are two before the point."""
    if size < 10.0:
        return number(size, 2)
    step = 10.0 ** (math.floor(math.log10(size)) - 1)
    return f"{round(size / step) * step:,.0f}".replace(",", "\u00a0")


def metre_places(money: Money) -> int:
    """Digits after the point of the cost of a metre: as many as show the smallest difference between two types.

    None of large costs, else two, at most three; what is smaller still is said to be as much.
    """
    sizes = [abs(each.value.value) for each in money.against if abs(each.value.value) >= 0.5 * 10.0**-MOST_PLACES]
    costs = [each.cost.value for each in money.types]
    fewest = 0 if costs and min(costs) >= 100.0 else 2
    shown = (places for places in range(fewest, MOST_PLACES) if all(size >= 1.5 * 10.0**-places for size in sizes))
    return next(shown, MOST_PLACES)


def _metre(value: float, money: Money) -> str:
    """The cost of a metre without its sign and currency, with the digits of all costs beside it."""
    places = metre_places(money)
    return point(f"{abs(value):,.{places}f}".replace(",", "\u00a0"))


def price_words(price: float | None, currency: str) -> str:
    """The price of a nozzle as typed in a list; a dash where none is stated."""
    return text("no price stated") if price is None else f"{fixed(price, 2)}\u00a0{currency}".strip()


def span_of_money(span: Span, currency: str, figure: Callable[[float], str] = _figure, exact: bool = False) -> str:
    """A difference with its limits: `0.45 EUR less (between 1.03 less and 0.16 more)`; exact: it has none."""
    size = _less_or_more(span.value, f"{figure(abs(span.value))}\u00a0{currency}".strip())
    if exact or span.low == span.high == span.value:
        return size
    return text("{size} ({limits})", size=size, limits=limits_words(span.low, span.high, figure))


def limits_words(low: float, high: float, figure: Callable[[float], str]) -> str:
    """Both limits of a difference, the side named once where it is one."""
    if low < 0 <= high:
        return text("between {low} less and {high} more", low=figure(-low), high=figure(high))
    near, far = sorted((abs(low), abs(high)))
    ends = {"low": figure(near), "high": figure(far)}
    return text("between {low} and {high} less", **ends) if high < 0 else text("between {low} and {high} more", **ends)


def _less_or_more(value: float, size: str) -> str:
    return text("{size} less", size=size) if value < 0 else text("{size} more", size=size)


def without_rework(money: Money) -> bool:
    """Whether a failed edge costs nothing in these figures."""
    return any(each.kind in (MoneyKind.REWORK_NOT_COUNTED, MoneyKind.FAILING_NOT_KNOWN) for each in money.said)


def metre_head(money: Money) -> str:
    """Head of the column of costs."""
    if without_rework(money):
        return text("A metre, {currency}, without rework", currency=money.currency)
    return text("A good metre, {currency}", currency=money.currency)


def cost_words(cost: TypeCost, money: Money) -> str:
    """A cell of the table: `1.94 (1.90 to 2.52)`, the limits kept on one line."""
    value = _metre(cost.cost.value, money)
    if cost.cost.low == cost.cost.high:
        return value
    limits = {"low": _metre(cost.cost.low, money), "high": _metre(cost.cost.high, money)}
    return text("{value} ({low}\u00a0to\u00a0{high})", value=value, **limits)


def shown_difference(found: CostAgainst, money: Money) -> float:
    """What a metre costs more than with today's, as the difference of the two costs that stand in the table."""
    costs, places = {each.nozzle: each.cost.value for each in money.types}, metre_places(money)
    if not {found.nozzle, found.against} <= costs.keys():
        return round(found.value.value, places)
    return round(round(costs[found.nozzle], places) - round(costs[found.against], places), places)


def difference_words(found: CostAgainst, money: Money) -> str:
    """What a metre costs less or more than with today's, with the limits of it."""
    size, span = shown_difference(found, money), found.value
    exact = span.low == span.high
    if size == 0.0 and exact:
        return text("as much")
    return span_of_money(replace(span, value=size), money.currency, lambda value: _metre(value, money), exact)


def metre_words(found: CostAgainst, money: Money) -> str:
    """What a metre costs with a type against today's, and what that is in a year."""
    costs = {each.nozzle: f"{_metre(each.cost.value, money)}\u00a0{money.currency}" for each in money.types}
    names = {"cost": costs[found.nozzle], "today": costs[found.against], "size": difference_words(found, money)}
    if shown_difference(found, money) == 0.0 and found.value.low == found.value.high:
        return _as_much(names["cost"], money)
    if without_rework(money):
        said = text("A metre without rework costs {cost} instead of {today}, {size}.", **names)
    else:
        said = text("A metre of good edge costs {cost} instead of {today}, {size}.", **names)
    if found.per_year is None:
        return said
    year = text(
        "A year of {metres}\u00a0m: {size}.",
        metres=_figure(money.metres or 0.0),
        size=span_of_money(found.per_year, money.currency, _two_figures),
    )
    return f"{said} {year}"


def _as_much(cost: str, money: Money) -> str:
    if without_rework(money):
        return text("A metre without rework costs {cost}, as much as today.", cost=cost)
    return text("A metre of good edge costs {cost}, as much as today.", cost=cost)


def each_words(money: Money) -> str:
    """What a metre costs with every other type against today's, where none is chosen."""
    sizes = [
        text("{nozzle} {size}", nozzle=person(each.nozzle), size=difference_words(each, money))
        for each in money.against
    ]
    if without_rework(money):
        return text("A metre without rework against today's: {sizes}.", sizes="; ".join(sizes))
    return text("A metre of good edge against today's: {sizes}.", sizes="; ".join(sizes))


def decides_words(found: CostAgainst) -> str:
    """Which input most of the width of the interval comes from; empty where none does."""
    if found.decides is None or found.decides_share < 0.5:
        return ""
    return text("Least is known of {input}.", input=input_words(found.decides))


def turns_words(found: CostAgainst) -> str:
    """Where the choice turns, the nearest first; one that is printed like what it is now says nothing."""
    known = [flip for flip in found.flips if _thinkable(flip)]
    told = [_turn(flip, found) for flip in known if _as_printed(flip)[0] != _as_printed(flip)[1]][:3]
    if known and not told:
        return text("In money they are as good as equal.")
    if not told:
        return text("In money no single price, life, speed or share of failed edges would turn it.")
    return text("A metre would cost the same {turns}.", turns=text(", or ").join(told))


def _thinkable(flip: Flip) -> bool:
    """Whether a life or price could come to lie there; shares and speeds are told wherever they turn."""
    if flip.input not in (CostInput.LIFE, CostInput.PRICE):
        return True
    return flip.at > 0 and 1 / FAR_OFF <= flip.flips_at / flip.at <= FAR_OFF


def _as_printed(flip: Flip) -> tuple[str, str]:
    """Where the choice turns, and what it is now, as they are printed."""
    at, to = flip.at, flip.flips_at
    if flip.input == CostInput.FAILING:
        return fixed(100.0 * to, 0), fixed(100.0 * at, 0)
    if flip.input == CostInput.SPEED:
        return with_unit(to, "m_min"), with_unit(at, "m_min")
    if flip.input == CostInput.LIFE:
        return ratio_words(to / flip.against), ratio_words(at / flip.against)
    return _figure(to), _figure(at)


def _turn(flip: Flip, found: CostAgainst) -> str:
    nozzle = person(found.nozzle)
    to, now = _as_printed(flip)
    if flip.input == CostInput.FAILING:
        return text(
            "if {n} of 100 edges failed with {nozzle}, where about {likely} are expected",
            n=to,
            nozzle=nozzle,
            likely=now,
        )
    if flip.input == CostInput.SPEED:
        return text("if {nozzle} cut at {speed} instead of {now}", nozzle=nozzle, speed=to, now=now)
    if flip.input == CostInput.LIFE:
        return text("if it lasted {ratio} times as long as today's", ratio=to)
    return text("at a price of {price} a nozzle", price=to)


def ratio_words(ratio: float) -> str:
    """How often a life fits into another: `1.15`, `0.039`."""
    return number(ratio, 2 if ratio < 1 else 3)


def input_words(name: CostInput) -> str:
    """An input of the cost inside a sentence."""
    return {
        CostInput.SPEED: text("the speed"),
        CostInput.GAS: text("the gas that flows"),
        CostInput.FAILING: text("how many edges fail"),
        CostInput.PRICE: text("the price of a nozzle"),
        CostInput.LIFE: text("how long a nozzle lasts"),
        CostInput.CHANGE: text("the time to change a nozzle"),
        CostInput.LENS_PRICE: text("the price of a lens"),
        CostInput.LENS_LIFE: text("how long a lens lasts"),
        CostInput.MACHINE_HOUR: text("the machine hour"),
        CostInput.GAS_M3: text("the price of gas"),
        CostInput.EDGE: text("the length of an edge"),
        CostInput.LIFE_HOURS: text("how long a nozzle lasts"),
    }[name]


def assumed_words(money: Money) -> str:
    """Inputs that common practice stands in for; empty where all are stated."""
    if not money.assumed:
        return ""
    named = "; ".join(_assumed(each, money.currency) for each in money.assumed)
    return text("Not stated, so common practice without a source: {inputs}.", inputs=named)


def _assumed(each: Assumed, currency: str) -> str:
    per = {
        CostInput.MACHINE_HOUR: text("{size} an hour", size=amount_words(each.value, currency)),
        CostInput.GAS_M3: text("{size} a m³ at 0 °C", size=amount_words(each.value, currency)),
        CostInput.EDGE: with_unit(each.value, "m", 2),
        CostInput.CHANGE: with_unit(each.value, "min", 2),
        CostInput.LIFE_HOURS: text("{hours} h of cutting, all types alike", hours=number(each.value, 2)),
    }
    return text("{input} {size}", input=input_words(each.input), size=per[each.input])


def _no_speed(finding: Finding) -> str:
    return text("No cost of a metre: the speed is not stated.")


def _gas_not_known(finding: Finding) -> str:
    return text("Gas is not counted: “{gas}” is not a gas or mixture that is known here.", gas=word(finding, "gas"))


def _gas_not_counted(finding: Finding) -> str:
    lacking = [] if finding.facts["gas"] else [text("the gas")]
    lacking += [] if finding.facts["pressure"] else [text("its pressure in a known unit")]
    areas = [person(str(name)) for name in several(finding, "areas")]
    lacking += [text("the orifice or flow area of {types}", types=listed(areas))] if areas else []
    return text("Gas is not counted: {lacking} is not stated.", lacking=listed(lacking))


def _lens_not_counted(finding: Finding) -> str:
    return text("Lenses are not counted.")


def _rework_not_counted(finding: Finding) -> str:
    return text("Rework is not counted, since its cost is not stated: a failed edge costs nothing here.")


def _failing_not_known(finding: Finding) -> str:
    return text("Rework is not counted: how many edges fail is not known, since no requirement was measured.")


def _price_not_stated(finding: Finding) -> str:
    return text("No price is stated for {types}: taken as nothing.", types=_types(finding))


def _life_at_least(finding: Finding) -> str:
    return text(
        "No piece of {types} failed in the life trial: its life counts at the lower 95 % limit.",
        types=_types(finding),
    )


def _lives_not_used(finding: Finding) -> str:
    return text(
        "The lives that are known leave out {types}, so one life is taken for all types.",
        types=_types(finding),
    )


def _at_clean_speeds(finding: Finding) -> str:
    return text(
        "Each type at the speed that 95 % of its mounts keep clean, {share} of the edges reworked.",
        share=percent(figure(finding, "failing")),
    )


def _types(finding: Finding) -> str:
    return listed([person(name) for name in finding.about.nozzles])


def to_state(money: Money) -> list[str]:
    """What to write where, so that a part that is left out is counted: for whoever keeps the trial file."""
    kinds = {each.kind for each in money.said}
    told = {
        MoneyKind.NO_SPEED: text("To reckon the cost of a metre, state speed_m_min under [held] of the next trial."),
        MoneyKind.GAS_NOT_KNOWN: text(
            "To count gas, write oxygen, nitrogen, argon, air or a mixture such as “97 % nitrogen, 3 % oxygen” "
            "(`trials amend`)."
        ),
        MoneyKind.REWORK_NOT_COUNTED: text("To count rework, state rework_per_edge under [costs]."),
    }
    return [words for kind, words in told.items() if kind in kinds]


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    MoneyKind.NO_SPEED: _no_speed,
    MoneyKind.GAS_NOT_KNOWN: _gas_not_known,
    MoneyKind.GAS_NOT_COUNTED: _gas_not_counted,
    MoneyKind.LENS_NOT_COUNTED: _lens_not_counted,
    MoneyKind.REWORK_NOT_COUNTED: _rework_not_counted,
    MoneyKind.FAILING_NOT_KNOWN: _failing_not_known,
    MoneyKind.PRICE_NOT_STATED: _price_not_stated,
    MoneyKind.LIFE_AT_LEAST: _life_at_least,
    MoneyKind.LIVES_NOT_USED: _lives_not_used,
    MoneyKind.AT_CLEAN_SPEEDS: _at_clean_speeds,
}
