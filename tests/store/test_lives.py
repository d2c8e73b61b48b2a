"""How a life ended: read from its column, from older notes, and kept in databases of any age."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from tests_support import unchained

from trials import steps
from trials.decide.lives import LivesKind
from trials.endings import Ended
from trials.errors import InputError
from trials.steps.lives import recorded_lives
from trials.store import records as store
from trials.store.intake.bench_file import read_bench
from trials.store.intake.lives import check_spelling, ended_in, note_says_good
from trials.trial import parse
from trials.words.findings import say

DESIGN = Path(__file__).parents[2] / "designs" / "nozzle-life.toml"


@pytest.fixture
def folder(tmp_path):
    """The ready-made life trial, cut as planned."""
    text = DESIGN.read_text(encoding="utf-8")
    (tmp_path / "trial.toml").write_text(text, encoding="utf-8")
    steps.freeze(tmp_path, steps.propose(parse(text)))
    store.record_as_planned(tmp_path)
    return tmp_path


def record(folder, column, cells):
    marks = steps.load(folder).coupons["coupon"].tolist()
    lines = [f"coupon,reading,life_pierces,{column}"]
    lines += [f"{mark},1,{4000 + 100 * i},{cell}" for i, (mark, cell) in enumerate(zip(marks, cells, strict=False))]
    (folder / "typed.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    rows = read_bench(folder / "typed.csv", steps.load(folder)).readings
    return store.record_readings(folder, rows)


def test_the_column_is_kept_as_it_was_typed(folder):
    done = record(folder, "ended", ["worn", "Taken off good", "", "damaged"])
    found = recorded_lives(folder)
    assert sorted(found.frame["ended"]) == sorted([Ended.WORN, Ended.TAKEN_OFF_GOOD, Ended.NOT_SAID, Ended.DAMAGED])
    assert not [line for line in done.said if "still good" in line] and found.said == ()
    # 30 % longer matters, on the log scale of the trial file and as a share here
    assert (found.unit, found.today) == ("pierces", "cylindrical")
    assert found.worthwhile == pytest.approx(0.30, rel=1e-12)


def test_a_note_of_an_older_file_becomes_the_end_and_it_is_said(folder):
    done = record(folder, "note", ["Still good", "scratched", "was still good at noon"])
    assert any("2 notes say still good" in say(one) for one in done.said)
    kept = steps.load(folder).readings
    assert kept["ended"].tolist() == ["taken_off_good", "", "taken_off_good"]
    assert kept["note"].tolist()[0] == "Still good"
    assert recorded_lives(folder).said == ()


def test_a_database_from_before_the_column_opens_and_its_notes_count(folder):
    record(folder, "note", ["still good", "", "still good"])
    unchained(folder)
    with closing(sqlite3.connect(folder / "trial.db")) as connection, connection:
        connection.execute("ALTER TABLE readings DROP COLUMN ended")
        connection.execute("DROP TABLE about")  # as version 0.1.0 left it
    found = recorded_lives(folder)
    assert sorted(found.frame["ended"]) == sorted([Ended.TAKEN_OFF_GOOD, Ended.NOT_SAID, Ended.TAKEN_OFF_GOOD])
    (said,) = found.said
    assert (said.kind, said.facts) == (LivesKind.NOTE_MEANS_GOOD, {"lives": 2})
    record(folder, "ended", ["", "", "", "worn"])
    assert Ended.WORN in recorded_lives(folder).frame["ended"].tolist()


def test_an_empty_new_column_leaves_the_mark_of_a_look_as_it_was(folder):
    from trials.store.records import fingerprint

    record(folder, "note", ["", "scratched"])
    records = steps.load(folder)
    bare = steps.load(folder)
    object.__setattr__(bare, "readings", bare.readings.drop(columns="ended"))
    assert fingerprint(records, 1) == fingerprint(bare, 1)
    record(folder, "ended", ["", "", "worn"])
    assert fingerprint(steps.load(folder), 1) != fingerprint(records, 1)


def test_a_cause_that_is_not_known_is_refused_with_its_place(folder):
    with pytest.raises(InputError, match=r"typed.csv, row 3, column ended: not a cause of the end; found 'exploded'"):
        record(folder, "ended", ["worn", "exploded"])


@pytest.mark.parametrize(
    ("cell", "found"), [(None, None), ("  ", None), ("WORN", Ended.WORN), ("lens burnt", Ended.LENS_BURNT)]
)
def test_a_cell_of_the_column(cell, found):
    assert ended_in(cell) == found


@pytest.mark.parametrize(("note", "good"), [("still good", True), ("Still Good, stopped", True), ("good", False)])
def test_a_note(note, good):
    assert note_says_good(note) is good


@pytest.mark.parametrize("other", ["plain", "Plain ", "PLAIN", "pl ain"])
def test_two_spellings_are_asked_about(other):
    with pytest.raises(InputError, match="differs from 'Plain' above only in case or spaces") as stopped:
        check_spelling(["Plain", "double", other], [2, 3, 4], "lives.csv", "nozzle")
    assert stopped.value.row == 4


def test_names_that_differ_in_more_are_two_types():
    check_spelling(["Plain", "plain-2", "Plain", "plated"], [2, 3, 4, 5], "lives.csv", "nozzle")
