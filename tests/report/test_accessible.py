"""Each paper passes the machine-checkable part of PDF/UA, in both languages, and says its language and title."""

import io
from datetime import date
from functools import cache

import pdfua
import pikepdf
import pytest

from trials.report.documents import bench_card_pdf, labels_pdf, run_sheet_pdf, verdict_pdf
from trials.store.language import language_named
from trials.words.language import speaking

DAY = date(2026, 3, 2)
PAPERS = {
    "verdict": lambda trial, plan, study, extras: verdict_pdf(study, trial, DAY, extras),
    "run sheet": lambda trial, plan, study, extras: run_sheet_pdf(trial, *plan, [], DAY),
    "bench card": lambda trial, plan, study, extras: bench_card_pdf(trial, DAY),
    "labels": lambda trial, plan, study, extras: labels_pdf(trial, [("KE4", 1), ("AH3", 2)], DAY),
}


def findings(data: bytes, tmp_path) -> list[str]:
    path = tmp_path / "paper.pdf"
    path.write_bytes(data)
    return [f"{found.rule_id}: {found.message}" for found in pdfua.validate(str(path)).findings]


@pytest.fixture(scope="module")
def made(trial, plan, study, extras):
    """A paper in a language, each made once."""

    @cache
    def paper(name, language):
        with speaking(language_named(language)):
            return PAPERS[name](trial, plan, study, extras)

    return paper


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("paper", PAPERS)
def test_paper_passes_what_a_machine_can_check(paper, language, made, tmp_path):
    data = made(paper, language)
    assert findings(data, tmp_path) == []
    with pikepdf.open(io.BytesIO(data)) as found:
        assert str(found.Root.Lang) == language
        assert bool(found.Root.MarkInfo.Marked) and "/StructTreeRoot" in found.Root
        assert str(found.docinfo["/Title"])


def test_a_paper_without_tags_would_be_found(made, tmp_path):
    with pikepdf.open(io.BytesIO(made("bench card", "en"))) as found:
        del found.Root.StructTreeRoot, found.Root.Lang
        stream = io.BytesIO()
        found.save(stream)
    assert len(findings(stream.getvalue(), tmp_path)) >= 2


def test_question_and_answer_are_read_before_the_table(made):
    """Text as it stands in the tags: title, question, answer box, then the rest."""
    with pikepdf.open(io.BytesIO(made("verdict", "en"))) as found:
        kinds = [str(kind) for kind in kinds_of(found.Root.StructTreeRoot)]
    first = kinds[: kinds.index("/Table")]
    assert "/H1" in first and first.count("/P") >= 3
    assert kinds.index("/H1") < kinds.index("/P") < kinds.index("/Table") < kinds.index("/Figure")


def kinds_of(part):
    """Kinds of the structure elements, in reading order."""
    if isinstance(part, pikepdf.Array):
        for one in part:
            yield from kinds_of(one)
    elif isinstance(part, pikepdf.Dictionary):
        if "/S" in part:
            yield part.S
        if "/K" in part:
            yield from kinds_of(part.K)
