"""Hostile and damaged files: one line each, before they are read whole."""

import io
import zipfile

import pytest
import xlsxwriter

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
    from trials.store.records import database

    place = tmp_path / name
    place.mkdir()
    (place / "trial.toml").write_text(toml, encoding="utf-8")
    database.freeze(place, plan)
    database.record_as_planned(place)
    assert len(database.load(place).cuts) == 8
    assert [path.name for path in tmp_path.iterdir()] == [name]
