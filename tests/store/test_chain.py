"""The chain: what was written cannot change, vanish or join unseen; bits that flip are found."""

import random
import shutil
import sqlite3
from contextlib import closing

import pandas as pd
import pytest
from tests_support import readings_table, told, unchained

from trials import steps
from trials.errors import InputError
from trials.record_kinds import RecordKind
from trials.store import records
from trials.store.records import chain, schema


def sql(folder, *statements):
    with closing(sqlite3.connect(folder / "trial.db")) as connection, connection:
        for statement in statements:
            connection.execute(statement)


def kinds(folder):
    return [finding.kind for finding in steps.check(folder).findings]


def test_a_trial_as_it_was_written_is_sound(measured):
    found = steps.check(measured)
    assert found.sound and found.findings == ()
    loaded = records.load(measured)
    assert (found.identity, found.head) == (loaded.identity, loaded.head)
    assert found.identity == loaded.trial.store.trial
    assert found.rows["readings"] == 8 * 3 + 1 + 1
    assert len(found.papers[1]) == 64 and found.papers[1] != found.head  # the entry of the look came after the paper


def test_each_entry_continues_the_one_before(measured):
    with closing(sqlite3.connect(measured / "trial.db")) as connection:
        rows = connection.execute("SELECT previous, digest FROM journal ORDER BY id").fetchall()
        head = dict(connection.execute("SELECT name, value FROM about"))["head"]
    assert [previous for previous, _ in rows[1:]] == [mine for _, mine in rows[:-1]]
    assert rows[0][0] == chain.digest(["trial", records.load(measured).identity])
    assert rows[-1][1] in head
    with pytest.raises(sqlite3.IntegrityError, match="journal.previous"):
        columns = "at, who, kind, what, why, previous"
        sql(measured, f"INSERT INTO journal ({columns}) VALUES ('', '', '', '', '', '{rows[1][0]}')")


def test_one_entry_for_each_recorded_file(cut):
    before = len(records.load(cut).journal)
    records.record_readings(cut, readings_table(("KX7", 1, "rz5_um", 31.0), ("B2M", 1, "rz5_um", 32.0)))
    assert len(records.load(cut).journal) == before + 1


def test_every_recorded_table_is_covered():
    assert set(schema.metadata.tables) == {*chain.COUNTERS, "journal", "about"}


CHANGES = {
    "a value": ("UPDATE readings SET value = 99.0 WHERE id = 3", RecordKind.ROWS_CHANGED),
    "who": ("UPDATE cuts SET who = 'Another' WHERE id = 1", RecordKind.ROWS_CHANGED),
    "the plan": ("UPDATE planned_coupons SET cells = replace(cells, '0.5', '0.9')", RecordKind.ROWS_CHANGED),
    "a row less": ("DELETE FROM readings WHERE id = 5", RecordKind.ROWS_CHANGED),
    "the paper": ("UPDATE looks SET paper = x'00'", RecordKind.ROWS_CHANGED),
    "a reason": ("UPDATE journal SET why = 'none' WHERE kind = 'reading corrected'", RecordKind.ENTRY_CHANGED),
    "an entry less": ("DELETE FROM journal WHERE kind = 'verdict'", RecordKind.HEAD_CHANGED),
    "a row more": (
        "INSERT INTO readings (coupon, reading, repeat, field, value, side, inspector, instrument, measured_on, note, "
        "who, why, entered_at) VALUES ('B2M', 9, 0, 'rz5_um', 1.0, '', '', '', '', '', '', '', '')",
        RecordKind.ROWS_UNCOVERED,
    ),
    "the identity": ("UPDATE about SET value = '0123456789ab' WHERE name = 'trial'", RecordKind.ENTRY_MOVED),
}


@pytest.mark.parametrize("change", CHANGES)
def test_a_change_by_another_program_is_found_and_nothing_is_studied(measured, change):
    statement, kind = CHANGES[change]
    sql(measured, statement)
    found = steps.check(measured)
    assert not found.sound and kind in [finding.kind for finding in found.findings]
    assert all("Put back a backup" in line for line in told(found.findings) if "left over" not in line)
    for step in (steps.load, steps.status, steps.fit, records.record_as_planned):
        with pytest.raises(InputError, match="damaged, or changed by another program .*trials check FOLDER"):
            step(measured)


def test_the_version_cannot_be_set_back(measured):
    sql(measured, "UPDATE about SET value = '2' WHERE name = 'schema_version'")
    with pytest.raises(InputError, match=r"changed by another program \(version\)"):
        records.load(measured)
    assert kinds(measured) == [RecordKind.FILE_DAMAGED]


def test_a_reading_that_names_no_coupon_is_an_orphan(measured):
    sql(measured, "PRAGMA foreign_keys = OFF", "UPDATE readings SET replaces = 999 WHERE id = 4")
    assert RecordKind.ROWS_ORPHANED in kinds(measured)


def test_an_entry_that_counts_wrongly_is_found(cut, monkeypatch):
    from trials.store.records import recording

    right = recording.write_journal

    def wrong(connection, at, who, kind, payload, why=""):
        return right(connection, at, who, kind, {**payload, "readings": 7}, why)

    monkeypatch.setattr(recording, "write_journal", wrong)
    records.record_readings(cut, readings_table(("KX7", 1, "rz5_um", 31.0)))
    assert kinds(cut) == [RecordKind.COUNT_DIFFERS]


def test_records_beside_the_question_of_another_trial_are_refused(frozen, tmp_path, toml, plan):
    other = tmp_path / "other"
    other.mkdir()
    (other / "trial.toml").write_text(toml, encoding="utf-8")
    records.freeze(other, plan)  # the same question and plan, frozen on its own
    shutil.copy(frozen / "trial.db", other / "trial.db")
    with pytest.raises(InputError, match="belong to another trial"):
        records.load(other)
    assert kinds(other) == [RecordKind.QUESTION_DIFFERS]


def test_the_question_of_another_trial_may_be_copied_and_frozen_anew(frozen, tmp_path, plan):
    (tmp_path / "next").mkdir()
    shutil.copy(frozen / "trial.toml", tmp_path / "next" / "trial.toml")
    later = records.freeze(tmp_path / "next", plan)
    assert later.identity != records.load(frozen).identity == records.load(frozen).trial.store.trial
    assert later.trial.store.trial == later.identity
    assert (tmp_path / "next" / "trial.toml").read_text(encoding="utf-8").count("[store]") == 1


def test_a_freeze_killed_before_the_question_was_named_is_mended_by_the_next_entry(frozen, at):
    path = frozen / "trial.toml"
    named = path.read_text(encoding="utf-8")
    bare = "".join(line for line in named.splitlines(keepends=True) if not line.startswith("trial ="))
    path.write_text(bare, encoding="utf-8")
    assert kinds(frozen) == [RecordKind.QUESTION_UNNAMED] and steps.check(frozen).sound
    records.record_as_planned(frozen, at=at)
    assert path.read_text(encoding="utf-8") == named


def test_an_older_trial_starts_its_chain_with_the_first_entry(measured):
    head = records.load(measured).head
    unchained(measured)
    before = (measured / "trial.db").read_bytes()
    old = records.load(measured)
    assert (measured / "trial.db").read_bytes() == before and old.identity == records.load(measured).identity
    assert old.head != head
    records.correct(measured, records.ReadingPlace("KX7", "rz5_um", 2), 35.0, "Inspector", "read again")
    assert steps.check(measured).findings == ()  # the question is named too
    assert records.load(measured).trial.store.trial == old.identity
    sql(measured, "UPDATE readings SET value = 99.0 WHERE id = 3")
    assert RecordKind.ROWS_CHANGED in kinds(measured)


def test_files_of_a_killed_command_are_named(measured):
    (measured / ".0123456789abcdef.part").write_bytes(b"half")
    assert kinds(measured) == [RecordKind.FILES_LEFT] and steps.check(measured).sound


def test_sixty_flipped_bits_give_no_other_result(measured):
    """Each flip is refused, or what is read is what was read before."""
    path = measured / "trial.db"
    whole = path.read_bytes()

    def result():
        found = records.load(measured)
        look = records.kept_look(measured, 1)
        parts = [frame.to_json() for frame in vars(found).values() if isinstance(frame, pd.DataFrame)]
        return parts, found.confirmed, found.head, found.freeze_hash, look

    expected, rng, refused = result(), random.Random(20417), 0
    for _ in range(60):
        place = rng.randrange(len(whole))
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 1 << rng.randrange(8)]) + whole[place + 1 :])
        try:
            assert result() == expected
        except InputError as error:
            refused += 1
            assert "\n" not in str(error)
        steps.check(measured)  # says something, whatever was hit
    assert refused > 5
