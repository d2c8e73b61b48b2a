from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from trials.record_kinds import Where
from trials.store import records as store
from trials.store.records.reading_columns import READING_COLUMNS
from trials.store.records.slips import _times, slips
from trials.words.findings import say


def long(values, coupon="KX7", field="rz5_um"):
    rows = [{"coupon": coupon, "reading": i, "repeat": 0, "field": field, "value": v} for i, v in enumerate(values, 1)]
    return pd.DataFrame(rows).reindex(columns=READING_COLUMNS)


@pytest.mark.parametrize(
    ("values", "flagged"),
    [
        ([30.0, 31.0, 320.0], [320.0]),
        ([30.0, 3.1, 32.0], [3.1]),
        ([30.0, 31.0, 149.0], []),
        ([30.0, 31.0, 153.0], [153.0]),
        ([30.0, 31.0, 0.0], [0.0]),
        ([30.0, 3.2, 300.0, 31.0, 32.0], [3.2, 300.0]),
        ([30.0, 300.0], [30.0, 300.0]),
        ([30.0, 140.0], []),
        ([0.0, 0.0, 0.0], []),
    ],
)
def test_far_from_the_others_of_its_coupon(cut, values, flagged):
    assert [slip.value for slip in slips(long(values), store.load(cut))] == flagged


def test_a_lonely_reading_is_compared_with_the_trial(cut):
    rows = pd.concat([long([30.0 + i], coupon=c) for i, c in enumerate(["KX7", "B2M", "QF4", "T9R", "W3H"])])
    rows = pd.concat([rows, long([310.0], coupon="P5C")])
    found = slips(rows, store.load(cut))
    assert [(slip.coupon, slip.neighbours_median) for slip in found] == [("P5C", 32.0)]
    assert say(found[0].finding) == (
        "coupon P5C, reading 1: Rz5 310 µm is 9.69 times the median 32 µm of the other readings of the trial; "
        "a slip of the pen or a wrong unit?"
    )


@pytest.mark.parametrize(
    ("field", "values", "flagged"),
    [
        ("u_mm", [0.12, 0.11, 1.2], [1.2]),
        ("u_mm", [0.12, 0.11, 0.0], []),
        ("u_mm", [0.001, 0.001, 0.006], []),
        ("dross_grade", [0, 0, 4], []),
        ("dross_height_mm", [0.02, 0.03, 1.5], []),
    ],
)
def test_fields_on_which_tenfold_is_no_surprise_are_left_alone(cut, field, values, flagged):
    assert [slip.value for slip in slips(long(values, field=field), store.load(cut))] == flagged


def of_coupons(by_coupon, field="rz5_um"):
    return pd.concat([long(values, coupon=mark, field=field) for mark, values in by_coupon.items()])


def test_a_pair_that_its_neighbours_settle_has_one_slip(cut):
    others = {mark: [40.0, 41.0, 42.0] for mark in ("B2M", "QF4", "T9R", "W3H")}
    found = slips(of_coupons({"KX7": [41.0, 412.0], **others}), store.load(cut))
    assert [(slip.coupon, slip.value) for slip in found] == [("KX7", 412.0)]
    assert "10 times the other reading of its coupon, 41 µm;" in say(found[0].finding)


@pytest.mark.parametrize(
    ("repeated", "said"), [(True, "of its coupon, its repeats among them;"), (False, "of its coupon;")]
)
def test_a_slip_beside_a_place_measured_again_says_so(cut, repeated, said):
    rows = long([52.2, 50.2, 345.0]).assign(reading=[1, 1 if repeated else 2, 3], repeat=[0, int(repeated), 0])
    (found,) = slips(rows, store.load(cut))
    assert f"median 51.2 µm of the other readings {said}" in say(found.finding)


def test_a_slip_that_is_itself_a_repeat_has_none_beside_it(cut):
    rows = long([52.2, 50.2, 345.0]).assign(reading=[1, 2, 2], repeat=[0, 0, 1])
    (found,) = slips(rows, store.load(cut))
    assert found.value == 345.0 and found.where is Where.COUPON


@pytest.mark.parametrize(
    ("field", "typed", "usual", "flagged"),
    [
        ("rz5_um", [410.0, 420.0, 405.0], 41.0, 3),
        ("rz5_um", [4.1, 4.2, 4.0], 41.0, 3),
        ("u_mm", [0.0047, 0.0049, 0.0045], 0.12, 3),  # typed in inches: 25.4 times too small
        ("rz5_um", [205.0, 210.0, 200.0], 41.0, 0),  # five times rougher than all others may be the settings
    ],
)
def test_a_coupon_typed_wrongly_as_a_whole_is_far_from_the_others(cut, field, typed, usual, flagged):
    others = {mark: [usual, 1.02 * usual, 0.98 * usual] for mark in ("B2M", "QF4", "T9R", "W3H", "ZN6")}
    found = slips(of_coupons({"KX7": typed, **others}, field), store.load(cut))
    assert [(slip.coupon, slip.where) for slip in found] == [("KX7", Where.WHOLE_TRIAL)] * flagged


def test_coupons_at_like_settings_come_before_all_of_the_trial(cut):
    records = store.load(cut)
    coupons = records.coupons.assign(pressure_bar=0.5, gas_purity_class="2.5")
    alike = replace(records, coupons=coupons)
    marks = coupons.loc[coupons["nozzle"] == "double", "coupon"].tolist()
    found = slips(of_coupons({mark: [41.0, 42.0, 40.0] for mark in marks[1:]} | {marks[0]: [246.0] * 3}), alike)
    assert [(slip.coupon, slip.where) for slip in found] == [(marks[0], Where.WHOLE_LIKE)] * 3
    assert "as are all readings of its coupon" in say(found[0].finding)


def test_a_reading_compared_with_repeats_says_so(cut):
    """Two readings and the repeat of one: it is the median of the other reading and the repeat that is told."""
    rows = long([52.2, 345.0, 50.2]).assign(repeat=[0, 0, 1], reading=[1, 2, 1])
    (found,) = slips(rows, store.load(cut))
    assert (found.value, found.neighbours_median, found.where) == (345.0, 51.2, Where.COUPON_AND_REPEATS)
    assert "the median 51.2 µm of the other readings of its coupon, its repeats among them;" in say(found.finding)


def test_a_repeat_under_a_second_mark_is_not_called_one(cut):
    rows = long([52.2, 50.1, 345.0]).assign(repeat=[0, 0, 1], reading=[1, 2, 1])
    assert [slip.where for slip in slips(rows, store.load(cut))] == [Where.COUPON]


def test_a_bound_of_the_instrument_is_no_slip(cut):
    rows = long([30.0, 31.0, 320.0])
    assert not slips(rows.assign(beyond=["", "", "above"]), store.load(cut))


def test_a_reading_next_to_nothing_is_far_off_without_a_warning():
    far = _times(0.001, zero_counts=False)(np.array([1.0, 1.0]), np.array([5e-324, 1.0]))
    assert far[0] == np.inf and far[1] == 0.0
