"""A kept verdict: its paper byte for byte, and the words of a later rule beside the kept ones."""

import json
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests_support import draw_blank, unchained

import trials
from trials.record_kinds import RecordKind
from trials.report.verdict import verdict_data
from trials.store import records

OLD = Path(__file__).parents[1] / "reference" / "made_by_0_1_0"
LATER = datetime(2030, 5, 6, tzinfo=UTC)


@pytest.fixture(scope="module")
def blank():
    """The verdicts of this module are made as its tests make them: with blank pictures."""
    with pytest.MonkeyPatch.context() as patch:
        draw_blank(patch)
        yield


@pytest.fixture(scope="module")
def old_verdict(tmp_path_factory, blank):
    """The trial of version 0.1.0 with its verdict made again."""
    place = shutil.copytree(OLD, tmp_path_factory.mktemp("old") / "trial")
    return place, trials.verdict(place)


@pytest.fixture(scope="module")
def first(tmp_path_factory, blank):
    """The same records without their look, and the first verdict of this version."""
    place = shutil.copytree(OLD, tmp_path_factory.mktemp("first") / "trial")
    with closing(sqlite3.connect(place / "trial.db")) as connection, connection:
        connection.execute("DELETE FROM looks")
    return place, trials.verdict(place, at=datetime(2026, 3, 2, tzinfo=UTC))


def copied(made, tmp_path):
    return shutil.copytree(made[0], tmp_path / "copy")


def edit(folder, before, after):
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8")
    assert before in text
    path.write_text(text.replace(before, after, 1), encoding="utf-8")


def test_a_first_verdict_keeps_its_paper_words_and_rule(first):
    place, made = first
    kept = records.kept_look(place, 1)
    assert (made.look, made.made_before) == (1, False)
    assert kept.paper == made.path.read_bytes() and kept.paper.startswith(b"%PDF")
    assert kept.rule_version == "3"
    given = [(c.nozzle, c.answer) for r in made.study.results if r.primary for c in r.comparisons]
    assert given and [(w.nozzle, w.answer) for w in kept.words] == given
    assert kept.summary["study"]["title"] == made.study.title


def test_made_again_it_is_the_kept_paper_whatever_is_not_frozen(first, tmp_path):
    folder, paper = copied(first, tmp_path), first[1].path.read_bytes()
    edit(folder, "Made by the released program, never by hand.", "Read on another day.")
    title = next(line for line in (folder / "trial.toml").read_text().splitlines() if line.startswith("title"))
    edit(folder, title, 'title = "Called otherwise"')
    again = trials.verdict(folder, at=LATER)
    assert (again.look, again.made_before, again.other_words) == (1, True, ())
    assert again.path.read_bytes() == paper
    assert len(records.kept_looks(folder)) == 1


def test_other_costs_make_another_paper_and_no_other_look(first, tmp_path):
    folder, paper = copied(first, tmp_path), first[1].path.read_bytes()
    title = next(line for line in (folder / "trial.toml").read_text().splitlines() if line.startswith("title"))
    edit(folder, title, 'title = "Called otherwise"')
    path = folder / "trial.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n[costs]\nmachine_hour = 120.0\n", encoding="utf-8")
    again = trials.verdict(folder)
    assert again.look == 1 and again.path.read_bytes() != paper
    assert records.kept_look(folder, 1).paper == paper and records.kept_look(folder, 1).costs == {}


def test_lots_changed_after_the_look_are_printed(first, tmp_path, monkeypatch):
    folder, paper = copied(first, tmp_path), first[1].path.read_bytes()
    line = next(line for line in (folder / "trial.toml").read_text().splitlines() if line.startswith("specimens"))
    marks = json.loads(line.partition("=")[2])
    edit(folder, line, f"{line}\nlots = {json.dumps(['L1'] * len(marks))}")
    pages = printed(monkeypatch)
    again = trials.verdict(folder)
    assert again.look == 1 and again.path.read_bytes() != paper
    assert any("lots." in change and "absent" in change for change in pages[0]["amendments"])


def printed(monkeypatch):
    """The data of each verdict that is set as PDF from here on."""
    pages = []

    def keep(*given):
        pages.append(verdict_data(*given))
        return pages[-1]

    monkeypatch.setattr("trials.report.documents.verdict_data", keep)
    return pages


def test_the_verdict_of_version_0_1_0_is_still_look_1(old_verdict):
    place, made = old_verdict
    assert (made.look, made.made_before) == (1, True)
    kept = records.kept_look(place, 1)
    assert (kept.rule_version, kept.paper) == ("1", None)
    assert len(records.kept_looks(place)) == 1
    assert made.path.read_bytes() == trials.verdict(place, made.path, at=LATER).path.read_bytes()


def test_words_of_a_later_rule_stand_beside_the_kept_ones(old_verdict, tmp_path, monkeypatch):
    folder = copied(old_verdict, tmp_path)
    unchained(folder)
    with closing(sqlite3.connect(folder / "trial.db")) as connection, connection:
        (text,) = connection.execute("SELECT words_json FROM looks").fetchone()
        words = json.loads(text)
        now = words[0]["answer"]
        words[0] |= {"answer": "worse" if now != "worse" else "better", "answer_adds": ""}
        connection.execute("UPDATE looks SET words_json = ?", (json.dumps(words),))
    pages = printed(monkeypatch)
    found = trials.verdict(folder).other_words
    expected = {f.about.nozzle: (f.facts["kept"], f.facts["now"]) for f in found}
    assert found[0].kind is RecordKind.KEPT_WORD_DIFFERS
    assert expected[words[0]["nozzle"]][0] == words[0]["answer"]
    lines = pages[0]["kept_words"]
    assert len(lines) == len(found)
    assert any(f"kept as “{words[0]['answer']}” (rule 1); by rule 3 it would be “" in line for line in lines)
