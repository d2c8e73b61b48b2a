"""With every sentence replaced by nonsense the example trials give the same numbers, flags, commands and pages."""

import json
from datetime import date

import pytest
from tests_support import draw_blank
from words.nonsense import NONSENSE, commands_of, prose_of, structure, without_prose

from trials import steps
from trials.cli.standing import status_json
from trials.decide.study import study
from trials.report.bench_paper import run_sheet_data
from trials.report.plan_paper import PlanPaper, plan_data
from trials.report.verdict import verdict_data
from trials.steps.journal import plan_findings
from trials.steps.plan import Planned, frozen_plan, plan_json
from trials.steps.verdict_facts import verdict_extras
from trials.words.language import ENGLISH, speaking

DAY = date(2026, 3, 2)
DOCUMENTS = ("fit", "grade", "plan", "status")
PAPERS = ("verdict", "plan paper", "run sheet")


@pytest.fixture(scope="module", params=["oxygen_12mm", "nitrogen_6mm"])
def folder(request, example):
    """Folder of one example trial, recorded as the demo does."""
    return example(request.param)


@pytest.fixture(scope="module")
def both(folder):
    """(documents as JSON by command, data of papers by name), in English and in nonsense."""
    found = []
    with pytest.MonkeyPatch.context() as patch:
        draw_blank(patch)
        for language in (ENGLISH, NONSENSE):
            with speaking(language):
                found.append(said(folder))
    return found


def said(folder):
    """Everything that commands print as JSON and papers are made of, in the current language."""
    records = steps.load(folder)
    evidence, trial, plan = steps.evidence(records), records.trial, frozen_plan(records)
    result = study(trial, evidence)
    found = steps.judge(trial, plan, 10)
    documents = {
        "fit": result,
        "grade": {"coupons": steps.grade_rows(evidence.grades)},
        "plan": plan_json(Planned(trial, plan, found, True)),
        "status": status_json(steps.status(folder)),
    }
    tables = records.coupons, records.planned_mounts, records.planned_sheets
    papers = {
        "verdict": verdict_data(result, trial, DAY, verdict_extras(records, evidence)),
        "plan paper": plan_data(PlanPaper(trial, plan, found, None), DAY),
        "run sheet": run_sheet_data(trial, *tables, plan_findings(records), DAY),
    }
    return {name: json.loads(json.dumps(steps.plain(one))) for name, one in documents.items()}, papers


@pytest.mark.parametrize("command", DOCUMENTS)
def test_numbers_flags_and_commands_are_the_same(both, command):
    (english, _), (nonsense, _) = both
    assert without_prose(english[command]) == without_prose(nonsense[command])
    assert commands_of(english[command]) == commands_of(nonsense[command])


def test_next_commands_are_there_to_compare(both):
    (english, _), _ = both
    assert commands_of(english["status"]) and commands_of(english["fit"])


@pytest.mark.parametrize("command", DOCUMENTS)
def test_the_words_are_nonsense(both, command):
    (english, _), (nonsense, _) = both
    sentences = {words for words in prose_of(english[command]) if words.endswith(".")}
    assert len(sentences) > (3 if command == "plan" else 20 if command == "fit" else -1)
    assert not sentences & set(prose_of(nonsense[command]))
    spoken = [words for words in prose_of(nonsense[command]) if words.startswith("zz")]
    assert spoken


@pytest.mark.parametrize("paper", PAPERS)
def test_pages_have_the_same_structure(both, paper):
    (_, english), (_, nonsense) = both
    assert structure(english[paper]) == structure(nonsense[paper])
    assert json.dumps(nonsense[paper]).count("zz") > 50


def test_every_section_of_the_papers_has_a_title_in_the_language(both):
    _, (_, nonsense) = both
    titles = [section["title"] for paper in ("verdict", "plan paper") for section in nonsense[paper]["sections"]]
    assert len(titles) > 15 and all(title.startswith("zz") for title in titles)
