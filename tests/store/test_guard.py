"""Hostile and damaged files: one line each, before they are read whole."""

import io
import zipfile

import pytest
import xlsxwriter
from fuzzing import old_book, open_book

from trials.errors import InputError
from trials.store import guard
from trials.store.intake import read_points
from trials.store.tables import read_table


def book(*cells):
    data = io.BytesIO()
    with xlsxwriter.Workbook(data, {"in_memory": True}) as workbook:
        sheet = workbook.add_worksheet("readings")
        for row, column, value in cells:
            sheet.write(row, column, value)
    return data.getvalue()


SMALL = book((0, 0, "coupon"), (0, 1, "reading"), (1, 0, "A"), (1, 1, 2))


def rewritten(change):
    """The small workbook with its sheet changed."""
    data = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(SMALL)) as old, zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, change(content) if name.startswith("xl/worksheets/") else content)
    return data.getvalue()


def refused(tmp_path, name, data, message):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(InputError, match=message) as caught:
        read_table(tmp_path / name)
    assert len(str(caught.value).splitlines()) == 1


def test_a_workbook_within_the_limits_is_read(tmp_path):
    (tmp_path / "a.xlsx").write_bytes(SMALL)
    assert read_table(tmp_path / "a.xlsx").frame.values.tolist() == [["A", 2.0]]


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
def test_a_workbook_that_was_cut_off(tmp_path, share):
    refused(tmp_path, "a.xlsx", SMALL[: int(len(SMALL) * share)], "cut off or damaged")


def test_a_stray_cell_in_the_last_column(tmp_path):
    data = book((0, 0, "coupon"), (1_048_575, 16_383, "x"))
    refused(tmp_path, "a.xlsx", data, r"far outside the table \(column 16,384, row 1,048,576.*Delete the stray cell")


def test_a_stray_cell_far_below_counts_with_the_width_of_the_table(tmp_path):
    data = book((0, 5, "coupon"), (1_048_575, 0, "x"))
    refused(tmp_path, "a.xlsx", data, "far outside the table")


def test_an_archive_that_unpacks_to_too_much(tmp_path):
    blanks = b" " * (guard.MAX_UNPACKED + 1)
    data = rewritten(lambda content: content.replace(b"</sheetData>", blanks + b"</sheetData>"))
    assert len(data) < 1_000_000
    refused(tmp_path, "a.xlsx", data, "unpacks to more than a workbook may")


def test_an_archive_that_lies_about_its_size(tmp_path):
    """The directory says that a part is as short as before; the part itself goes on."""
    blanks = b" " * 5_000_000
    data = bytearray(rewritten(lambda content: content.replace(b"</sheetData>", blanks + b"</sheetData>")))
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as archive:
        size = next(part.file_size for part in archive.infolist() if part.filename.startswith("xl/worksheets/"))
    data = data.replace(size.to_bytes(4, "little"), (1_000).to_bytes(4, "little"))
    refused(tmp_path, "a.xlsx", bytes(data), "cut off or damaged")


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"a," * 20_000 + b"b\n1", "too many columns"),
        (b"coupon,reading\n" + b"x" * (guard.MAX_LINE + 1), "a line is too long"),
        (b"coupon,reading\n" + b"\n" * (guard.MAX_LINES + 1), "too many lines"),
        (b"x" * (guard.MAX_BYTES + 1), "larger than a table may be; allowed: up to 32 MB"),
    ],
)
def test_a_text_file_beyond_the_limits(tmp_path, data, message):
    refused(tmp_path, "a.csv", data, message)
    (tmp_path / "trace.csv").write_bytes(data)
    if "columns" not in message:
        with pytest.raises(InputError, match=message.split(";")[0]):
            read_points(tmp_path / "trace.csv")


def test_cells_that_are_many_together(tmp_path):
    data = b"coupon" + b"," * 900 + b"\n" + (b"," * 900 + b"\n") * (guard.MAX_CELLS // 900)
    refused(tmp_path, "a.csv", data, "too many cells")


@pytest.mark.parametrize("name", ["a?b%20c", "new\nline", b"not \xff utf-8".decode("utf-8", "surrogateescape")])
def test_folders_with_any_name(toml, plan, tmp_path, name):
    from trials.store import records

    place = tmp_path / name
    place.mkdir()
    (place / "trial.toml").write_text(toml, encoding="utf-8")
    records.freeze(place, plan)
    records.record_as_planned(place)
    assert len(records.load(place).cuts) == 8
    assert [path.name for path in tmp_path.iterdir()] == [name]


def row(*cells, repeated=1):
    return f'<table:table-row table:number-rows-repeated="{repeated}">{"".join(cells)}</table:table-row>'


def cell(text="", repeated=1):
    inside = f'table:number-columns-repeated="{repeated}"'
    if not text:
        return f"<table:table-cell {inside}/>"
    return f'<table:table-cell {inside} office:value-type="string"><text:p>{text}</text:p></table:table-cell>'


def ods(*rows):
    return open_book(f'<table:table table:name="readings">{"".join(rows)}</table:table>')


OLD = old_book((0, 0, "coupon"), (0, 1, "reading"), (1, 0, "A"), (1, 1, 2.0))
OPEN = ods(row(cell("coupon"), cell("note")), row(cell("A"), cell("B")), row(cell(repeated=16_384), repeated=1_000_000))


def test_older_and_open_workbooks_within_the_limits_are_read(tmp_path):
    (tmp_path / "a.xls").write_bytes(OLD)
    assert read_table(tmp_path / "a.xls").frame.values.tolist() == [["A", 2.0]]
    (tmp_path / "b.ods").write_bytes(OPEN)  # as programs write it: empty to the last row and column
    assert read_table(tmp_path / "b.ods").frame.values.tolist() == [["A", "B"]]


@pytest.mark.parametrize("share", [0.05, 0.2, 0.5, 0.9, 0.99])
@pytest.mark.parametrize(("name", "whole"), [("a.xls", OLD), ("a.ods", OPEN)])
def test_older_and_open_workbooks_that_were_cut_off(tmp_path, name, whole, share):
    refused(tmp_path, name, whole[: int(len(whole) * share)], "cut off or damaged")


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("a.xls", old_book((0, 0, "coupon"), (65_535, 255, "x"))),
        ("a.xls", old_book((0, 0, "coupon"), (65_535, 65_535, 1.0))),
        ("a.ods", ods(row(cell("coupon")), row(cell(repeated=16_383), cell("x")))),
        ("a.ods", ods(row(cell("coupon", repeated=500)), row(cell("x"), repeated=1_000_000))),
        ("a.ods", ods(row(cell("coupon", repeated=20)), row(cell(), repeated=900_000), row(cell("x")))),
        ("a.ods", ods(row(cell("x", repeated=10**11)))),
    ],
)
def test_a_stray_cell_in_an_older_or_open_workbook(tmp_path, name, data):
    refused(tmp_path, name, data, "far outside the table .*Delete the stray cell")


def test_several_sheets_count_together(tmp_path):
    sheet = f'<table:table table:name="s">{row(cell("x", repeated=900), repeated=2_000)}</table:table>'
    refused(tmp_path, "a.ods", open_book(sheet * 3), "far outside the table")


def test_an_open_workbook_that_unpacks_to_gigabytes(tmp_path):
    blank = " " * 200_000_000
    refused(tmp_path, "a.ods", open_book(blank), "unpacks to more")


def test_a_workbook_in_binary_form(tmp_path):
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        archive.writestr("xl/worksheets/sheet1.bin", b"\0" * 40)
    refused(tmp_path, "a.xlsx", data.getvalue(), "binary form")
