"""The manager's page of lives in words: short lines, money, table; figures rounded so that no more is promised."""

import dataclasses
import math

import pytest
from decide.test_lives_advice import PLAIN, PLATED, lives

from trials.decide.decision_result import Action
from trials.decide.lives import answer_lives
from trials.endings import Ended, Part
from trials.findings import About, Finding
from trials.infer.life import study_lives
from trials.record_kinds import RecordKind
from trials.words.language import Language, speaking
from trials.words.life_money import life_rows, money_note
from trials.words.life_page import (
    answer_cell,
    life_box,
    line_names,
    not_yet,
    question_words,
    table_cells,
    table_head,
    table_note,
    ticks,
)

PRICES = {"plain": 9.0, "plated": 10.5}
WORN = Ended.WORN


@pytest.fixture(scope="module")
def better():
    return lives(prices=PRICES)


def many(factors, worthwhile=0.25, names="abcdef"):
    """Lives of several types, each so many times those of today's."""
    time = [factor * life for factor in factors for life in PLAIN]
    types = [name for name, _ in zip(names, factors, strict=False) for _ in PLAIN]
    study = study_lives(time, [True] * len(time), types, "a")
    return answer_lives(study, "hours", worthwhile, types, [WORN] * len(time))


def test_a_change_in_short_lines(better):
    box = life_box(better)
    assert (box.action, box.does, box.what) == (Action.CHANGE, "Change to", "Plated")
    assert box.sure == "It lasts about 1.8 times as long as Plain, surely at least 1.3 times."
    assert box.figures == "1.78 times, interval 1.30 to 2.63; failed: 12 of 12 Plain, 8 of 12 Plated"
    assert box.others == "No other type was in the trial." and line_names(box.action) == ("How sure", "The others")


def test_a_change_whose_size_is_open_says_so():
    assert life_box(lives(worthwhile=0.5)).sure.endswith(
        "surely at least 1.3 times. Whether by the 50 % that would be worthwhile is open."
    )


def test_an_open_reading_makes_the_answer_provisional(better):
    slip = Finding(RecordKind.SLIP, About(coupons=("C4V",)))
    assert life_box(dataclasses.replace(better, open_readings=(slip,))).does == "Would change to"
    open_ = dataclasses.replace(lives([1.1 * life for life in PLAIN], 0), open_readings=(slip,))
    assert life_box(open_).does == "Would run more"
    assert "coupon C4V is open" in not_yet(("C4V",)) and "make this paper again" in not_yet(("C4V",))


def test_todays_stays():
    box = life_box(many([1.0, 0.4, 0.5]))
    assert (box.does, box.what, box.sure) == ("Keep", "A", "Every other type is proved to last less long.")
    assert box.others == "B and C: shorter lives than A." and box.figures == ""
    same = life_box(many([1.0, 0.4, 1.0], 0.6))
    assert same.sure == "No other type lasts longer by the 60 % that would be worth a change."
    assert same.others == "C: as long as A for practical purposes. B: shorter lives than A."


def test_nothing_settled_says_what_is_possible():
    box = life_box(lives([1.1 * life for life in PLAIN], 0))
    assert (box.does, box.what) == ("Run more", "nothing is settled yet; Plain stays until then")
    assert box.sure.startswith("Plated lasts about 1.1 times as long as Plain; 0.")
    assert box.sure.endswith(" times is possible.")
    assert box.others == "Plated: no proof either way, which is not the same as equal."
    part = life_box(many([1.0, 1.1, 0.4]))
    assert part.what == "no type is shown to last longer; A stays until then"


def test_of_many_open_types_the_table_says_how_much():
    box = life_box(many([1.0, 1.1, 0.95, 1.05]))
    assert life_box(many([1.0, 1.9, 1.7])).others == "C: also longer lives than A."
    assert box.sure == "Each may last longer than A or not; the table says how much."


def test_a_type_that_never_failed():
    box = life_box(lives([250.0] * 8, 8))
    assert box.sure.startswith("It never failed: it surely lasts at least ") and box.figures.startswith("failed: 12 of")
    assert "did not fail, nor did" in life_box(lives([250.0], 1, first=[100.0], first_good=1, shape=2.0)).sure


def test_without_a_word_the_numbers_stand_and_why():
    box = life_box(lives(worthwhile=None))
    assert (box.does, box.what) == ("No answer", "no difference was declared worthwhile")
    assert box.sure == "Plated lasts about 1.8 times as long as Plain, surely at least 1.3 times."
    assert line_names(box.action) == ("What is seen", "Why") and "was not said" in box.others


def test_one_type_alone():
    study = study_lives(PLAIN, [True] * 12, ["plain"] * 12, "plain")
    box = life_box(answer_lives(study, "hours", 0.25, ["plain"] * 12, [WORN] * 12))
    assert box.what == "nothing was compared" and box.sure.startswith("Half last at least ")
    assert "hours and nine in ten last at least " in box.sure


def test_lenses_are_called_lenses():
    box = life_box(dataclasses.replace(lives(), part=Part.LENS))
    assert box.sure == "A lens under it lasts about 1.8 times as long as one under Plain, surely at least 1.3 times."


def rows(found):
    return dict(life_rows(found))


def test_money_of_a_change(better):
    said = rows(better)
    assert said["Cost"].startswith(
        "A nozzle: 10.50\u00a0EUR instead of 9.00\u00a0EUR. For 1\u00a0000 hours nozzles cost "
    )
    # share of today's money: 10.5 / 9 / 1.776 = 0.657, at the low limit 10.5 / 9 / 1.30 = 0.897
    assert said["Cost"].endswith("about 34 % less, surely at least 10 % less.")
    assert said["Breaks even"] == "It pays for its price from 1.17 times the life on, which is proved."
    assert "work and standstill at each change are not counted" in money_note(better)


@pytest.mark.parametrize(
    ("price", "cost", "pays"),
    # ratio 1.776 (1.30 to 2.63) at 1.5, 2, 3 times the price, and at 0.9 times
    [
        (13.5, "about 16 % less (between 43 % less and 15 % more).", "1.50 times the life on: likely, but not proved."),
        (18.0, "about 13 % more (between 24 % less and 54 % more).", "2.00 times the life on; less is likely."),
        (27.0, "about 69 % more, surely at least 14 % more.", "3.00 times the life on; it lasts less, surely."),
        (8.1, "about 49 % less, surely at least 31 % less.", "A nozzle is no dearer to buy: any longer life pays."),
    ],
)
def test_money_of_other_prices(price, cost, pays):
    said = rows(lives(prices={"plain": 9.0, "plated": price}))
    assert said["Cost"].endswith(cost) and said["Breaks even"].endswith(pays)


def test_what_would_settle_it_and_from_when_on_a_type_pays():
    open_ = lives([1.1 * life for life in PLAIN], 0, prices=PRICES)
    said = rows(open_)
    assert said["Breaks even"] == "A type pays for its price if it lasts so many times as long as Plain: Plated 1.17."
    n = int(said["To settle it"].split()[0])
    more = 2 * (n - 12)
    assert n > 12 and said["To settle it"].startswith(
        f"{n} nozzles of each type instead of 12, all run until they fail"
    )
    assert f"{more} more nozzles cost {(n - 12) * 19.5:.0f}\u00a0EUR." in said["To settle it"]
    without = dataclasses.replace(open_, prices={})
    assert (
        "cost" not in rows(without)["To settle it"] and money_note(without) == "" and "Breaks even" not in rows(without)
    )


def test_no_money_where_nothing_is_to_change():
    found = dataclasses.replace(many([1.0, 0.4]), prices={"a": 9.0, "b": 10.5})
    assert life_rows(found) == [] and money_note(found) == ""


def test_lenses_beside_stand_in_one_line(better):
    lens = dataclasses.replace(lives(), part=Part.LENS)
    said = rows(dataclasses.replace(better, beside=(lens,)))
    assert said["Lens life"] == "Under Plated about 1.8 times as long as under Plain (1.3 to 2.7 is possible)."
    never = dataclasses.replace(lives([250.0] * 8, 8), part=Part.WINDOW)
    assert "Window life" not in rows(dataclasses.replace(better, beside=(never,)))


def test_the_table_in_plain_words(better):
    heads = [head for head, _ in table_head(better)]
    assert heads == [
        "Failed",
        "Half last at least, hours",
        "Nine in ten last at least, hours",
        "Times as long as today's",
        "Price, EUR",
    ]
    plain, plated = (table_cells(better, each) for each in better.study.types)
    assert len(plain) == len(plated) == len(heads)
    assert plain[0] == "12 of 12: worn 12" and plain[3:] == ["–", "9.00"]
    assert plated[3:] == ["1.8 (1.3\u00a0to\u00a02.7)", "10.50"] and plated[1] == "224 (176\u00a0to\u00a0300)"
    assert answer_cell(better, "plated") == "better, by at least the worthwhile 25 %"
    assert "with 95 %, all types together" in table_note(better) and table_note(better).endswith(
        "Worthwhile: 25 % longer."
    )


def test_another_share_and_no_price_in_the_table():
    study = study_lives([*PLAIN, *PLATED], [True] * 24, ["plain"] * 12 + ["plated"] * 12, "plain", (0.025,))
    found = answer_lives(study, "hours", None, ["plain", "plated"], [Ended.NOT_SAID] * 2)
    assert [head for head, _ in table_head(found)][1:] == ["97.5 % last at least, hours", "Times as long as today's"]
    assert table_cells(found, study.types[0])[0] == "12 of 12" and answer_cell(found, "plated") == "–"


@pytest.mark.parametrize(
    ("factors", "words"),
    [
        ([1.0, 0.4], "worse"),
        ([1.0, 1.1], "same for practical purposes"),
        ([1.0, 1.3], "not settled"),
        ([1.0, 1.7], "better; how much is open"),
    ],
)
def test_words_of_the_table(factors, words):
    assert answer_cell(many(factors, 0.6), "b") == words and answer_cell(many(factors), "a") == "today's nozzle"


def test_what_can_be_ticked(better):
    assert ticks(better) == ["change to Plated", "keep Plain", "run more before deciding"]
    assert ticks(many([1.0, 0.4]))[0] == "change to another type:"


def test_a_table_asks_by_name_as_long_as_there_are_few():
    assert question_words(many([1.0, 1.1, 1.2])) == "Do B and C last longer than today's A?"
    assert question_words(many([1.0] * 5)) == "Does another type last longer than today's A?"
    lens = dataclasses.replace(lives(), part=Part.LENS)
    assert question_words(lens) == "Does a lens last longer under another type than under today's Plain?"


def test_every_sentence_goes_through_the_language(better):
    found = dataclasses.replace(better, beside=(dataclasses.replace(lives(), part=Part.LENS),))
    nonsense = Language("xx", lambda template: "zz", lambda one, many, n: "zz")
    with speaking(nonsense):
        box = life_box(found)
        assert {box.does, box.sure, box.others, box.figures, *line_names(box.action)} == {"zz"}
        assert {words for row in life_rows(found) for words in row} == {"zz", "zz zz", "Zz."}
        assert {question_words(found), *ticks(found), answer_cell(found, "plated")} == {"zz"}
        assert math.isfinite(len(table_note(found))) and table_note(found) == "zz zz"
