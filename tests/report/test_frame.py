"""What frames every page: page numbers in the language, and a band over invented data on every paper."""

import json
from datetime import date

import pytest

from trials.decide.results import NozzleRow, Study
from trials.report import documents, typeset
from trials.report.documents import bench_card_pdf, labels_pdf, run_sheet_pdf, verdict_pdf
from trials.trial import parse
from trials.words.language import Language, speaking
from trials.words.page_frame import day_words

DAY = date(2026, 3, 2)
NONSENSE = Language("zz", lambda template: f"zz {template}", lambda one, many, n: f"zz {many}")


def frame(invented=False):
    return json.loads(typeset.inputs({"title": "t"}, DAY, invented)["data"])["frame"]


def test_the_band_stands_on_papers_of_invented_data_alone():
    assert frame()["band"] == ""
    assert frame(True)["band"] == "Invented data: no such trial was cut"


def test_the_frame_is_in_the_language():
    assert frame()["page"] == "page {page} of {pages}"
    assert day_words(DAY) == "2 March 2026"
    with speaking(NONSENSE):
        assert frame() == {"page": "zz page {page} of {pages}", "band": "", "language": "zz"}
        assert day_words(DAY) == "zz 2 zz March 2026"


EMPTY = Study("t", "q?", (), (NozzleRow("double", None, True, None, 0, 0, 0),))
PAPERS = {
    "verdict": lambda t, plan: verdict_pdf(
        Study("t", "q?", (), (NozzleRow("double", None, True, None, 0, 0, 0),)), t, DAY
    ),
    "run sheet": lambda t, plan: run_sheet_pdf(t, *plan, [], DAY),
    "bench card": lambda t, plan: bench_card_pdf(t, DAY),
    "labels": lambda t, plan: labels_pdf(t, [("KE4", 1)], DAY),
}


@pytest.mark.parametrize("paper", PAPERS)
def test_every_paper_of_an_invented_trial_says_so(paper, trial, plan, monkeypatch):
    asked = []
    monkeypatch.setattr(documents, "pdf", lambda template, data, day, invented, paper: asked.append(invented) or b"")
    heading = trial.trial.model_copy(update={"invented": True})
    for one in (trial, trial.model_copy(update={"trial": heading})):
        PAPERS[paper](one, plan)
    assert asked == [False, True]


def test_the_band_is_printed(trial):
    heading = trial.trial.model_copy(update={"invented": True})
    plain, banded = bench_card_pdf(trial, DAY), bench_card_pdf(trial.model_copy(update={"trial": heading}), DAY)
    assert plain.startswith(b"%PDF") and banded.startswith(b"%PDF") and plain != banded


def test_the_example_trials_are_marked_and_the_ready_made_ones_say_how():
    from pathlib import Path

    home = Path(__file__).parents[2]
    examples = sorted(home.glob("example_data/*/trial.toml"))
    assert len(examples) >= 3 and all(parse(p.read_text(encoding="utf-8")).trial.invented for p in examples)
    designs = sorted(home.glob("designs/*.toml"))
    assert designs and all("\n# invented = true " in path.read_text(encoding="utf-8") for path in designs)
