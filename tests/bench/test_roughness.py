"""Roughness from traces: known profiles, the filter, a peer, and bad traces."""

import math

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d
from surfalize import Profile

from trials.bench.kinds import BenchKind as K
from trials.bench.profile_filter import ALPHA, mean_line
from trials.bench.roughness import asked_cutoff_mm, measure_profile
from trials.errors import InputError, NotFinite, WrongShape
from trials.findings import Amount, Finding

CUTOFF = 2.5


def along(length=15.0, step=0.001):
    return np.arange(round(length / step)) * step


def passed(ratio):
    """Share of a wave that stays in the mean line, wavelength `ratio` cut-offs."""
    return math.exp(-math.pi * (ALPHA / ratio) ** 2)


def random_trace(seed, correlation_mm, step=0.001, points=15000, skewed=False):
    rng = np.random.default_rng(seed)
    z = gaussian_filter1d(rng.standard_normal(points + 4000), correlation_mm / step)[2000:-2000]
    z *= 10 / z.std()
    return 10 * np.exp(z / 15) if skewed else z


def test_alpha_is_the_constant_of_the_standard():
    # sqrt(ln 2 / pi) to the ten digits it is usually printed with
    assert pytest.approx(0.4697186393, abs=5e-11) == ALPHA


@pytest.mark.parametrize(
    ("ratio", "kept"),
    # 1 - exp(-pi (alpha / ratio)^2), worked out with R 4.2.2 to six digits
    [(3.0, 0.074125), (2.0, 0.159104), (1.0, 0.5), (0.5, 0.9375), (1 / 3, 0.998047)],
)
def test_transmission_of_the_filter(ratio, kept):
    """Amplitude that stays in the roughness profile, by least squares on a long wave; asked for to 1e-3."""
    x = along(30.0)
    wave = 2 * np.pi * x / (ratio * CUTOFF)
    rough = 10 * np.sin(wave) - mean_line(10 * np.sin(wave), 0.001, CUTOFF)
    inside = (x > 7.5) & (x < 22.5)
    basis = np.column_stack([np.sin(wave), np.cos(wave)])[inside]
    amplitude = np.hypot(*np.linalg.lstsq(basis, rough[inside], rcond=None)[0]) / 10
    # the weights reach one cut-off either way, which leaves less than 1e-5
    assert amplitude == pytest.approx(kept, abs=1e-5)


def test_a_straight_line_is_its_own_mean_line_up_to_the_ends():
    line = 3.0 + 40.0 * along()
    # the convolution goes by way of frequencies, which leaves about 1e-11 of 600 um
    assert np.abs(mean_line(line, 0.001, CUTOFF) - line).max() < 1e-7


@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("phase", [0.0, 0.7, math.pi / 2])
def test_transmission_seen_by_the_whole_measurement(ratio, phase):
    x = along()
    found = measure_profile(10 * np.sin(2 * np.pi * x / (ratio * CUTOFF) + phase), 0.001)
    # Rt holds one whole wave inside; at the ends the trace has half a cut-off only, hence 1e-3 of the full height
    assert found.rt / 20 == pytest.approx(1 - passed(ratio), abs=1.3e-3)


@pytest.mark.parametrize("wavelength", [0.25, 0.5, 0.625])
def test_sinusoid(wavelength):
    """Rz = 2 A, Ra = 2 A / pi, Rq = A / sqrt 2, RSm = wavelength, each times what the filter leaves."""
    found = measure_profile(12 * np.sin(2 * np.pi * along() / wavelength + 0.3), 0.001)
    left = 12 * (1 - passed(wavelength / CUTOFF))
    # 1 um steps miss an apex by less than 1e-4; the ends by less than 5e-4
    assert found.rz5 == pytest.approx(2 * left, rel=5e-4)
    assert found.rz_each == pytest.approx(np.full(5, 2 * left), rel=1e-3)
    assert found.ra == pytest.approx(2 * left / math.pi, rel=5e-4)
    assert found.rq == pytest.approx(left / math.sqrt(2), rel=5e-4)
    assert found.rsm_mm == pytest.approx(wavelength, rel=1e-4)
    assert found.rz_max == found.rz_each.max()


def test_triangle():
    """Symmetric triangle of height 40 um, 0.25 mm long: Rz 40, Ra 10, Rq 20 / sqrt 3."""
    wave = (along() / 0.25 + 0.1) % 1
    found = measure_profile(40 * np.abs(2 * wave - 1) - 20, 0.001)
    # the filter takes exp(-pi (2.5 alpha / 0.25)^2), nothing at all; 1e-3 covers the ends
    assert found.rz5 == pytest.approx(40, rel=1e-3)
    assert found.ra == pytest.approx(10, rel=1e-3)
    assert found.rq == pytest.approx(20 / math.sqrt(3), rel=1e-3)


def test_sum_of_sines():
    """Each wave keeps its own share, so the roughness profile and all its figures are known point by point."""
    x, parts = along(), [(20.0, 0.125), (10.0, 0.625), (30.0, 2.5), (50.0, 5.0)]
    found = measure_profile(sum(a * np.sin(2 * np.pi * x / w) for a, w in parts), 0.001)
    known = sum(a * (1 - passed(w / CUTOFF)) * np.sin(2 * np.pi * x / w) for a, w in parts)[1250:13750]
    # half a cut-off from the end of the trace the mean line lacks a tail of its weights: under 0.5 % of 110 um
    assert np.abs(found.roughness_um[1250:13750] - known).max() < 0.55
    assert np.abs(found.roughness_um[2500:12500] - known[1250:-1250]).max() < 1e-3
    assert found.rz_each == pytest.approx([np.ptp(part) for part in np.split(known, 5)], rel=5e-3)
    assert found.rq == pytest.approx(math.sqrt(np.mean(known**2)), rel=1e-3)
    assert found.ra == pytest.approx(np.abs(known).mean(), rel=1e-3)


@pytest.mark.parametrize("correlation", [0.005, 0.02, 0.06, 0.15])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_agrees_with_a_general_surface_library(seed, correlation):
    """Ra, Rq and Rz against surfalize 0.19 within 1 %.

    The peer mirrors the trace at its ends, cuts the weights at four standard deviations and takes Ra and Rq about the
    mean of the evaluated piece, where this package keeps the mean line of the filter (ISO 21920-2).
    """
    z = random_trace(seed, correlation)
    found = measure_profile(z, 0.001)
    peer = Profile(z, 1.0).level().filter("highpass", 2500).crop((1250, 13749))
    assert found.ra == pytest.approx(peer.Ra(), rel=0.01)
    assert found.rq == pytest.approx(peer.Rq(), rel=0.01)
    assert found.rz5 == pytest.approx(peer.Rz(), rel=0.01)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_differs_from_the_peer_on_a_skewed_profile_is_the_mean(seed):
    z = random_trace(seed, 0.15, skewed=True)
    found = measure_profile(z, 0.001)
    peer = Profile(z, 1.0).level().filter("highpass", 2500).crop((1250, 13749))
    inside = (found.position_mm >= found.edges_mm[0]) & (found.position_mm < found.edges_mm[-1])
    about_own_mean = found.roughness_um[inside] - found.roughness_um[inside].mean()
    assert np.abs(about_own_mean).mean() == pytest.approx(peer.Ra(), rel=2e-3)


def test_line_and_height_make_no_difference_and_scale_carries_through():
    z = random_trace(4, 0.05)
    base = measure_profile(z, 0.001)
    moved = measure_profile(z + 300 + 0.05 * np.arange(len(z)), 0.001)
    doubled = measure_profile(2 * z, 0.001)
    turned = measure_profile(z[::-1], 0.001)
    for other, factor in ((moved, 1), (doubled, 2), (turned, 1)):
        assert other.rz5 == pytest.approx(factor * base.rz5, rel=1e-9)
        assert other.ra == pytest.approx(factor * base.ra, rel=1e-9)
    assert turned.rz_each == pytest.approx(base.rz_each[::-1], rel=1e-9)


@pytest.mark.parametrize("points", [15000, 15001])
def test_fifteen_millimetres_are_enough_counted_either_way(points):
    found = measure_profile(random_trace(4, 0.05, points=points), 0.001)
    assert (found.cutoff_mm, found.evaluation_mm) == (2.5, 12.5)
    assert len(found.rz_each) == 5
    assert np.diff(found.edges_mm) == pytest.approx(np.full(5, 2.5), rel=1e-12)


@pytest.mark.parametrize(("scale", "cutoff"), [(1.0, 2.5), (0.15, 0.8)])
def test_automatic_cutoff(scale, cutoff):
    found = measure_profile(scale * random_trace(4, 0.02), 0.001, automatic="ISO 21920-3")
    assert found.cutoff_mm == cutoff
    assert asked_cutoff_mm(found.rz5) <= cutoff
    facts = {"cutoff": Amount(cutoff, "mm"), "method": "ISO 21920-3"}
    assert found.notes == (Finding(K.CUTOFF_CHOSEN, facts=facts),)


def test_automatic_cutoff_that_the_trace_cannot_hold():
    z = 5 * random_trace(4, 0.02)
    found = measure_profile(z, 0.001, automatic="ISO 4288")
    assert found.cutoff_mm == 2.5
    facts = {"method": "ISO 4288", "asked": Amount(8.0, "mm"), "cutoff": Amount(2.5, "mm")}
    assert found.warnings == (Finding(K.CUTOFF_TOO_SHORT, facts=facts),)
    assert found.notes == (Finding(K.CUTOFF_LONGEST, facts={"cutoff": Amount(2.5, "mm")}),)
    assert measure_profile(5 * random_trace(4, 0.02, points=50000), 0.001, automatic="ISO 4288").cutoff_mm == 8.0


@pytest.mark.parametrize(
    ("rz", "method", "cutoff"),
    [(16.0, "ISO 21920-3", 0.8), (16.1, "ISO 21920-3", 2.5), (60.0, "ISO 21920-3", 2.5), (60.0, "ISO 4288", 8.0)],
)
def test_asked_cutoff(rz, method, cutoff):
    assert asked_cutoff_mm(rz, method) == cutoff


def test_plain_warnings_about_length_spacing_and_stylus():
    z = 5 * random_trace(4, 0.05, step=0.005, points=3000)
    found = measure_profile(z, 0.005, tip_um=10.0)
    lengths = {"asked": Amount(8.0, "mm"), "evaluated": Amount(40.0, "mm"), "cutoff": Amount(2.5, "mm")}
    asked = {"rz5": Amount(found.rz5, "um"), "method": "ISO 21920-3"}
    assert found.warnings == (
        Finding(K.CUTOFF_UNUSUAL, facts=asked | lengths),
        Finding(K.SPACING_WIDE, facts={"spacing": Amount(5.0, "um"), "usual": Amount(1.5, "um")}),
        Finding(K.TIP_BLUNT, facts={"tip": Amount(10.0, "um"), "usual": Amount(5.0, "um")}),
    )
    assert measure_profile(random_trace(4, 0.02), 0.001, tip_um=5.0).warnings == ()


def with_point(value, place=7000):
    z = random_trace(4, 0.05)
    z[place] = value
    return z


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: measure_profile(with_point(np.nan), 0.001), NotFinite, "height at point 7001 of the trace"),
        (lambda: measure_profile(with_point(np.inf), 0.001), NotFinite, "height at point 7001 of the trace"),
        (lambda: measure_profile(random_trace(4, 0.05), math.nan), NotFinite, "spacing of the trace is not a number"),
        (lambda: measure_profile(random_trace(4, 0.05), 0.0), InputError, "not a spacing; found 0.0"),
        (
            lambda: measure_profile(random_trace(4, 0.05, points=12500), 0.001),
            InputError,
            "too short: 12.5 mm, a cut-off of 2.5 mm needs 15 mm",
        ),
        (lambda: measure_profile([], 0.001), InputError, "too short: 0 mm"),
        (lambda: measure_profile(random_trace(4, 0.05), 1.0), InputError, "spacing may be in um"),
        (lambda: measure_profile(random_trace(4, 0.05) / 1000, 0.001), InputError, "they may be in mm"),
        (lambda: measure_profile(random_trace(4, 0.05) * 1000, 0.001), InputError, "they may be in nm"),
        (lambda: measure_profile(np.full(15000, 3.0), 0.001), InputError, "the trace is a flat line"),
        (lambda: measure_profile(np.arange(15000) * 0.1, 0.001), InputError, "the trace is a flat line"),
        (
            lambda: measure_profile(with_point(400.0), 0.001),
            InputError,
            "neighbours, 1 in all, the first at 7 mm",
        ),
        (lambda: measure_profile(np.zeros((10, 10)), 0.001), WrongShape, r"found shape \(10, 10\)"),
        (lambda: measure_profile(["a"] * 15000, 0.001), InputError, "a height of the trace is not a number"),
        (
            lambda: measure_profile(random_trace(4, 0.05), 0.001, cutoff_mm=-1.0),
            InputError,
            "not a cut-off; found -1.0",
        ),
        (
            lambda: measure_profile(random_trace(4, 0.05), 0.001, 2.5, automatic="ISO 4288"),
            InputError,
            "a cut-off and an automatic choice at once",
        ),
        (
            lambda: measure_profile(random_trace(4, 0.05), 0.001, automatic="x"),
            InputError,
            "unknown rule for the cut-off",
        ),
        (lambda: measure_profile(random_trace(4, 0.05), 0.001, spikes="hide"), InputError, "found 'hide'"),
    ],
)
def test_bad_traces_give_one_named_line(call, error, message):
    with pytest.raises(error, match=message) as caught:
        call()
    assert "\n" not in str(caught.value)
    assert str(caught.value).endswith(".")


def test_spikes_are_bridged_or_kept_on_request_and_both_are_stated():
    clean = measure_profile(random_trace(4, 0.05), 0.001)
    bridged = measure_profile(with_point(400.0), 0.001, spikes="bridge")
    kept = measure_profile(with_point(400.0), 0.001, spikes="keep")
    # one point of a smooth trace, bridged by a straight line
    assert bridged.rz5 == pytest.approx(clean.rz5, rel=1e-4)
    facts = {"points": 1, "first": Amount(7.0, "mm")}
    assert bridged.notes == (Finding(K.SPIKES_BRIDGED, facts=facts),)
    assert kept.rz5 > clean.rz5 + 50
    assert kept.notes == (Finding(K.SPIKES_KEPT, facts=facts),)


@pytest.mark.parametrize(
    "trace",
    [
        np.random.default_rng(1).normal(0, 10, 15000),
        10 * np.exp(np.random.default_rng(2).normal(0, 0.4, 15000)),
        30 * np.sign(np.sin(2 * np.pi * along() / 0.5 + 0.1)),
        30 * ((along() / 0.5) % 1),
        30 * np.sin(2 * np.pi * along(15.0, 0.025) / 0.5),
    ],
    ids=["noise", "skewed noise", "steps", "saw", "coarse sinusoid"],
)
def test_texture_is_not_taken_for_spikes(trace):
    assert measure_profile(trace, 15.0 / len(trace)).notes == ()


def test_a_clipped_trace_is_flagged():
    """A trace of 77 um cut to 25: what the instrument could not follow stands level at the end of its range."""
    rng = np.random.default_rng(5)
    heights = gaussian_filter1d(rng.normal(size=len(along())), 20.0)
    heights *= 77.0 / np.ptp(heights)
    assert K.TRACE_CLIPPED not in [one.kind for one in measure_profile(heights, 0.001).warnings]
    assert K.TRACE_CLIPPED not in [one.kind for one in measure_profile(np.round(heights, 1), 0.001).warnings]
    found = measure_profile(np.clip(heights, -12.5, 12.5), 0.001)
    assert K.TRACE_CLIPPED in [one.kind for one in found.warnings]
