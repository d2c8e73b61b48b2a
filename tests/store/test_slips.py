import pandas as pd
import pytest

from trials.store.records import database
from trials.store.records.records import READING_COLUMNS
from trials.store.records.slips import slips
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
        ([30.0, 300.0], []),
        ([0.0, 0.0, 0.0], []),
    ],
)
def test_far_from_the_others_of_its_coupon(cut, values, flagged):
    assert [slip.value for slip in slips(long(values), database.load(cut))] == flagged


def test_a_lonely_reading_is_compared_with_the_trial(cut):
    rows = pd.concat([long([30.0 + i], coupon=c) for i, c in enumerate(["KX7", "B2M", "QF4", "T9R", "W3H"])])
    rows = pd.concat([rows, long([310.0], coupon="P5C")])
    found = slips(rows, database.load(cut))
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
    assert [slip.value for slip in slips(long(values, field=field), database.load(cut))] == flagged
