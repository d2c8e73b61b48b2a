"""Terms of the fixed part: which are let in, in which order they leave, how they are coded."""

import itertools

import numpy as np
import pytest

from trials.errors import NotIdentifiable, WrongArgument
from trials.infer.model import Axis, build_model, candidate_terms, sum_to_zero
from trials.infer.model.terms import Term

NOZZLE = Axis("nozzle", ("a", "b", "c"))
PRESSURE = Axis("pressure", (0.5, 0.7, 0.9))
STANDOFF = Axis("standoff", (1.0, 2.0))
SURFACE = Axis("surface", ("clean", "rusty"))


def crossed(*axes, repeats=2):
    rows = list(itertools.product(*(axis.levels for axis in axes))) * repeats
    kinds = [object if axis.is_text else float for axis in axes]
    return {a.name: np.array([r[i] for r in rows], dtype=k) for i, (a, k) in enumerate(zip(axes, kinds, strict=True))}


def test_candidate_terms_in_the_order_of_the_design():
    names = [term.name for term in candidate_terms([NOZZLE, PRESSURE, STANDOFF], "nozzle")]
    assert names == [
        "nozzle",
        "pressure",
        "standoff",
        "pressure squared",
        "nozzle x pressure",
        "nozzle x standoff",
        "pressure x standoff",
        "nozzle x pressure squared",
    ]


def test_common_curves_leave_out_nozzle_by_square_and_nothing_else():
    axes = [NOZZLE, PRESSURE, STANDOFF]
    by_type, common = (candidate_terms(axes, "nozzle", common_curves=common) for common in (False, True))
    assert [term.name for term in by_type if term not in common] == ["nozzle x pressure squared"]
    model = build_model(axes, crossed(*axes), "nozzle", common_curves=True)
    assert model.terms == common and model.dropped == ()


def test_full_crossing_carries_every_term():
    axes = [NOZZLE, PRESSURE, STANDOFF, SURFACE]
    settings = crossed(*axes)
    model = build_model(axes, settings, "nozzle")
    matrix = model.matrix(settings)
    assert model.dropped == ()
    assert np.linalg.matrix_rank(matrix) == matrix.shape[1]
    # balanced: every column of a term is orthogonal to those of every other term (up to rounding)
    slices = list(model.slices().values())
    for i, one in enumerate(slices):
        assert np.abs(matrix[:, one].sum(axis=0)).max() < 1e-12
        for other in slices[:i]:
            assert np.abs(matrix[:, one].T @ matrix[:, other]).max() < 1e-12


def test_square_is_orthogonal_over_unequal_levels():
    axis = Axis("pressure", (0.3, 0.5, 1.2))
    line, square = axis.columns(axis.levels)[:, 0], axis.square(axis.levels)[:, 0]
    assert abs(square.sum()) < 1e-12 and abs(line @ square) < 1e-12


def test_what_the_settings_cannot_carry_leaves_highest_first():
    settings = crossed(NOZZLE, PRESSURE)
    settings["standoff"] = np.where(settings["pressure"] == 0.9, 2.0, 1.0)  # tied to pressure
    model = build_model([NOZZLE, PRESSURE, STANDOFF], settings, "nozzle")
    # pressure and standoff together already reach all three pressures, so the square adds nothing
    assert model.dropped == ("pressure squared", "pressure x standoff", "nozzle x pressure squared")


def test_nozzle_tied_to_sheet_is_named():
    settings = crossed(Axis("nozzle", ("a", "b")), PRESSURE)
    with pytest.raises(NotIdentifiable, match="cannot be told apart from the sheets"):
        build_model([Axis("nozzle", ("a", "b")), PRESSURE], settings, "nozzle", block=settings["nozzle"])


def test_one_coupon_is_left_for_the_spread():
    settings = crossed(NOZZLE, PRESSURE, repeats=1)
    model = build_model([NOZZLE, PRESSURE], settings, "nozzle")
    assert model.matrix(settings).shape[1] < 9
    assert model.dropped == ("nozzle x pressure squared",)


def test_sum_to_zero_last_level_is_minus_one():
    found = sum_to_zero(np.array(["a", "b", "c"], dtype=object), ("a", "b", "c"), "nozzle")
    assert found.tolist() == [[1, 0], [0, 1], [-1, -1]]
    with pytest.raises(WrongArgument, match="'d' is not among its levels"):
        sum_to_zero(np.array(["d"], dtype=object), ("a", "b"), "nozzle")


def test_numbers_are_coded_from_the_middle_by_half_their_range():
    values = np.array([0.5, 0.7, 0.9, 0.6])
    np.testing.assert_allclose(PRESSURE.columns(values)[:, 0], [-1.0, 0.0, 1.0, -0.5], atol=1e-12)
    # the square less its mean over -1, 0, 1, which is two thirds
    np.testing.assert_allclose(PRESSURE.square(values)[:, 0], [1 / 3, -2 / 3, 1 / 3, 1 / 4 - 2 / 3], atol=1e-12)
    # uneven levels 0, 1, 5: mean 2, half range 2.5
    np.testing.assert_allclose(
        Axis("gap", (0.0, 1.0, 5.0)).columns([0.0, 1.0, 5.0])[:, 0], [-0.8, -0.4, 1.2], atol=1e-12
    )
    np.testing.assert_array_equal(Axis("gap", (2.0,)).columns([2.0, 3.0])[:, 0], [0.0, 1.0])  # one level: as it is


def test_terms_are_named_in_plain_words():
    named = [Term(parts).name for parts in (("a",), ("a", "a"), ("a", "b"), ("a", "b", "b"), ("b", "b", "a"))]
    assert named == ["a", "a squared", "a x b", "a x b squared", "b squared x a"]
    with pytest.raises(WrongArgument, match="at least one part"):
        Term(()).columns([NOZZLE], {})


def test_columns_of_a_product_and_of_a_square_by_hand():
    """Types a b c coded (1 0), (0 1), (-1 -1); pressure -1 0 1 with a square less its mean of 2/3."""
    settings = {"nozzle": np.array(["a", "b", "c"], dtype=object), "pressure": np.array([0.5, 0.7, 0.9])}
    product = Term(("nozzle", "pressure")).columns([NOZZLE, PRESSURE], settings)
    assert product == pytest.approx(np.array([[-1.0, 0.0], [0.0, 0.0], [-1.0, -1.0]]))
    square = Term(("nozzle", "pressure", "pressure")).columns([NOZZLE, PRESSURE], settings)
    assert square == pytest.approx(np.array([[1 / 3, 0.0], [0.0, -2 / 3], [-1 / 3, -1 / 3]]))


def test_sheets_that_stay_fixed_come_first_and_average_out():
    axes = [NOZZLE, PRESSURE]
    settings = crossed(*axes, repeats=3)
    n = len(settings["pressure"])
    block = np.array(["s1", "s2", "s3"], dtype=object)[np.arange(n) // 9]  # every crossing once on each sheet
    model = build_model(axes, settings, "nozzle", block)
    assert model.block_levels == ("s1", "s2", "s3") and model.slices()["nozzle"] == slice(3, 5)
    matrix = model.matrix(settings, block)
    assert matrix[:, 1:3] == pytest.approx(sum_to_zero(block, ("s1", "s2", "s3"), "sheet"))
    assert (model.matrix(settings)[:, 1:3] == 0).all() and model.matrix(settings).shape == matrix.shape
    one = build_model(axes, settings, "nozzle", np.array(["s1"] * n, dtype=object))
    assert one.slices()["nozzle"] == slice(1, 3)


def test_terms_are_let_in_up_to_one_less_than_the_units():
    axes = [NOZZLE, PRESSURE]
    settings = crossed(*axes)
    # constant and two of the nozzle make three columns: four units leave one over, with pressure five are needed
    for units, terms in ((4, ["nozzle"]), (5, ["nozzle", "pressure"]), (6, ["nozzle", "pressure", "pressure squared"])):
        assert [term.name for term in build_model(axes, settings, "nozzle", units=units).terms] == terms
    with pytest.raises(NotIdentifiable, match="fewer than two types"):
        build_model(axes, {"nozzle": np.array(["a"] * 4, dtype=object), "pressure": np.arange(4.0)}, "nozzle")


def test_a_column_that_differs_by_rounding_alone_is_left_out():
    near = np.array([0.5, 0.7, 0.9] * 4)
    settings = {"pressure": near, "standoff": near + 1e-12}
    model = build_model([PRESSURE, Axis("standoff", (0.5, 0.7, 0.9))], settings, None)
    assert "standoff" in model.dropped and "standoff squared" in model.dropped
