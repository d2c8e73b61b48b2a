"""Readings made ready: the scale of the model by hand, and how few are too few."""

import dataclasses
import math

import numpy as np
import pytest

from trials.decide.prepare import beyond, on_scale, prepare, with_bounds_times, with_rows, with_zeros_at, without
from trials.errors import InputError, NotIdentifiable

EXACT = 1e-12  # one logarithm


def test_the_scale_of_a_value(trial):
    rough, u = trial.quantity("roughness"), trial.quantity("squareness")
    found = on_scale(np.array([0.5, 35.0, 0.0]), rough)
    # a zero counts as half the resolution; what is small counts as it is
    assert found == pytest.approx([math.log(0.5), math.log(35.0), math.log(0.5 * rough.resolution)], rel=EXACT)
    assert on_scale(np.array([0.0]), rough, 2.0) == pytest.approx([math.log(2.0 * rough.resolution)], rel=EXACT)
    assert on_scale(np.array([0.0, -0.1, 0.2]), u).tolist() == [0.0, -0.1, 0.2]


def test_zeros_and_bounds_are_moved_alone(trial, make_table):
    table = make_table()
    table.loc[0, "value"] = 0.0
    table["beyond"] = ""
    table.loc[4, "beyond"], table.loc[7, "beyond"] = "above", "below"
    ready = prepare(trial, "roughness", table)
    zero, above = ready.table["value"].to_numpy() == 0.0, beyond(ready, "above")
    assert zero.sum() == above.sum() == beyond(ready, "below").sum() == 1
    step = trial.quantity("roughness").resolution
    moved = with_zeros_at(ready, 0.25).y
    assert moved[zero] == pytest.approx(math.log(0.25 * step), rel=EXACT) and np.array_equal(
        moved[~zero], ready.y[~zero]
    )
    wider = with_bounds_times(ready, "above", 2.0).y
    assert wider[above] - ready.y[above] == pytest.approx(math.log(2.0), rel=1e-9)
    assert np.array_equal(wider[~above], ready.y[~above])
    assert not beyond(prepare(trial, "roughness", table.drop(columns="beyond")), "above").any()


def test_three_readings_are_not_too_few_to_look_at(trial, make_table):
    table = make_table()
    with pytest.raises(InputError, match="has 2 readings, too few"):
        prepare(trial, "roughness", table.head(2))
    with pytest.raises(NotIdentifiable):  # enough to look at, not to judge by
        prepare(trial, "roughness", table.head(3))


def test_readings_are_left_out_and_added_again(trial, make_table):
    ready = prepare(trial, "roughness", make_table())
    leave = np.zeros(len(ready.y), dtype=bool)
    leave[[3, 50]] = True
    fewer = without(ready, leave)
    assert np.array_equal(fewer.y, ready.y[~leave]) and len(fewer.table) == len(ready.y) - 2
    again = with_rows(fewer, ready.table[leave])
    assert np.array_equal(again.y, ready.y)


def test_a_measured_standoff_counts_from_the_one_that_was_set(trial_text, make_table):
    from trials.trial import parse

    trial = parse(trial_text.replace("[responses.dross]", "[responses.standoff]\nreadings = 3\n[responses.dross]"))
    table = make_table()
    ready = prepare(trial, "standoff", table.assign(value=table["standoff_mm"] + 0.25))
    assert ready.y == pytest.approx(np.full(len(table), 0.25), abs=1e-12)
    assert dataclasses.is_dataclass(ready) and ready.name == "standoff"
