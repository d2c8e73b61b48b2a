"""The paper on lives is made from fields: its answer, tables and cautions."""

import json
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from trials.decide.lives import answer_lives
from trials.decide.lives_advice import told_by_trial
from trials.endings import Ended
from trials.findings import About, Amount, Finding
from trials.infer.life import study_lives
from trials.record_kinds import RecordKind, Where
from trials.report.extras import VerdictExtras
from trials.report.figures.lives import life_figure
from trials.report.figures.look import INK, LIGHT
from trials.report.life_first import LifeTrial
from trials.report.life_paper import life_data, life_pdf, life_picture
from trials.trial import parse
from trials.words.language import Language, speaking

TIME = [10.0, 20.0, 33.0, 41.0, 30.0, 40.0, 44.0, 52.0]
TYPES = ["a"] * 4 + ["b"] * 4
W, P, G = Ended.WORN, Ended.PLUGGED, Ended.TAKEN_OFF_GOOD
ENDS = [W, P, W, W, W, W, G, W]
FAR_APART, FAR = [10.0, 11.0, 12.0, 14.0, 60.0, 66.0, 72.0, 80.0], ENDS


def lives(ends, worthwhile=0.25, open_readings=(), times=TIME):
    study = study_lives(times, [end.failed for end in ends], TYPES, "a")
    return replace(answer_lives(study, "hours", worthwhile, TYPES, ends), open_readings=open_readings)


def data(ends, worthwhile=0.25, asked=None, open_readings=(), times=TIME):
    table = pd.DataFrame(
        {"nozzle": TYPES, "specimen": ["", *"1234567"], "life": times, "ended": pd.Series(ends, dtype=object)}
    )
    return life_data(table, lives(ends, worthwhile, open_readings, times), date(2026, 3, 2), asked)


@pytest.fixture(scope="module")
def asked():
    text = (Path(__file__).parents[2] / "designs" / "nozzle-life.toml").read_text(encoding="utf-8")
    trial = parse(text.replace('engineer = ""', 'engineer = "E. Invented"'))
    return LifeTrial(trial, not_said=told_by_trial(trial, ()))


def slip(coupon):
    facts = {"reading": 1, "repeat": 0, "field": "life_pierces", "where": Where.LIKE_COUPONS.value}
    amounts = {"value": Amount(42.0), "median": Amount(227.0)}
    return Finding(RecordKind.SLIP, About(response="life_pierces", coupons=(coupon,)), {**facts, **amounts})


def test_a_life_trial_has_its_question_and_a_decision_to_sign(asked):
    page, heading = data(ENDS, asked=asked), asked.trial.trial
    assert (page["title"], page["question"], page["engineer"]) == (heading.title, heading.question, "E. Invented")
    assert "S235" in page["requirement"] and any("E. Invented" in line for line in page["facts"])
    assert any("10 mm S235" in line for line in page["cannot_say"])
    ticks = page["decision"]["ticks"]
    assert ticks == ["change to another type:", "keep A", "run more before deciding"]
    assert len(page["decision"]["sign"]) == 4 and page["decision"]["to_write"] == [0]
    change = data(FAR, asked=asked, times=FAR_APART)["decision"]
    assert change["ticks"][0] == "change to B" and change["to_write"] == []
    assert data(ENDS, worthwhile=None, asked=asked)["decision"]["ticks"] == []


def test_what_changed_after_the_freeze_stands_on_the_first_page(asked):
    facts = {"specimen": "P2", "nozzle": "plated", "who": "AB", "why": "lost"}
    changes = (Finding(RecordKind.SPECIMEN_RETIRED, facts=facts),)
    page = data(ENDS, asked=replace(asked, extras=VerdictExtras(changes=changes)))
    assert page["amendments"] == ["specimen P2 (plated) retired (AB: lost)"] and data(ENDS)["amendments"] == []


def test_a_bare_table_asks_its_question_and_has_nothing_to_sign():
    page = data(ENDS)
    assert page["decision"]["ticks"] == [] and page["title"] == "Lives by nozzle type, hours"
    assert page["question"] == "Does B last longer than today's A?" and page["requirement"] == ""
    assert any(line.startswith("Material, thickness, gas") for line in page["cannot_say"])


def test_while_a_reading_is_open_there_is_nothing_to_sign(asked):
    page = data(FAR, asked=asked, open_readings=(slip("K7"),), times=FAR_APART)
    assert page["decision"]["ticks"] == [] and "K7" in page["decision"]["open"]
    assert page["answer"]["lines"][0] == ["Would change to", "B"] and len(page["bands"]) == 1
    first, *_ = page["next_steps"]
    assert first.startswith("Settle this reading first: coupon K7, reading 1")
    calm = data(FAR, asked=asked, times=FAR_APART)
    assert calm["decision"]["open"] == "" and calm["bands"] == [] and calm["answer"]["lines"][0][0] == "Change to"


STATISTICS = ("Weibull", "Kaplan", "characteristic", "likelihood", "p-value", "(p ")


def said_on_the_first_page(page):
    """Every text of the manager's page; of the picture its caption alone, since nobody who sees it reads the rest."""
    parts = [page[key] for key in ("question", "bands", "answer", "nozzle_head", "nozzle_rows", "table_note")]
    lists = [page["cannot_say"], page["next_steps"], page["figure"]["caption"]]
    return json.dumps([*parts, *lists])


@pytest.mark.parametrize("worthwhile", [0.25, None])
def test_the_first_page_speaks_no_statistics(worthwhile):
    page = data(FAR, worthwhile, times=FAR_APART)
    said = said_on_the_first_page(page)
    assert "Half last at least, hours" in said and not [word for word in STATISTICS if word in said]
    later = json.dumps(page["sections"])
    assert "characteristic life" in later and "Limits by profile likelihood" in later


def test_the_answer_stands_in_short_lines_and_the_table_in_plain_words():
    page = data(FAR, times=FAR_APART)
    (does, what), (how, sure), _ = page["answer"]["lines"]
    assert (does, what, how) == ("Change to", "B", "How sure") and sure.startswith("It lasts about ")
    assert page["nozzle_head"] == [
        "Nozzle type",
        "Failed",
        "Half last at least, hours",
        "Nine in ten last at least, hours",
        "Times as long as today's",
        "Answer",
    ]
    (today, other) = page["nozzle_rows"]
    assert today["today"] and today["cells"][0] == "4 of 4: worn 3, plugged 1" and other["cells"][0] == "3 of 4: worn 3"
    assert other["answer"] == "better, by at least the worthwhile 25 %" and today["answer"] == "today's nozzle"
    assert all(len(row["cells"]) == len(page["nozzle_widths"]) for row in page["nozzle_rows"])


def test_the_engineer_gets_the_answer_in_figures():
    first, *_ = data(ENDS)["sections"]
    assert first["blocks"][0]["items"][0].startswith("b lasts 1.") and first["title"].startswith("For the engineer")


@pytest.mark.usefixtures("drawn_pictures")
@pytest.mark.parametrize("given", [True, False])
def test_the_paper_is_set_by_the_template_of_a_verdict(asked, given):
    table = pd.DataFrame({"nozzle": TYPES, "specimen": "", "life": TIME, "ended": pd.Series(ENDS, dtype=object)})
    paper = life_pdf(table, lives(ENDS), date(2026, 3, 2), asked=asked if given else None)
    assert paper.startswith(b"%PDF") and paper == life_pdf(
        table, lives(ENDS), date(2026, 3, 2), asked=asked if given else None
    )


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


def test_the_tables_hold_the_lives():
    page = data(ENDS)
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
    for key in ("nozzle_rows", "cannot_say", "next_steps", "nozzle_widths", "nozzle_head"):
        assert len(plain[key]) == len(other[key])
    assert set(other["cannot_say"]) | set(other["next_steps"]) == {"zz"}


def test_types_are_told_apart_in_black_and_white():
    """Greys alone, one for each type, and a line pattern of its own for each fitted curve."""
    curve = ((0.0, 50.0), (1.0, 0.2))
    svg = life_figure(["a", "b", "c"], [TIME[:4], TIME[4:], TIME[:4]], [[True] * 4] * 3, [curve] * 3, "hours", "a")
    colours = set(re.findall(r"(?:stroke|fill): (#[0-9a-f]{6})", svg))
    assert {INK, LIGHT} <= colours and all(len({c[1:3], c[3:5], c[5:]}) == 1 for c in colours)
    assert len(set(re.findall(r"stroke-dasharray: ([0-9.,]+)", svg))) == 3
