"""The engineer's pages: secondary responses, dross as bars and odds, how many specimens would show a chance, sizes."""

import dataclasses
from datetime import date

import pandas as pd
import pytest

from trials.decide.chance_result import Asked, ChanceResult
from trials.decide.kinds import StudyKind
from trials.findings import About, Amount, Finding, Place, PlaceKind
from trials.infer.chance import ChanceKind
from trials.report import typeset
from trials.report.bench_paper import labels_data
from trials.report.chance_page import chance_section
from trials.report.dross_page import odds_table, shares, shares_picture
from trials.report.extras import VerdictExtras
from trials.report.verdict import verdict_data
from trials.words.first_page import fails_of_hundred

MADE_ON = date(2026, 3, 2)
U = "Perpendicularity tolerance u (beside it)"


def tables(section):
    return [block for block in section["blocks"] if block["kind"] == "table"]


def test_a_secondary_response_is_compared_in_the_table_of_its_means(study, trial):
    data = verdict_data(study, trial, MADE_ON, VerdictExtras())
    section = next(each for each in data["sections"] if each["title"] == U)
    (table,) = tables(section)
    assert table["head"][-3:] == ["Difference, mm", "95 % interval", "p"]
    by_type = {row[0]: row[1:] for row in table["rows"]}
    assert by_type["double"] == ["0.150", "0.120 to 0.180", "-0.040", "-0.080 to 0.003", "0.060"]
    assert by_type["cylindrical"][-3:] == ["–", "–", "–"]
    words = [item for block in section["blocks"] if block["kind"] == "text" for item in block["items"]]
    assert any("against cylindrical" in item for item in words)


GRADES = pd.DataFrame(
    {
        "nozzle": ["plain"] * 4 + ["double"] * 2,
        "coupon": ["A", "A", "B", "C", "D", "E"],
        "value": [0.0, 2.0, 2.0, 0.0, 1.0, 1.0],
    }
)


def test_shares_count_the_worst_grade_of_each_coupon():
    found = shares(GRADES, ("double", "plain", "never cut"))
    assert found.index.tolist() == ["double", "plain"]
    assert found.columns.tolist() == [0, 1, 2]
    assert found.loc["plain"].tolist() == [1, 0, 2]
    assert found.loc["double"].tolist() == [0, 2, 0]


def test_bars_of_shares_say_in_words_what_they_show():
    picture = shares_picture(GRADES, ("plain", "double"))
    assert picture["svg"].startswith("<?xml") and picture["caption"]
    assert "plain: 1 coupon of grade 0 and 2 coupons of grade 2; double: 2 coupons of grade 1" in picture["alt"]


def test_odds_are_one_table_and_leave_the_remarks(study, trial):
    about = About(nozzle="double", against="plain")
    odds = Finding(StudyKind.GRADE_ODDS, about, {"odds": 0.123, "low": 0.0052, "high": 2.6})
    apart = Finding(StudyKind.GRADES_APART, about, {"lower": True, "bound": 0.4})
    open_end = Finding(StudyKind.GRADES_APART, about, {"lower": False, "bound": None})
    result = dataclasses.replace(study.results[0], said=(odds, apart, open_end))
    (table,) = [block for block in odds_table(result) if block["kind"] == "table"]
    assert table["rows"] == [
        ["double", "plain", "0.123", "0.00520 to 2.60"],
        ["double", "plain", "–", "at most 0.400"],
        ["double", "plain", "–", "–"],
    ]
    data = verdict_data(dataclasses.replace(study, results=(result,)), trial, MADE_ON, VerdictExtras())
    lines = [item for section in data["sections"] for block in section["blocks"] for item in block.get("items", [])]
    assert not any("0.0052" in line for line in lines)


def test_what_more_specimens_would_show_is_a_table():
    place = Place(PlaceKind.TODAY, ({"pressure": 0.7},))
    u = Asked("squareness", Amount(0.2, "mm"))

    def chance(nozzle, needed, more_than, shown=()):
        facts = {"target": 0.9, "specimens": 3, "needed": needed, "more_than": more_than, "shown": shown}
        return ChanceResult(nozzle, u, place, 0.8, 0.3, notes=(Finding(ChanceKind.REACH, facts=facts),))

    chances = (chance("a", 46, None), chance("b", None, 50), chance("c", None, None, ((6, 0.41), (12, 0.5))))
    section = chance_section(chances)
    table = tables(section)[-1]
    assert table["head"] == ["Nozzle type", "u at most 0.2 mm"]
    assert table["rows"] == [
        ["a", "90 %: about 46 (3 now)"],
        ["b", "90 %: more than 50"],
        ["c", "below 90 %; 6 show 41 %; 12 show 50 %"],
    ]


@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_paper_is_of_the_size_that_the_trial_asks_for(trial, paper, size):
    import io

    import pikepdf

    data = labels_data(trial, [("A1", 1)], MADE_ON)
    with pikepdf.open(io.BytesIO(typeset.pdf("labels.typ", data, MADE_ON, paper=paper))) as found:
        box = [round(float(side)) for side in found.pages[0].mediabox]
    assert tuple(box[2:]) == size


@pytest.mark.parametrize(("low", "cell", "fails"), [(0.7655, "76 %", 24), (0.77, "77 %", 23), (0.0, "0 %", 100)])
def test_what_a_chance_is_at_least_and_what_fails_at_most_make_a_hundred(low, cell, fails):
    place = Place(PlaceKind.TODAY, ({"pressure": 0.7},))
    chance = ChanceResult("a", Asked("squareness", Amount(0.2, "mm")), place, 0.98, low)
    (table,) = tables(chance_section((chance,)))
    assert table["rows"] == [["a", f"98 % (at\u00a0least\u00a0{cell})"]]
    assert fails_of_hundred(chance) == (2, fails)


def test_an_estimate_under_the_share_asked_about_is_not_printed_as_that_share():
    """89.6 % beside `below 90 %`, not 90 %."""
    place = Place(PlaceKind.TODAY, ({"pressure": 0.7},))
    facts = {"target": 0.9, "specimens": 6, "needed": None, "more_than": None, "shown": ((12, 0.8),)}
    reach = Finding(ChanceKind.REACH, facts=facts)
    chance = ChanceResult("a", Asked("squareness", Amount(0.2, "mm")), place, 0.8964, 0.7, notes=(reach,))
    first, second = tables(chance_section((chance,)))
    assert first["rows"][0][1].startswith("89.6 % ") and second["rows"][0][1] == "below 90 %; 12 show 80 %"


def test_lost_cuts_and_what_their_number_leaves_open_are_said_of_every_trial():
    place = Place(PlaceKind.TODAY, ({"pressure": 0.7},))
    chance = ChanceResult("a", Asked("squareness", Amount(0.2, "mm")), place, 0.99, 0.77, cuts=9, most=0.8126)
    other = dataclasses.replace(chance, nozzle="b", cuts=9, lost=1, most=0.6499)

    def said(*chances):
        items = [item for block in chance_section(chances)["blocks"] for item in block.get("items", [])]
        return " ".join(map(str, items))

    assert "(none so far); the number of cuts alone allows no bound above 81 %." in said(chance)
    assert "(b 1)" in said(chance, other) and "no bound above a 81 % and b 64 %." in said(chance, other)
