"""Outputs: whole or not at all, and never in the place of what this tool did not write or somebody changed."""

import shutil
import zipfile

import pytest
from tests_support import SMALL_TEXT

import trials
from trials.errors import InputError
from trials.steps.files import write_beside, write_bytes, write_new


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    place = tmp_path_factory.mktemp("files") / "trial"
    place.mkdir()
    (place / "trial.toml").write_text(SMALL_TEXT, encoding="utf-8")
    trials.freeze(place, trials.propose(trials.load(place).trial))
    return place


@pytest.fixture
def frozen(template, tmp_path):
    return shutil.copytree(template, tmp_path / "trial")


def test_an_output_replaces_its_own_earlier_content(tmp_path):
    target = tmp_path / "out.pdf"
    write_bytes(target, b"one")
    write_bytes(target, b"two")
    assert target.read_bytes() == b"two"


@pytest.mark.parametrize("before", [None, b"ours"])
def test_what_somebody_else_wrote_or_changed_stays(tmp_path, before):
    target = tmp_path / "out.pdf"
    if before:
        write_bytes(target, before)
    target.write_bytes(b"somebody's work")
    with pytest.raises(InputError, match="not as this tool wrote it"):
        write_bytes(target, b"new")
    assert target.read_bytes() == b"somebody's work"
    assert write_beside(target, b"new") == tmp_path / "out-2.pdf"
    assert write_beside(target, b"newer") == tmp_path / "out-2.pdf"
    (tmp_path / "out-2.pdf").write_bytes(b"changed too")
    assert write_beside(target, b"newest") == tmp_path / "out-3.pdf"
    assert target.read_bytes() == b"somebody's work"


def test_equal_content_is_no_change(tmp_path):
    (tmp_path / "out.pdf").write_bytes(b"same")
    write_bytes(tmp_path / "out.pdf", b"same")
    assert write_beside(tmp_path / "out.pdf", b"same") == tmp_path / "out.pdf"


@pytest.mark.parametrize("name", ["trial.db", "trial.toml", "TRIAL.DB", "trial.db-wal"])
def test_no_output_is_called_like_a_trials_own_file(tmp_path, name):
    with pytest.raises(InputError, match="trial's own file"):
        write_bytes(tmp_path / name, b"%PDF")
    assert list(tmp_path.iterdir()) == []


def test_a_link_is_not_followed_onto_another_file(tmp_path):
    (tmp_path / "trial.db").write_bytes(b"records")
    (tmp_path / "out.pdf").symlink_to(tmp_path / "trial.db")
    with pytest.raises(InputError, match="not as this tool wrote it"):
        write_bytes(tmp_path / "out.pdf", b"new")
    assert (tmp_path / "trial.db").read_bytes() == b"records"


def test_a_new_file_needs_a_free_name(tmp_path):
    write_new(tmp_path / "made" / "trial.toml", b"one")
    with pytest.raises(InputError, match="is there already"):
        write_new(tmp_path / "made" / "trial.toml", b"two")
    assert [path.name for path in (tmp_path / "made").iterdir()] == ["trial.toml"]


def test_a_place_that_cannot_be_written_to(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(InputError, match="cannot be written"):
        write_bytes(tmp_path / "file" / "out.pdf", b"new")


def filled(path):
    """As a spreadsheet saves it after an inspector typed into it: other bytes, same name."""
    with zipfile.ZipFile(path, "a") as book:
        book.writestr("typed.xml", "41.5")
    return path.read_bytes()


def test_a_workbook_that_was_filled_in_stays_when_the_papers_are_printed_again(frozen):
    papers = trials.run_sheet(frozen)
    bench, run = frozen / "papers" / "bench" / "bench-workbook.xlsx", frozen / "papers" / "run-workbook.xlsx"
    assert {bench, run} <= set(papers)
    typed = filled(bench), filled(run)
    again = trials.run_sheet(frozen)
    assert (bench.read_bytes(), run.read_bytes()) == typed
    papers = frozen / "papers"
    assert {papers / "bench" / "bench-workbook-2.xlsx", papers / "run-workbook-2.xlsx"} <= set(again)
    assert all(path.exists() for path in again)


def test_untouched_papers_are_printed_again_under_their_names(frozen):
    assert trials.run_sheet(frozen) == trials.run_sheet(frozen)
