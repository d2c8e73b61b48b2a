"""A trial kept elsewhere: the copy is the trial, the export can be made into it again, nothing is overwritten."""

import csv
import json
import sqlite3
from contextlib import closing

import pytest
from tests_support import told

from trials import steps
from trials.errors import InputError
from trials.store import keeping, records
from trials.store.tables import read_table


def same_records(one, other):
    first, second = records.load(one), records.load(other)
    assert (first.head, first.identity, first.freeze_hash) == (second.head, second.identity, second.freeze_hash)
    for name in ("coupons", "all_cuts", "all_readings", "mounts", "sheets", "journal", "looks"):
        assert getattr(first, name).equals(getattr(second, name)), name
    assert records.kept_looks(one) == records.kept_looks(other)


def test_a_backup_is_the_trial(measured, tmp_path):
    kept = steps.backup(measured, tmp_path / "copy")
    assert kept.head == records.load(measured).head
    same_records(measured, tmp_path / "copy")
    assert (tmp_path / "copy" / "trial.toml").read_bytes() == (measured / "trial.toml").read_bytes()
    assert steps.check(tmp_path / "copy").findings == ()


def test_a_backup_while_another_writes_holds_one_moment(measured, tmp_path):
    with closing(sqlite3.connect(measured / "trial.db", isolation_level=None)) as writer:
        writer.execute("BEGIN IMMEDIATE")
        writer.execute("UPDATE readings SET value = 1.0")
        steps.backup(measured, tmp_path / "copy")
        writer.execute("ROLLBACK")
    same_records(measured, tmp_path / "copy")


def test_a_trial_made_again_from_its_export_has_the_same_analysis(measured, tmp_path):
    steps.export(measured, tmp_path / "out")
    again = tmp_path / "again" / "trial"
    again.parent.mkdir()
    steps.restore(tmp_path / "out", again)
    same_records(measured, again)
    assert steps.check(again).findings == ()
    one, other = (json.dumps(steps.plain(steps.fit(folder))) for folder in (measured, again))
    assert one.replace(str(measured), "here") == other.replace(str(again), "here")
    records.correct(again, records.ReadingPlace("KX7", "rz5_um", 2), 35.5, "Inspector", "goes on")
    assert steps.check(again).sound


def test_an_export_has_every_table_and_says_what_its_columns_hold(measured, tmp_path):
    out = tmp_path / "out"
    steps.export(measured, out)
    with (out / "readings.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    kept = records.load(measured).all_readings
    assert [float(row["value"]) for row in rows] == kept["value"].tolist()
    assert {row["coupon"] for row in rows} == set(kept["coupon"])
    with (out / "dictionary.csv").open(newline="", encoding="utf-8") as stream:
        meanings = {(row["table"], row["column"]): row["meaning"] for row in csv.DictReader(stream)}
    for path in out.glob("*.csv"):
        if path.stem == "dictionary":
            continue
        with path.open(newline="", encoding="utf-8") as stream:
            assert all(len(meanings[path.stem, column]) > 5 for column in next(csv.reader(stream))), path
    factors = {column for (table, column), text in meanings.items() if text.startswith("setting of the factor")}
    assert factors == {"pressure_bar", "gas_purity_class"}  # every other column has a meaning of its own
    sheet = read_table(out / "records.xlsx", "readings").frame
    assert [float(cell) for cell in sheet["value"]] == kept["value"].tolist()


def test_an_export_that_was_changed_makes_no_trial(measured, tmp_path):
    steps.export(measured, tmp_path / "out")
    path = tmp_path / "out" / "records.json"
    path.write_text(path.read_text(encoding="utf-8").replace("36.5", "26.5"), encoding="utf-8")
    with pytest.raises(InputError, match="was changed since it was made"):
        steps.restore(tmp_path / "out", tmp_path / "again")
    assert not (tmp_path / "again").exists()


@pytest.mark.parametrize(
    "content", ["", "{}", "[1]", "null", '{"format": "nozzle-trials export"}', "[" * 100_000, '{"format": NaN}']
)
def test_what_is_no_export_is_refused(content, tmp_path):
    (tmp_path / "records.json").write_text(content, encoding="utf-8")
    with pytest.raises(InputError, match="is no export of a trial"):
        steps.restore(tmp_path, tmp_path / "again")
    assert not (tmp_path / "again").exists()


@pytest.mark.parametrize("keep", [steps.backup, steps.export])
def test_nothing_is_overwritten(keep, measured, tmp_path):
    taken = tmp_path / "taken"
    taken.mkdir()
    for place in (taken, measured, measured / "trial.db"):
        with pytest.raises(InputError, match="is there already"):
            keep(measured, place)
    keep(measured, tmp_path / "out")
    if keep is steps.export:
        with pytest.raises(InputError, match="is there already"):
            steps.restore(tmp_path / "out", taken)
    assert list(taken.iterdir()) == []
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "taken", "trial"]


def test_damaged_records_are_not_kept_elsewhere(measured, tmp_path):
    with closing(sqlite3.connect(measured / "trial.db")) as connection, connection:
        connection.execute("UPDATE readings SET value = 99.0 WHERE id = 3")
    for keep in (steps.backup, steps.export):
        with pytest.raises(InputError, match="damaged, or changed"):
            keep(measured, tmp_path / "out")
    assert not (tmp_path / "out").exists()
    assert "came with journal entry" in told(steps.check(measured).findings)[0]


def test_a_trial_of_version_0_1_0_is_exported_and_made_again(tmp_path):
    from pathlib import Path

    old = Path(__file__).parents[1] / "reference" / "made_by_0_1_0"
    keeping.export(old, tmp_path / "out")
    keeping.restore(tmp_path / "out", tmp_path / "again")
    same_records(old, tmp_path / "again")
    assert records.load(tmp_path / "again").trial.store.trial == records.load(old).identity
