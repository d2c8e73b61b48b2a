"""The paper on lives is made from fields: its answer, tables and cautions."""

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from trials.decide.lives import answer_lives
from trials.endings import Ended
from trials.infer.life import study_lives
from trials.report.life_paper import life_data, life_picture
from trials.trial import Heading
from trials.words.language import Language, speaking

TIME = [10.0, 20.0, 33.0, 41.0, 30.0, 40.0, 44.0, 52.0]
TYPES = ["a"] * 4 + ["b"] * 4
W, P, G = Ended.WORN, Ended.PLUGGED, Ended.TAKEN_OFF_GOOD
ENDS = [W, P, W, W, W, W, G, W]


def data(ends, worthwhile=0.25, asked=None, doubted=()):
    table = pd.DataFrame(
        {"nozzle": TYPES, "specimen": ["", *"1234567"], "life": TIME, "ended": pd.Series(ends, dtype=object)}
    )
    study = study_lives(TIME, [end.failed for end in ends], TYPES, "a")
    found = replace(answer_lives(study, "hours", worthwhile, TYPES, ends), doubted=doubted)
    return life_data(table, found, date(2026, 3, 2), asked)


def test_a_life_trial_has_its_question_and_a_decision_to_sign():
    asked = Heading(title="Nozzle life", question="Does b last long enough?", engineer="E. Invented")
    page = data(ENDS, asked=asked)
    assert (page["title"], page["question"], page["engineer"]) == (asked.title, asked.question, "E. Invented")
    ticks = page["decision"]["ticks"]
    assert ticks[1:] == ["keep A", "run more nozzles before deciding"] and len(page["decision"]["sign"]) == 4
    assert ticks[0] in ("change to B", "change to another type:")
    table, unworded = data(ENDS), data(ENDS, worthwhile=None, asked=asked)
    assert table["decision"]["ticks"] == unworded["decision"]["ticks"] == [] and table["question"] == ""


def test_while_a_reading_is_open_there_is_nothing_to_sign():
    asked = Heading(title="Nozzle life", question="Does b last long enough?", engineer="E. Invented")
    page = data(ENDS, asked=asked, doubted=("K7",))
    assert page["decision"]["ticks"] == [] and "K7" in page["decision"]["open"]
    assert page["sentence"].startswith("Provisional: a reading is still open.")
    assert data(ENDS, asked=asked)["decision"]["open"] == ""


def test_lenses_are_not_drawn_among_nozzles():
    import dataclasses

    from trials.endings import Part

    study = study_lives(TIME, [end.failed for end in ENDS], TYPES, "a")
    found = answer_lives(study, "hours", None, TYPES, ENDS)
    own = pd.DataFrame({"nozzle": TYPES, "life": TIME, "ended": pd.Series(ENDS, dtype=object), "part": Part.NOZZLE})
    lens = own.assign(part=Part.LENS, life=own["life"] * 10)
    alone, both = life_picture(own, found), life_picture(pd.concat([own, lens], ignore_index=True), found)
    assert alone.svg == both.svg
    other = life_picture(pd.concat([own, lens], ignore_index=True), dataclasses.replace(found, part=Part.LENS))
    assert other.svg != alone.svg


def tables(page):
    return [b for section in page["sections"] for b in section["blocks"] if b["kind"] == "table"]


def test_the_answer_leads_and_the_tables_hold_the_lives():
    page = data(ENDS)
    assert page["sentence"].startswith("b lasts") and page["title"] == "Lives by nozzle type, hours"
    lives, ratios, ends, steps, recorded = tables(page)
    assert lives["rows"][1][:3] == ["b", "4", "3"] and lives["head"][3:] == [
        "characteristic life",
        "10 % failed",
        "50 % failed",
    ]
    assert ratios["rows"][0][:4] == ["b", "a", "every share", "one for all"]
    assert ends["head"] == ["nozzle type", "worn", "plugged", "taken off while good"]
    assert ends["rows"] == [["a", "3", "1", "0"], ["b", "3", "0", "1"]]
    assert steps["rows"][0] == ["a", "10", "4", "1", "75 %", "13 % to 96 %"]
    assert recorded["rows"][0] == ["a", "–", "10", "worn"] and recorded["rows"][6][3] == "taken off while good"


@pytest.mark.parametrize("ends", [[Ended.NOT_SAID] * 8, [Ended.NOT_SAID] * 7 + [G]])
def test_no_table_of_causes_where_none_is_on_record(ends):
    titles = [table["head"] for table in tables(data(ends))]
    assert len(titles) == 4 and not any("worn" in head for head in titles)


def test_the_page_keeps_its_structure_and_numbers_in_any_language():
    plain = data(ENDS)
    with speaking(Language("xx", lambda template: "zz", lambda one, many, n: "zz")):
        other = data(ENDS)
    assert [[b["kind"] for b in s["blocks"]] for s in plain["sections"]] == [
        [b["kind"] for b in s["blocks"]] for s in other["sections"]
    ]
    assert [len(t["rows"]) for t in tables(plain)] == [len(t["rows"]) for t in tables(other)]
    assert tables(other)[2]["rows"] == tables(plain)[2]["rows"]
