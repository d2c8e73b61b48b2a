"""Squareness from scans: bows of known size, bevels, and bad scans."""

import math

import numpy as np
import pytest

from trials.bench.kinds import BenchKind as K
from trials.bench.squareness import LEVELLING_DEG, delta_a_of, perpendicularity
from trials.errors import InputError, NotFinite, WrongShape
from trials.findings import Amount, Finding

DEPTH = np.linspace(0.0, 12.0, 241)


def flank(angle_deg, bow_mm=0.0, depth=DEPTH, low=1.0, high=11.0):
    """Offsets of a flank at an angle, bowed out by a half sine, square to itself, between two depths."""
    angle = math.radians(angle_deg)
    return -depth / math.tan(angle) + bow_mm * np.sin(np.pi * (depth - low) / (high - low)) / math.sin(angle)


@pytest.mark.parametrize("angle", [30.0, 45.0, 60.0, 90.0, 120.0])
@pytest.mark.parametrize("bow", [0.0, 0.05, 0.4])
def test_bow_of_known_size_on_square_and_bevel_flanks(angle, bow):
    found = perpendicularity(DEPTH, flank(angle, bow), 12.0, angle)
    # the bow peaks at 6 mm depth, which is a point of the scan: nothing but rounding is left
    assert found.u_mm == pytest.approx(bow, abs=1e-12)
    assert (found.delta_a_mm, found.from_mm, found.to_mm) == (1.0, 1.0, 11.0)
    assert found.lean_deg == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("lean", [0.5, -1.0])
def test_lean_is_part_of_u(lean):
    """A straight flank off by an angle: u is the used height times its tangent."""
    found = perpendicularity(DEPTH, DEPTH * math.tan(math.radians(lean)), 12.0)
    assert found.u_mm == pytest.approx(10.0 * math.tan(math.radians(abs(lean))), rel=1e-12)
    assert found.lean_deg == pytest.approx(lean, rel=1e-9)


def test_ends_are_interpolated_and_what_lies_beyond_is_left_out():
    depth = np.array([0.0, 0.9, 1.4, 6.0, 10.8, 11.2, 12.0])
    offset = np.array([-5.0, 0.0, 1.0, 1.0, 1.0, 0.0, -5.0])
    # by hand: at 1.0 mm the offset is 0.2, at 11.0 mm it is 0.5, between them 1.0
    assert perpendicularity(depth, offset, 12.0).u_mm == pytest.approx(0.8, rel=1e-12)


def test_order_of_points_does_not_matter_and_sorting_is_stated():
    offset = flank(60.0, 0.05)
    mixed = np.random.default_rng(1).permutation(len(DEPTH))
    straight = perpendicularity(DEPTH, offset, 12.0, 60.0)
    for order in (mixed, np.arange(len(DEPTH))[::-1]):
        found = perpendicularity(DEPTH[order], offset[order], 12.0, 60.0)
        assert found.u_mm == straight.u_mm
        assert found.notes == (Finding(K.SCAN_SORTED),)
    assert straight.notes == ()


@pytest.mark.parametrize(
    ("thickness", "expected"),
    [(1.0, 0.1), (3.0, 0.3), (3.4, 0.3), (6.0, 0.3), (6.4, 0.6), (9.5, 0.6), (12.7, 1.0), (20.0, 1.0), (25.0, 1.5)],
)
def test_delta_a(thickness, expected):
    assert delta_a_of(thickness) == pytest.approx(expected, rel=1e-12)


def test_the_other_reading_of_delta_a_can_be_given():
    depth = np.linspace(0, 1.5, 31)
    assert perpendicularity(depth, 0.1 * depth, 1.5).u_mm == pytest.approx(0.1 * 1.2, rel=1e-12)
    assert perpendicularity(depth, 0.1 * depth, 1.5, delta_a_mm=0.1).u_mm == pytest.approx(0.1 * 1.3, rel=1e-12)


def test_melting_of_the_top_edge():
    rounded = -np.clip(0.5 - np.sqrt(np.clip(0.25 - np.clip(0.5 - DEPTH, 0, None) ** 2, 0, None)), 0, None)
    found = perpendicularity(DEPTH, rounded, 12.0)
    assert found.melting_mm == pytest.approx(0.5, abs=1e-12)
    lower = DEPTH > 0.3
    assert perpendicularity(DEPTH[lower], rounded[lower], 12.0).melting_mm is None


@pytest.mark.parametrize("angle", [60.0, 90.0])
@pytest.mark.parametrize("way", [1.0, -1.0])
def test_what_a_wrong_levelling_adds_to_a_straight_flank(angle, way):
    depth, tilt = np.linspace(-0.5, 12.5, 261), way * math.radians(LEVELLING_DEG)
    offset = flank(angle, depth=depth)
    found = perpendicularity(
        depth * math.cos(tilt) - offset * math.sin(tilt), depth * math.sin(tilt) + offset * math.cos(tilt), 12.0, angle
    )
    # by hand: 10 mm of height along the flank times the tangent; turning changes that length by a thousandth
    assert found.u_mm == pytest.approx(10.0 / math.sin(math.radians(angle)) * math.tan(math.radians(0.1)), rel=2e-3)
    assert found.tilt_mm == pytest.approx(found.u_mm, rel=2e-3)


def test_few_points_and_a_dead_probe_are_warned_of():
    few = {"points": 0, "low": Amount(1.0, "mm"), "high": Amount(11.0, "mm")}
    assert perpendicularity([0.0, 12.0], [0.0, 0.12], 12.0).warnings == (Finding(K.FEW_POINTS, facts=few),)
    assert perpendicularity(DEPTH, np.zeros(241), 12.0).warnings == (Finding(K.OFFSET_CONSTANT),)


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: perpendicularity(DEPTH, np.full(241, np.nan), 12.0), NotFinite, "Point 1 of the scan"),
        (lambda: perpendicularity(DEPTH, DEPTH[:-1], 12.0), WrongShape, "two columns of the same length"),
        (lambda: perpendicularity([1.0], [1.0], 12.0), WrongShape, "2 points or more"),
        (lambda: perpendicularity(["a", "b"], [1, 2], 12.0), InputError, "a point of the scan is not a number"),
        (
            lambda: perpendicularity(DEPTH[:200], DEPTH[:200], 12.0),
            InputError,
            "runs from 0 to 9.95 mm depth; allowed: it must",
        ),
        (lambda: perpendicularity(DEPTH[40:], DEPTH[40:], 12.0), InputError, "runs from 2 to 12 mm depth"),
        (lambda: perpendicularity(-DEPTH, DEPTH, 12.0), InputError, "runs from -12 to -0 mm depth"),
        (lambda: perpendicularity(DEPTH * 1000, DEPTH, 12.0), InputError, "the depths may be in another unit"),
        (lambda: perpendicularity(DEPTH / 1000, DEPTH, 12.0), InputError, "the depths may be in another unit"),
        (lambda: perpendicularity(DEPTH, DEPTH * 1000, 12.0), InputError, "they may be in um"),
        (lambda: perpendicularity(DEPTH, DEPTH, 0.0), InputError, "not a sheet thickness"),
        (lambda: perpendicularity(DEPTH, DEPTH, math.nan), NotFinite, "Thickness or angle is not a number"),
        (lambda: perpendicularity(DEPTH, DEPTH, 12.0, 180.0), InputError, "not an angle of a flank; found 180.0"),
        (lambda: perpendicularity(DEPTH, DEPTH, 12.0, delta_a_mm=6.0), InputError, "delta a leaves nothing"),
        (lambda: delta_a_of(400.0), InputError, "no delta a for this thickness; found 400.0"),
    ],
)
def test_bad_scans_give_one_named_line(call, error, message):
    with pytest.raises(error, match=message) as caught:
        call()
    assert "\n" not in str(caught.value)


def test_one_spike_of_a_scan_is_flagged_with_its_place():
    offset = 0.01 * np.sin(DEPTH)
    assert K.SCAN_SPIKE not in [one.kind for one in perpendicularity(DEPTH, offset, 12.0).warnings]
    struck = offset.copy()
    struck[120] += 0.5
    found = perpendicularity(DEPTH, struck, 12.0)
    assert [one.kind for one in found.warnings] == [K.SCAN_SPIKE]
    assert found.warnings[0].facts["depth"].value == pytest.approx(DEPTH[120])
