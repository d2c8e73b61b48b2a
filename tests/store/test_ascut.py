import pandas as pd
import pytest

from trials.errors import InputError
from trials.store import records as store
from trials.store.records.as_cut import analysis_table, coupon_table, departures
from trials.store.records.corrections import ReadingPlace
from trials.store.records.reading_columns import READING_COLUMNS
from trials.store.records.records import CUT_COLUMNS
from trials.words.findings import say


def cuts(*rows):
    names = ("coupon", "cut_order", "outcome", "mount", "sheet", "changed_setting", "note")
    frame = pd.DataFrame([dict(zip(names, row, strict=False)) for row in rows])
    return frame.reindex(columns=CUT_COLUMNS)


def readings(*rows):
    names = ("coupon", "reading", "field", "value", "repeat", "side")
    frame = pd.DataFrame([{"repeat": 0, "side": "", **dict(zip(names, row, strict=False))} for row in rows])
    return frame.reindex(columns=READING_COLUMNS)


PLANNED = [(mark, i, "cut") for i, mark in enumerate(["KX7", "B2M", "QF4", "T9R", "W3H", "ZN6", "H8D", "P5C"], 1)]


def full(rows, field="rz5_um", count=3, value=30.0):
    return readings(*((row[0], i, field, value) for row in rows for i in range(1, count + 1)))


def test_before_cutting_every_coupon_waits_and_nothing_departs(frozen):
    records = store.load(frozen)
    table = coupon_table(records)
    assert set(table["outcome"]) == {"not cut yet"}
    assert table["cut_order"].isna().all()
    assert departures(records) == ()


def test_a_trial_cut_as_planned_has_no_departures(cut):
    store.record_readings(cut, full(PLANNED))
    records = store.load(cut)
    assert departures(records) == ()
    table = coupon_table(records)
    assert table["pressure_bar"].tolist() == records.coupons["pressure_bar"].tolist()
    assert table["x_mm"].tolist() == records.coupons["x_mm"].tolist()


def test_analysis_uses_what_was_cut(frozen):
    again = pd.DataFrame([{"mount": "M9", "nozzle": "double", "specimen": "D2", "sheet": "S1"}])
    rows = cuts(
        ("B2M", 1, "cut", "M9"),
        ("KX7", 2, "cut", "", "", "pressure_bar=0.6; gas_purity_class=3.0"),
        ("QF4", 3, "scrapped"),
    )
    store.record_cuts(frozen, rows, mounts=again)
    store.record_readings(
        frozen,
        readings(
            ("KX7", 1, "rz5_um", 31.0, 0, "left"),
            ("KX7", 2, "rz5_um", 33.0, 0, "right"),
            ("KX7", 1, "rz5_um", 99.0, 1),
            ("B2M", 1, "rz5_um", 28.0),
            ("KX7", 1, "u_mm", 0.1),
        ),
    )
    table = analysis_table(store.load(frozen), "roughness")
    assert list(table.columns) == [
        *("coupon", "sheet", "mount", "nozzle", "specimen", "pressure_bar", "gas_purity_class"),
        *("cut_order", "order", "side", "reading", "value", "block", "outcome"),
    ]
    assert table["coupon"].tolist() == ["B2M", "KX7", "KX7"]
    assert table["value"].tolist() == [28.0, 31.0, 33.0]
    assert table["side"].tolist() == ["", "left", "right"]
    assert table[["mount", "specimen"]].values.tolist() == [["M9", "D2"], ["M1", "D1"], ["M1", "D1"]]
    assert table["pressure_bar"].tolist() == [0.9, 0.6, 0.6]
    assert table["gas_purity_class"].tolist() == ["3.5", "3.0", "3.0"]


def test_a_correction_reaches_the_analysis(cut):
    store.record_readings(cut, readings(("KX7", 1, "rz5_um", 310.0)))
    store.correct(cut, ReadingPlace("KX7", "rz5_um", 1), 31.0, "Inspector", "decimal point")
    assert analysis_table(store.load(cut), "roughness")["value"].tolist() == [31.0]


def test_lost_coupons_are_not_analysed(cut):
    store.record_readings(cut, full(PLANNED))
    store.correct_row(cut, store.RowChange("coupon", "KX7", "outcome", "not_severed"), "Operator", "seen later")
    assert "KX7" not in set(analysis_table(store.load(cut), "roughness")["coupon"])


def test_the_worst_grade_stands_for_the_coupon(cut):
    store.record_readings(
        cut, readings(("KX7", 1, "dross_grade", 1), ("KX7", 2, "dross_grade", 3), ("B2M", 1, "dross_grade", 0))
    )
    table = analysis_table(store.load(cut), "dross")
    assert table[["coupon", "value"]].values.tolist() == [["KX7", 3.0], ["B2M", 0.0]]


def test_an_unknown_response_is_named(cut):
    with pytest.raises(InputError, match="no such response; found 'roughnes'.*Did you mean 'roughness'"):
        analysis_table(store.load(cut), "roughnes")


def replaced(*changes):
    new = {row[0]: row for row in changes}
    return cuts(*(new.get(row[0], row) for row in PLANNED))


M9 = {"mount": "M9", "nozzle": "cylindrical", "specimen": "C1", "sheet": "S1"}


@pytest.mark.parametrize(
    ("rows", "mounts", "sentences"),
    [
        (
            replaced(("KX7", 8, "cut"), ("P5C", 1, "cut")),
            None,
            ["Coupons KX7, P5C were cut in another order than planned."],
        ),
        (
            replaced(("QF4", 3, "cut", "", "", "pressure_bar=0.7")),
            None,
            ["Coupon QF4 was cut with pressure 0.7 bar, planned 0.9 bar."],
        ),
        (
            replaced(("QF4", 3, "cut", "", "", "speed_m_min=1.0")),
            None,
            ["Coupon QF4 was cut with speed 1 m/min, planned 1.1 m/min."],
        ),
        (
            replaced(("QF4", 3, "not_severed", "", "", "", "hung on"), ("T9R", 4, "scrapped"), ("W3H", 5, "aborted")),
            None,
            [
                "Coupon QF4 (cylindrical) was not severed (hung on).",
                "Coupon T9R (cylindrical) was scrapped for a reason unrelated to the cut.",
                "Coupon W3H (cylindrical) was aborted.",
            ],
        ),
        (cuts(*PLANNED[:6]), None, ["Coupons H8D, P5C were not cut."]),
        (
            replaced(("QF4", 3, "cut", "M9"), ("T9R", 4, "cut", "M9", "S2")),
            [M9],
            [
                "Coupons QF4, T9R were cut in mount M9, planned in M2.",
                "Coupon T9R was cut on sheet S2, planned on S1.",
                "Mount M9 was added: cylindrical C1 was fitted again.",
            ],
        ),
        (
            cuts(*PLANNED),
            [{"mount": "M1", "specimen": "D2", "window_changed": "yes", "centring_checked": "no"}],
            [
                "Mount M1 held double D2, planned double D1.",
                "The protective window was changed during mount M1 (double D2).",
                "Mount M1 (double D2) was not centred.",
            ],
        ),
    ],
)
def test_departures_in_words(frozen, rows, mounts, sentences):
    store.record_cuts(frozen, rows, mounts=None if mounts is None else pd.DataFrame(mounts))
    assert [say(found) for found in departures(store.load(frozen))] == sentences


def test_fewer_readings_than_planned_are_listed(cut):
    rows = full(PLANNED)
    rows = rows[~((rows["coupon"] == "KX7") & (rows["reading"] == 3)) & (rows["coupon"] != "B2M")]
    store.record_readings(cut, rows)
    assert [say(found) for found in departures(store.load(cut))] == [
        "No reading of mean height of profile Rz5 on B2M.",
        "Fewer than the planned 3 readings of mean height of profile Rz5 on KX7.",
    ]


def test_only_coupons_that_really_moved_are_out_of_turn(frozen):
    order = ["B2M", "QF4", "T9R", "W3H", "KX7", "ZN6", "H8D", "P5C"]
    store.record_cuts(frozen, cuts(*((mark, i, "cut") for i, mark in enumerate(order, 1))))
    assert [say(found) for found in departures(store.load(frozen))] == [
        "Coupon KX7 was cut in another order than planned."
    ]
