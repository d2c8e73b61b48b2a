"""What a user does to records, as a notebook does it: each step returns a frozen result and is the only door."""

import re
import shutil
from dataclasses import FrozenInstanceError, is_dataclass

import pandas as pd
import pytest
from tests_support import TRIAL_TEXT

import trials
from trials.errors import InputError
from trials.record_kinds import JournalKind, RecordKind, Step
from trials.steps.correct import change
from trials.store import records
from trials.words import language

HEADER = "coupon,reading,rz5_um,u_mm,dross_grade\n"


@pytest.fixture(scope="module")
def frozen_template(tmp_path_factory):
    place = tmp_path_factory.mktemp("steps") / "trial"
    place.mkdir()
    (place / "trial.toml").write_text(TRIAL_TEXT, encoding="utf-8")
    trials.freeze(place, trials.propose(trials.load(place).trial))
    return place


@pytest.fixture
def frozen(frozen_template, tmp_path):
    return shutil.copytree(frozen_template, tmp_path / "trial")


@pytest.fixture
def cut(frozen):
    trials.cut_as_planned(frozen, "Operator")
    return frozen


def marks(folder):
    return trials.load(folder).coupons["coupon"].tolist()


def readings(folder, name="readings.csv", value=30.0, coupons=None, count=3):
    rows = [f"{c},{i},{value + i},0.1,1" for c in coupons or marks(folder) for i in range(1, count + 1)]
    path = folder / name
    path.write_text(HEADER + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_cutting_from_files_by_what_their_header_names(frozen, tmp_path):
    first, second = marks(frozen)[:2]
    cuts, mounts = tmp_path / "a.csv", tmp_path / "b.csv"
    cuts.write_text(f"coupon,outcome,cut_order\n{first},cut,1\n{second},not_severed,2\n", encoding="utf-8")
    mount = trials.load(frozen).mounts["mount"].iloc[0]
    mounts.write_text(f"mount,centring_checked\n{mount},yes\n", encoding="utf-8")
    done = trials.cut(frozen, [cuts, mounts], "Operator")
    assert (done.added, done.known, done.remarks) == (2, 0, ())
    assert trials.load(frozen).mounts.set_index("mount").loc[mount, "centring_checked"] == "yes"
    again = trials.cut(frozen, [cuts], "Operator")
    assert (again.added, again.known) == (0, 2)
    assert [finding.kind for finding in again.remarks] == [RecordKind.CUTS_KNOWN]
    with pytest.raises(InputError, match="no table of cuts among the files"):
        trials.cut(frozen, [mounts])
    other = tmp_path / "c.csv"
    other.write_text("name,value\na,1\n", encoding="utf-8")
    with pytest.raises(InputError, match="not a table of cuts, mounts or sheets; found 'name, value'"):
        trials.cut(frozen, [other])


def test_recording_says_what_to_look_at_again(cut):
    path = readings(cut)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(",33.0,", ",330.0,", 1), encoding="utf-8")
    done = trials.record(cut, path, "AB")
    assert done.added == 7 * len(marks(cut))  # three of roughness, three of squareness, one grade
    assert [(s.kind, s.facts["reading"]) for s in done.slips] == [(RecordKind.SLIP, 3)]
    assert done.slips[0].about.coupons == (marks(cut)[0],)
    assert [finding.kind for finding in done.remarks] == [RecordKind.EQUAL_CELLS]
    assert trials.record(cut, path).added == 0


def test_correcting_each_kind_of_record(cut):
    trials.record(cut, readings(cut))
    mark, found = marks(cut)[0], trials.load(cut)
    mount, sheet = found.mounts["mount"].iloc[0], found.sheets["sheet"].iloc[0]
    assert trials.correct(cut, trials.Correction(mark, "rz5_um", "35.5", reading=2), "AB", "typed wrong").rows == 1
    trials.correct(cut, trials.Correction(mark, "u_mm", reading=1, withdraw=True), "AB", "other coupon")
    trials.correct(cut, trials.Correction(mark, "note", "hung", of="coupon"), "AB", "seen later")
    trials.correct(cut, trials.Correction(mount, "window_changed", "yes", of="mount"), "AB", "forgotten")
    trials.correct(cut, trials.Correction(sheet, "heat_lot", "H7", of="sheet"), "AB", "label")
    corrected = [entry.payload for entry in records.entries(trials.load(cut).journal) if entry.why]
    assert [(p["old"], p["new"]) for p in corrected] == [
        (32.0, 35.5),
        (0.1, None),
        ("", "hung"),
        ("", "yes"),
        ("", "H7"),
    ]


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (trials.Correction("X", "rz5_um", "3", of="nozzle"), "unknown kind of record.*found 'nozzle'"),
        (trials.Correction("X", "", "3"), "the column to correct is missing"),
        (trials.Correction("X", "rz5_um", "about 3"), "not a number; found 'about 3'"),
        (trials.Correction("X", "rz5_um", "nan"), "not a number; found 'nan'"),
        (trials.Correction("X", "rz5_um", "3"), "unknown coupon"),
    ],
)
def test_a_correction_that_cannot_be_made(cut, asked, message):
    with pytest.raises(InputError, match=message):
        trials.correct(cut, asked, "AB", "reason")


def test_confirming_a_flagged_reading(cut):
    mark = marks(cut)[0]
    path = cut / "r.csv"
    path.write_text("coupon,reading,rz5_um\n" + "".join(f"{mark},{i},{v}\n" for i, v in enumerate((30, 31, 320), 1)))
    trials.record(cut, path)
    done = trials.confirm(cut, mark, "AB", "a notch")
    assert [finding.kind for finding in done.confirmed] == [RecordKind.SLIP]
    assert trials.status(cut).open[-1].kind != RecordKind.SLIP
    entry = records.entries(trials.load(cut).journal, JournalKind.SLIP_CONFIRMED)[0]
    assert (entry.payload["coupon"], entry.payload["value"], entry.why) == (mark, 320.0, "a notch")


def test_amending(frozen):
    path = frozen / "trial.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("dross_grade = 1", "dross_grade = 2"), encoding="utf-8")
    done = trials.amend(frozen, "A. Tester", "customer agreed")
    assert [(c.key, c.old, c.new) for c in done.changes] == [("application.required.dross_grade", "1", "2")]
    with pytest.raises(InputError, match="nothing that was frozen has changed"):
        trials.amend(frozen, "A. Tester", "again")


def test_the_register_of_instruments(cut):
    path = cut / "r.csv"
    path.write_text(f"coupon,reading,rz5_um,instrument,measured_on\n{marks(cut)[0]},1,30,stylus 4,2026-03-03\n")
    trials.record(cut, path)
    assert trials.register(cut) == trials.steps.instrument.Register((), ())
    late = trials.Instrument("stylus 4", "2026-03-10", "", {"rz5_um": 2.0}, "")
    found = trials.enter_instrument(cut, late, "AB")
    assert (found.entered, found.instruments) == (True, (late,))
    assert [(d.kind, d.facts["last"]) for d in found.doubts] == [(RecordKind.CALIBRATION_OPEN, "2026-03-03")]
    assert trials.enter_instrument(cut, late, "AB").entered is False


def test_adopting_a_table(tmp_path):
    table = tmp_path / "t.csv"
    rows = [f"{t},{p},{30 + i}" for i, (t, p) in enumerate([("old", "a"), ("old", "b"), ("new", "c"), ("new", "d")])]
    table.write_text("type,piece,rz5_um\n" + "\n".join(rows) + "\n", encoding="utf-8")
    said = trials.Adoption(trials.Keys(("type",), ("piece",)), "old", ("rz5_um",))
    done = trials.adopt(tmp_path / "trial", table, said, "AB")
    assert (done.coupons, done.readings) == (4, 4)
    assert [finding.kind for finding in done.remarks] == [RecordKind.ORDER_NOT_RANDOM, RecordKind.WORTHWHILE_ASSUMED]
    assert trials.status(done.folder).next.command.name == "verdict"


def test_status_on_the_way(frozen, tmp_path):
    fresh = tmp_path / "fresh"
    fresh.mkdir()
    (fresh / "trial.toml").write_text(TRIAL_TEXT, encoding="utf-8")
    found = trials.status(fresh)
    assert ([s.step for s in found.steps], found.next.command.name) == ([Step.PLAN], "plan")
    assert trials.status(frozen).next.command.name == "sheet"
    mark = marks(frozen)[0]
    (frozen / "c.csv").write_text(f"coupon,outcome,cut_order\n{mark},scrapped,1\n", encoding="utf-8")
    trials.cut(frozen, [frozen / "c.csv"])
    found = trials.status(frozen)
    assert found.next.command.name == "cut" and found.next.instead is not None
    assert [(f.kind, f.facts["coupons"]) for f in found.open] == [(RecordKind.COUPONS_OPEN, 53)]
    assert dict(found.steps[1].facts) == {"scrapped": 1} and found.steps[1].done == 1
    trials.cut_as_planned(frozen)
    found = trials.status(frozen)
    assert found.next.command.name == "record"
    open_of = {f.kind: f for f in found.open if f.kind is RecordKind.WITHOUT_READINGS}
    assert len(open_of[RecordKind.WITHOUT_READINGS].about.coupons) == 53
    assert [f.facts["open"] for f in found.open if f.kind is RecordKind.READINGS_OPEN] == [159, 159, 53]
    trials.record(frozen, readings(frozen, coupons=marks(frozen)[1:]))
    found = trials.status(frozen)
    assert (found.open, found.next.command.name) == ((), "verdict")
    assert (found.steps[2].done, found.steps[2].of, found.steps[2].facts["values"]) == (53, 53, 53 * 7)
    assert [(b.block, b.coupons, b.cut, b.declared) for b in found.blocks] == [(1, 54, 54, None)]


def test_status_points_to_the_flagged_reading(cut):
    path = readings(cut)
    path.write_text(path.read_text(encoding="utf-8").replace(",33.0,", ",330.0,", 1), encoding="utf-8")
    trials.record(cut, path)
    found = trials.status(cut).next
    mark = marks(cut)[0]
    assert (found.command.name, found.coupon) == ("correct", mark)
    assert found.command.arguments[:6] == (str(cut), mark, "rz5_um", "VALUE", "--reading", "3")
    assert found.instead is not None and "--as-read" in found.instead.arguments


def test_results_are_frozen(cut):
    for result in (trials.status(cut), trials.record(cut, readings(cut)), trials.register(cut)):
        assert is_dataclass(result)
        with pytest.raises(FrozenInstanceError):
            setattr(result, next(iter(vars(result))), None)


def test_no_step_reads_a_sentence(cut):
    """With every sentence replaced, all values of status stay; only words change."""
    from trials.cli.standing import status_json

    def without_words(value):
        if isinstance(value, dict):
            return {k: without_words(v) for k, v in value.items() if k not in ("words", "note")}
        return [without_words(v) for v in value] if isinstance(value, list) else value

    trials.record(cut, readings(cut, coupons=marks(cut)[:9]))
    plain = status_json(trials.status(cut))
    nonsense = language.Language("xx", lambda t: f"zz {t}", lambda one, many, n: f"zz {many}")
    with language.speaking(nonsense):
        said = status_json(trials.status(cut))
    assert plain["schema"] == 2 and plain["next"]["command"]["name"] == "record"
    assert without_words(said) == without_words(plain)
    assert said["missing"][0]["words"].startswith("zz ") and said != plain


def test_a_corrected_or_withdrawn_reading_stands_against_an_older_file(cut):
    path, mark = readings(cut), marks(cut)[0]
    trials.record(cut, path)
    trials.correct(cut, trials.Correction(mark, "rz5_um", "35,5", reading=2), "AB", "typed wrong")
    trials.correct(cut, trials.Correction(mark, "u_mm", reading=1, withdraw=True), "AB", "other coupon")
    before = trials.load(cut).readings
    again = trials.record(cut, path)
    stands = {finding.kind: finding.facts for finding in again.remarks if "stands" in finding.kind}
    assert again.added == 0
    assert trials.load(cut).readings.equals(before)
    corrected, withdrawn = stands[RecordKind.CORRECTION_STANDS], stands[RecordKind.WITHDRAWAL_STANDS]
    assert [corrected[key] for key in ("mark", "reading", "column", "found", "kept", "row")] == [
        *(mark, 2, "rz5_um", 32.0, 35.5, 3)
    ]
    assert [withdrawn[key] for key in ("mark", "reading", "column", "kept", "row")] == [mark, 1, "u_mm", None, 2]


def test_a_withdrawn_reading_that_is_measured_anew_is_not_restored_beside_it(cut):
    mark = marks(cut)[0]
    trials.record(cut, readings(cut, count=1))
    trials.correct(cut, trials.Correction(mark, "rz5_um", reading=1, withdraw=True), "AB", "other coupon")
    path = cut / "anew.csv"
    path.write_text(f"coupon,reading,rz5_um\n{mark},1,44\n", encoding="utf-8")
    assert trials.record(cut, path).added == 1
    with pytest.raises(InputError, match="no such withdrawn reading"):
        trials.correct(cut, trials.Correction(mark, "rz5_um", reading=1, restore=True), "AB", "slip")


def test_a_corrected_cut_stands_against_an_older_file(cut, tmp_path):
    mark, order = marks(cut)[0], int(trials.load(cut).cuts["cut_order"].iloc[0])
    path = tmp_path / "cuts.csv"
    path.write_text(f"coupon,outcome,cut_order\n{mark},cut,{order}\n", encoding="utf-8")
    trials.correct(cut, trials.Correction(mark, "outcome", "not_severed"), "AB", "hung")
    again = trials.cut(cut, [path])
    assert [(f.kind, f.facts["found"], f.facts["kept"]) for f in again.remarks if "stands" in f.kind] == [
        (RecordKind.CORRECTION_STANDS, "cut", "not_severed")
    ]
    assert trials.load(cut).cuts.set_index("coupon").loc[mark, "outcome"] == "not_severed"


def test_a_withdrawn_reading_is_restored_with_its_value_or_another(cut):
    mark = marks(cut)[0]
    trials.record(cut, readings(cut))
    withdraw = trials.Correction(mark, "rz5_um", reading=2, withdraw=True)
    restore = trials.Correction(mark, "rz5_um", reading=2, restore=True)
    trials.correct(cut, withdraw, "AB", "other coupon")
    with pytest.raises(InputError, match="bring it back with --restore"):
        trials.correct(cut, trials.Correction(mark, "rz5_um", "33", reading=2), "AB", "again")
    asked = change(cut, restore)
    assert (asked.old, asked.new) == (None, 32.0)
    trials.correct(cut, restore, "AB", "it was this one")
    kept = trials.load(cut).readings
    assert kept[(kept["coupon"] == mark) & (kept["reading"] == 2)].set_index("field").loc["rz5_um", "value"] == 32.0
    with pytest.raises(InputError, match="no such withdrawn reading"):
        trials.correct(cut, restore, "AB", "twice")


def test_a_correction_takes_units_decimal_commas_and_details_of_a_reading(cut):
    mark = marks(cut)[0]
    trials.record(cut, readings(cut))
    trials.correct(cut, trials.Correction(mark, "Rz5_uin", "1400", reading=2), "AB", "in inches")
    shown = change(cut, trials.Correction(mark, "inspector", "CD", reading=2))
    assert (shown.old, shown.new) == ("", "CD")
    trials.correct(cut, trials.Correction(mark, "inspector", "CD", reading=2), "AB", "another hand")
    trials.correct(cut, trials.Correction(mark, "side", "left", reading=2), "AB", "forgotten")
    trials.correct(cut, trials.Correction(mark, "instrument", "stylus 4", reading=2), "AB", "forgotten")
    kept = trials.load(cut).readings
    mine = kept[(kept["coupon"] == mark) & (kept["reading"] == 2)]
    assert mine.set_index("field").loc["rz5_um", "value"] == 35.56
    assert set(zip(mine["inspector"], mine["side"], mine["instrument"], strict=True)) == {("CD", "left", "stylus 4")}
    others = kept[(kept["coupon"] == mark) & (kept["reading"] == 1)]
    assert set(others["inspector"]) == {""}


def test_an_empty_value_withdraws_nothing(cut):
    mark = marks(cut)[0]
    trials.record(cut, readings(cut))
    with pytest.raises(InputError, match="right value is missing.*--withdraw"):
        trials.correct(cut, trials.Correction(mark, "rz5_um", reading=1), "AB", "slip")
    assert len(trials.load(cut).readings) == len(trials.load(cut).all_readings)


def test_all_problems_of_a_file_of_readings_at_once(cut):
    first, second = marks(cut)[:2]
    path = cut / "bad.csv"
    path.write_text(f"{HEADER}{first},1,abc,-1,1\n{second},x,30,0.1,9\nnobody,1,30,0.1,1\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        trials.record(cut, path)
    lines = str(caught.value).splitlines()
    assert [re.search(r"row (\d), column (\w+)", line).groups() for line in lines] == [
        *(("2", "rz5_um"), ("2", "u_mm"), ("3", "reading"), ("3", "dross_grade"), ("4", "coupon"))
    ]
    assert trials.load(cut).readings.empty


def test_the_first_twenty_problems_are_listed_and_the_others_counted(cut):
    path = cut / "bad.csv"
    path.write_text("coupon,reading,rz5_um\n" + "".join(f"{marks(cut)[0]},{i},x\n" for i in range(1, 26)))
    with pytest.raises(InputError) as caught:
        trials.record(cut, path)
    lines = str(caught.value).splitlines()
    assert (len(lines), lines[-1]) == (21, "and 5 more such lines")


def test_a_dry_run_counts_and_keeps_nothing(cut, frozen):
    path = readings(cut)
    before = (cut / "trial.db").read_bytes()
    would = trials.record(cut, path, dry_run=True)
    assert (cut / "trial.db").read_bytes() == before
    assert (would.added, would.known) == (trials.record(cut, path).added, 0)


def test_a_dry_run_of_cuts_keeps_nothing(frozen, tmp_path):
    path = tmp_path / "cuts.csv"
    path.write_text(f"coupon,outcome,cut_order\n{marks(frozen)[0]},cut,1\n", encoding="utf-8")
    before = (frozen / "trial.db").read_bytes()
    assert trials.cut(frozen, [path], dry_run=True).added == 1
    assert (frozen / "trial.db").read_bytes() == before


def test_status_counts_what_is_open_by_response_and_points_to_no_verdict_before(cut):
    every = marks(cut)
    path = cut / "part.csv"
    path.write_text("coupon,reading,rz5_um\n" + "".join(f"{mark},1,30\n" for mark in every), encoding="utf-8")
    trials.record(cut, path)
    seen = trials.status(cut)
    n = len(every)
    assert [(one.about.response, one.facts["open"], one.facts["wanted"]) for one in seen.open] == [
        ("Rz5", 2 * n, 3 * n),
        ("u", 3 * n, 3 * n),
        ("dross grade", n, n),
    ]
    assert seen.next.command.name == "record"
    text = readings(cut, "rest.csv", coupons=every[1:]).read_text(encoding="utf-8")
    lines = [line.replace(",31.0,", ",30,", 1) if ",1,31.0," in line else line for line in text.splitlines()]
    (cut / "rest.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    trials.record(cut, cut / "rest.csv")
    assert [one.facts["open"] for one in trials.status(cut).open] == [2, 3, 1]
    no = "not measurable"
    path.write_text(
        "coupon,reading,rz5_um,u_mm,note\n"
        + "".join(f"{every[0]},{i},{no if i > 1 else 30},{no},torn\n" for i in (1, 2, 3)),
        encoding="utf-8",
    )
    trials.record(cut, path)
    (cut / "d.csv").write_text(f"coupon,dross_grade\n{every[0]},2\n", encoding="utf-8")
    trials.record(cut, cut / "d.csv")
    done = trials.status(cut)
    assert (done.open, done.next.command.name) == ((), "verdict")


def test_a_correction_takes_a_bound_of_the_instrument_and_what_could_not_be_measured(cut):
    mark = marks(cut)[0]
    records.record_readings(cut, pd.DataFrame({"coupon": [mark], "reading": [1], "field": ["rz5_um"], "value": [30.0]}))

    def reading(**asked):
        done = trials.Correction(mark, "rz5_um", **asked)
        seen = change(cut, done)
        trials.correct(cut, done, "Ann", "looked again", seen)
        row = records.standing(records.load(cut).all_readings)
        return (seen.old, seen.new), row[["value", "beyond", "note"]].fillna(-1).to_numpy().tolist()

    assert reading(value=">100") == ((30.0, ">100"), [[100.0, "above", ""]])
    assert reading(value="", withdraw=True) == ((">100", None), [])
    assert reading(value="", restore=True) == ((None, ">100"), [[100.0, "above", ""]])
    assert reading(value="Not measurable") == ((">100", "not measurable"), [[-1, "not_measurable", "looked again"]])
    assert reading(value="41,5") == (("not measurable", 41.5), [[41.5, "", "looked again"]])
    with pytest.raises(InputError, match="above what is allowed"):
        reading(value=">2000")
