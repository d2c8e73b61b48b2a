"""Records that outlive a version: a trial made by 0.1.0, schema versions, keys and columns that join later."""

import json
import re
import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from pydantic import create_model
from tests_support import readings_table

import trials.frozen
import trials.trial
from trials.errors import InputError
from trials.frozen import changes, freeze_hash
from trials.record_kinds import JournalKind
from trials.store import records
from trials.store.records import migrations
from trials.store.records.check import check
from trials.store.records.fingerprint import fingerprint, look_of
from trials.store.records.journal import entries
from trials.store.records.old_prose import payload_of
from trials.trial import parse

OLD = Path(__file__).parents[1] / "reference" / "made_by_0_1_0"


@pytest.fixture
def old(tmp_path):
    return shutil.copytree(OLD, tmp_path / "old")


def edit(folder, before, after):
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8")
    assert before in text
    path.write_text(text.replace(before, after), encoding="utf-8")


def test_a_trial_of_version_0_1_0_opens_and_is_still_frozen(old):
    found = records.load(old)
    assert found.frozen and len(found.coupons) == 36 and len(found.readings) == 68
    edit(old, "seed = 20417", "seed = 20418")
    with pytest.raises(InputError, match=r"changed after freezing \(plan.seed: 20417 -> 20418\)"):
        records.load(old)


def test_its_question_still_has_the_hash_it_was_frozen_with():
    # the hash that version 0.1.0 wrote into trial.db and printed on verdict.pdf
    stored = "dda1a259971c92cab62ea7dacaf8760632a82b20d945487cdbb9be2f73787eef"
    assert records.load(OLD).freeze_hash == stored
    assert freeze_hash(parse((OLD / "trial.toml").read_text(encoding="utf-8"))) == stored


def test_its_verdict_is_still_look_1(old):
    from trials.steps import look_number

    assert look_number(records.load(old)) == 1
    kept = records.kept_look(old, 1)
    assert [(w.response, w.nozzle, w.answer) for w in kept.words][0] == ("roughness", "double", "better")
    assert (kept.rule_version, kept.paper, kept.declared) == ("1", None, True)


def test_its_verdict_is_look_2_once_a_reading_is_corrected(old):
    from trials.steps import look_number

    place = records.ReadingPlace(records.load(old).readings["coupon"].iloc[0], "rz5_um", 1)
    records.correct(old, place, 99.0, "A. Tester", "shows that the comparison compares")
    assert look_number(records.load(old)) == 2


def test_reading_an_old_trial_writes_nothing_and_the_first_entry_brings_it_up_to_date(old):
    before = (old / "trial.db").read_bytes()
    first = records.load(old)
    assert (old / "trial.db").read_bytes() == before
    records.record_as_planned(old, "Operator")
    with closing(sqlite3.connect(old / "trial.db")) as connection, connection:
        version = connection.execute("SELECT value FROM about WHERE name = 'schema_version'").fetchone()
    assert version == (str(migrations.SCHEMA_VERSION),)
    later = records.load(old)
    assert later.journal.iloc[: len(first.journal)].equals(first.journal)
    assert len(later.cuts) == 36


def test_the_journal_of_an_old_trial_has_payloads():
    journal = records.load(OLD).journal
    found = {kind: [e.payload for e in entries(journal, kind)] for kind in JournalKind}
    assert found[JournalKind.FROZEN] == [{"coupons": 18, "mounts": 6, "sheets": 1}]
    assert found[JournalKind.AMENDED] == [{"key": "application.required.dross_grade", "old": "1", "new": "2"}]
    assert found[JournalKind.BLOCK_ADDED] == [{"block": 2, "coupons": 18, "declared": False}]
    assert found[JournalKind.CUTS_RECORDED] == [{"coupons": 18, "details": 6, "as_planned": False}]
    assert found[JournalKind.VERDICT] == [{"look": 1}]
    corrected = found[JournalKind.READING_CORRECTED][0]
    assert (corrected["field"], corrected["reading"], corrected["repeat"]) == ("rz5_um", 2, 0)
    assert corrected["old"] == pytest.approx(10 * corrected["new"], rel=0.01)  # a tenfold slip, one digit rounded
    # what is said of an entry is what version 0.1.0 said, but for its plurals and the unit of a reading
    said = {entry.number: entry.said for entry in entries(journal)}
    for number, kind, what in zip(journal["id"], journal["kind"], journal["what"], strict=True):
        with_unit = re.sub(r"rz5_um: ([\d.]+) -> ([\d.]+)", r"Rz5: \1 µm -> \2 µm", what)
        assert said[number] == with_unit.replace("1 sheets", "1 sheet"), kind


@pytest.mark.parametrize(
    ("kind", "what", "payload"),
    [
        (JournalKind.CUTS_RECORDED, "8 coupons, as planned", {"coupons": 8, "details": 0, "as_planned": True}),
        (
            JournalKind.READING_CORRECTED,
            "coupon A1, reading 2, repeat 1, u_mm: 0.2 -> withdrawn",
            {"coupon": "A1", "reading": 2, "repeat": 1, "field": "u_mm", "old": 0.2, "new": None},
        ),
        (
            JournalKind.MOUNT_CORRECTED,
            "mount M2, window_changed: empty -> yes",
            {"of": "mount", "mark": "M2", "column": "window_changed", "old": "", "new": "yes"},
        ),
        (JournalKind.BLOCK_ADDED, "block 3, 4 coupons, declared before cutting", {"block": 3, "declared": True}),
        (JournalKind.ADOPTED, "a: b.csv: 7 rows, 6 coupons", {"file": "a: b.csv", "rows": 7, "coupons": 6}),
        (JournalKind.INSTRUMENT, "stylus 4: due 2027-01-10.", {"text": "stylus 4: due 2027-01-10."}),
        (JournalKind.FROZEN, "nothing of the kind", {"text": "nothing of the kind"}),
    ],
)
def test_old_prose_is_parsed_once(kind, what, payload):
    found = payload_of(kind, what)
    assert payload.items() <= found.items()


def test_a_newer_schema_is_refused_in_one_line(cut):
    with closing(sqlite3.connect(cut / "trial.db")) as connection, connection:
        connection.execute("UPDATE about SET value = '9' WHERE name = 'schema_version'")
    for call in (records.load, records.record_as_planned):
        with pytest.raises(InputError, match="written by a newer version of this tool; found 'schema 9'") as error:
            call(cut)
        assert "\n" not in str(error.value)


def test_a_database_without_tables_is_no_trial(cut):
    (cut / "trial.db").unlink()
    sqlite3.connect(cut / "trial.db").close()
    with pytest.raises(InputError, match="not a trial database, or damaged"):
        records.load(cut)


def test_a_key_that_joins_later_and_is_at_its_default_unfreezes_nothing(frozen, monkeypatch, request):
    stored = records.load(frozen)
    request.addfinalizer(trials.trial.parse.cache_clear)
    later = create_model("PlanRequest", __base__=trials.trial.PlanRequest, patience=(int, 3))
    for table in (trials.frozen.NOT_FROZEN, trials.frozen.HASHED_FIRST):
        monkeypatch.setitem(table, later, table[trials.trial.PlanRequest])
    new = create_model("Trial", __base__=trials.trial.Trial, plan=(later, later()))
    for table in (trials.frozen.NOT_FROZEN, trials.frozen.HASHED_FIRST):
        monkeypatch.setitem(table, new, table[trials.trial.Trial])
    monkeypatch.setattr(trials.trial, "Trial", new)
    trials.trial.parse.cache_clear()  # as another version would begin
    assert hasattr(records.load(frozen).trial.plan, "patience")
    assert freeze_hash(records.load(frozen).trial) == stored.freeze_hash
    edit(frozen, "seed = 20417", "seed = 20417\npatience = 4")
    with pytest.raises(InputError, match="plan.patience: absent -> 4"):
        records.load(frozen)


def test_a_column_that_joins_later_is_no_new_look(cut, at):
    found = records.load(cut)
    new = records.NewLook(1, True, fingerprint(found), "2", (), None)
    records.keep_look(cut, new, at)
    found = records.load(cut)
    assert look_of(found) == 1
    wider = replace(found, cuts=found.cuts.assign(temperature_c=20.0), readings=found.readings.assign(light="day"))
    assert look_of(wider) == 1
    # which of the cut coupons were severed is a fact to correct; leaving coupons out is another question
    assert look_of(replace(found, cuts=found.cuts.assign(outcome="aborted"))) == 1
    assert look_of(replace(found, cuts=found.cuts.assign(outcome="not_cut"))) is None


FREE = [
    ('title = "12 mm mild steel, oxygen"', 'title = "Another"\nlanguage = "de"\nunits = "inch"\nnotes = "n"'),
    ('engineer = "Process engineer"', 'engineer = "Someone"\ncurrency = "CHF"'),
    ("price = 9.0", 'price = 8.0\nnotes = "n"'),
    ("[plan]", '[plan]\nsettle = "80 %"'),
    ("[plan]", "[costs]\nmachine_hour = 120.0\nmetres_per_year = 40000\n[plan]"),
    ("[plan]", '[store]\nurl = "postgresql+psycopg://bench@lab/trials"\n[plan]'),
    ("[trial]", 'lives = "../lives"\n[trial]'),
    ('specimens = ["C1", "C2"]', 'specimens = ["C1", "C2"]\nlots = ["L1", "L2"]'),
]


@pytest.mark.parametrize(("before", "after"), FREE)
def test_what_is_not_frozen_may_be_edited(frozen, toml, before, after):
    assert changes(parse(toml), parse(toml.replace(before, after))) == []
    assert freeze_hash(parse(toml)) == freeze_hash(parse(toml.replace(before, after)))
    if before == "[plan]" and "[store]" in after:  # the freeze wrote that table
        before, after = "[store]", after.removesuffix("[plan]").strip()
    edit(frozen, before, after)
    assert records.load(frozen).frozen


@pytest.mark.parametrize(
    ("before", "after", "key"),
    [
        ("[application]", "invented = true\n\n[application]", "trial.invented"),
        ("Does a double wall", "Does any wall", "trial.question"),
        ("sheets = 2", "sheets = 2\nlooks = 2", "plan.looks"),
        ('worthwhile = "15 %"', 'worthwhile = "10 %"', "responses.roughness.worthwhile"),
        ("focus_mm = 4.0", "focus_mm = 3.0", "held.focus_mm"),
        ("[held]", '[bench]\nrule = "simple acceptance"\n[held]', "bench.rule"),
    ],
)
def test_everything_else_is_frozen(frozen, before, after, key):
    edit(frozen, before, after)
    with pytest.raises(InputError, match=f"changed after freezing .{key}: "):
        records.load(frozen)


def test_lots_are_journalled_with_the_next_entry(frozen, at):
    edit(frozen, 'specimens = ["C1", "C2"]', 'specimens = ["C1", "C2"]\nlots = ["L1", "L2"]')
    records.record_as_planned(frozen, "Operator", at=at)
    edit(frozen, 'lots = ["L1", "L2"]', 'lots = ["L1", "L3"]')
    records.correct_row(frozen, records.RowChange("sheet", "S1", "heat_lot", "H1"), "Operator", "read again")
    records.correct_row(
        frozen, records.RowChange("sheet", "S2", "heat_lot", "H2"), "Operator", "no change of lots here"
    )
    found = [entry.payload for entry in entries(records.load(frozen).journal, JournalKind.LOTS)]
    first = {"key": "lots.cylindrical", "old": "absent", "new": '["L1", "L2"]'}
    assert found == [first, {"key": "lots.cylindrical", "old": '["L1", "L2"]', "new": '["L1", "L3"]'}]


def test_lots_alone_can_be_amended_with_a_reason(frozen):
    edit(frozen, 'specimens = ["C1", "C2"]', 'specimens = ["C1", "C2"]\nlots = ["L1", "L2"]')
    assert records.amend(frozen, "Engineer", "label read") == [("lots.cylindrical", "absent", '["L1", "L2"]')]
    entry = entries(records.load(frozen).journal, JournalKind.LOTS)[0]
    assert (entry.who, entry.why) == ("Engineer", "label read")


@pytest.mark.parametrize(
    ("before", "after", "message"),
    [
        ("[plan]", '[plan]\nsettle = "120 %"', "plan.settle"),
        ("[plan]", '[plan]\nsettle = "soon"', "no number in 'soon'"),
        ("[plan]", "[costs]\nmachine_hour = -1\n[plan]", "costs.machine_hour"),
        ("[plan]", "[costs]\nmachine_hours = 1\n[plan]", "costs.machine_hours: unknown key"),
        ("[plan]", "[lives]\nfigures = { cylindrical = 40 }\n[plan]", "figures need their unit"),
        (
            "[plan]",
            '[lives]\nfigures = { round = 40 }\nunit = "hours"\nsource = "log book"\n[plan]',
            "nozzle 'round' is not among",
        ),
        ("[plan]", '[lives]\nsource = "log book"\n[plan]', "give one of them"),
        ('specimens = ["C1", "C2"]', 'specimens = ["C1", "C2"]\nlots = ["L1"]', "one entry per specimen"),
        ("[application]", 'units = "feet"\n\n[application]', "trial.units"),
        ("[application]", 'language = "German"\n\n[application]', "trial.language"),
    ],
)
def test_new_keys_are_checked(toml, before, after, message):
    with pytest.raises(InputError, match=message):
        parse(toml.replace(before, after, 1))


def test_new_keys_as_values(toml):
    text = toml.replace("[plan]", '[costs]\nsheet_m2 = 95.0\n[lives]\nfolder = "../lives"\n[plan]\nsettle = "80 %"')
    found = parse(text)
    assert (found.plan.settle, found.costs.sheet_m2, found.costs.gas_m3) == (0.8, 95.0, None)
    assert found.lives is not None and found.lives.folder == "../lives"
    assert parse(toml).trial.units == "metric" and parse(toml).trial.language == "en"
    kept = json.loads(json.dumps(records.costs_of(found)))
    assert kept["sheet_m2"] == 95.0 and kept["currency"] == "EUR"
    assert kept["nozzle_prices"] == {nozzle.type: nozzle.price for nozzle in found.nozzles}
    assert records.costs_of(parse(toml)) == {}


def test_a_chained_trial_of_schema_3_gets_the_column_of_bounds_with_its_next_entry(cut):
    with closing(sqlite3.connect(cut / "trial.db")) as connection, connection:
        connection.execute("UPDATE about SET value = '3' WHERE name = 'schema_version'")
    with pytest.raises(InputError, match="the records were damaged, or changed by another program"):
        records.load(cut)  # the version alone was changed
    with closing(sqlite3.connect(cut / "trial.db")) as connection, connection:
        connection.execute("ALTER TABLE readings DROP COLUMN beyond")
        connection.execute("ALTER TABLE readings DROP COLUMN measured_order")
        connection.execute("DROP TABLE repeat_marks")
    before = (cut / "trial.db").read_bytes()
    assert len(records.load(cut).cuts) == 8
    assert (cut / "trial.db").read_bytes() == before
    records.record_readings(cut, readings_table(("KX7", 1, "rz5_um", 30.0)))
    assert records.load(cut).readings["beyond"].tolist() == [""]
    assert check(cut).findings == ()


def test_a_trial_of_schema_4_opens_and_gets_second_marks_with_its_next_papers(cut):
    records.record_readings(cut, readings_table(("KX7", 1, "rz5_um", 30.0)))
    bound = records.load(cut).head
    with closing(sqlite3.connect(cut / "trial.db")) as connection, connection:
        connection.execute("UPDATE about SET value = '4' WHERE name = 'schema_version'")
        connection.execute("ALTER TABLE readings DROP COLUMN measured_order")
        connection.execute("DROP TABLE repeat_marks")
    before = (cut / "trial.db").read_bytes()
    old = records.load(cut)
    assert old.repeat_marks == {} and "measured_order" not in records.analysis_table(old, "roughness")
    assert (cut / "trial.db").read_bytes() == before and old.readings["value"].tolist() == [30.0]
    records.draw_marks(cut, ["ZN6"])
    found = records.load(cut)
    assert list(found.repeat_marks.values()) == ["ZN6"] and found.head != bound
