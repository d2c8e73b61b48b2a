"""Every document is made, says what it must, keeps user text as text, and is the same bytes each time."""

import dataclasses
import hashlib
import json
import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
import typst

import trials
from trials.decide.chance_result import TOGETHER, Asked, ChanceResult
from trials.decide.kinds import StudyKind
from trials.decide.results import Mean, NextStep, NozzleRow, Study, TermTest
from trials.findings import About, Amount, Finding, Place, PlaceKind, Weight
from trials.grade.kinds import GradeKind
from trials.infer.answer import Answer
from trials.infer.chance import ChanceKind
from trials.plan.cautions import nozzle_cautions
from trials.plan.kinds import PlanKind
from trials.record_kinds import RecordKind
from trials.report import typeset, verdict
from trials.report.bench_paper import bench_card_data, labels_data, run_sheet_data
from trials.report.chance_page import chance_section
from trials.report.counts import counts, failed_words
from trials.report.documents import VerdictExtras, bench_card_pdf, labels_pdf, run_sheet_pdf, verdict_pdf
from trials.report.figures.edges import Band, axis_label, zones
from trials.report.first_page import nozzle_table
from trials.report.ranges import bands, response_picture
from trials.report.record_pages import departures_section, grades_section, held_rows
from trials.report.verdict import verdict_data
from trials.trial import parse
from trials.words.names import person
from trials.words.requirement import job_and_requirement

MADE_ON = date(2026, 3, 2)
PLACE = Place(PlaceKind.TODAY, ({"pressure": 0.7},))
SENTENCE = (
    "double is better than today's cylindrical, how much is open (Rz5 20 % lower, interval 10 to 30 %); cylindrical "
    "plated: same for practical purposes; shower: not settled (at pressure 0.7 bar, standoff 1 mm; intervals 95 %, for "
    "all types together)."
)
HOSTILE = '#panic("x") *bold* $ "q" \\ _u_ @ref <l> `raw` // c [x] {y} Жук 中文 العربية \x00\u202e ' + "W" * 200


def as_written(words):
    return Finding(PlanKind.AS_WRITTEN, facts={"text": words})


def query(template: str, data: dict, selector: str, field: str) -> list:
    found = typst.query(
        typeset.HERE / template,
        selector,
        field=field,
        root=typeset.HERE,
        ignore_system_fonts=True,
        sys_inputs=typeset.inputs(data, MADE_ON),
    )
    return json.loads(found)


def first_page_ends_at(data: dict) -> int:
    """Page on which the engineer's part starts."""
    return query("verdict.typ", data, "<engineer-starts>", "value")[0]


@pytest.fixture(scope="module")
def data(study, trial, extras) -> dict:
    return verdict_data(study, trial, MADE_ON, extras)


@pytest.fixture(scope="module")
def pdf(data) -> bytes:
    return typeset.pdf("verdict.typ", data, MADE_ON)


@pytest.fixture(scope="module")
def hostile_trial(trial):
    heading = trial.trial.model_copy(update={"title": HOSTILE, "question": HOSTILE, "engineer": HOSTILE})
    nozzles = tuple(n.model_copy(update={"type": f"{n.type} {HOSTILE}"}) for n in trial.nozzles)
    return trial.model_copy(update={"trial": heading, "nozzles": nozzles, "held": {"note": HOSTILE}})


def test_verdict_is_a_tagged_pdf(pdf):
    assert pdf.startswith(b"%PDF-")
    assert b"pdfuaid:part" in pdf, "not marked as PDF/UA"


def test_first_page_holds_question_answer_table_figure_limits_next_step(data, study):
    assert data["question"] == study.question
    assert [row["type"] for row in data["nozzle_rows"]] == ["Cylindrical", "Cylindrical plated", "Double", "Shower"]
    assert data["nozzle_rows"][0]["today"] and not data["nozzle_rows"][1]["today"]
    heads = ["Met, at all settings", "Too near to say", "Failed", "Lost", "Price, EUR"]
    assert data["nozzle_head"] == ["Nozzle type", "Of 100 edges, fail", *heads, "Answer, by Rz5"]
    # coupons of all settings and edges at one, everything required and Rz5 alone: told apart below the table
    assert "their shares are not those of the bars" in data["table_note"] and "by Rz5 alone" in data["table_note"]
    # 1 - 0.88 and 1 - 0.71 of 100; 1 - 0.61 and 1 - 0.44
    assert [row["fails"] for row in data["nozzle_rows"]] == [[39, 56], [], [12, 29], []]
    assert data["nozzle_rows"][2]["fails_words"] == "about 12, at most 29"
    assert data["nozzle_rows"][2]["answer"] == "better, how much is open"
    assert data["figure"]["svg"].count("<svg") == 1 and "27.9 µm" in data["figure"]["alt"]
    assert data["cannot_say"] == [str(finding.facts["text"]) for finding in study.cannot_say]
    assert data["next_steps"] == [str(step.finding.facts["text"]) for step in study.next_steps]


def test_the_coupons_are_counted_once_for_all_pages(data, study, extras, trial):
    found = {c.nozzle: c for c in counts(extras.graded, trial.types)}
    assert {c.cut + c.lost for c in found.values()} == {24}
    assert all(c.met + c.undecided + c.not_judged + c.failed == c.cut for c in found.values())
    for row in study.nozzles:  # as the study counts them
        own = found[row.nozzle]
        assert (own.cut, own.lost, own.met) == (row.n_coupons, row.n_lost, row.share_met.met)
    first = [dict(zip(data["nozzle_head"][2:-1], row["cells"], strict=True)) for row in data["nozzle_rows"]]
    grades = next(section for section in data["sections"] if section["title"] == "Grades of the coupons")["blocks"][0]
    later = [dict(zip(grades["head"], row, strict=True)) for row in grades["rows"]]
    for one, other, own in zip(first, later, found.values(), strict=True):
        assert one["Met, at all settings"] == f"{own.met} of {own.cut}"
        assert (one["Lost"], one["Too near to say"]) == (other["Lost"], other["Too near to say"])
        assert (other["Met"], other["Cut"]) == (str(own.met), str(own.cut))
        assert one["Failed"] == other["Failed"]
    assert first[1]["Lost"] == "2"


def test_the_note_below_the_table_speaks_of_its_own_columns_only(study, trial, extras):
    whole = nozzle_table(study, trial, extras.graded)["table_note"]
    assert "Met, too near to say, failed and lost: coupons of all" in whole and "A lost coupon is" in whole
    plain = extras.graded[extras.graded["outcome"] == "cut"].query("meets != 'undecided'")
    assert "by Rz5 alone" in whole
    alone = trial.application.required.model_copy(update={"squareness_range": None, "dross_grade": None})
    only = trial.model_copy(update={"application": trial.application.model_copy(update={"required": alone})})
    assert "alone" not in nozzle_table(study, only, extras.graded)["table_note"]  # all that is required is Rz5
    bare = dataclasses.replace(study, chances=())
    said = nozzle_table(bare, trial, plain)["table_note"]
    assert said == "Met and failed: coupons of all settings that were cut."
    unasked = dataclasses.replace(bare, nozzles=tuple(dataclasses.replace(r, share_met=None) for r in study.nozzles))
    assert nozzle_table(unasked, trial, extras.graded)["table_note"] == ""


def test_what_failed_is_split_by_response():
    def over(*items):
        return tuple(Finding(GradeKind.OVER_LIMIT, About(response=item)) for item in items)

    graded = pd.DataFrame(
        [
            ("a", "cut", "no", over("roughness", "dross")),
            ("a", "cut", "no", over("dross")),
            ("a", "cut", "undecided", ()),
            ("a", "cut", "yes", ()),
            ("a", "not_severed", "no", ()),
            ("a", "", "undecided", ()),
        ],
        columns=["nozzle", "outcome", "meets", "reasons"],
    )
    (found,) = counts(graded, ["a"])
    assert (found.planned, found.lost, found.cut, found.met, found.undecided, found.failed) == (6, 1, 4, 1, 1, 2)
    assert failed_words(found) == "2: Rz5\u00a01, dross\u00a02"


def test_coupons_of_which_nothing_was_asked_are_not_near_a_limit(extras, trial):
    """Of a table without a requirement no coupon was too near to say, and no column that is not there is explained."""
    reasons = (Finding(GradeKind.NO_THICKNESS), Finding(GradeKind.NO_REQUIREMENT))
    graded = extras.graded.assign(outcome="cut", meets="undecided", roughness_range=-1, squareness_range=-1)
    graded = graded.assign(dross_grade=-1, reasons=[reasons] * len(graded))
    found = counts(graded, trial.types)
    assert all((c.undecided, c.not_judged, c.failed) == (0, c.cut, 0) for c in found)
    grades = grades_section(graded, trial)["blocks"]
    assert grades[0]["head"] == ["Nozzle type", "Planned", "Lost", "Cut", "Not judged"]
    assert grades[1]["items"] == ["Not judged: nothing was required of the coupon, or it was not measured."]
    near = graded.assign(reasons=[(Finding(GradeKind.NEAR_LIMIT, About(response="dross")),)] * len(graded))
    assert grades_section(near, trial)["blocks"][0]["head"][4:] == ["Met", "Too near to say", "Failed"]
    assert "Not judged" not in grades_section(near, trial)["blocks"][1]["items"][0]


def test_a_table_cut_without_a_plan_departs_from_none(study, extras, trial):
    calm, plain = dataclasses.replace(study, departures=()), dataclasses.replace(extras, changes=())
    adopted = trial.model_copy(update={"plan": trial.plan.model_copy(update={"method": "adopted"})})
    said = [departures_section(calm, plain, one)["blocks"][0]["items"] for one in (trial, adopted)]
    assert said == [
        ["Cut as planned: no departure was recorded."],
        ["Cut without a plan of this tool: there is none to depart from."],
    ]


def test_first_page_has_a_decision_to_tick_and_a_line_to_sign(data):
    decision = data["decision"]
    assert decision["ticks"] == ["change to Double", "keep Cylindrical", "cut more before deciding"]
    assert decision["sign"] == ["Name", "Role", "Signature", "Date"] and decision["open"] == ""
    assert decision["to_write"] == []


@pytest.mark.usefixtures("blank_pictures")
def test_another_type_has_a_line_to_write_its_name_on(study, trial, extras):
    rows = tuple(dataclasses.replace(row, answers=()) if row.nozzle == "double" else row for row in study.nozzles)
    data = verdict_data(dataclasses.replace(study, nozzles=rows), trial, MADE_ON, extras)
    assert data["decision"]["ticks"][0] == "change to another type:" and data["decision"]["to_write"] == [0]
    bare = {**data, "decision": {**data["decision"], "to_write": []}}
    with_line, without = (typeset.pdf("verdict.typ", {**each, "sections": []}, MADE_ON) for each in (data, bare))
    assert with_line != without
    assert "decision()" in (typeset.HERE / "verdict.typ").read_text(encoding="utf-8")


@pytest.mark.usefixtures("blank_pictures")
def test_nothing_can_be_signed_while_a_reading_is_open(study, trial, extras):
    because = Finding(PlanKind.AS_WRITTEN, About(coupons=("KE4",)), {"text": "far off"})
    step = NextStep(Finding(StudyKind.SETTLE_READING, weight=Weight.COULD_CHANGE), because)
    late = dataclasses.replace(study, provisional=True, next_steps=(step,))
    data = verdict_data(late, trial, MADE_ON, extras)
    assert data["decision"]["sign"] == data["decision"]["ticks"] == []
    assert "coupon KE4" in data["decision"]["open"]
    assert data["bands"] == ["Provisional: a reading is still open; see what to do next."]
    calm = verdict_data(study, trial, MADE_ON, extras)["figure"]
    assert "Ring: a reading is still open" not in calm["caption"]


def test_an_open_reading_is_ringed(study, trial, extras):
    result = study.results[1]
    coupon = extras.tables["roughness"]["coupon"].iloc[0]
    calm, ringed = (response_picture(result, trial, extras, doubted) for doubted in ((), (coupon,)))
    assert calm["svg"] != ringed["svg"]
    assert ringed["caption"].count("Ring: a reading is still open.") == 1 and "Ring" not in calm["caption"]


@pytest.mark.usefixtures("blank_pictures")
def test_a_ring_stands_only_where_a_reading_of_that_response_is_open(study, trial, extras):
    coupon = str(extras.tables["roughness"]["coupon"].iloc[0])
    facts = {"reading": 1, "repeat": 0, "field": "rz5_um", "where": "coupon"}
    facts |= {"value": Amount(345.0, "um"), "median": Amount(52.2, "um")}
    because = Finding(RecordKind.SLIP, About("Rz5", coupons=(coupon,)), facts)
    step = NextStep(Finding(StudyKind.SETTLE_READING, weight=Weight.COULD_CHANGE), because)
    late = dataclasses.replace(study, provisional=True, next_steps=(step,))
    data = verdict_data(late, trial, MADE_ON, extras)
    ringed = {r.response: "Ring: a reading" in json.dumps(verdict._edges(r, late, trial, extras)) for r in late.results}
    assert ringed.pop("roughness") and not any(ringed.values())
    assert coupon in data["decision"]["open"]


def test_coupons_at_the_compared_settings_stand_out(study, trial, extras):
    result = study.results[1]
    caption = response_picture(result, trial, extras)["caption"]
    assert "pale if cut at other settings" in caption
    assert "Stroke: its worst reading, which is what is judged" in caption
    by_mean = trial.model_copy(update={"bench": trial.bench.model_copy(update={"judged_by": "mean"})})
    assert "Stroke" not in response_picture(result, by_mean, extras)["caption"]


@pytest.mark.usefixtures("blank_pictures")
def test_who_when_and_on_which_machine(study, trial, extras):
    known = dataclasses.replace(
        extras,
        days_cut=(date(2026, 1, 12), date(2026, 1, 13)),
        days_measured=(date(2026, 1, 14),),
        inspectors=("A. B.", "C. D."),
    )
    on = trial.model_copy(update={"held": {**trial.held, "machine": "bay 3"}})
    assert verdict_data(study, on, MADE_ON, known)["facts"] == [
        "Engineer: E. Invented",
        "Machine: bay 3",
        "Held: speed 1.1 m/min, focus 4 mm, power 4 kW",
        "Nozzles tried: 3 of each type",
        "Cut: 12 January 2026 to 13 January 2026",
        "Measured: 14 January 2026, by A. B. and C. D.",
    ]
    bare = trial.model_copy(update={"held": {}})
    sized = ["Engineer: E. Invented", "Nozzles tried: 3 of each type"]
    assert verdict_data(study, bare, MADE_ON, extras)["facts"] == sized


@pytest.mark.parametrize("types", [2, 8])
def test_names_of_forty_letters_are_never_cut(study, trial, extras, types):
    names = [f"nozzle type {k} with a name of forty letter"[:40] for k in range(types)]
    row, result, place = study.nozzles[2], study.results[1], PLACE
    rows = tuple(
        dataclasses.replace(row, nozzle=n, today=k == 0, answers=() if k == 0 else row.answers)
        for k, n in enumerate(names)
    )
    comparisons = tuple(dataclasses.replace(result.comparisons[1], nozzle=n, against=names[0]) for n in names[1:])
    pairs = tuple(
        dataclasses.replace(result.pairs[0], nozzle=a, against=b) for k, a in enumerate(names) for b in names[:k]
    )
    means = tuple(Mean(n, place, 30.0, 28.0, 33.0) for n in names)
    result = dataclasses.replace(result, means=means, other_means=(), comparisons=comparisons, pairs=pairs)
    found = dataclasses.replace(study, nozzles=rows, results=(result,), chances=())
    data = verdict_data(found, trial, MADE_ON, VerdictExtras())
    assert first_page_ends_at(data) == 2
    said = " ".join(words for line in data["answer"]["lines"] for words in line)
    for name in names[1:]:
        assert person(name) in said, name
    assert [r["type"] for r in data["nozzle_rows"]] == [person(name) for name in names]
    printed = json.dumps(query("verdict.typ", data, "strong", "body"))
    assert all(f'"text": "{person(name)}"' in printed for name in names), "a name is shortened in the table"
    titles = [block.get("title") for block in section_of(data, RZ5)["blocks"]]
    assert ("Every pair" in titles) == (types > 2)


def test_a_name_on_the_axis_of_a_picture_is_whole():
    name = "a nozzle type whose name is forty long !"
    assert len(name) == 40
    assert axis_label(name, name).replace("\n", " ") == "A nozzle type whose name is forty long ! (today)"


def test_what_is_worse_than_the_last_range_is_hatched():
    bands = [Band(1, 0.0, 10.0), Band(2, 10.0, 20.0, True), Band(3, 20.0, 30.0)]
    hatched = [(zone[0], zone[4]) for zone in zones(bands, 40.0)]
    assert hatched == [(0.0, False), (10.0, False), (20.0, True), (30.0, True)]
    asked_nothing = zones([Band(1, 0.0, 10.0)], 40.0)
    assert [(zone[2], zone[4]) for zone in asked_nothing] == [("range 1", False), ("worse than range 1", True)]


def test_first_page_is_one_page(data):
    assert first_page_ends_at(data) == 2


@pytest.mark.parametrize("types", [1, 6])
def test_first_page_is_one_page_with_long_texts(study, trial, extras, types):
    long = "A sentence about nozzles that does not come to an end because nobody stops it. " * 8
    row = study.nozzles[2]
    rows = tuple(dataclasses.replace(row, nozzle=f"type {k} {long[:70]}") for k in range(types))
    result = study.results[1]
    place = Place(PlaceKind.STATED, ({long: 1.0},))
    means = tuple(Mean(r.nozzle, place, 30.0, 28.0, 33.0) for r in rows)
    filled = dataclasses.replace(
        study,
        title=long,
        question=long,
        nozzles=rows,
        results=(dataclasses.replace(result, means=means, comparisons=()),),
        cannot_say=(as_written(long),) * 9,
        next_steps=(NextStep(as_written(long)),) * 9,
        exploratory=True,
    )
    late = dataclasses.replace(extras, changes=(as_written(long),) * 3, graded=None, tables={})
    data = verdict_data(filled, trial, MADE_ON, late)
    assert first_page_ends_at(data) == 2
    heads = query("verdict.typ", data, "heading.where(level: 2)", "body")
    assert "First page in full" in json.dumps(heads), "what was cut short is not printed in full"


@pytest.mark.usefixtures("blank_pictures")
def test_no_sentence_of_the_columns_is_cut_whole_ones_are_left_out_from_the_last_on(study, trial, extras):
    steps = [
        f"Step {k}: {'cut a little more of the same and look at every edge of it before anything else ' * 3}."
        for k in range(9)
    ]
    found = dataclasses.replace(study, next_steps=tuple(NextStep(as_written(step)) for step in steps))
    data = verdict_data(found, trial, MADE_ON, extras)
    assert first_page_ends_at(data) == 2
    said = [item["body"].get("text", "") for items in query("verdict.typ", data, "list", "children") for item in items]
    assert all(step in said for step in steps), "a step is printed in full nowhere"
    twice = [step for step in steps if said.count(step) == 2]  # on page 1, and on the page after it
    assert twice and twice == steps[: len(twice)] and len(twice) < len(steps)
    assert not any("\u2026" in words for words in said)


def test_short_first_page_is_not_repeated(data):
    assert "First page in full" not in json.dumps(query("verdict.typ", data, "heading.where(level: 2)", "body"))


def test_engineers_pages_say_what_they_must(data):
    titles = [section["title"] for section in data["sections"]]
    assert titles == [
        "What was asked, and how the trial was laid out",
        "Settings",
        "How it was judged",
        "Cautions",
        "Chance that the next edge meets the requirement",
        "Grades of the coupons",
        "Departures from the plan",
        "Mean height of profile Rz5 (decides)",
        "Where the spread comes from",
        "Perpendicularity tolerance u (beside it)",
    ]
    text = json.dumps(data["sections"], ensure_ascii=False)
    for words in (
        "This verdict is advice to a qualified person, not a release certificate.",
        SENTENCE,
        "ISO 9013:2017",
        "class 4 laser",
        "the cautions printed in the plan and on the run sheet hold",
        "F by strata",
        "Without the lost coupons (cylindrical plated 2).",
        "6.3 % from one nozzle of a type to the next",
        "5 more specimens",
        "pressure x standoff at most 1.2",
        "Changed after freezing: plan.looks: 1 -> 2",
    ):
        assert words in text, words
    assert data["labels"]["footer"] == "made on 2 March 2026 with nozzle-trials 0.0 (test) · plan 3f3f3f3f"
    assert "3f" * 5 not in text


def section_of(data: dict, title: str) -> dict:
    """The section with this title."""
    return next(section for section in data["sections"] if section["title"] == title)


RZ5, U = "Mean height of profile Rz5 (decides)", "Perpendicularity tolerance u (beside it)"


def table_after(section: dict, title: str) -> dict:
    """The first table after a small heading of a section."""
    at = next(k for k, block in enumerate(section["blocks"]) if block.get("title") == title)
    return next(block for block in section["blocks"][at:] if block["kind"] == "table")


def test_means_have_one_row_per_type_and_name_the_settings_once(data):
    section = section_of(data, RZ5)
    table = table_after(section, "Typical edges")
    assert table["head"] == [
        "Nozzle type",
        "Today’s settings, µm",
        "95 % interval",
        "Average over settings, µm",
        "95 % interval",
    ]
    assert table["rows"][2] == ["double", "27.9", "25.7 to 30.2", "28.5", "26.2 to 30.8"]
    assert len(table["rows"]) == 4
    said = json.dumps([block["items"] for block in section["blocks"] if block["kind"] == "text"], ensure_ascii=False)
    assert said.count("Today’s settings: pressure 0.7 bar, standoff 1 mm.") == 1


def test_a_type_without_a_mean_at_one_place_gets_a_dash(study, trial, extras):
    result = dataclasses.replace(study.results[1], other_means=study.results[1].other_means[:2])
    data = verdict_data(dataclasses.replace(study, results=(result,)), trial, MADE_ON, VerdictExtras())
    assert table_after(section_of(data, RZ5), "Typical edges")["rows"][3][3:] == ["–", "–"]


@pytest.mark.parametrize(
    ("required", "highs", "marked"),
    [
        ({"rz5_um": 20.0}, [17.2, 20.0, 49.6, 84.4, 131.6], [20.0]),
        ({"rz5_um": 20.0, "roughness_range": 1}, [17.2, 49.6, 84.4, 131.6], [17.2]),
        ({"rz5_um": 200.0}, [17.2, 49.6, 84.4, 131.6], []),
        ({}, [17.2, 49.6, 84.4, 131.6], []),
    ],
)
def test_a_limit_inside_a_range_is_drawn_where_it_is(trial, study, required, highs, marked):
    job = trial.application
    asked = type(job.required)(**required)
    found = bands(
        study.results[1], trial.model_copy(update={"application": job.model_copy(update={"required": asked})})
    )
    assert [band.high for band in found] == highs
    assert [band.high for band in found if band.required] == marked


def test_what_is_not_known_is_a_dash_not_a_bare_nan(study, trial):
    nan = float("nan")
    unknown = dataclasses.replace(
        study.results[1].comparisons[0], low=nan, high=nan, p=nan, in_unit=(1.4, nan, nan), answer=None
    )
    result = dataclasses.replace(study.results[1], comparisons=(unknown,), pairs=(), terms=())
    data = verdict_data(dataclasses.replace(study, results=(result,)), trial, MADE_ON, VerdictExtras())
    row = table_after(section_of(data, RZ5), "Compared with today’s nozzle")["rows"][0]
    assert row[2:6] == ["0.99", "–", "–", "1.40"]


def test_a_secondary_response_is_kept_short(data):
    blocks = section_of(data, U)["blocks"]
    assert "Against each setting" not in [block.get("title") for block in blocks]
    assert any("nozzle 0.110 (3 and 6.0)" in item for block in blocks for item in block.get("items", []))


def test_every_pair_stands_once_in_a_matrix(data, study, trial):
    table = table_after(section_of(data, RZ5), "Every pair")
    assert table["head"] == ["Against", "1  cylindrical", "2  cylindrical plated", "3  double"]
    assert table["rows"][2] == ["4  shower", "–", "–", "1.37 (1.18 to 1.59)"]  # 1 / 0.73, 1 / 0.85, 1 / 0.63
    assert table["rows"][0] == ["2  cylindrical plated", "–", "", ""]


def test_the_spread_is_one_chart_for_all_responses(data):
    (picture,) = section_of(data, "Where the spread comes from")["blocks"]
    assert picture["kind"] == "figure" and picture["svg"].count("<svg") == 1
    assert "6.3 % from one nozzle" in picture["alt"] and "perpendicularity tolerance u: 0.0200 mm" in picture["alt"]


def test_terms_read_well(study, trial):
    parts = ("nozzle", "gas_flow", "gas_flow")
    result = dataclasses.replace(study.results[1], terms=(TermTest("t", 3, 80.1, 0.9, 0.44, parts=parts),))
    data = verdict_data(dataclasses.replace(study, results=(result,)), trial, MADE_ON, VerdictExtras())
    table = table_after(section_of(data, RZ5), "Does it matter?")
    assert table["head"] == ["What was varied", "F", "df", "p"]
    assert table["rows"][0] == ["nozzle × gas flow squared", "0.90", "3 and 80.1", "0.440"]


def test_of_several_p_the_paper_says_which_counts(study, trial):
    """Only where a comparison ends in a word is there an answer that a p could count for."""
    for answer, said in ((Answer.BETTER, True), (None, False)):
        compared = tuple(dataclasses.replace(c, answer=answer) for c in study.results[1].comparisons)
        result = dataclasses.replace(study.results[1], comparisons=compared)
        data = verdict_data(dataclasses.replace(study, results=(result,)), trial, MADE_ON, VerdictExtras())
        assert ("The answer goes by the comparison" in json.dumps(section_of(data, RZ5))) is said


def chance_rows() -> tuple[ChanceResult, ...]:
    once = Finding(ChanceKind.RULE, facts={"judged_by": "worst", "readings": 3})
    lost = Finding(ChanceKind.LOST_CUTS, About(nozzle="double"), {"lost": 1, "cuts": 26})
    graded = Finding(ChanceKind.GRADE_RULE, facts={"at_most": 1.0, "new_specimen": True})
    u, dross = Asked("squareness", Amount(0.2, "mm")), Asked("dross", Amount(1.0))

    def below(nozzle, value):
        facts = {"share": 0.9, "confidence": 0.95, "value": Amount(value, "mm")}
        return Finding(ChanceKind.TOLERANCE, About(response="squareness", nozzle=nozzle), facts)

    return (
        ChanceResult("plain", u, PLACE, 0.92, 0.78, notes=(below("plain", 0.25),), rests_on=(once,)),
        ChanceResult("plain", dross, PLACE, 0.9999, 0.5, rests_on=(graded,)),
        ChanceResult("plain", TOGETHER, PLACE, 0.9, 0.004, 0.37, 27),
        ChanceResult(
            "double", u, PLACE, 0.5, 0.3, None, 0, 26, 1, notes=(lost, below("double", 0.3)), rests_on=(once,)
        ),
        ChanceResult("double", TOGETHER, PLACE, 0.4, 0.0, None, 0, 26, 1, (lost,)),
    )


def test_chances_are_one_row_per_type_with_what_is_said_once():
    section = chance_section(chance_rows(), "pressure 0.7 bar")
    table = next(block for block in section["blocks"] if block["kind"] == "table")
    assert table["head"] == ["Nozzle type", "u at most 0.2 mm", "dross grade 1 or better", "all together"]
    least = "(at\u00a0least\u00a0"
    assert table["rows"] == [
        ["plain", f"92 % {least}78 %)", f"over 99 % {least}50 %)", f"90 % {least}0 %)"],
        ["double", f"50 % {least}30 %)", "–", f"40 % {least}0 %)"],
    ]
    text = json.dumps(section, ensure_ascii=False)
    for words in ("pressure 0.7 bar", "Worst of 3 readings per edge.", "fails (double 1)", "a new specimen"):
        assert text.count(words) == 1, words
    limits = table_after(section, "What is known of single types")
    assert limits["head"] == ["Nozzle type", "u at most 0.2 mm"]
    assert limits["rows"] == [["plain", "below 0.250 mm (90 %, 95 %)"], ["double", "below 0.300 mm (90 %, 95 %)"]]
    assert "u at most 0.2 mm: Worst of 3 readings per edge." in text
    assert "1 of 26" not in text, "a second count beside that of the first page"


def test_no_chances_no_section():
    assert chance_section(())["blocks"] == []


def test_columns_that_would_be_empty_are_left_out(study, trial):
    rows = tuple(dataclasses.replace(r, price=None, share_met=None) for r in study.nozzles)
    data = verdict_data(dataclasses.replace(study, nozzles=rows, chances=()), trial, MADE_ON, VerdictExtras())
    assert data["nozzle_head"] == ["Nozzle type", "Cut, of those tried", "Answer, by Rz5"] and not data["nozzle_bars"]
    assert {len(row["cells"]) for row in data["nozzle_rows"]} == {1} == {len(data["nozzle_widths"])}


def test_sides_are_left_out_where_they_were_not_recorded(study, trial, extras):
    bare = {"roughness": extras.tables["roughness"].drop(columns=["side"])}
    data = verdict_data(study, trial, MADE_ON, VerdictExtras(tables=bare))
    titles = [block.get("title") for section in data["sections"] for block in section["blocks"]]
    assert "In the order of cutting" in titles and "One side against the other" not in titles


def test_checks_stand_in_three_groups(study, trial):
    change = Finding(
        PlanKind.AS_WRITTEN, facts={"text": "Without one reading it is different."}, weight=Weight.COULD_CHANGE
    )
    result = dataclasses.replace(study.results[1], checks=(*study.results[1].checks, change))
    data = verdict_data(dataclasses.replace(study, results=(result,)), trial, MADE_ON, VerdictExtras())
    blocks = section_of(data, RZ5)["blocks"]
    at = next(k for k, block in enumerate(blocks) if block.get("title") == "Checks")
    leads = [block["title"] for block in blocks[at + 1 :] if block["kind"] == "lead"]
    assert leads == ["Could change the answer:", "Look at:", "Without objection:"]
    # each group stands right below its line, from which the paper never parts it
    assert [block["kind"] for block in blocks[at + 1 : at + 7]] == ["lead", "list"] * 3
    assert [len(block["items"]) for block in blocks[at + 1 : at + 7] if block["kind"] == "list"] == [1, 2, 1]


def test_a_secondary_response_names_checks_that_found_nothing(study, trial):
    calm = study.results[1].checks[0]
    result = dataclasses.replace(study.results[0], checks=(calm,))
    data = verdict_data(dataclasses.replace(study, results=(result,)), trial, MADE_ON, VerdictExtras())
    assert "Without objection: Drift over the order of cutting." in json.dumps(section_of(data, U))


def test_exploratory_and_amendments_stand_on_the_first_page(study, trial, extras):
    late = VerdictExtras(changes=extras.changes)
    data = verdict_data(dataclasses.replace(study, exploratory=True, results=()), trial, MADE_ON, late)
    assert data["bands"] == ["Exploratory: this look at the data was not declared before cutting."]
    assert data["amendments"] == ["plan.looks: 1 -> 2 (E. Invented: a second look)"]


def test_verdict_of_an_empty_study_is_made(trial):
    study = Study("t", "q?", (), (NozzleRow("cylindrical", None, True, None, 0, 0, 0),))
    assert verdict_pdf(study, trial, MADE_ON).startswith(b"%PDF-")


def test_same_study_same_bytes_in_another_process(study, trial, extras):
    code = (
        f"import sys, hashlib; sys.path.insert(0, {str(Path(__file__).parent)!r}); import conftest as c;"
        "from trials.report.documents import VerdictExtras, verdict_pdf;"
        "made = verdict_pdf(c.small(c.invented_study()), c.invented_trial(), c.MADE_ON, c.small_extras());"
        "print(hashlib.sha256(made).hexdigest())"
    )
    root = str(Path(trials.__file__).parents[1])
    env = os.environ | {"PYTHONHASHSEED": "12345", "PYTHONPATH": root, "TZ": "Asia/Kathmandu"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env, check=True)
    late = VerdictExtras(tables={"roughness": extras.tables["roughness"].head(60)}, graded=extras.graded)
    here = verdict_pdf(dataclasses.replace(study, results=study.results[1:]), trial, MADE_ON, late)
    assert done.stdout.strip() == hashlib.sha256(here).hexdigest()


def test_date_changes_the_paper(trial):
    assert bench_card_pdf(trial, MADE_ON) != bench_card_pdf(trial, date(2026, 3, 3))


def test_hostile_text_stays_text_in_the_verdict(study, hostile_trial, extras):
    rows = tuple(dataclasses.replace(r, nozzle=f"{r.nozzle} {HOSTILE}") for r in study.nozzles)
    result = study.results[1]
    place = Place(PlaceKind.STATED, ({HOSTILE: HOSTILE},))
    means = tuple(dataclasses.replace(m, nozzle=f"{m.nozzle} {HOSTILE}", settings=place) for m in result.means)
    result = dataclasses.replace(
        result, response="x", means=means, label=HOSTILE, symbol=HOSTILE, said=(as_written(HOSTILE),)
    )
    bad = dataclasses.replace(
        study, title=HOSTILE, question=HOSTILE, nozzles=rows, results=(result,), departures=(as_written(HOSTILE),)
    )
    table = extras.tables["roughness"]
    table = table.assign(nozzle=table["nozzle"] + " " + HOSTILE).head(24)
    late = VerdictExtras(
        engineer=HOSTILE, changes=(as_written(HOSTILE),), freeze_hash=HOSTILE, tables={"roughness": table}
    )
    data = verdict_data(bad, hostile_trial, MADE_ON, late)
    assert typeset.pdf("verdict.typ", data, MADE_ON).startswith(b"%PDF-")
    assert first_page_ends_at(data) == 2
    title = query("verdict.typ", data, "heading.where(level: 1)", "body")
    assert '#panic(\\"x\\") *bold* $' in json.dumps(title, ensure_ascii=False)


def test_hostile_text_stays_text_on_the_other_papers(hostile_trial, plan):
    coupons, mounts, sheets = plan
    worse = {n.type.split(" #")[0]: n.type for n in hostile_trial.nozzles}
    coupons, mounts = (t.assign(nozzle=t["nozzle"].map(worse)) for t in (coupons, mounts))
    coupons = coupons.assign(coupon=[f"{mark}#${k}*" for k, mark in enumerate(coupons["coupon"])])
    sheets = sheets.assign(surface=HOSTILE)
    for made in (
        run_sheet_pdf(hostile_trial, coupons, mounts, sheets, [as_written(HOSTILE)], MADE_ON),
        bench_card_pdf(hostile_trial, MADE_ON),
        labels_pdf(hostile_trial, [(mark, 1) for mark in coupons["coupon"]], MADE_ON),
    ):
        assert made.startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("raw", "printed"),
    [
        ("plain  text\nover lines", "plain text over lines"),
        ("µm ≤ 3 × 10, Ω Жук", "µm ≤ 3 × 10, Ω Жук"),
        ("中", "[U+4E2D]"),
        ("a\x00b\u202ec", "abc"),
        ("\ud800", "[U+D800]"),
        ("range\u00a02", "range\u00a02"),
        ("lower (-33 %, -45 to -18 %), sheet 3-1", "lower (−33\u00a0%, −45 to −18\u00a0%), sheet 3-1"),
        ("x" * 30, "x" * 14 + "\u200b" + "x" * 14 + "\u200b" + "xx"),
    ],
)
def test_text_is_made_ready_for_paper(raw, printed):
    assert typeset.text(raw) == printed


def test_run_sheet_says_what_it_must(trial, plan):
    said = [
        as_written("Wall and orifice cannot be told apart."),
        *nozzle_cautions(trial),
    ]  # cautions have their own place
    data = run_sheet_data(trial, *plan, said, MADE_ON)
    assert [mount["mount"] for mount in data["mounts"]] == ["M1", "M2"]
    assert data["mounts"][0]["bore"] == "cylindrical bore, double wall, orifice 1.4 mm"
    assert data["coupon_head"] == ["No.", "Coupon", "pressure, bar", "standoff, mm", "Edge to measure"]
    assert data["mounts"][0]["coupons"][0] == ["1", "KE4", "0.5", "1.0", "left"]
    assert data["held"] == ["speed: 1.1 m/min", "focus: 4 mm", "power: 4 kW"]
    assert data["said"] == ["Wall and orifice cannot be told apart."]
    assert data["sheets"] == [["1", "A 17", "", ""], ["2", "", "", ""]]
    assert [m["title"] for m in data["maps"]] == ["Sheet 1", "Sheet 2"]
    for words in ("Not severed", "Burning", "Head contact"):
        assert any(words in rule for rule in data["stop_rules"]), words
    assert any("side jets can plug" in line for line in data["nozzle_cautions"])
    assert any("Never bypass a guard" in line for line in data["cautions"])
    assert data["words"]["outcome_head"] == ["cut", "not severed", "aborted", "scrapped"]
    assert data["words"]["bore"] == "bore looked into and specimen mark read:"
    assert data["words"]["ticks"] == ["nozzle centred", "height calibrated", "window changed"]
    assert data["words"]["pierces"] == "pierces before"
    template = (typeset.HERE / "run_sheet.typ").read_text(encoding="utf-8")
    for name in data["words"]:
        assert f"data.words.{name}" in template, name


def test_run_sheet_without_positions_has_no_map(trial, plan):
    coupons, mounts, sheets = plan
    bare = coupons.drop(columns=["x_mm", "y_mm"])
    assert run_sheet_data(trial, bare, mounts, sheets, [], MADE_ON)["maps"] == []


def test_run_sheet_and_labels_are_the_same_bytes_twice(trial, plan):
    made = [run_sheet_pdf(trial, *plan, [], MADE_ON) for _ in range(2)]
    assert made[0] == made[1]
    made = [labels_pdf(trial, [("KE4", 1), ("AH3", 2)], MADE_ON) for _ in range(2)]
    assert made[0] == made[1]


def test_labels_and_bench_card_are_blind(trial, plan):
    labels = labels_data(trial, [("KE4", 1), ("AH3", 3)], MADE_ON)
    assert labels["marks"] == [["KE4", "measure 1"], ["AH3", "measure 3"]]
    assert labels["trial"] == trial.trial.title
    for data in (labels, bench_card_data(trial, MADE_ON)):
        text = json.dumps({k: v for k, v in data.items() if k not in ("scale", "edge")})
        for nozzle in trial.nozzles:
            assert nozzle.type not in text
            assert not any(f'"{specimen}"' in text for specimen in nozzle.specimens)


def test_bench_card_names_order_depths_and_scale(trial):
    data = bench_card_data(trial, MADE_ON)
    order = [step[0] for step in data["steps"]]
    assert order.index("Dross first") < order.index("Take the dross off") < order.index("Squareness u")
    assert order.index("Squareness u") < order.index("Roughness Rz5")
    assert "Never grind" in json.dumps(data["steps"])
    where = " ".join(data["where"])
    assert "cut-off 2.5 mm" in where and "15 mm of clean edge" in where and "from 1 mm below the top face" in where
    assert [step["grade"] for step in data["scale"]] == ["0", "1", "2", "3", "4"]
    assert data["limits"][0] == ["u, mm", "0.086", "0.234", "0.520", "1.040", "1.620"]


def test_bench_card_has_no_step_for_what_is_not_measured(trial):
    only = trial.model_copy(update={"responses": {"dross": trial.responses["dross"]}})
    data = bench_card_data(only, MADE_ON)
    assert [step[0] for step in data["steps"]] == ["Let it cool", "Dross first", "Write it down"]
    assert data["edge"]["svg"] == "" and data["limits"] == [] and len(data["scale"]) == 5
    assert not any("Rz5" in line or "u:" in line for line in data["where"])
    rough = trial.model_copy(update={"responses": {"roughness": trial.responses["roughness"]}})
    data = bench_card_data(rough, MADE_ON)
    assert [step[0] for step in data["steps"]] == ["Let it cool", "Clean the edge", "Roughness Rz5", "Write it down"]
    assert data["scale"] == [] and [row[0] for row in data["limits"]] == ["Rz5, µm"]
    for found in (only, rough):
        assert bench_card_pdf(found, MADE_ON).startswith(b"%PDF-")


def test_bench_card_without_one_thickness_asks_the_engineer(trial):
    job = trial.application.model_copy(update={"thickness_mm": None})
    data = bench_card_data(trial.model_copy(update={"application": job}), MADE_ON)
    assert data["limits"] == [] and "ask the engineer" in " ".join(data["where"])


def test_bands_are_the_limits_at_the_trials_thickness(trial, study):
    found = bands(study.results[1], trial)
    # 10 + 0.6 a, 40 + 0.8 a, 70 + 1.2 a, 110 + 1.8 a at a = 12, exact in decimals
    assert [band.high for band in found] == [17.2, 49.6, 84.4, 131.6]
    assert [band.required for band in found] == [False, True, False, False]


def test_requirement_and_held_settings_in_words(trial):
    assert job_and_requirement(trial.application) == (
        "12 mm, S235, oxygen, flame cut. Requirement: squareness u in range 2 or better, roughness Rz5 in "
        "range 2 or better, dross grade at most 1."
    )
    assert held_rows(trial) == [("speed", "1.1 m/min"), ("focus", "4 mm"), ("power", "4 kW")]


def test_verdict_of_a_table_cut_without_the_tool(study):
    """Text factor, one type per word, no mounts, no order, no nozzle details."""
    text = """
    [trial]
    title = "adopted (invented)"
    question = "?"
    [application]
    material = "AlSi12"
    [[nozzles]]
    type = "New"
    today = true
    [[nozzles]]
    type = "worn"
    [factors.P]
    levels = ["low", "high"]
    [plan]
    method = "adopted"
    [responses.roughness]
    primary = true
    worthwhile = "15 %"
    """
    adopted = parse(text)
    table = pd.DataFrame(
        {
            "coupon": [f"{n}{p}{k}" for n in ("New", "worn") for p in ("low", "high") for k in "ab"],
            "nozzle": ["New"] * 4 + ["worn"] * 4,
            "sheet": "1",
            "P": ["low", "low", "high", "high"] * 2,
            "value": [1.0, 1.1, 2.0, 2.1, 1.2, 1.3, 2.4, 2.5],
        }
    )
    low = Place(PlaceKind.TODAY, ({"P": "low"},))
    means = (Mean("New", low, 1.05, 0.9, 1.2), Mean("worn", low, 1.25, 1.1, 1.4))
    result = dataclasses.replace(study.results[1], means=means, other_means=())
    rows = tuple(NozzleRow(n, None, n == "New", None, 0, 4, 0) for n in ("New", "worn"))
    found = dataclasses.replace(study, results=(result,), nozzles=rows, chances=())
    data = verdict_data(found, adopted, MADE_ON, VerdictExtras(tables={"roughness": table}))
    titles = [block.get("title") for section in data["sections"] for block in section["blocks"]]
    assert "Against each setting" in titles
    assert "In the order of cutting" not in titles and "One side against the other" not in titles
    assert typeset.pdf("verdict.typ", data, MADE_ON).startswith(b"%PDF-")
