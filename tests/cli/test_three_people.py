"""Three people walk their way with nothing but what the commands say: a step that is not announced fails the walk."""

import re
from datetime import datetime

import numpy as np
import pytest
import xlsxwriter
from python_calamine import CalamineWorkbook
from tests_support import SMALL_TEXT

from trials import steps
from trials.grade.kinds import Meets


class Walk:
    """A person at the keyboard who types only what was announced: by the last words on the screen, or by help."""

    def __init__(self, trials):
        self._trials, self.known = trials, ""

    def read(self, *words):
        """Run a command and take in what it says; the next one must stand in that."""
        done = self._trials(*words)
        assert done.code == 0, done.err
        self.known = " ".join(done.out.split())
        return self.known

    def go(self, *words):
        """Run a command that was announced, word by word as it stands there; blanks in capitals are filled in."""
        announced = re.findall(r"trials (?:[^`\s.,;]+(?:\.\w+)*[ ]?)+", self.known)
        assert any(self._fits(one, words) for one in announced), (words, self.known)
        return self.read(*words)

    @staticmethod
    def _fits(announced, words):
        told = announced.split()[1:]
        for asked, word in zip(words, told, strict=False):
            if asked != word and not word.isupper():
                return False
        return len(told) >= len(words)


def test_the_engineer_comes_from_an_empty_folder_to_a_frozen_plan(trials, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    walk = Walk(trials)
    assert "The way of a trial: new, plan, sheet, cut, record, grade, fit, verdict" in walk.read("--help")
    assert "compare-nozzles" in walk.read("new")
    walk.go("new", "compare-nozzles", "mine")
    assert "open mine/trial.toml, put in your nozzles, settings and requirement" in walk.known
    (tmp_path / "mine" / "trial.toml").write_text(SMALL_TEXT, encoding="utf-8")
    walk.go("plan", "mine")
    assert steps.status("mine").steps[0].done == 18
    walk.go("sheet", "mine")
    assert (tmp_path / "mine" / "papers" / "run-sheet.pdf").is_file()


def filled_in(path):
    """The bench workbook as an inspector hands it back: every open cell of a value, and who measured when."""
    rng = np.random.default_rng(11)
    rows = CalamineWorkbook.from_path(path).get_sheet_by_name("readings").to_python()
    head = rows[0]
    with xlsxwriter.Workbook(path, {"default_date_format": "yyyy-mm-dd"}) as book:
        page = book.add_worksheet("readings")
        page.write_row(0, 0, head)
        for number, row in enumerate((row for row in rows[1:] if row[head.index("coupon")]), 1):
            row[head.index("rz5_um")] = round(float(rng.normal(33.0, 2.0)), 1)
            row[head.index("inspector")], row[head.index("instrument")] = "AB", "tester"
            row[head.index("measured_on")] = datetime(2026, 3, 2)
            page.write_row(number, 0, row)


@pytest.mark.usefixtures("blank_pictures")
def test_the_inspector_comes_from_the_workbook_to_grades(trials, small, monkeypatch):
    folder = small("cut")
    monkeypatch.chdir(folder.parent)
    walk = Walk(trials)
    walk.read("sheet", "cut")
    walk.read("status", "cut")
    assert "measure at the bench" in walk.known
    filled_in("cut/papers/bench/bench-workbook.xlsx")
    walk.go("record", "cut", "cut/papers/bench/bench-workbook.xlsx")
    assert re.search(r"grade\s+Grade edges by ISO 9013", walk.read("--help"))
    assert "Example: `trials grade my-trial`" in walk.read("grade", "--help")
    walk.read("grade", "cut")
    graded = steps.grade_trial(steps.load("cut"))
    assert len(graded) == 18 and set(graded["meets"]) <= set(Meets) and "Meets:" in walk.known


@pytest.mark.usefixtures("blank_pictures")
def test_the_manager_comes_from_records_to_the_page_to_sign(trials, small, monkeypatch):
    folder = small("measured")
    monkeypatch.chdir(folder.parent)
    walk = Walk(trials)
    walk.read("status", "measured")
    walk.go("verdict", "measured")
    assert (folder / "verdict.pdf").read_bytes().startswith(b"%PDF")
    assert "verdict.pdf" in walk.known
    assert "open measured/verdict.pdf" in walk.read("status", "measured")
    walk.go("fit", "measured")
