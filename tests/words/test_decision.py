"""The decision and its money in words: by table, numbers that agree with each other, nothing hidden in a sign."""

import dataclasses
import math

import pytest
from decide.test_decision import BETTER, MORE, OPEN, PLACE, SAME, WORSE, costs, life, made, square

from trials.decide.decision import decide, decide_lives
from trials.decide.decision_result import (
    Assumed,
    CostAgainst,
    CostInput,
    FewerFail,
    Flip,
    Money,
    MoneyKind,
    Question,
    Span,
    TypeCost,
)
from trials.findings import About, Amount, Finding
from trials.words.decision import (
    decision_rows,
    decision_sentence,
    fewer_words,
    for_the_file,
    life_sentence,
    money_notes,
    side_effect_words,
)
from trials.words.findings import say
from trials.words.first_page import answer_box
from trials.words.money import amount_words, cost_words, difference_words, metre_head, span_of_money, turns_words

FEWER = FewerFail("a", 35.6, 3.9, Span(31.7, -9.1, 70.5))


def text_of(words: str) -> str:
    return words.replace("\u00a0", " ")


def money_of(value: Span, **changed) -> Money:
    bare = CostAgainst("a", "today", value, 0.9, None, CostInput.FAILING, 0.9, (), 1.45)
    against = dataclasses.replace(bare, **changed)
    types = (TypeCost("today", Span(2.39, 2.2, 3.0), {}), TypeCost("a", Span(1.94, 1.9, 2.5), {}))
    return Money("EUR", PLACE, types, (against,), (Assumed(CostInput.GAS_M3, 0.9),), "", (), 40_000.0)


@pytest.mark.parametrize(
    ("study", "sentence"),
    [
        (made({"a": BETTER}), "change to A at pressure 0.7 bar."),
        (
            made({"a": BETTER}, fewer=(FEWER,)),
            "change to A at pressure 0.7 bar; of 100 edges about 32 fewer fail (between 9 more and 70 fewer).",
        ),
        (
            made({"a": BETTER}, fewer=(FEWER,), money=money_of(Span(-0.45, -1.03, 0.16))),
            "change to A at pressure 0.7 bar; of 100 edges about 32 fewer fail (between 9 more and 70 fewer); a metre "
            "of good edge costs 0.45 EUR less (between 1.03 less and 0.16 more).",
        ),
        (made({"a": WORSE, "b": SAME}), "keep Today."),
        (made({"a": OPEN}), "cut more before deciding; Today stays until then."),
        (
            made({"a": OPEN}, more=MORE),
            "cut more before deciding; Today stays until then; 288 more coupons cut and measured like these, about 82 "
            "h.",
        ),
        (made({}), "nothing was compared."),
    ],
)
def test_the_decision_in_one_sentence(study, sentence):
    assert text_of(decision_sentence(study)) == sentence


def test_the_decision_is_provisional_while_a_reading_is_open():
    said = decision_sentence(made({"a": WORSE, "b": SAME}, provisional=True))
    assert said == "provisional, since a reading is still open: keep Today."


def test_rows_of_a_change_with_money():
    flips = (Flip(CostInput.FAILING, 0.04, 0.36, 0.34), Flip(CostInput.LIFE, 2640.0, 2640.0, 1320.0))
    money = money_of(Span(-0.45, -1.03, 0.16), per_year=Span(-18035.0, -41312.0, 6447.0), flips=flips)
    rows = dict(decision_rows(made({"a": BETTER}, {"a": 24.0}, fewer=(FEWER,), money=money)))
    assert text_of(rows["Gain"]) == (
        "Of 100 edges about 32 fewer fail (between 9 more and 70 fewer). A metre of good edge costs 1.94 EUR instead "
        "of 2.39 EUR, 0.45 EUR less (between 1.03 less and 0.16 more). A year of 40 000 m: 18 000 EUR less (between "
        "41 000 less and 6 400 more)."
    )
    assert text_of(rows["Cost"]) == (
        "A nozzle: 24.00 EUR instead of 9.00 EUR. By longer life alone, without what is saved otherwise, it is paid "
        "back if it lasts 1.45 times as long as today's."
    )
    assert rows["Breaks even"] == (
        "A metre would cost the same if 34 of 100 edges failed with A, where about 4 are expected, or if it "
        "lasted 0.50 times as long as today's. Least is known of how many edges fail."
    )
    assert text_of(money_notes(made({"a": BETTER}, money=money))[0]) == (
        "Not stated, so common practice without a source: the price of gas 0.90 EUR a m³ at 0 °C."
    )


def test_rows_of_more_cutting_carry_hours_and_money():
    more = dataclasses.replace(MORE, money=6681.5)
    study = made({"a": OPEN}, more=more, money=costs(a=(0.18, -0.32, 0.45)))
    rows = dict(decision_rows(study))
    assert text_of(rows["To settle it"]) == (
        "11 nozzles of each type instead of 3: 288 more coupons cut and measured like these, about 82 h and 6 700 EUR, "
        "for a chance of 80 % of a settled answer. A plan made for the question may take less."
    )
    assert for_the_file(study) == [
        "A plan made for the question: `trials plan FOLDER --settle 80 --spreads-from FOLDER`."
    ]
    assert text_of(rows["Money"]) == (
        "A metre of good edge against today's: A 0.18 EUR more (between 0.32 less and 0.45 more)."
    )


def test_no_money_is_said_without_costs():
    rows = decision_rows(made({"a": BETTER}, fewer=(FEWER,)))
    assert [name for name, _ in rows] == ["Gain", "Cost"] and "metre" not in " ".join(words for _, words in rows)


@pytest.mark.parametrize(
    ("today", "with_it", "low", "high", "words"),
    [
        (35.6, 3.9, -9.1, 70.5, "about 32 fewer fail (between 9 more and 70 fewer)"),
        (10.6, 4.4, 2.2, 9.0, "about 7 fewer fail (between 2 and 9 fewer)"),  # 11 and 4 stand in the table
        (4.4, 10.6, -12.0, -1.0, "about 7 more fail (between 1 and 12 more)"),
        (4.4, 3.6, -2.0, 3.0, "about as many fail (between 2 more and 3 fewer)"),
    ],
)
def test_fewer_edges_agree_with_the_table(today, with_it, low, high, words):
    assert fewer_words(FewerFail("a", today, with_it, Span(today - with_it, low, high))) == words


@pytest.mark.parametrize(
    ("span", "words"),
    [
        (Span(-0.45, -1.03, 0.16), "0.45 EUR less (between 1.03 less and 0.16 more)"),
        (Span(-0.099, -0.154, -0.0455), "0.10 EUR less (between 0.05 and 0.15 less)"),
        (Span(0.5, 0.4, 0.6), "0.50 EUR more (between 0.40 and 0.60 more)"),
        (Span(0.5, 0.5, 0.5), "0.50 EUR more"),
    ],
)
def test_differences_of_money(span, words):
    assert text_of(span_of_money(span, "EUR")) == words


@pytest.mark.parametrize(
    ("value", "words"),
    [(1234567.0, "1 200 000 EUR"), (999.0, "999 EUR"), (-12.5, "12.50 EUR"), (0.004, "0.004 EUR"), (0.0, "0.00 EUR")],
)
def test_amounts(value, words):
    assert text_of(amount_words(value, "EUR")) == words


def test_a_difference_agrees_with_the_two_costs_beside_it():
    money = money_of(Span(-0.4549, -1.03, 0.16))
    types = (TypeCost("today", Span(2.3876, 2, 3), {}), TypeCost("a", Span(1.9327, 1, 3), {}))
    said = difference_words(money.against[0], dataclasses.replace(money, types=types))
    assert text_of(said) == "0.46 EUR less (between 1.03 less and 0.16 more)"  # 2.39 and 1.93 stand beside it


def test_a_cost_in_a_cell():
    money = money_of(Span(-0.45, -1.03, 0.16))
    assert cost_words(TypeCost("a", Span(1.94, 1.9, 2.52), {}), money) == "1.94 (1.90\u00a0to\u00a02.52)"
    assert cost_words(TypeCost("a", Span(1.94, 1.94, 1.94), {}), money) == "1.94"


def near(cost: float, today: float, rework: bool = True, flips: tuple[Flip, ...] = ()) -> Money:
    """Money of two types that cost nearly the same, nothing of it uncertain."""
    away = cost - today
    money = money_of(Span(away, away, away), per_year=Span(40_000 * away, 40_000 * away, 40_000 * away), flips=flips)
    types = tuple(TypeCost(name, Span(x, x, x), {}) for name, x in (("today", today), ("a", cost)))
    said = () if rework else (Finding(MoneyKind.REWORK_NOT_COUNTED),)
    return dataclasses.replace(money, types=types, said=said)


@pytest.mark.parametrize(
    ("cost", "today", "cells", "size"),
    [
        (1.85538, 1.85311, ["1.853", "1.855"], "0.002 EUR more"),  # 1.855 - 1.853; two digits would print 1.86, 1.85
        (1.87, 1.85, ["1.85", "1.87"], "0.02 EUR more"),
        (1.8533, 1.8531, ["1.85", "1.85"], "as much"),
        (251.4, 230.1, ["230", "251"], "21 EUR more"),
        (230.7, 230.1, ["230.1", "230.7"], "0.6 EUR more"),
    ],
)
def test_the_printed_difference_is_the_difference_of_the_printed_costs(cost, today, cells, size):
    money = near(cost, today)
    assert [cost_words(each, money) for each in money.types] == cells
    assert text_of(difference_words(money.against[0], money)) == size


def test_a_loss_stands_under_no_gain_and_a_year_has_two_figures():
    fewer = FewerFail("a", 4.0, 8.0, Span(-4.0, -9.0, 1.0))
    rows = dict(decision_rows(made({"a": BETTER}, fewer=(fewer,), money=near(1.85538, 1.85311))))
    assert "Gain" not in rows
    assert rows["Edges"] == "Of 100 edges about 4 more fail (between 9 more and 1 fewer)."
    assert text_of(rows["Money"]) == (
        "A metre of good edge costs 1.855 EUR instead of 1.853 EUR, 0.002 EUR more. A year of 40 000 m: 91 EUR more."
    )
    assert "Money" not in dict(decision_rows(made({"a": BETTER}, money=near(1.8, 1.9))))


def test_two_costs_that_print_alike_are_as_much():
    rows = dict(decision_rows(made({"a": BETTER}, money=near(1.8533, 1.8531))))
    assert text_of(rows["Money"]) == "A metre of good edge costs 1.85 EUR, as much as today."


def test_a_metre_without_rework_is_not_called_good():
    bare = near(1.85538, 1.85311, rework=False)
    study = made({"a": BETTER}, money=bare)
    assert metre_head(bare) == "A metre, EUR, without rework" and metre_head(near(1.9, 1.8)) == "A good metre, EUR"
    open_ = made({"a": OPEN}, money=bare)
    for said in (dict(decision_rows(study))["Money"], dict(decision_rows(open_))["Money"], decision_sentence(study)):
        assert "metre without rework" in said and "good" not in said
    (note,) = [note for note in money_notes(study) if "ework" in note]
    assert note == "Rework is not counted, since its cost is not stated: a failed edge costs nothing here."
    assert for_the_file(study) == ["To count rework, state rework_per_edge under [costs]."]
    assert "as much as today" in dict(decision_rows(made({"a": BETTER}, money=near(1.8, 1.8, rework=False))))["Money"]


def test_a_turning_point_that_prints_as_it_is_now_is_not_told():
    speed, price = Flip(CostInput.SPEED, 1.1, 1.1, 1.1014), Flip(CostInput.PRICE, 15.0, 9.0, 9.0)
    fails = Flip(CostInput.FAILING, 0.041, 0.2, 0.044)
    told = turns_words(near(1.85538, 1.85311, flips=(speed, fails, price)).against[0])
    assert told == "A metre would cost the same at a price of 9.00 a nozzle."
    assert turns_words(near(1.85538, 1.85311, flips=(speed,)).against[0]) == "In money they are as good as equal."


@pytest.mark.parametrize(
    ("flip", "words"),
    [
        (
            Flip(CostInput.SPEED, 1.1, 1.1, 0.885),
            "A metre would cost the same if A cut at 0.885 m/min instead of 1.10 m/min.",
        ),
        (Flip(CostInput.PRICE, 24.0, 9.0, 40.0), "A metre would cost the same at a price of 40.00 a nozzle."),
    ],
)
def test_turning_points(flip, words):
    assert turns_words(money_of(Span(-0.4, -1, 1), flips=(flip,)).against[0]) == words


def test_nothing_turns_it():
    far = (Flip(CostInput.LIFE, 2640.0, 2640.0, 102.0), Flip(CostInput.PRICE, 24.0, 9.0, 1214.0))
    assert "would turn it" in turns_words(money_of(Span(-0.4, -1, 1), flips=far).against[0])
    assert "would turn it" in turns_words(money_of(Span(-0.4, -1, 1)).against[0])


@pytest.mark.parametrize(
    ("size", "words"),
    [
        ((0.04, 0.02, 0.06), "But u is higher."),
        ((0.04, -0.01, 0.09), "But u looks higher, which is not proved."),
        ((0.01, 0.0, 0.02), ""),
    ],
)
def test_what_is_worse_stands_in_the_second_line(size, words):
    study = made({"a": BETTER})
    study = dataclasses.replace(study, results=(*study.results, square({"a": size})))
    assert side_effect_words(study, decide(study)) == words
    assert answer_box(study).sure.endswith(words) and ("but u" in decision_sentence(study)) is bool(words)


def test_a_dominated_type_is_said_in_the_third_line():
    study = made({"a": BETTER, "b": OPEN}, {"a": 24.0, "b": 31.0})
    said = "B: no proof either way, which is not the same as equal; no better than A on any count."
    assert answer_box(study).others == said
    kept = made({"a": WORSE, "b": WORSE}, {"a": 24.0, "b": 31.0})
    assert answer_box(kept).others == "A and B: worse than Today, and better on no count."


def test_the_settings_stand_beside_the_type():
    assert answer_box(made({"a": BETTER})).at == "at pressure 0.7 bar, as today"
    assert answer_box(made({"a": SAME})).at == ""
    safe = dataclasses.replace(decide(made({"a": BETTER})), safe_speed=Amount(3.913, "m/min"))
    assert safe.question == Question.COMPARE


def test_a_change_for_money_says_so():
    box = answer_box(made({"a": SAME}, money=costs(a=(-0.2, -0.4, -0.1))))
    assert (box.does, box.what) == ("Change to", "A")
    assert box.sure == "The edge is the same for practical purposes, for less money."


def test_lives_in_words():
    dearer = decide_lives(life(BETTER, 2.0, 1.4, 2.9, prices={"plain": 1.0, "plated": 1.15}))
    # 15 % dearer, twice the life: 0.575 per unit of life, break-even at 1.15 (common practice, no source)
    assert life_sentence(dearer) == (
        "Change to Plated: it lasts 2.00 times as long as Plain, at least 1.40 times; a unit of life costs 0.575 of "
        "what it costs today (it pays from 1.15 times the life on)."
    )
    never = decide_lives(life(BETTER, math.inf, 3.2, math.inf, prices={"plain": 1.0, "plated": 1.15}))
    assert life_sentence(never) == "Change to Plated: it lasts at least 3.20 times as long as Plain."
    assert life_sentence(decide_lives(life(OPEN, 1.2, 0.8, 1.7))) == (
        "Run more before deciding: Plated not settled; Plain stays until then."
    )
    assert life_sentence(decide_lives(life(SAME, 1.0, 0.9, 1.1))) == (
        "Keep Plain: no other type is shown to last longer."
    )


@pytest.mark.parametrize(
    ("kind", "facts", "nozzles", "part"),
    [
        (MoneyKind.NO_SPEED, {}, (), "speed is not stated"),
        (MoneyKind.GAS_NOT_KNOWN, {"gas": "shop gas"}, (), "“shop gas” is not a gas"),
        (MoneyKind.GAS_NOT_COUNTED, {"gas": False, "pressure": True, "areas": ()}, (), "the gas is not stated"),
        (MoneyKind.GAS_NOT_COUNTED, {"gas": True, "pressure": True, "areas": ("a",)}, (), "flow area of A is not"),
        (MoneyKind.LENS_NOT_COUNTED, {}, (), "Lenses are not counted"),
        (MoneyKind.REWORK_NOT_COUNTED, {}, (), "a failed edge costs nothing"),
        (MoneyKind.FAILING_NOT_KNOWN, {}, (), "no requirement was measured"),
        (MoneyKind.PRICE_NOT_STATED, {}, ("a",), "No price is stated for A"),
        (MoneyKind.LIFE_AT_LEAST, {}, ("a", "b"), "No piece of A and B failed"),
        (MoneyKind.LIVES_NOT_USED, {}, ("a",), "leave out A"),
        (MoneyKind.AT_CLEAN_SPEEDS, {"failing": 0.05}, (), "5 % of the edges reworked"),
    ],
)
def test_what_money_leaves_out(kind, facts, nozzles, part):
    assert part in say(Finding(kind, About(nozzles=nozzles), facts))
