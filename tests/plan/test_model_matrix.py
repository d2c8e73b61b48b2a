"""Candidate settings under limits, and model matrices, on cases small enough to write down."""

import numpy as np
import pytest

from trials.errors import Infeasible, NotFinite, WrongShape
from trials.plan.methods.model_matrix import (
    TERMS,
    Factors,
    allowed,
    candidate_settings,
    coded,
    coordinates,
    effects_coding,
    model_matrix,
)

FACTORS = Factors(("single", "double", "shower"), {"pressure": (2, 12), "standoff": (0.5, 2.5)}, {"gas": ("O2", "N2")})
LEVELS = {"pressure": [2, 7, 12], "standoff": [0.5, 1.5, 2.5]}


def as_rows(settings):
    return list(zip(*settings.values(), strict=True))


def test_effects_coding_sums_to_zero_over_the_levels():
    assert effects_coding(["a", "b", "c"], ["a", "b", "c"]).tolist() == [[1, 0], [0, 1], [-1, -1]]
    assert coded([2, 7, 12], 2, 12).tolist() == [-1, 0, 1]


def test_one_row_written_out():
    columns = {"nozzle": ["shower"], "pressure": np.array([12.0]), "standoff": np.array([1.0]), "gas": ["N2"]}
    got = model_matrix(columns, FACTORS, TERMS)
    expected = {
        "1": 1, "nozzle single": -1, "nozzle double": -1, "gas O2": -1, "pressure": 1, "standoff": -0.5,
        "pressure squared": 1, "standoff squared": 0.25, "pressure x standoff": -0.5,
        "nozzle single x pressure": -1, "nozzle single x standoff": 0.5,
        "nozzle double x pressure": -1, "nozzle double x standoff": 0.5,
        "nozzle single x gas O2": 1, "nozzle double x gas O2": 1, "gas O2 x pressure": -1, "gas O2 x standoff": 0.5,
        "nozzle single x pressure squared": -1, "nozzle single x standoff squared": -0.25,
        "nozzle double x pressure squared": -1, "nozzle double x standoff squared": -0.25,
    }  # fmt: skip
    assert dict(zip(got.names, got.rows[0], strict=True)) == expected
    assert list(got.names) == list(expected)
    assert got.moments.tolist() == np.outer(got.rows[0], got.rows[0]).tolist()


def test_terms_choose_columns_in_a_fixed_order():
    settings = candidate_settings(FACTORS, LEVELS)
    assert len(settings["gas"]) == 3 * 9 * 2
    got = model_matrix(settings, FACTORS, ["squares", "linear"])
    assert got.names == ("1", "pressure", "standoff", "pressure squared", "standoff squared")
    # over a 3 x 3 grid: mean of x^2 is 2/3, of x^2 z^2 4/9, of x^4 2/3
    expected = np.zeros((5, 5))
    expected[0, 0] = 1
    expected[[1, 2], [1, 2]] = expected[[0, 0, 3, 4], [3, 4, 0, 0]] = expected[[3, 4], [3, 4]] = 2 / 3
    expected[[3, 4], [4, 3]] = 4 / 9
    assert got.moments == pytest.approx(expected, abs=1e-15)


def test_one_nozzle_type_gives_no_nozzle_columns():
    factors = Factors(("single",), {"pressure": (2, 12)})
    got = model_matrix(candidate_settings(factors, LEVELS), factors)
    assert got.names == ("1", "pressure", "pressure squared")


def test_limits_leave_out_settings_and_add_their_corners():
    factors = Factors(("single", "double"), {"pressure": (2, 12), "standoff": (0.5, 2.5)})
    limits = [
        {"nozzle": "double", "factor": "pressure", "at_most": 6},
        {"factors": ["pressure", "standoff"], "product_at_most": 18},
    ]
    grid = as_rows(candidate_settings(factors, LEVELS, limits, corners=False))
    single = [(2, 0.5), (2, 1.5), (2, 2.5), (7, 0.5), (7, 1.5), (7, 2.5), (12, 0.5), (12, 1.5)]
    assert grid == [("single", *s) for s in single] + [("double", *s) for s in single[:3]]
    settings = candidate_settings(factors, LEVELS, limits)
    extra = [row for row in as_rows(settings) if row not in grid]
    # single: 12 x 2.5 goes back to 12 x 1.5 (on the grid) and 7.2 x 2.5; double: pressure 7 and 12 go back to 6
    assert sorted(extra) == [("double", 6, 0.5), ("double", 6, 1.5), ("double", 6, 2.5), ("single", 7.2, 2.5)]
    assert allowed(settings, limits).all()


def test_the_crossing_of_two_limits_is_a_candidate():
    factors = Factors(("double",), {"pressure": (2, 12), "standoff": (0.5, 2.5)})
    limits = [{"factor": "pressure", "at_most": 6}, {"factors": ["pressure", "standoff"], "product_at_most": 12}]
    settings = candidate_settings(factors, LEVELS, limits)
    assert ("double", 6, 2) in as_rows(settings)
    assert allowed(settings, limits).all()


@pytest.mark.parametrize(
    ("limit", "kept", "extra"),
    [
        ({"factor": "pressure", "at_most": 9}, {2, 7}, {9}),
        ({"factor": "pressure", "at_least": 3}, {7, 12}, {3}),
        ({"factor": "pressure", "at_most": 7}, {2, 7}, set()),
        ({"factors": ["pressure"], "weights": [2], "sum_at_most": 20}, {2, 7}, {10}),
        ({"factors": ["pressure"], "product_at_most": 8}, {2, 7}, {8}),
    ],
)
def test_each_kind_of_limit_on_one_factor(limit, kept, extra):
    factors = Factors((), {"pressure": (2, 12)})
    assert set(candidate_settings(factors, LEVELS, [limit], corners=False)["pressure"]) == kept
    assert set(candidate_settings(factors, LEVELS, [limit])["pressure"]) == kept | extra


def test_weighted_sum_of_two_factors():
    factors = Factors((), {"pressure": (2, 12), "standoff": (0.5, 2.5)})
    limit = {"factors": ["pressure", "standoff"], "weights": [1, 4], "sum_at_most": 18}
    settings = candidate_settings(factors, LEVELS, [limit])
    sums = settings["pressure"] + 4 * settings["standoff"]
    assert sums.max() == pytest.approx(18, abs=1e-12)
    assert {(8.0, 2.5), (12.0, 1.5)} <= {row[1:] for row in as_rows(settings)}


def test_coordinates_are_numbers_and_text_keeps_its_place():
    got = coordinates({"nozzle": np.array(["b", "a"], dtype=object), "pressure": np.array([2.0, 7.0])})
    assert got.tolist() == [[1, 2], [0, 7]]


SETTING = {"nozzle": ["single"], "pressure": [7.0], "standoff": [1.0], "gas": ["O2"]}
REFUSED = [
    (lambda: Factors((), {"nozzle": (0, 1)}), WrongShape, "must differ from each other"),
    (lambda: Factors((), {"pressure": (3, 3)}), WrongShape, "high above the low"),
    (lambda: Factors((), {"pressure": (3, np.inf)}), NotFinite, "pressure is NaN or infinite"),
    (lambda: Factors(("a", "a")), WrongShape, "levels of nozzle"),
    (lambda: Factors((), {}, {"gas": ("O2",)}), WrongShape, "levels of gas"),
    (lambda: model_matrix(SETTING, FACTORS, ["cubes"]), WrongShape, "term 'cubes' is not one of"),
    (lambda: model_matrix({"nozzle": ["single"]}, FACTORS), WrongShape, "no column for 'pressure'"),
    (lambda: model_matrix(SETTING | {"gas": ["O2", "O2"]}, FACTORS), WrongShape, "equally long"),
    (lambda: model_matrix(SETTING | {"gas": ["Ar"]}, FACTORS), WrongShape, "level 'Ar' is not among"),
    (lambda: model_matrix(SETTING | {"pressure": [np.nan]}, FACTORS), NotFinite, "pressure holds NaN"),
    (lambda: candidate_settings(FACTORS, {"pressure": [2]}), WrongShape, "levels of standoff are missing"),
    (lambda: candidate_settings(FACTORS, LEVELS, [{"factor": "gas", "at_most": 1}]), WrongShape, "no quantitative"),
    (lambda: candidate_settings(FACTORS, LEVELS, [{"factor": "pressure"}]), WrongShape, "has no bound"),
    (
        lambda: candidate_settings(FACTORS, LEVELS, [{"factor": "pressure", "at_most": 1, "nozzle": "x"}]),
        WrongShape,
        "names no nozzle type",
    ),
    (
        lambda: candidate_settings(FACTORS, LEVELS, [{"factor": "pressure", "at_most": 1, "nozzle": "double"}]),
        Infeasible,
        "forbid every setting of nozzle 'double'",
    ),
    (
        lambda: candidate_settings(
            FACTORS, LEVELS, [{"factors": ["pressure", "standoff"], "weights": [1], "sum_at_most": 9}]
        ),
        WrongShape,
        "one weight per factor",
    ),
]


@pytest.mark.parametrize(("call", "error", "text"), REFUSED, ids=[r[2] for r in REFUSED])
def test_refusals_say_why(call, error, text):
    with pytest.raises(error, match=text):
        call()
