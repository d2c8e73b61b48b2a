"""Traces of height against distance: what is corrected, what is refused."""

import numpy as np
import pytest

from trials.bench.kinds import BenchKind as K
from trials.bench.traces import prepare_trace
from trials.errors import InputError, NotFinite, WrongShape
from trials.findings import Amount, Finding

X = np.arange(200) * 0.01
Z = np.sin(X * 9)


def changed(values, place, value):
    out = values.copy()
    out[place] = value
    return out


def test_an_even_trace_passes_untouched():
    trace = prepare_trace(X + 3.0, Z)
    assert trace.notes == ()
    assert trace.spacing_mm == pytest.approx(0.01, rel=1e-12)
    assert np.array_equal(trace.heights_um, Z)


def test_units_are_given_as_factors():
    trace = prepare_trace(X * 1000, Z / 0.0254, distance_to_mm=1e-3, height_to_um=0.0254)
    assert trace.spacing_mm == pytest.approx(0.01, rel=1e-12)
    assert trace.heights_um == pytest.approx(Z, rel=1e-12)


def test_a_reversed_trace_is_turned_and_it_says_so():
    trace = prepare_trace(X[::-1], Z[::-1])
    assert np.array_equal(trace.heights_um, Z)
    assert trace.notes == (Finding(K.TRACE_TURNED),)


def test_a_point_given_twice_is_dropped_once_and_it_says_so():
    trace = prepare_trace(np.insert(X, 50, X[50]), np.insert(Z, 50, Z[50]))
    assert np.array_equal(trace.heights_um, Z)
    assert trace.notes == (Finding(K.POINTS_TWICE, facts={"points": 1}),)


def test_uneven_steps_are_resampled_and_it_says_so():
    rng = np.random.default_rng(1)
    x = X + np.concatenate([[0], rng.uniform(-0.003, 0.003, 198), [0]])
    trace = prepare_trace(x, 5 * x)
    usual = float(np.median(np.diff(x)))
    assert trace.notes == (Finding(K.RESAMPLED, facts={"spacing": Amount(usual, "mm")}),)
    assert np.diff(trace.heights_um) == pytest.approx(
        np.full(len(trace.heights_um) - 1, 5 * trace.spacing_mm), rel=1e-9
    )


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: prepare_trace(changed(X, 4, np.nan), Z), NotFinite, "distance at point 5 of the trace"),
        (lambda: prepare_trace(X, changed(Z, 4, np.nan)), NotFinite, "height at point 5 of the trace"),
        (lambda: prepare_trace(X, Z[:-1]), WrongShape, "200 distances and 199 heights"),
        (lambda: prepare_trace(X[:2], Z[:2]), WrongShape, "has 2 points"),
        (lambda: prepare_trace(np.insert(X, 50, X[50]), np.insert(Z, 50, 9.0)), InputError, "0.5 mm stands twice"),
        (lambda: prepare_trace(changed(X, 50, 0.1), Z), InputError, "distance goes to and fro at 0.49 mm"),
        (
            lambda: prepare_trace(np.delete(X, range(50, 60)), np.delete(Z, range(50, 60))),
            InputError,
            "gap of 0.11 mm at 0.49",
        ),
        (lambda: prepare_trace(["x"] * 200, Z), InputError, "a distance of the trace is not a number"),
    ],
)
def test_refused_traces(call, error, message):
    with pytest.raises(error, match=message) as caught:
        call()
    assert "\n" not in str(caught.value)
