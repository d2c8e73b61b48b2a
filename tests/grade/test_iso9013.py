"""Ranges, limits and designations of ISO 9013."""

import json
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trials.errors import InputError, NotFinite
from trials.grade import iso9013

REFERENCE = json.loads(
    (Path(__file__).parents[1] / "reference" / "standards" / "iso9013_limits.json").read_text(encoding="utf-8")
)
U_FORMULAS = {1: ("0.05", "0.003"), 2: ("0.15", "0.007"), 3: ("0.4", "0.01"), 4: ("0.8", "0.02"), 5: ("1.2", "0.035")}
RZ5_FORMULAS = {1: ("10", "0.6"), 2: ("40", "0.8"), 3: ("70", "1.2"), 4: ("110", "1.8")}


@pytest.mark.parametrize("row", REFERENCE["limits"], ids=lambda row: f"{row['a_mm']} mm")
def test_limits_equal_the_reference_to_the_last_digit(row):
    # the reference prints the exact decimals, so nothing but equality will do
    for number, limit in row["u_max_mm"].items():
        assert float(iso9013.squareness_limit(int(number), row["a_mm"])) == limit
    for number, limit in row["rz5_max_um"].items():
        assert float(iso9013.roughness_limit(int(number), row["a_mm"])) == limit


@pytest.mark.parametrize("row", REFERENCE["graded"], ids=lambda row: f"{row['a_mm']} mm, u {row['u_mm']}")
def test_graded_edges_of_the_reference(row):
    expected = [0 if row[key] == "out" else int(row[key]) for key in ("u_range", "rz5_range")]
    found = [iso9013.squareness_range(row["u_mm"], row["a_mm"]), iso9013.roughness_range(row["rz5_um"], row["a_mm"])]
    assert [int(value) for value in found] == expected


@pytest.mark.parametrize(
    ("grade", "formulas"), [(iso9013.squareness_range, U_FORMULAS), (iso9013.roughness_range, RZ5_FORMULAS)]
)
def test_on_the_limit_is_inside_and_one_last_digit_above_is_outside(grade, formulas):
    """Every tenth of a millimetre from 0.5 to 32 mm, limits worked out with decimals and typed as they print."""
    last = max(formulas)
    for tenths in range(5, 321):
        thickness = Decimal(tenths).scaleb(-1)
        for number, (base, slope) in formulas.items():
            limit = Decimal(base) + Decimal(slope) * thickness
            digit = Decimal(1).scaleb(limit.as_tuple().exponent)  # 0.0001 mm for u, 0.01 um for Rz5
            worse = 0 if number == last else number + 1
            typed = [float(str(limit)), float(str(limit + digit))]
            assert grade(typed, float(str(thickness))).tolist() == [number, worse], (thickness, number)


def test_the_typed_limit_at_seven_millimetres_is_inside():
    assert iso9013.squareness_range([0.071, 0.0711, 0.072], 7.0).tolist() == [1, 2, 2]


def test_rounding_noise_of_a_computed_value_does_not_push_it_over():
    assert iso9013.squareness_range([0.071 + 4e-10, 0.071 + 6e-10], 7.0).tolist() == [1, 2]


@pytest.mark.parametrize("missing", [float("nan"), None])
def test_missing_values_and_thicknesses_are_not_graded(missing):
    assert iso9013.squareness_range([missing, 0.1], 6.0).tolist() == [-1, 2]
    assert iso9013.roughness_range([10.0, 10.0], [missing, 6.0]).tolist() == [-1, 1]


def test_readings_broadcast_against_thickness_and_pandas_columns_are_welcome():
    readings = np.array([[0.05, 0.2], [0.05, 5.0]])
    assert iso9013.squareness_range(readings, [[3.0], [12.0]]).tolist() == [[1, 3], [1, 0]]
    column = pd.Series([0.05, pd.NA], dtype="Float64")
    assert iso9013.squareness_range(column, 3.0).tolist() == [1, -1]
    assert iso9013.squareness_range([], []).shape == (0,)


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: iso9013.squareness_range([0.1, -0.1], 6.0), InputError, "negative u; found -0.1; allowed: 0 mm"),
        (lambda: iso9013.roughness_range(-1.0, 6.0), InputError, "negative Rz5; found -1.0; allowed: 0 um"),
        (lambda: iso9013.squareness_range(0.1, 0.0), InputError, "not a sheet thickness; found 0.0"),
        (lambda: iso9013.squareness_range(0.1, -6.0), InputError, "not a sheet thickness; found -6.0"),
        (lambda: iso9013.roughness_range([9.0, 9.0], [0.8, -6.0]), InputError, "not a sheet thickness; found -6.0"),
        (lambda: iso9013.squareness_range([0.1, -0.3, -0.2], 6.0), InputError, "negative u; found -0.3"),
        (lambda: iso9013.squareness_range(float("inf"), 6.0), NotFinite, "u holds infinity"),
        (lambda: iso9013.roughness_range(1.0, float("inf")), NotFinite, "thickness holds infinity"),
        (lambda: iso9013.squareness_range("wide", 6.0), InputError, "a value is not a number; found 'wide'"),
        (
            lambda: iso9013.squareness_limit(6, 6.0),
            InputError,
            "no such range of u in ISO 9013; found 6; allowed: 1 to 5",
        ),
        (
            lambda: iso9013.roughness_limit(0, 6.0),
            InputError,
            "no such range of Rz5 in ISO 9013; found 0; allowed: 1 to 4",
        ),
    ],
)
def test_bad_input_gives_one_named_line(call, error, message):
    with pytest.raises(error, match=message) as caught:
        call()
    assert "\n" not in str(caught.value)


def test_scope_of_laser_cuts_includes_its_ends():
    assert [iso9013.in_scope(t) for t in (0.4, 0.5, 32.0, 32.1)] == [False, True, True, False]
    assert iso9013.in_scope(np.array([0.4, 1.0, np.nan])).tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("u", "rz5", "thickness", "code", "lacking"),
    [
        (2, 2, 6.0, "ISO 9013-220", []),
        (2, -1, 6.0, "ISO 9013-200", []),
        (-1, 4, 6.0, "ISO 9013-040", []),
        (1, 2, 32.0, "ISO 9013-120", []),
        (0, 2, 6.0, "", [("worse_than_the_last_range", "squareness")]),
        (2, 0, 6.0, "", [("worse_than_the_last_range", "roughness")]),
        (0, 0, 6.0, "", [("worse_than_the_last_range", "squareness"), ("worse_than_the_last_range", "roughness")]),
        (2, 2, 40.0, "", [("thickness_out_of_scope", "")]),
        (-1, -1, 6.0, "", [("nothing_graded", "")]),
    ],
)
def test_designation(u, rz5, thickness, code, lacking):
    found = iso9013.designation(u, rz5, thickness)
    assert found.code == code
    assert [(one.kind, one.about.response) for one in found.lacking] == lacking


def test_a_perfect_edge_is_in_the_first_range():
    assert [int(iso9013.squareness_range(0.0, 6.0)), int(iso9013.roughness_range(0.0, 6.0))] == [1, 1]


def test_out_of_scope_is_graded_by_the_same_formulas():
    assert int(iso9013.squareness_range(0.05 + 0.003 * 40, 40.0)) == 1


def test_limit_table_has_a_row_per_thickness():
    rows = iso9013.limit_table([row["a_mm"] for row in REFERENCE["limits"]])
    for row, reference in zip(rows, REFERENCE["limits"], strict=True):
        assert [row[f"u_range_{n}"] for n in range(1, 6)] == list(reference["u_max_mm"].values())
        assert [row[f"rz5_range_{n}"] for n in range(1, 5)] == list(reference["rz5_max_um"].values())
