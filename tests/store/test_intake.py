import io
import re
import shutil
import sys
from types import SimpleNamespace

import pandas as pd
import pytest
import xlsxwriter
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trials.errors import InputError
from trials.store import intake
from trials.store import records as store
from trials.store.tables import read_table
from trials.words.findings import say

HEAD = "coupon,reading,repeat,side,rz5_um,u_mm,dross_grade,cutoff_mm\n"


def heard(table):
    return [say(one) for one in table.said]


def written(tmp_path, text, name="t.csv", encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def workbook(path, **sheets):
    book = xlsxwriter.Workbook(str(path), {"default_date_format": "yyyy-mm-dd"})
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for i, row in enumerate(rows):
            for j, cell in enumerate(row):
                sheet.write(i, j, cell)
    book.close()
    return path


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("a,b\n1,x\n\n2,y\n", "utf-8"),
        ("a;b\n1;x\n\n2;y\n", "utf-8-sig"),
        ("a\tb\r\n1\tx\r\n\r\n2\ty\r\n", "utf-8"),
        ("sep=;\na;b\n1;x\n2;y\n", "utf-8"),
        ("a,b\n1,x\n\n2,y\n", "utf-16"),
    ],
)
def test_separators_and_encodings(tmp_path, text, encoding):
    table = read_table(written(tmp_path, text, encoding=encoding))
    assert table.frame.to_dict("list") == {"a": ["1", "2"], "b": ["x", "y"]}
    assert list(table.frame.index) == ([3, 4] if text.startswith("sep") else [2, 4])


def test_latin_1_is_said(tmp_path):
    table = read_table(written(tmp_path, "a,b\n1,Größe\n", encoding="latin-1"))
    assert table.frame["b"].tolist() == ["Größe"]
    assert heard(table) == [f"{tmp_path / 't.csv'}: not UTF-8; read as Windows-1252 (Latin-1)."]


def test_standard_input(monkeypatch):
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(b"a,b\n1,2\n")))
    table = read_table("-")
    assert table.file == "standard input"
    assert table.frame["b"].tolist() == ["2"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "the file is empty"),
        (b"\n \n", "the file is empty"),
        (b"%PDF-1.7\n", "is not a table of text"),
        (b"a,b\0\n", "is not a table of text"),
        (b"a,b,a\n1,2,3\n", "row 1, column a: a column is named twice"),
        (b"1,2,3\n4,5,6\n", "row 1: no header row; found '1'"),
        (b"a,b\n1,2\n3,4,5\n", "row 3: has more cells than the header (2); found '5'. A decimal comma needs `;`"),
        (b'a,b\n1,"2\n', "not a table: unexpected end of data"),
        (b"PK\x03\x04 but not a workbook", "the workbook is cut off or damaged"),
    ],
)
def test_files_that_are_no_table(tmp_path, content, message):
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    with pytest.raises(InputError, match=re.escape(message)) as caught:
        read_table(path)
    assert "\n" not in str(caught.value)
    assert str(path) in str(caught.value)


def test_no_file_and_a_folder(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_table(tmp_path / "none.csv")
    with pytest.raises(InputError, match="is a folder, not a table"):
        read_table(tmp_path)


def test_a_workbook_keeps_row_numbers_and_names_its_sheets(tmp_path):
    path = workbook(tmp_path / "b.xlsx", one=[["a", "b"], [1, "x"], [], [2.5, None]], two=[["c"], [1]])
    table = read_table(path)
    assert list(table.frame.index) == [2, 4]
    assert table.frame["a"].tolist() == [1, 2.5]
    assert read_table(path, "TWO").frame.columns.tolist() == ["c"]
    with pytest.raises(InputError, match="has no sheet 'three'; allowed: one, two"):
        read_table(path, "three")


def test_readings_become_long_in_the_kept_units(cut, tmp_path):
    path = written(
        tmp_path,
        "Coupon;Reading;side;Rz5-uin;u_in;dross_grade;cutoff_mm;inspector;measured_on;note\n"
        "KX7;1;left;1.400,5;;;;;;\n".replace("1.400,5", "1400,5")
        + "KX7;2;right;1400;0,005;2;2,5;Ann;2026-03-04;near slat\n;;;;;;;;;\n",
    )
    long = intake.read_bench(path, store.load(cut)).readings
    assert long.frame[["reading", "field", "value"]].values.tolist() == [
        [1, "rz5_um", 35.5727],
        [2, "rz5_um", 35.56],
        [2, "u_mm", 0.127],
        [1, "dross_grade", 2.0],
    ]
    last = long.frame.iloc[1]
    assert (last["side"], last["cutoff_mm"], last["inspector"]) == ("right", 2.5, "Ann")
    assert (last["measured_on"], last["note"], int(last["repeat"])) == ("2026-03-04", "near slat", 0)
    assert list(long.frame.index) == [2, 3, 3, 3]


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("KX7,1,,,abc,,,\n", "row 2, column rz5_um: not a number; found 'abc'. Type a number"),
        ('KX7,1,,,"31,5",,,\n', "row 2, column rz5_um: not a number; found '31,5'. Write 3.5, or put `;`"),
        ("KX7,1,,,nan,,,\n", "not a number; found 'nan'"),
        ("KX7,1,,,inf,,,\n", "not a number; found 'inf'"),
        ("KX7,1,,,3_1,,,\n", "not a number; found '3_1'"),
        ("KX7,1,,,30,,,\nKX9,1,,,30,,,\n", "row 3, column coupon: unknown coupon; found 'KX9'. Did you mean 'KX7'?"),
        ("KX7,1,,,-3,,,\n", "row 2, column rz5_um: negative value; found -3.0; allowed: 0 to 1000 um"),
        ("KX7,1,,,1001,,,\n", "row 2, column rz5_um: above what is allowed; found 1001.0"),
        ("KX7,1,,,,11,,\n", "column u_mm: above what is allowed; found 11.0; allowed: 0 to 10 mm"),
        ("KX7,1,,,,,5,\n", "column dross_grade: above what is allowed"),
        ("KX7,1,,,,,1.5,\n", "column dross_grade: a grade is a whole number"),
        ("KX7,0,,,30,,,\n", "row 2, column reading: not a whole number; found '0'; allowed: 1 or more"),
        ("KX7,1.5,,,30,,,\n", "column reading: not a whole number"),
        ("KX7,,,,30,,,\n", "row 2, column reading: no reading number"),
        ("KX7,1,-1,,30,,,\n", "column repeat: not a whole number"),
        ("KX7,1,,,30,,,0\n", "column cutoff_mm: not above zero"),
        ("KX7,1,,,30,,,\nKX7,1,,,31,,,\n", "row 3, column rz5_um: coupon KX7, reading 1 has 30 in row 2; found 31.0"),
        ("KX7,1,,,,,1,\nKX7,2,,,,,2,\n", "row 3, column dross_grade: coupon KX7, reading 1 has 1 in row 2; found 2.0"),
        ("KX7,1,,,30,,,2.5\nKX7,2,,,30,,,0.8\n", "row 3, column cutoff_mm: cut-offs are mixed"),
        ("P5C,1,,,30,,,\n", "row 2, column coupon: a reading of a coupon recorded as aborted"),
    ],
)
def test_bad_cells_are_placed_and_explained(cut, tmp_path, rows, message):
    store.correct_row(cut, store.RowChange("coupon", "P5C", "outcome", "aborted"), "Operator", "gas ran out")
    path = written(tmp_path, HEAD + rows)
    with pytest.raises(InputError, match=re.escape(message)) as caught:
        intake.read_bench(path, store.load(cut))
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("header", "message"),
    [
        ("coupon,rz5_um", "column reading: missing column"),
        ("mark,reading,rz5_um", "column coupon: missing column"),
        ("coupon,reading,side", "no column of readings; allowed: rz5_um"),
        ("coupon,reading,rz5_bar", "column rz5_bar: 'bar' is not a unit of rz5; allowed: rz5_um in µm"),
        ("coupon,reading,rz5um", "column rz5um: unknown column. Did you mean 'rz5_um'?"),
        ("coupon,reading,rz5_um,rz5_uin", "column rz5_uin: holds the same as column rz5_um"),
    ],
)
def test_bad_headers(cut, tmp_path, header, message):
    path = written(tmp_path, f"{header}\n{','.join(['KX7', '1', '30', '1'][: header.count(',') + 1])}\n")
    with pytest.raises(InputError, match=re.escape(message)):
        intake.read_bench(path, store.load(cut))


def test_readings_before_anything_was_cut(frozen, tmp_path):
    path = written(tmp_path, HEAD + "KX7,1,,,30,,,\n")
    with pytest.raises(InputError, match="not recorded as cut; found 'KX7'.*`trials cut`"):
        intake.read_bench(path, store.load(frozen))


def test_coupon_level_fields_once_or_equal_and_a_repeat_may_differ(cut, tmp_path):
    path = written(tmp_path, HEAD + "KX7,1,,,30,,1,\nKX7,2,,,31,,1,\nKX7,1,1,,29,,2,\n")
    long = intake.read_bench(path, store.load(cut)).readings
    grades = long.frame[long.frame["field"] == "dross_grade"]
    assert grades[["reading", "repeat", "value"]].values.tolist() == [[1, 0, 1.0], [1, 1, 2.0]]
    assert heard(long) == ["1 cell repeats an equal one above; ignored."]


def test_other_columns_are_left_out_and_said(cut, tmp_path):
    path = written(tmp_path, "coupon,reading,rz5_um,weather\nKX7,1,30,rain\n")
    long = intake.read_bench(path, store.load(cut)).readings
    assert heard(long) == ["Columns left out: weather."]
    assert heard(store.record_readings(cut, long)) == ["Columns left out: weather."]


def test_numbers_in_a_workbook_come_as_they_are(cut, tmp_path):
    rows = [["coupon", "reading", "rz5_um", "u_mm"], ["KX7", 1, 31.5, None], ["KX7", 2, "about 30", None]]
    path = workbook(tmp_path / "r.xlsx", notes=[["x"]], readings=rows[:2])
    assert intake.read_bench(path, store.load(cut)).readings.frame["value"].tolist() == [31.5]
    path = workbook(tmp_path / "r2.xlsx", readings=rows)
    with pytest.raises(InputError, match="row 3, column rz5_um: not a number; found 'about 30'"):
        intake.read_bench(path, store.load(cut))


CUTS = "coupon,cut_order,cut_at,mount,sheet,outcome,changed_setting,note\n"


def test_cuts_from_csv(frozen, tmp_path):
    path = written(
        tmp_path,
        CUTS
        + "KX7,2,2026-03-03 14:05,,,cut,pressure_psi=10,\n"
        + "B2M,1,14:20,M1,S1,Not severed,gas_purity_class=2.5; speed_m_min=1.0,hung on\n"
        + "QF4,,,,,scrapped,,fell\nT9R,,,,,,,\n",
    )
    rows = intake.read_cuts(path, store.load(frozen))
    assert rows.frame["outcome"].tolist() == ["cut", "not_severed", "scrapped"]
    assert rows.frame["mount"].tolist() == ["M1", "M1", "M2"]
    assert rows.frame["changed_setting"].tolist()[:2] == [
        "pressure_bar=0.689475729317",
        "gas_purity_class=2.5; speed_m_min=1.0",
    ]
    assert rows.frame["cut_at"].tolist() == ["2026-03-03 14:05", "14:20", ""]
    assert heard(rows) == ["1 row has no outcome yet; left out."]
    store.record_cuts(frozen, rows)
    assert len(store.load(frozen).cuts) == 3


def test_cuts_without_an_order_take_the_planned_one(frozen, tmp_path):
    rows = intake.read_cuts(written(tmp_path, "coupon,outcome\nQF4,cut\nKX7,cut\n"), store.load(frozen))
    assert rows.frame["cut_order"].tolist() == [3, 1]
    assert heard(rows) == ["No column cut_order: the planned order was taken."]


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("KX9,1,,,,cut,,\n", "row 2, column coupon: unknown coupon; found 'KX9'"),
        ("KX7,1,,,,gone,,\n", "row 2, column outcome: unknown outcome; found 'gone'"),
        ("KX7,1,3.3.26,,,cut,,\n", "row 2, column cut_at: not a date; found '3.3.26'"),
        ("KX7,x,,,,cut,,\n", "row 2, column cut_order: not a number; found 'x'"),
        ("KX7,,,,,cut,,\n", "row 2, column cut_order: no place in the cutting order"),
        ("KX7,1,,,,cut,pressure=0.6,\n", "row 2, column changed_setting: unknown setting; found 'pressure'"),
        ("KX7,1,,,,cut,pressure_bar=low,\n", "pressure_bar needs a number; found 'low'"),
        ("KX7,1,,,,cut,pressure_bar,\n", "not of the form column=value"),
        ("KX7,1,,,,cut,pressure_bar=0.6;pressure_bar=0.7,\n", "a setting is named twice"),
        ("KX7,1,,,,,,hung on\n", "row 2, column outcome: no outcome"),
        ("KX7,1,,,,cut,,\nB2M,1,,,,cut,,\n", "row 3, column cut_order: stands twice; found 1. Row 2 has it too"),
        ("KX7,1,,,,cut,,\nKX7,2,,,,cut,,\n", "row 3, column coupon: stands twice; found 'KX7'"),
    ],
)
def test_bad_cuts(frozen, tmp_path, row, message):
    with pytest.raises(InputError, match=re.escape(message)):
        intake.read_cuts(written(tmp_path, CUTS + row), store.load(frozen))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("mount,centring_checked\nM1,perhaps\n", "row 2, column centring_checked: not yes or no; found 'perhaps'"),
        ("mount,pierces_before\nM1,-4\n", "row 2, column pierces_before: not a whole number"),
        ("mount,fitted_at\nM1,today\n", "row 2, column fitted_at: not a date"),
        ("mount,nozzle\nM9,duble\n", "row 2, column nozzle: unknown nozzle type; found 'duble'"),
        ("mount,note\n,left\n", "row 2, column mount: no mount"),
        ("mount,window_changed\nM1,yes\nM1,yes\n", "row 3, column mount: stands twice"),
    ],
)
def test_bad_mounts(frozen, tmp_path, text, message):
    with pytest.raises(InputError, match=re.escape(message)):
        intake.read_mounts(written(tmp_path, text), store.load(frozen))


def test_one_workbook_holds_cuts_mounts_and_sheets(frozen, tmp_path):
    path = workbook(
        tmp_path / "run.xlsx",
        cuts=[["coupon", "cut_order", "outcome", "mount", "sheet"], ["KX7", 1, "cut", "M9", "S9"]],
        mounts=[["mount", "nozzle", "specimen", "window_changed"], ["M1", "", "", ""], ["M9", "double", "D2", "no"]],
        sheets=[["sheet", "heat_lot"], ["S1", ""], ["S9", 4711]],
    )
    records = store.load(frozen)
    mounts, sheets = intake.read_mounts(path, records), intake.read_sheets(path, records)
    assert mounts.frame["mount"].tolist() == ["M9"]
    assert sheets.frame[["sheet", "heat_lot"]].values.tolist() == [["S9", "4711"]]
    store.record_cuts(frozen, intake.read_cuts(path, records), mounts, sheets)
    assert store.load(frozen).cuts.loc[0, ["mount", "sheet"]].tolist() == ["M9", "S9"]


def test_mounts_added_beside_a_csv_file_are_looked_up_when_recorded(frozen, tmp_path):
    records = store.load(frozen)
    rows = intake.read_cuts(written(tmp_path, CUTS + "KX7,1,,M8,,cut,,\n"), records)
    with pytest.raises(InputError, match=r"t.csv, row 2, column mount: unknown mount; found 'M8'"):
        store.record_cuts(frozen, rows)
    mounts = intake.read_mounts(written(tmp_path, "mount,nozzle,specimen\nM8,double,D1\n", "m.csv"), records)
    assert store.record_cuts(frozen, rows, mounts).added == 1


def test_an_unknown_mount_in_a_workbook_is_refused_at_once(frozen, tmp_path):
    rows = [["coupon", "cut_order", "outcome", "mount"], ["KX7", 1, "cut", "M8"]]
    path = workbook(tmp_path / "run.xlsx", cuts=rows, mounts=[["mount"], ["M1"]])
    with pytest.raises(InputError, match="row 2, column mount: unknown mount; found 'M8'"):
        intake.read_cuts(path, store.load(frozen))


def test_a_plain_table_is_read_without_a_trial(tmp_path):
    path = written(tmp_path, "coupon,thickness_in,rz5_um,u_mm,dross_grade,remark\nA,0.5,31,,1,x\nB,0.5,,0.07,,\n")
    table = intake.read_plain_readings(path)
    assert table["thickness_mm"].tolist() == [12.7, 12.7]
    assert table["rz5_um"].tolist()[0] == 31.0
    assert table["u_mm"].tolist()[1] == 0.07
    assert table["dross_grade"].isna().tolist() == [False, True]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("coupon,u\nA,1\n", "no column of readings; allowed: u_mm, rz5_um, dross_grade"),
        ("mark,u_mm\nA,1\n", "column coupon: missing column"),
        ("coupon,u_mm\nA,-1\n", "row 2, column u_mm: negative value"),
        ("coupon,u_mm\n,1\n", "row 2, column coupon: no coupon"),
        ("coupon,u_mm,thickness_mm\nA,1,0\n", "row 2, column thickness_mm: not a sheet thickness"),
        ("coupon,u_mm,repeat\nA,1,-1\n", "row 2, column repeat: not a whole number"),
    ],
)
def test_bad_plain_tables(tmp_path, text, message):
    with pytest.raises(InputError, match=re.escape(message)):
        intake.read_plain_readings(written(tmp_path, text))


VALUES = st.fixed_dictionaries(
    {},
    optional={
        "rz5_um": st.floats(0.0, 1000.0).map(lambda v: round(v, 4)),
        "u_mm": st.floats(0.0, 10.0).map(lambda v: round(v, 5)),
        "kerf_mm": st.floats(0.0, 10.0),
    },
)
KEYS = st.tuples(st.sampled_from(["KX7", "B2M", "QF4"]), st.integers(1, 5), st.integers(0, 2))
NOTES = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), max_size=8).filter(lambda t: t != "-")


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.dictionaries(KEYS, st.tuples(VALUES, NOTES), min_size=1, max_size=6), comma=st.sampled_from([True, False])
)
def test_readings_survive_file_and_store_to_the_last_digit(cut_template, tmp_path_factory, rows, comma):
    place = shutil.copytree(cut_template, tmp_path_factory.mktemp("p") / "trial")
    wide = pd.DataFrame(
        [
            {"coupon": c, "reading": r, "repeat": k, "note": note, "rz5_um": None, "u_mm": None, "kerf_mm": None, **v}
            for (c, r, k), (v, note) in rows.items()
        ]
    )
    path = place / "r.csv"
    wide.to_csv(path, index=False, sep=";" if comma else ",", decimal="," if comma else ".")
    store.record_readings(place, intake.read_bench(path, store.load(place)).readings)
    kept = store.load(place).readings
    found = {(r.coupon, r.reading, r.repeat, r.field): (r.value, r.note) for r in kept.itertuples()}
    expected = {(*key, field): (value, note) for key, (v, note) in rows.items() for field, value in v.items()}
    assert found == expected
