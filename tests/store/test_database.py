import hashlib
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pandas as pd
import pytest
from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateTable

from trials.errors import InputError
from trials.findings import Finding
from trials.plan.kinds import PlanKind
from trials.record_kinds import JournalKind
from trials.store import records as store
from trials.store.records import schema
from trials.store.records.corrections import ReadingPlace
from trials.store.records.journal import entries
from trials.store.records.migrations import transaction
from trials.store.records.reading_columns import READING_COLUMNS
from trials.words.findings import say

SAID = Finding(PlanKind.AS_WRITTEN, facts={"text": "Said by the planner."})


def digest(folder):
    return hashlib.sha256((folder / "trial.db").read_bytes()).hexdigest()


def long(*rows):
    """(coupon, reading, field, value) or with repeat as the fifth."""
    filled = [
        {"repeat": 0, **dict(zip(("coupon", "reading", "field", "value", "repeat"), r, strict=False))} for r in rows
    ]
    return pd.DataFrame(filled).reindex(columns=READING_COLUMNS)


def cut_rows(*rows):
    names = ("coupon", "cut_order", "outcome", "mount", "sheet", "changed_setting", "note")
    return pd.DataFrame([dict(zip(names, row, strict=False)) for row in rows], columns=names)


def edit(folder, old, new):
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def test_a_folder_before_freezing_has_empty_tables_with_all_columns(folder):
    records = store.load(folder)
    assert not records.frozen
    assert list(records.coupons.columns) == [
        *("coupon", "order", "sheet", "mount", "nozzle", "specimen", "pressure_bar", "gas_purity_class", "block")
    ]
    assert all(len(getattr(records, name)) == 0 for name in ("coupons", "mounts", "cuts", "readings", "journal"))
    assert list(records.looks.columns)[:4] == ["look", "at", "declared", "summary_json"]


def test_freezing_keeps_the_plan_as_given(folder, plan, at):
    records = store.freeze(folder, plan, [SAID], at=at)
    given = plan["coupons"]
    for name in given.columns:
        assert records.coupons[name].tolist() == given[name].tolist(), name
    assert records.coupons["block"].tolist() == [1] * 8
    assert records.mounts["specimen"].tolist() == ["D1", "C1", "C2", "D2"]
    assert records.sheets["sheet"].tolist() == ["S1", "S2"]
    assert records.journal["kind"].tolist() == ["frozen", "plan"]
    assert records.journal["what"].tolist() == ["8 coupons, 4 mounts, 2 sheets", "Said by the planner."]
    assert [e.payload["finding"]["kind"] for e in entries(records.journal, JournalKind.PLAN)] == ["as_written"]
    assert records.frozen_at == "2026-03-02T08:30:00+00:00"
    assert not list(folder.glob("*.new"))


def test_moments_are_kept_in_utc(folder, plan):
    east = datetime(2026, 3, 2, 1, 30, tzinfo=timezone(timedelta(hours=3)))
    assert store.freeze(folder, plan, at=east).frozen_at == "2026-03-01T22:30:00+00:00"


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda p: p.pop("coupons"), "the plan holds no coupons"),
        (lambda p: p["coupons"].pop("pressure_bar"), "lack pressure_bar"),
        (lambda p: p["coupons"].__setitem__("coupon", ["A"] * 8), "a coupon is planned twice; found 'A'"),
        (lambda p: p["coupons"].__setitem__("mount", ["M9"] * 8), "a mount that is not planned; found 'M9'"),
        (
            lambda p: p["coupons"].__setitem__("nozzle", ["round"] * 8),
            "nozzle type is not in trial.toml; found 'round'",
        ),
    ],
)
def test_a_plan_that_does_not_fit_is_refused_and_nothing_written(folder, plan, change, message):
    change(plan)
    with pytest.raises(InputError, match=message):
        store.freeze(folder, plan)
    assert sorted(path.name for path in folder.iterdir()) == ["trial.toml"]


def test_freezing_twice_is_refused(frozen, plan):
    before = digest(frozen)
    with pytest.raises(InputError, match="frozen already.*trials amend"):
        store.freeze(frozen, plan)
    assert digest(frozen) == before


def test_no_trial_folder(tmp_path):
    with pytest.raises(InputError, match=r"not a trial folder \(it holds no trial.toml\).*`trials new`"):
        store.load(tmp_path)
    with pytest.raises(InputError, match="not a trial folder"):
        store.load(tmp_path / "missing")


def test_recording_before_a_plan_is_frozen(folder):
    with pytest.raises(InputError, match="no plan is frozen yet.*`trials plan`"):
        store.record_as_planned(folder)


def test_a_damaged_database_is_one_line(frozen):
    (frozen / "trial.db").write_bytes(b"not a database at all" * 100)
    with pytest.raises(InputError, match="not a trial database, or damaged"):
        store.load(frozen)


def test_a_change_of_the_question_without_amendment_is_named(frozen):
    edit(frozen, "seed = 20417", "seed = 20418")
    for call in (store.load, store.record_as_planned):
        with pytest.raises(InputError, match=r"plan.seed: 20417 -> 20418.*`trials amend`"):
            call(frozen)


def test_title_price_and_notes_need_no_amendment(frozen):
    edit(frozen, 'title = "12 mm mild steel, oxygen"', 'title = "Another title"')
    edit(frozen, "price = 9.0", "price = 9.5")
    assert store.load(frozen).trial.trial.title == "Another title"
    with pytest.raises(InputError, match="nothing that was frozen has changed"):
        store.amend(frozen, "Engineer", "no reason")


def test_an_amendment_is_journalled_and_adopted(frozen, at):
    edit(frozen, "seed = 20417", "seed = 7")
    edit(frozen, "dross_grade = 1", "dross_grade = 2")
    changed = store.amend(frozen, "Engineer", "customer agreed", at=at)
    assert changed == [("application.required.dross_grade", "1", "2"), ("plan.seed", "20417", "7")]
    lines = store.load(frozen).journal.query("kind == 'amended'")
    assert lines["what"].tolist() == ["application.required.dross_grade: 1 -> 2", "plan.seed: 20417 -> 7"]
    assert set(lines["why"]) == {"customer agreed"}
    assert set(lines["who"]) == {"Engineer"}
    assert store.load(frozen).frozen_at == "2026-03-02T08:30:00+00:00"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('type = "double"', 'type = "twin"', "nozzle type 'double'"),
        ('specimens = ["D1", "D2"]', 'specimens = ["D1", "D3"]', "specimen 'D2'"),
        ("[factors.pressure]", "[factors.gas_pressure]", "factor 'gas_pressure_bar'"),
    ],
)
def test_an_amendment_must_not_orphan_coupons(cut, old, new, message):
    edit(cut, old, new)
    before = digest(cut)
    with pytest.raises(InputError, match=message):
        store.amend(cut, "Engineer", "reason")
    assert digest(cut) == before


def test_an_amendment_needs_who_and_why(frozen):
    edit(frozen, "seed = 20417", "seed = 7")
    with pytest.raises(InputError, match="a name and a reason"):
        store.amend(frozen, "", "reason")


def test_cut_as_planned(cut):
    records = store.load(cut)
    assert records.cuts["coupon"].tolist() == records.coupons["coupon"].tolist()
    assert set(records.cuts["outcome"]) == {"cut"}
    assert records.cuts["mount"].tolist() == records.coupons["mount"].tolist()
    again = store.record_as_planned(cut)
    assert (again.added, again.ignored) == (0, 8)


def test_equal_cut_records_are_ignored_and_others_refused(frozen, at):
    rows = cut_rows(("KX7", 1, "cut", "", "", "pressure_bar = 0.6", ""), ("B2M", 2, "not_severed"))
    assert store.record_cuts(frozen, rows, at=at).added == 2
    assert store.load(frozen).cuts["changed_setting"].tolist() == ["pressure_bar=0.6", ""]
    again = store.record_cuts(frozen, rows, at=at)
    assert (again.added, again.ignored) == (0, 2)
    assert [say(one) for one in again.said] == ["2 cut records were already there and equal; ignored."]
    before = digest(frozen)
    other = cut_rows(("QF4", 3, "cut"), ("KX7", 1, "aborted", "", "", "pressure_bar=0.6", ""))
    with pytest.raises(InputError, match="KX7 is on record with outcome cut; found 'aborted'.*`trials correct`"):
        store.record_cuts(frozen, other)
    assert digest(frozen) == before


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (("KX8", 1, "cut"), "unknown coupon; found 'KX8'. Did you mean 'KX7'"),
        (("KX7", 1, "fine"), "unknown outcome; found 'fine'; allowed: cut, not_severed, aborted, scrapped"),
        (("KX7", None, "cut"), "no place in the cutting order"),
        (("KX7", 1, "cut", "M7"), "unknown mount; found 'M7'"),
        (("KX7", 1, "cut", "", "S7"), "unknown sheet; found 'S7'"),
        (("KX7", 1, "cut", "", "", "presure_bar=0.6"), "unknown setting; found 'presure_bar'"),
        (("KX7", 2, "cut"), "place 2 in the cutting order is taken by coupon B2M"),
    ],
)
def test_a_bad_cut_record_writes_nothing(frozen, row, message):
    store.record_cuts(frozen, cut_rows(("B2M", 2, "cut")))
    before = digest(frozen)
    with pytest.raises(InputError, match=re.escape(message)):
        store.record_cuts(frozen, cut_rows(("QF4", 3, "cut"), row))
    assert digest(frozen) == before


def test_mounts_gain_details_but_never_change(frozen, at):
    first = pd.DataFrame([{"mount": "M1", "centring_checked": "yes"}])
    store.record_cuts(frozen, cut_rows(), mounts=first, at=at)
    more = pd.DataFrame([{"mount": "M1", "centring_checked": "yes", "window_changed": "yes", "pierces_before": 40}])
    store.record_cuts(frozen, cut_rows(), mounts=more, sheets=pd.DataFrame([{"sheet": "S1", "heat_lot": "H1"}]), at=at)
    records = store.load(frozen)
    mount = records.mounts.set_index("mount").loc["M1"]
    assert (mount["centring_checked"], mount["window_changed"], mount["pierces_before"]) == ("yes", "yes", 40)
    assert (mount["nozzle"], mount["specimen"]) == ("double", "D1")
    assert records.sheets["heat_lot"].tolist() == ["H1", ""]
    before = digest(frozen)
    with pytest.raises(InputError, match="M1 is on record with centring_checked yes; found 'no'"):
        store.record_cuts(frozen, cut_rows(), mounts=pd.DataFrame([{"mount": "M1", "centring_checked": "no"}]))
    assert digest(frozen) == before


def test_a_nozzle_fitted_again_is_a_new_mount(frozen):
    again = pd.DataFrame([{"mount": "M9", "nozzle": "double", "specimen": "D1", "sheet": "S1"}])
    store.record_cuts(frozen, cut_rows(("KX7", 1, "cut", "M1"), ("B2M", 2, "cut", "M9")), mounts=again)
    records = store.load(frozen)
    assert records.mounts["mount"].tolist() == ["M1", "M2", "M3", "M4", "M9"]
    assert records.cuts["mount"].tolist() == ["M1", "M9"]


@pytest.mark.parametrize(
    ("mount", "message"),
    [
        ({"mount": "M9"}, "mount M9 has no nozzle type"),
        (
            {"mount": "M9", "nozzle": "dubble", "specimen": "D1"},
            "unknown nozzle type; found 'dubble'.*Did you mean 'double'",
        ),
        (
            {"mount": "M9", "nozzle": "double", "specimen": "C1"},
            "unknown specimen of double; found 'C1'; allowed: D1, D2",
        ),
    ],
)
def test_a_mount_must_hold_a_known_nozzle(frozen, mount, message):
    with pytest.raises(InputError, match=message):
        store.record_cuts(frozen, cut_rows(), mounts=pd.DataFrame([mount]))


def test_readings_are_kept_once_and_never_overwritten(cut, at):
    rows = long(("KX7", 1, "rz5_um", 31.5), ("KX7", 1, "u_mm", 0.12), ("KX7", 1, "rz5_um", 30.9, 1))
    assert store.record_readings(cut, rows, who="Inspector", at=at).added == 3
    again = store.record_readings(cut, rows, at=at)
    assert (again.added, again.ignored) == (0, 3)
    before = digest(cut)
    with pytest.raises(InputError, match="KX7, reading 1 is on record with 31.5; found 32.0.*never overwritten"):
        store.record_readings(cut, long(("B2M", 1, "rz5_um", 30.0), ("KX7", 1, "rz5_um", 32.0)))
    assert digest(cut) == before
    assert len(store.load(cut).readings) == 3


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (("ZZZ", 1, "rz5_um", 30.0), "unknown coupon; found 'ZZZ'"),
        (("QF4", 1, "rz5_um", 30.0), "a coupon that is not recorded as cut; found 'QF4'"),
        (("B2M", 1, "rz5_um", 30.0), "a coupon recorded as not_severed"),
        (("KX7", 1, "rz_um", 30.0), "unknown field; found 'rz_um'.*Did you mean 'rz5_um'"),
        (("KX7", 1, "rz5_um", -1.0), "negative value; found -1.0"),
        (("KX7", 1, "rz5_um", float("nan")), "not a finite number"),
        (("KX7", 1, "dross_grade", 1.5), "a grade is a whole number"),
    ],
)
def test_a_bad_reading_writes_nothing(frozen, row, message):
    store.record_cuts(frozen, cut_rows(("KX7", 1, "cut"), ("B2M", 2, "not_severed")))
    before = digest(frozen)
    with pytest.raises(InputError, match=message):
        store.record_readings(frozen, long(("KX7", 2, "rz5_um", 30.0), row))
    assert digest(frozen) == before


def test_a_mix_of_cutoffs_is_refused_against_what_is_stored(cut):
    rows = long(("KX7", 1, "rz5_um", 31.5))
    store.record_readings(cut, rows.assign(cutoff_mm=2.5))
    with pytest.raises(InputError, match="cut-offs are mixed: other roughness readings of this trial have 2.5 mm"):
        store.record_readings(cut, long(("B2M", 1, "rz5_um", 30.0)).assign(cutoff_mm=0.8))


def test_a_correction_is_a_new_row_that_names_the_old_one(cut, at):
    store.record_readings(cut, long(("KX7", 1, "rz5_um", 315.0), ("KX7", 2, "rz5_um", 30.0)), at=at)
    store.correct(cut, ReadingPlace("KX7", "rz5_um", 1), 31.5, "Inspector", "decimal point", at=at)
    records = store.load(cut)
    assert records.readings["value"].tolist() == [30.0, 31.5]
    assert records.all_readings["value"].tolist() == [315.0, 30.0, 31.5]
    assert records.all_readings["replaces"].tolist()[2] == 1
    line = records.journal.iloc[-1]
    assert line["kind"] == "reading corrected"
    assert line["what"] == "coupon KX7, reading 1, Rz5: 315 µm -> 31.5 µm"
    assert (line["who"], line["why"]) == ("Inspector", "decimal point")


def test_reading_0_is_the_only_one(cut):
    store.record_readings(cut, long(("KX7", 1, "dross_grade", 3), ("KX7", 1, "u_mm", 0.1), ("KX7", 2, "u_mm", 0.2)))
    store.correct(cut, ReadingPlace("KX7", "dross_grade", 0), 1, "Inspector", "brushed first")
    assert store.load(cut).journal.iloc[-1]["what"] == "coupon KX7, reading 1, dross grade: 3 -> 1"
    with pytest.raises(InputError, match="no such reading of u_mm; found 0; allowed: 1, 2"):
        store.correct(cut, ReadingPlace("KX7", "u_mm", 0), 0.3, "Inspector", "which one?")


def test_a_reading_can_be_withdrawn_and_typed_again(cut):
    store.record_readings(cut, long(("KX7", 1, "u_mm", 0.2), ("B2M", 1, "u_mm", 0.1)))
    store.correct(cut, ReadingPlace("KX7", "u_mm", 1), None, "Inspector", "belongs to QF4")
    assert store.load(cut).readings["coupon"].tolist() == ["B2M"]
    store.record_readings(cut, long(("KX7", 1, "u_mm", 0.15)))
    assert store.load(cut).readings["value"].tolist() == [0.1, 0.15]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("KX7", 2, "rz5_um", 31.0, "I", "w"), "no such reading of rz5_um; found 2; allowed: 1"),
        (("KX7", 1, "rz", 31.0, "I", "w"), "unknown field"),
        (("KX7", 1, "rz5_um", -3.0, "I", "w"), "negative value"),
        (("KX7", 1, "rz5_um", 30.0, "I", "w"), "equals the one on record"),
        (("KX7", 1, "rz5_um", 31.0, "I", " "), "a name and a reason"),
        (("KQ7", 1, "rz5_um", 31.0, "I", "w"), "unknown coupon"),
    ],
)
def test_a_bad_correction_writes_nothing(cut, arguments, message):
    store.record_readings(cut, long(("KX7", 1, "rz5_um", 30.0)))
    before = digest(cut)
    with pytest.raises(InputError, match=message):
        mark, reading, field, value, who, why = arguments
        store.correct(cut, ReadingPlace(mark, field, reading), value, who, why)
    assert digest(cut) == before


def test_cut_mount_and_sheet_records_are_corrected_the_same_way(cut, at):
    store.correct_row(
        cut, store.RowChange("coupon", "KX7", "outcome", "not_severed"), "Operator", "found hanging", at=at
    )
    store.correct_row(cut, store.RowChange("mount", "M2", "window_changed", "Y"), "Operator", "forgotten", at=at)
    store.correct_row(cut, store.RowChange("sheet", "S1", "heat_lot", "H77"), "Operator", "label read again", at=at)
    records = store.load(cut)
    assert dict(zip(records.cuts["coupon"], records.cuts["outcome"], strict=True))["KX7"] == "not_severed"
    assert records.mounts.set_index("mount").loc["M2", "window_changed"] == "yes"
    assert records.sheets.set_index("sheet").loc["S1", "heat_lot"] == "H77"
    assert len(records.all_cuts) == 9
    assert records.journal["what"].tolist()[-3:] == [
        "coupon KX7, outcome: cut -> not_severed",
        "mount M2, window changed: empty -> yes",
        "sheet S1, heat lot: empty -> H77",
    ]


@pytest.mark.parametrize(
    ("column", "value", "message"),
    [
        ("outcome", "lost", "unknown outcome"),
        ("colour", "red", "unknown column; found 'colour'; allowed: rz5_um, u_mm, dross_grade, cut_order,"),
        ("cut_order", "first", "not a number"),
        ("cut_at", "yesterday", "not a date"),
        ("outcome", "cut", "equals the one on record"),
    ],
)
def test_a_bad_correction_of_a_cut_record(cut, column, value, message):
    before = digest(cut)
    with pytest.raises(InputError, match=message):
        store.correct_row(cut, store.RowChange("coupon", "KX7", column, value), "Operator", "reason")
    assert digest(cut) == before


def test_suspected_slips_stay_open_until_confirmed_or_corrected(cut, at):
    from trials.store.records.slips import open_slips

    rows = long(*(("KX7", i, "rz5_um", v) for i, v in enumerate((31.0, 33.0, 320.0), 1)))
    rows = pd.concat([rows, long(*(("B2M", i, "rz5_um", v) for i, v in enumerate((28.0, 2.9, 30.0), 1)))])
    done = store.record_readings(cut, rows, at=at)
    assert [(slip.coupon, slip.reading) for slip in done.slips] == [("KX7", 3), ("B2M", 2)]
    assert store.record_readings(cut, rows, at=at).slips == ()
    store.confirm_slips(cut, "Inspector", "measured again", ["B2M"], at=at)
    assert [slip.coupon for slip in open_slips(store.load(cut))] == ["KX7"]
    store.correct(cut, ReadingPlace("KX7", "rz5_um", 3), 32.0, "Inspector", "decimal point", at=at)
    assert open_slips(store.load(cut)) == []
    assert store.load(cut).journal["kind"].tolist()[-2:] == ["slip confirmed", "reading corrected"]
    with pytest.raises(InputError, match="no suspected slip to confirm"):
        store.confirm_slips(cut, "Inspector", "again")


def test_slips_can_be_confirmed_while_recording(cut):
    from trials.store.records.slips import open_slips

    rows = long(*(("KX7", i, "rz5_um", v) for i, v in enumerate((31.0, 33.0, 320.0), 1)))
    assert len(store.record_readings(cut, rows, who="Inspector", confirm_slips=True).slips) == 1
    assert open_slips(store.load(cut)) == []


def test_a_block_extends_the_trial(cut, plan, at):
    more = plan["coupons"].iloc[:2].assign(coupon=["NN1", "NN2"], order=[9, 10], mount="M5", sheet="S3")
    mounts = pd.DataFrame([{"mount": "M5", "nozzle": "double", "specimen": "D1", "order": 5, "sheet": "S3"}])
    block = store.add_block(cut, more, mounts, pd.DataFrame({"sheet": ["S3"]}), False, "not settled", at=at)
    records = store.load(cut)
    assert block == 2
    assert records.coupons["block"].tolist() == [1] * 8 + [2] * 2
    assert records.sheets["sheet"].tolist() == ["S1", "S2", "S3"]
    assert records.journal.iloc[-1]["what"] == "block 2, 2 coupons, not declared before cutting"
    assert store.record_as_planned(cut).added == 2
    with pytest.raises(InputError, match="a coupon is planned twice; found 'NN1'"):
        store.add_block(cut, more, None, None, True, "again")


def test_two_writers_do_not_mix(cut, monkeypatch):
    with transaction(cut / "trial.db", writes=True) as connection:
        monkeypatch.setattr(schema, "PATIENCE", 0.1)
        engine = schema.engine_for_file(str(cut / "trial.db")).execution_options(writes=True)
        with pytest.raises(Exception, match="locked"), engine.begin():
            pass
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1


def test_the_schema_is_portable():
    for table in schema.metadata.sorted_tables:
        assert "CREATE TABLE" in str(CreateTable(table).compile(dialect=postgresql.dialect()))


def test_records_are_frozen(cut):
    records = store.load(cut)
    with pytest.raises(AttributeError):
        records.frozen = False
    assert replace(records, frozen=False).frozen is False


def test_naive_moments_count_as_utc(folder, plan):
    assert store.freeze(folder, plan, at=datetime(2026, 1, 2, 3, 4)).frozen_at == "2026-01-02T03:04:00+00:00"
    assert datetime.fromisoformat(store.load(folder).frozen_at).tzinfo == UTC
