"""What would pass unseen through an intake that trusts its files: each is refused, mended and said, or flagged."""

import re
from datetime import UTC, datetime

import pytest
import xlsxwriter
from tests_support import readings_table

from trials.errors import InputError, InputErrors
from trials.record_kinds import RecordKind
from trials.steps import status
from trials.steps.grade import grade_table
from trials.store import intake, records
from trials.store.intake.adopt import Adoption, Keys, adopt
from trials.store.intake.inspections import read_inspections
from trials.store.tables import moment_in, read_table

MONDAY = datetime(2026, 3, 2, 8, 30, tzinfo=UTC)


def written(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "t.csv"
    path.write_bytes(text.encode(encoding))
    return path


def workbook(path, **sheets):
    """Cells by sheet; a pair is a formula and its stored value."""
    book = xlsxwriter.Workbook(str(path))
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for i, row in enumerate(rows):
            for j, cell in enumerate(row):
                sheet.write_formula(i, j, cell[0], None, cell[1]) if isinstance(cell, tuple) else sheet.write(
                    i, j, cell
                )
    book.close()
    return path


def kinds(table):
    return [one.kind for one in table.said]


HEAD = ["coupon", "reading", "rz5_um", "note"]


def test_errors_of_a_workbook_and_formulas_without_a_value_are_refused_all_at_once(cut, tmp_path):
    # calamine hands an error, and a formula that no program ever worked out, out as an empty cell
    rows = [HEAD, ["KX7", 1, ("=1/0", "#DIV/0!")], ["KX7", 2, ("=2*15", "")], ["KX7", 3, ("=2*15", 30)]]
    path = workbook(tmp_path / "b.xlsx", readings=rows, other=[["a"], [("=1/0", "#DIV/0!")]])
    with pytest.raises(InputErrors) as caught:
        intake.read_bench(path, records.load(cut))
    first, second = str(caught.value).splitlines()
    assert first.endswith("row 2, column rz5_um: an error in place of a value; found '#DIV/0!'. Mend the cell.")
    assert "row 3, column rz5_um: a formula without a stored value. Open and save" in second


def test_a_column_that_nobody_reads_may_hold_errors_and_a_text_formula_may_be_empty(cut, tmp_path):
    head, row = [*HEAD, "mine"], ["KX7", 1, 30, ('=IF(1=1,"","")', "#REF!")]
    path = workbook(tmp_path / "b.xlsx", readings=[head, [*row[:3], None, row[3]]])
    assert intake.read_bench(path, records.load(cut)).readings.frame["value"].tolist() == [30.0]


def test_errors_are_seen_in_a_table_that_is_adopted(tmp_path):
    rows = [["type", "mark", "rz"], ["a", "A1", 30], ["a", "A1", ("=1/0", "#DIV/0!")], ["b", "B1", 31]]
    path = workbook(tmp_path / "b.xlsx", data=rows)
    said = Adoption(Keys(("type",), specimen=("mark",)), "a", ("rz:um",))
    with pytest.raises(InputError, match=re.escape("row 3, column rz: an error in place of a value")):
        adopt(tmp_path / "trial", path, said)


def test_cells_under_a_blank_header_are_refused(tmp_path):
    path = written(tmp_path, "coupon,reading,,note\nKX7,1,30,\nKX7,2,31,\n")
    with pytest.raises(InputErrors) as caught:
        read_table(path)
    assert [line.split(": ", 1)[1][:55] for line in str(caught.value).splitlines()] == [
        "a cell under no name (column 3 of the header is blank);"
    ] * 2
    empty = read_table(written(tmp_path, "coupon,reading,,note\nKX7,1,,x\n"))
    assert list(empty.frame.columns) == ["coupon", "reading", "note"]


@pytest.mark.parametrize(("cell", "value"), [("35,5", 35.5), ("35.5", 35.5)])
def test_tabs_with_a_decimal_comma(cut, tmp_path, cell, value):
    path = written(tmp_path, f"coupon\treading\trz5_um\nKX7\t1\t{cell}\n")
    assert intake.read_bench(path, records.load(cut)).readings.frame["value"].tolist() == [value]


def test_tabs_with_points_have_no_decimal_comma(cut, tmp_path):
    path = written(tmp_path, "coupon\treading\trz5_um\nKX7\t1\t35.5\nKX7\t2\t1,400\n")
    with pytest.raises(InputError, match="row 3, column rz5_um: not a number"):
        intake.read_bench(path, records.load(cut))


@pytest.mark.parametrize(
    "top", ["Bench 2\n", "Trial 12 mm, oxygen\n\n", "Inspector;Ann;on;Monday\nBench 2\n", '"a, b";\n']
)
def test_title_rows_above_the_header_are_passed_over_and_said(cut, tmp_path, top):
    path = written(tmp_path, f"{top}coupon;reading;rz5_um\nKX7;1;35,5\n")
    table = intake.read_bench(path, records.load(cut)).readings
    row = top.count("\n") + 1
    assert table.frame["value"].to_dict() == {row + 1: 35.5}
    assert [(one.kind, one.facts["row"]) for one in table.said] == [(RecordKind.TITLES_PASSED_OVER, row)]


def test_a_sheet_of_another_name_is_found_by_its_columns(cut, tmp_path):
    rows = [HEAD, ["KX7", 1, 30]]
    path = workbook(tmp_path / "b.xlsx", **{"how to": [["order"], ["dross first"]], "Monday": rows})
    table = intake.read_bench(path, records.load(cut)).readings
    assert (table.frame["value"].tolist(), kinds(table)) == ([30.0], [RecordKind.SHEET_RENAMED])
    twice = workbook(tmp_path / "c.xlsx", Monday=rows, Tuesday=rows)
    with pytest.raises(InputError, match="has no sheet 'readings'; allowed: Monday, Tuesday"):
        intake.read_bench(twice, records.load(cut))


def test_days_with_points_are_read_and_others_refused():
    assert moment_in("4.3.2026") == "2026-03-04"
    assert moment_in("31.12.2026 14:05") == "2026-12-31 14:05"
    for text in ("4/3/2026", "4.3.26", "31.13.2026", 46085.0):
        with pytest.raises(InputError, match="not a date"):
            moment_in(text)


def test_signs_of_windows_1252_are_no_control_characters(tmp_path):
    table = read_table(written(tmp_path, "coupon,note\nKX7,“rough” – see µ €\n", encoding="cp1252"))
    assert table.frame["note"].tolist() == ["“rough” – see µ €"]
    assert kinds(table) == [RecordKind.READ_AS_LATIN]


def test_a_thickness_in_the_table_stands_against_the_option(tmp_path):
    path = written(tmp_path, "coupon,u_mm,thickness_mm\nA,0.1,6\nB,0.1,12\nC,0.1,\n")
    with pytest.raises(InputError, match=re.escape("row 2, column thickness_mm: another thickness than the 12 mm")):
        grade_table(path, 12.0, {})
    agreed = written(tmp_path, "coupon,u_mm,thickness_mm\nB,0.1,12\nC,0.1,\n")
    assert grade_table(agreed, 12.0, {})["thickness_mm"].tolist() == [12.0, 12.0]


def recorded(cut, tmp_path, *lines, head="coupon,reading,rz5_um,side,inspector,instrument,measured_on"):
    path = written(tmp_path, "\n".join([head, *lines]) + "\n")
    return records.record_readings(cut, intake.read_bench(path, records.load(cut)).readings, "Ann", at=MONDAY)


def test_a_reading_number_that_was_not_planned_is_flagged(cut, tmp_path):
    done = recorded(cut, tmp_path, "KX7,9,30,,,,", "B2M,3,30,,,,")
    assert [(one.kind, one.facts["reading"], one.about.coupons) for one in done.said] == [
        (RecordKind.READING_UNPLANNED, 9, ("KX7",))
    ]


def test_a_day_that_has_not_come_is_flagged(cut, tmp_path):
    done = recorded(cut, tmp_path, "KX7,1,30,,,,2062-03-02", "KX7,2,30,,,,2026-03-03", "KX7,3,30,,,,08:15")
    assert [(one.kind, one.facts["rows"], one.facts["last"]) for one in done.said] == [
        (RecordKind.DATED_LATER, 1, "2062-03-02")
    ]


def test_a_cut_on_a_day_that_has_not_come_is_flagged(frozen, tmp_path):
    path = written(tmp_path, "coupon,outcome,cut_order,cut_at\nKX7,cut,1,2062-03-02 10:00\n")
    done = records.record_cuts(frozen, intake.read_cuts(path, records.load(frozen)), at=MONDAY)
    assert [one.kind for one in done.said] == [RecordKind.DATED_LATER]


def test_names_that_differ_only_in_case_or_spaces_are_one(cut, tmp_path):
    recorded(cut, tmp_path, "KX7,1,30,left,Ann,stylus 4,")
    done = recorded(cut, tmp_path, "KX7,2,30,Left,ann,Stylus  4,", "KX7,3,30,LEFT,Bea,stylus 5,")
    assert [(one.facts["column"], one.facts["found"], one.facts["kept"]) for one in done.said] == [
        ("side", "Left", "left"),
        ("side", "LEFT", "left"),
        ("inspector", "ann", "Ann"),
        ("instrument", "Stylus  4", "stylus 4"),
    ]
    kept = records.load(cut).readings
    assert kept["instrument"].tolist() == ["stylus 4", "stylus 4", "stylus 5"]
    assert set(kept["side"]) == {"left"}


def test_an_unknown_side_is_flagged(cut, tmp_path):
    done = recorded(cut, tmp_path, "KX7,1,30,lefft,,,", "B2M,1,30,far,,,")
    assert [(one.kind, one.facts["side"], one.about.coupons) for one in done.said] == [
        (RecordKind.SIDE_UNKNOWN, "lefft", ("KX7",))
    ]


def test_an_instrument_overdue_is_said_without_a_date_of_measuring_and_on_status(cut, tmp_path):
    entry = records.Instrument("Stylus 4", "2025-01-01", "2026-01-01", {}, "")
    records.keep_instrument(cut, entry, "Ann", at=MONDAY)
    recorded(cut, tmp_path, "KX7,1,30,,,stylus 4,")  # entered on a Monday after the calibration had run out
    assert [(one.kind, one.facts["last"]) for one in status(cut).open if one.kind is RecordKind.CALIBRATION_OPEN] == [
        (RecordKind.CALIBRATION_OPEN, "2026-03-02")
    ]


def test_marks_in_lower_case_are_the_same_marks(frozen, tmp_path):
    cuts = written(tmp_path, "coupon,outcome,cut_order,mount,sheet\nkx7,cut,1,,\n")
    records.record_cuts(frozen, intake.read_cuts(cuts, records.load(frozen)), at=MONDAY)
    recorded(frozen, tmp_path, "kx7,1,30,,,,", " Kx7,2,31,,,,")
    assert records.load(frozen).readings["coupon"].tolist() == ["KX7", "KX7"]
    records.correct(frozen, records.ReadingPlace("kX7", "rz5_um", 1), 33.0, "Ann", "read again")
    records.correct_row(frozen, records.RowChange("coupon", "kx7", "note", "tip-up"), "Ann", "forgotten")
    assert records.load(frozen).cuts["note"].tolist() == ["tip-up"]
    mounts = written(tmp_path, "mount,centring_checked\nm1,yes\n")
    assert intake.read_mounts(mounts, records.load(frozen)).frame["mount"].tolist() == ["M1"]


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("coupon,reading,rz5_um,cutoff_mm\nKX7,1,30,2.5\nKX7,2,30,0.8\nKX7,3,30,0.25\n", [3, 4]),
        ("coupon,reading,rz5_um\nKX7,1,30\nKX7,1,31\nKX7,1,32\n", [3, 4]),
    ],
)
def test_mixed_cut_offs_and_doubled_readings_are_told_all_at_once(cut, tmp_path, text, rows):
    with pytest.raises(InputErrors) as caught:
        intake.read_bench(written(tmp_path, text), records.load(cut))
    assert [int(re.search(r"row (\d+),", line)[1]) for line in str(caught.value).splitlines()] == rows


def test_doubled_marks_missing_sheets_and_cells_of_studies_are_told_all_at_once(frozen, tmp_path):
    found = records.load(frozen)
    for read, text in (
        (lambda path: intake.read_cuts(path, found), "coupon,outcome\nKX7,cut\nKX7,cut\nB2M,cut\nB2M,cut\n"),
        (lambda path: intake.read_sheets(path, found), "sheet,heat_lot\n,a\n,b\n"),
        (read_inspections, "coupon,inspector,rz5_um\nA,x,-1\nA,x,two\n"),
        (intake.read_plain_readings, "coupon,rz5_um\nA,-1\nA,two\n"),
    ):
        with pytest.raises(InputErrors) as caught:
            read(written(tmp_path, text))
        assert len(str(caught.value).splitlines()) == 2, text


def test_readings_of_a_notebook_need_no_names(cut):
    assert records.record_readings(cut, readings_table(("KX7", 1, "rz5_um", 30.0)), at=MONDAY).added == 1


def test_bounds_of_the_instrument_are_kept_and_enter_at_the_bound(cut, tmp_path):
    head = "coupon,reading,rz5_um,u_in,dross_grade,note"
    recorded(cut, tmp_path, "KX7,1,>100,<0.01,1,", "KX7,2,41,,,", head=head)
    found = records.load(cut)
    kept = found.readings.set_index(["field", "reading"])
    assert kept.loc[("rz5_um", 1), ["value", "beyond"]].tolist() == [100.0, "above"]
    assert kept.loc[("u_mm", 1), ["value", "beyond"]].tolist() == [pytest.approx(0.254, abs=1e-12), "below"]
    table = records.analysis_table(found, "roughness")
    assert table[["value", "beyond"]].values.tolist() == [[100.0, "above"], [41.0, ""]]
    assert "beyond" not in records.analysis_table(found, "dross")
    again = recorded(cut, tmp_path, "KX7,1,>100,<0.01,1,", "KX7,2,41,,,", head=head)
    assert (again.added, again.ignored) == (0, 4)
    with pytest.raises(InputError, match=re.escape("KX7, reading 1 is on record with >100; found 100.0")):
        recorded(cut, tmp_path, "KX7,1,100,,,", head=head)
    records.correct(cut, records.ReadingPlace("KX7", "rz5_um", 1), 87.0, "Ann", "read with the other instrument")
    assert "beyond" not in records.analysis_table(records.load(cut), "roughness")


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("KX7,1,>,,,", "column rz5_um: not a number; found '-'"),
        ("KX7,1,>2000,,,", "column rz5_um: above what is allowed"),
        ("KX7,1,,,>3,", "column dross_grade: a grade has no bound; found '>3'"),
        ("KX7,1,not measurable,,,", "column rz5_um: no reason why it could not be measured"),
    ],
)
def test_bounds_and_unmeasurable_places_that_say_too_little_are_refused(cut, tmp_path, line, problem):
    with pytest.raises(InputError, match=re.escape(problem)):
        recorded(cut, tmp_path, line, head="coupon,reading,rz5_um,u_mm,dross_grade,note")


def test_what_could_not_be_measured_is_kept_with_its_reason_until_it_is(cut, tmp_path):
    head = "coupon,reading,rz5_um,note"
    line = "KX7,1,Not measurable,dross over the edge"
    assert recorded(cut, tmp_path, line, head=head).added == 1
    assert recorded(cut, tmp_path, line, head=head).added == 0
    found = records.load(cut)
    assert len(found.readings) == 0
    said = [one for one in records.departures(found) if one.kind is RecordKind.NOT_MEASURABLE]
    assert [(one.about.coupons, one.about.response, one.facts["reason"]) for one in said] == [
        (("KX7",), "Rz5", "dross over the edge")
    ]
    recorded(cut, tmp_path, "KX7,1,60,", head=head)
    found = records.load(cut)
    assert found.readings["value"].tolist() == [60.0]
    assert not [one for one in records.departures(found) if one.kind is RecordKind.NOT_MEASURABLE]
