"""Files from the bench: second marks, what was measured again, the order of measuring."""

import zipfile

import pytest

from trials import steps
from trials.errors import InputError
from trials.record_kinds import JournalKind, RecordKind
from trials.store import intake, records
from trials.store.records.measuring_order import measured_places
from trials.trial import parse
from trials.words import records as words


def typed(folder, text, name="typed.csv"):
    path = folder.parent / name
    path.write_text(text, encoding="utf-8")
    return path


def values(folder):
    found = records.load(folder).readings
    keys = zip(found["coupon"], found["reading"], found["repeat"], strict=True)
    return dict(zip(keys, found["value"], strict=True))


@pytest.fixture
def hidden(cut):
    """The small trial, cut, with second marks for two coupons; mark by coupon."""
    records.draw_marks(cut, ["KX7", "ZN6"])
    return cut, records.second_marks(records.load(cut))


def test_second_marks_are_drawn_once_and_unlike_every_other(hidden):
    folder, second = hidden
    records.draw_marks(folder, ["KX7", "QF4"])
    found = records.load(folder)
    again = records.second_marks(found)
    assert set(again) == {"KX7", "ZN6", "QF4"} and again["KX7"] == second["KX7"]
    assert len({*again.values(), *found.coupons["coupon"]}) == 3 + 8
    drawn = records.entries(found.journal, JournalKind.REPEAT_MARKS)
    assert [entry.payload for entry in drawn] == [{"coupons": 2}, {"coupons": 1}]
    assert records.check(folder).findings == ()


def test_a_reading_under_a_second_mark_is_a_repeat_of_its_coupon(hidden):
    folder, second = hidden
    text = f"coupon,reading,rz5_um\nKX7,1,41\n{second['KX7'].lower()},1,43\nZN6,1,30\n"
    assert steps.record(folder, typed(folder, text)).added == 3
    assert values(folder) == {("KX7", 1, 0): 41.0, ("KX7", 1, 1): 43.0, ("ZN6", 1, 0): 30.0}
    # a workbook of an earlier version names the coupon, and says that it is a repeat
    steps.record(folder, typed(folder, "coupon,reading,repeat,rz5_um\nZN6,1,1,31\n"))
    assert values(folder)["ZN6", 1, 1] == 31.0


def test_a_doubtful_repeat_is_named_and_corrected_by_its_second_mark(hidden):
    folder, second = hidden
    rows = "".join(f"{second['KX7']},{i},{value}\n" for i, value in ((1, 41), (2, 430), (3, 42)))
    (slip,) = steps.record(folder, typed(folder, "coupon,reading,rz5_um\n" + rows)).slips
    assert (slip.about.coupons, slip.facts["repeat"]) == ((second["KX7"],), 0)
    steps.correct(folder, steps.Correction(second["KX7"], "rz5_um", "43", reading=2), "AB", "point")
    assert values(folder)["KX7", 2, 1] == 43.0


AGAIN = (
    "coupon,reading,rz5_um,inspector,again_because\nKX7,1,41,AB,\nKX7,2,423,AB,\nZN6,1,30,AB,\nKX7,2,42.3,AB,{why}\n"
)


def test_what_went_wrong_and_was_measured_again_is_a_correction_with_its_reason(cut):
    file = typed(cut, AGAIN.format(why="stylus jumped"))
    done = steps.record(cut, file)
    assert (done.added, done.slips) == (4, ())
    assert values(cut)["KX7", 2, 0] == 42.3
    found = records.load(cut)
    (entry,) = records.entries(found.journal, JournalKind.READING_CORRECTED)
    assert (entry.who, entry.why, entry.payload["old"], entry.payload["new"]) == ("AB", "stylus jumped", 423.0, 42.3)
    # the same file once more brings nothing and says nothing of cells to mend
    again = steps.record(cut, file)
    assert (again.added, again.known) == (0, 4)
    assert {line.kind for line in again.remarks} == {RecordKind.READINGS_KNOWN}
    assert records.check(cut).findings == ()


def test_a_later_correction_stands_against_what_was_measured_again(cut):
    file = typed(cut, AGAIN.format(why="stylus jumped"))
    steps.record(cut, file)
    records.correct(cut, records.ReadingPlace("KX7", "rz5_um", 2), 44.0, "Engineer", "read again")
    again = steps.record(cut, file)
    assert values(cut)["KX7", 2, 0] == 44.0
    (line,) = [line for line in again.remarks if line.kind is RecordKind.CORRECTION_STANDS]
    assert (line.facts["found"], line.facts["kept"], line.facts["row"]) == (42.3, 44.0, 5)


def test_measured_again_without_a_reason_is_refused_with_the_remedy(cut):
    with pytest.raises(InputError, match="row 5.*reading 2 has 423 in row 3.*say why in the column again_because"):
        steps.record(cut, typed(cut, AGAIN.format(why="")))
    nobody = AGAIN.format(why="slipped").replace("AB", "")
    with pytest.raises(InputError, match="row 5, column inspector: measured again by nobody"):
        steps.record(cut, typed(cut, nobody))
    assert values(cut) == {}
    assert steps.record(cut, typed(cut, nobody), who="AB").added == 4


def test_a_reading_measured_only_in_a_spare_row_is_a_reading(cut):
    text = "coupon,reading,rz5_um,inspector,again_because\nKX7,1,41,AB,slipped off before\n"
    assert steps.record(cut, typed(cut, text)).added == 1
    found = records.load(cut)
    assert records.entries(found.journal, JournalKind.READING_CORRECTED) == () and values(cut) == {("KX7", 1, 0): 41.0}


def test_not_measurable_is_read_in_german_too(cut):
    text = "Prüfling;Messwert;rz5_um;Vermerk\nKX7;1;nicht messbar;Bart im Weg\n"
    assert steps.record(cut, typed(cut, text)).added == 1
    assert records.load(cut).all_readings["beyond"].tolist() == ["not_measurable"]


def places(folder):
    found = records.load(folder)
    rows = found.readings
    return dict(zip(rows["coupon"], rows["measured_order"].astype(object), strict=True))


def test_the_order_of_measuring_is_that_of_the_rows_and_goes_on_with_the_next_file(cut):
    steps.record(cut, typed(cut, "coupon,reading,u_mm\nZN6,1,0.1\nKX7,1,0.2\nT9R,1,0.1\nB2M,1,0.1\n"))
    assert places(cut) == {"ZN6": 1, "KX7": 2, "T9R": 3, "B2M": 4}
    steps.record(cut, typed(cut, "coupon,reading,u_mm\nW3H,1,0.1\n", "next.csv"))
    assert places(cut)["W3H"] > 4


@pytest.mark.parametrize("marks", ["B2M,H8D,KX7,ZN6", "KX7,B2M,QF4,T9R"])
def test_rows_that_stand_as_in_a_list_tell_no_order(cut, marks):
    rows = "".join(f"{mark},1,0.1\n" for mark in marks.split(","))
    steps.record(cut, typed(cut, f"coupon,reading,u_mm\n{rows}"))
    found = records.load(cut)
    assert found.readings["measured_order"].isna().all()
    assert "measured_order" not in records.analysis_table(found, "squareness")


def test_a_place_that_was_typed_goes_before_the_order_of_the_rows(cut):
    rows = "3,KX7,1,0.1\n1,B2M,1,0.2\n,QF4,1,0.1\n2,T9R,1,0.1\n"
    steps.record(cut, typed(cut, f"measure_order,coupon,reading,u_mm\n{rows}"))
    table = records.analysis_table(records.load(cut), "squareness").set_index("coupon")["measured_order"]
    assert table.drop("QF4").to_dict() == {"KX7": 3.0, "B2M": 1.0, "T9R": 2.0} and table.isna()["QF4"]


def test_times_of_day_decide_where_every_reading_has_one(cut):
    rows = "ZN6,1,0.1,2026-03-03 10:30\nKX7,1,0.2,2026-03-03 09:15\nT9R,1,0.1,2026-03-02 16:00\n"
    steps.record(cut, typed(cut, f"coupon,reading,u_mm,measured_on\n{rows}"))
    found = records.load(cut)
    table = records.analysis_table(found, "squareness").set_index("coupon")["measured_order"]
    assert table.to_dict() == {"ZN6": 3.0, "KX7": 2.0, "T9R": 1.0}
    days = found.readings.assign(measured_on=["2026-03-03", "2026-03-03", "2026-03-02"])  # days alone: then the rows
    assert measured_places(days, found.coupons).tolist() == [2.0, 3.0, 1.0]


def test_a_filled_workbook_keeps_its_order_and_its_spare_rows(cut, monkeypatch):
    import trials.store.workbooks.bench_book as bench_book

    plain = bench_book._rows

    def filled(listed, thickness, headers):
        rows = plain(listed, thickness, headers)
        for number, row in enumerate(rows):
            row[headers.index("u_mm")] = 0.1 + number / 1000
        spare = dict.fromkeys(headers) | {"coupon": rows[0][1], "reading": 1, "u_mm": 0.3, "inspector": "AB"}
        return [*rows, [(spare | {"again_because": "moved"})[header] for header in headers]]

    monkeypatch.setattr(bench_book, "_rows", filled)
    found = records.load(cut)
    path = cut.parent / "bench.xlsx"
    path.write_bytes(bench_book.bench_workbook(found))
    read = intake.read_bench(path, found)
    assert len(read.readings.frame) == 24 and read.again.frame["again_because"].tolist() == ["moved"]
    steps.record(cut, path)
    now = records.load(cut).readings
    first = now["coupon"].drop_duplicates()
    assert now[now["coupon"] == first.iloc[1]]["measured_order"].tolist() == [2, 2, 2]
    assert values(cut)[read.again.frame["coupon"].iloc[0], 1, 0] == 0.3


@pytest.fixture
def planned(folder):
    """The small trial with a plan of its own, edges included."""
    question = (folder / "trial.toml").read_text(encoding="utf-8")
    steps.freeze(folder, steps.propose(parse(question)))
    return folder


def inside(path):
    with zipfile.ZipFile(path) as archive:
        return "\n".join(archive.read(name).decode("utf-8") for name in archive.namelist())


def test_the_folder_of_the_bench_names_no_nozzle_and_no_coupon_behind_a_repeat(planned):
    written = steps.run_sheet(planned)
    bench = planned / "papers" / "bench"
    names = {path.name for path in bench.iterdir() if path.is_file()}
    assert names == {"bench-card.pdf", "labels.pdf", "bench-workbook.xlsx", "repeats-workbook.xlsx"}
    assert {path.name for path in written if path.parent != bench} >= {"run-sheet.pdf", "plan.pdf", "repeat-labels.pdf"}
    text = "\n".join(inside(bench / name) for name in names if name.endswith("xlsx"))
    for hint in ("cylindrical", "double", ">C1<", ">D2<", "pressure", "purity"):
        assert hint not in text, hint
    repeats = inside(bench / "repeats-workbook.xlsx")
    found = records.load(planned)
    assert list(found.repeat_marks) and all(mark in repeats for mark in found.repeat_marks)
    assert not [mark for mark in found.coupons["coupon"] if mark in repeats]


def test_printing_again_draws_no_other_marks(planned):
    steps.run_sheet(planned)
    first = records.load(planned)
    steps.run_sheet(planned)
    second = records.load(planned)
    assert (first.repeat_marks, first.head) == (second.repeat_marks, second.head)


def test_the_bench_is_told_of_a_repeat_by_its_second_mark_alone(hidden):
    """What record and correct say of a repeat never names the coupon behind it."""
    folder, second = hidden
    mark = second["KX7"]
    first = f"coupon,reading,rz5_um\n{mark},1,41\n{mark},2,42\n{mark},9,43\n"
    said = steps.record(folder, typed(folder, first)).remarks
    (unplanned,) = [line for line in said if line.kind is RecordKind.READING_UNPLANNED]
    assert unplanned.about.coupons == (mark,)
    with pytest.raises(InputError, match=f"coupon {mark}, reading 1 is on record with 41") as told:
        steps.record(folder, typed(folder, f"coupon,reading,rz5_um\n{mark},1,47\n"))
    assert "KX7" not in str(told.value) and "repeat" not in str(told.value)
    asked = steps.Correction(mark, "rz5_um", "44", reading=1)
    seen = steps.change(folder, asked)
    assert words.change(vars(seen)).startswith(f"{mark}, reading 1") and "repeat" not in words.change(vars(seen))
    steps.correct(folder, asked, "AB", "slipped", seen)
    with pytest.raises(InputError, match=f"^{mark}, rz5_um was corrected by somebody else"):
        steps.correct(folder, asked.__class__(mark, "rz5_um", "45", reading=1), "AB", "slipped", seen)
    again = steps.record(folder, typed(folder, first)).remarks
    (stands,) = [line for line in again if line.kind is RecordKind.CORRECTION_STANDS]
    assert (stands.facts["mark"], stands.facts["repeat"]) == (mark, 0)
    for column in ("rz5_um", "side"):
        with pytest.raises(InputError, match=f"coupon {mark} has no such reading"):
            steps.correct(folder, steps.Correction(mark, column, "45", reading=7), "AB", "slipped")


def test_a_repeat_measured_again_and_corrected_since_is_named_by_its_second_mark(hidden):
    folder, second = hidden
    mark = second["KX7"]
    file = typed(folder, AGAIN.format(why="stylus jumped").replace("KX7", mark))
    assert steps.record(folder, file).added == 4
    assert steps.record(folder, file).remarks[-1].kind is RecordKind.READINGS_KNOWN  # no cell to mend
    steps.correct(folder, steps.Correction(mark, "rz5_um", "44", reading=2), "Engineer", "read again")
    (line,) = [line for line in steps.record(folder, file).remarks if line.kind is RecordKind.CORRECTION_STANDS]
    assert line.facts["mark"] == mark


@pytest.mark.parametrize(("column", "new"), [("side", "left"), ("inspector", "CD"), ("instrument", "Stylus 4")])
def test_details_of_a_reading_that_could_not_be_taken_are_corrected(cut, column, new):
    text = "coupon,reading,rz5_um,note,side,inspector,instrument\nKX7,1,not measurable,dross in the way,right,AB,S1\n"
    steps.record(cut, typed(cut, text))
    steps.correct(cut, steps.Correction("KX7", column, new, reading=1), "AB", "typed wrongly")
    (now,) = records.standing(records.load(cut).all_readings).to_dict("records")
    assert (now[column], now["beyond"], now["note"]) == (new, "not_measurable", "dross in the way")
    assert now["value"] != now["value"] and records.check(cut).findings == ()
    with pytest.raises(InputError, match="needs a reason"):
        steps.correct(cut, steps.Correction("KX7", "note", "", reading=1), "AB", "why not")
