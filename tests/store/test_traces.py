"""Files of traces and scans: every usual way to write them reads to the same points, and a bad cell is named."""

from pathlib import Path

import numpy as np
import pytest

from trials.errors import InputError
from trials.store.intake.traces import place_of, point_files, read_points
from trials.words.findings import say

# three points, 0.5 um apart, heights 1, -2 and 3.5 um
SAME = [
    ("distance_mm,height_um\n0,1\n0.0005,-2\n0.001,3.5\n", {}),
    ("x (um);z (mm)\n0;0,001\n0,5;-0,002\n1;0,0035\n", {}),
    ("Distance [µm]\tHeight [µm]\n0\t1\n0.5\t-2\n1\t3.5\n", {}),
    ("Stylus 4\nmeasured 2026-01-12\n\nX\tZ\nmm\tum\n0\t1\n0.0005\t-2\n0.001\t3.5\n", {}),
    ("# a remark\ndistance,height\n0,1\n0.5,-2\n1,3.5\n", {"along_unit": "um", "across_unit": "um"}),
    ("0 1\n0.0005 -2\n0.001 3.5\n", {"kind": "roughness", "along_unit": "mm", "across_unit": "um"}),
]


@pytest.mark.parametrize(("text", "options"), SAME)
def test_the_same_trace_written_in_several_ways(tmp_path, text, options):
    path = tmp_path / "trace.csv"
    path.write_text(text, encoding="utf-8")
    found = read_points(path, **options)
    assert found.kind == "roughness"
    # units are factors of ten here, which leaves rounding of the last digit
    assert found.along == pytest.approx([0, 0.0005, 0.001], abs=1e-15)
    assert found.across == pytest.approx([1, -2, 3.5], abs=1e-12)


def test_heights_alone_in_microinches(tmp_path):
    path = tmp_path / "trace.txt"
    path.write_text("height_uin\n100\n-200\n", encoding="utf-8")
    found = read_points(path)
    assert found.along is None
    # the inch is 25.4 mm exactly
    assert found.across == pytest.approx([2.54, -5.08], rel=1e-14)


def test_a_scan_is_known_by_its_columns(tmp_path):
    path = tmp_path / "scan.csv"
    path.write_text("depth_mm,offset_um\n0,0\n6,50\n", encoding="utf-8")
    found = read_points(path)
    assert found.kind == "squareness"
    assert np.array_equal(found.across, [0, 0.05])


def test_lines_above_the_names_are_said(tmp_path):
    path = tmp_path / "trace.csv"
    path.write_text("Stylus 4\nday 3\ndistance_mm,height_um\n0,1\n", encoding="utf-8")
    assert [say(one) for one in read_points(path).said] == ["2 lines above the column names were passed over"]


BAD = [
    ("", {}, "the file is empty"),
    ("distance_mm,height_um\n", {}, "holds no figures"),
    ("distance_mm,height_um\n0,1\n0.1,nan\n", {}, "row 3, column height: not a number; found 'nan'"),
    ("distance_mm,height_um\n0,1\n0.1,\n", {}, "row 3, column height: not a number; found 'an empty cell'"),
    ("distance_mm,height_um\n0,1\nx,2\n", {}, "row 3, column distance: not a number; found 'x'"),
    ("distance_mm,height_bar\n0,1\n", {}, "not a unit of height; found 'bar'"),
    ("distance,height\n0,1\n", {}, "the unit of the distance is not named"),
    ("time_s,force_n\n0,1\n", {}, "neither a trace nor a scan"),
    ("0 1\n1 2\n", {}, "the columns have no names"),
    ("0,1\n1,2\n", {"kind": "roughness"}, "a comma may part two columns or be a decimal comma"),
    ("0 1 2\n1 2 3\n", {"kind": "roughness"}, "3 columns without names"),
    ("depth_mm,offset_mm\n0,1\n", {"kind": "roughness"}, "the columns are those of a squareness file"),
    ("%PDF-1.7 and so on\n", {}, "is not a table of text"),
]


@pytest.mark.parametrize(("text", "options", "message"), BAD)
def test_a_file_that_cannot_be_used_is_named_with_its_place(tmp_path, text, options, message):
    path = tmp_path / "bad.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=message) as caught:
        read_points(path, **options)
    assert str(caught.value).startswith(str(path))


@pytest.mark.parametrize(
    ("name", "place"),
    [
        ("K7T-2.csv", ("K7T", 2, "", 0)),
        ("K7T-2-left.csv", ("K7T", 2, "left", 0)),
        ("K7T_12_right_again1.txt", ("K7T", 12, "right", 1)),
        ("A-3-1.csv", ("A-3", 1, "", 0)),
    ],
)
def test_a_file_name_carries_coupon_and_reading(name, place):
    found = place_of(Path(name))
    assert (found.coupon, found.reading, found.side, found.repeat) == place


@pytest.mark.parametrize("name", ["K7T.csv", "K7T-0.csv", "K7T-2-middle.csv", "-2.csv"])
def test_another_file_name_is_refused(name):
    with pytest.raises(InputError, match="holds no coupon and reading"):
        place_of(Path(name))


def test_a_folder_gives_its_files_in_order_and_passes_over_the_rest(tmp_path):
    for name in ("B-1.csv", "A-1.TXT", "notes.md", ".hidden.csv"):
        (tmp_path / name).write_text("x", encoding="utf-8")
    assert [path.name for path in point_files([tmp_path])] == ["A-1.TXT", "B-1.csv"]
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match="holds no traces or scans"):
        point_files([tmp_path / "empty"])
    with pytest.raises(InputError, match="no such file or folder"):
        point_files([tmp_path / "nowhere"])
