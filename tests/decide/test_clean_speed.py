"""The fastest clean cut of a trial: steps counted by hand, words by the rule, places as values."""

import dataclasses

import numpy as np
import pandas as pd
import pytest

from trials.decide.clean_speed import Worthwhile, _word, mount_steps, study_clean_speed
from trials.errors import InputError, NotFinite, NotIdentifiable
from trials.infer.answer import Added, levels
from trials.infer.ladder import compare_ladders
from trials.infer.ladder.comparison import LadderComparison

STEPS = (1.0, 2.0, 3.0, 4.0)
CUT = ["cut"] * 4
NAN = np.nan


def one_mount(outcomes, grades):
    """Ends of one mount; grades in step order, None where none is recorded."""
    marks = [f"K{i}" for i in range(4)]
    table = pd.DataFrame({"coupon": marks, "mount": "M1", "nozzle": "a", "specimen": "A1", "speed": STEPS})
    known = {mark: grade for mark, grade in zip(marks, grades, strict=True) if grade is not None}
    (row,) = mount_steps(table.assign(outcome=outcomes), known, 1, "speed").to_dict("records")
    assert (row["nozzle"], row["specimen"], row["mount"]) == ("a", "A1", "M1")
    return row["low"], row["high"]


@pytest.mark.parametrize(
    ("outcomes", "grades", "low", "high"),
    [
        (CUT, (0, 1, 2, 0), 2.0, 3.0),  # a clean cut after the first unclean one does not count
        (CUT, (0, 0, 1, 1), 4.0, NAN),
        (CUT, (3, 0, 0, 0), NAN, 1.0),
        (["cut", "cut", "not_severed", "not_cut"], (0, 0, None, None), 2.0, 3.0),
        (["cut", "scrapped", "cut", "aborted"], (0, None, 1, None), 3.0, 4.0),
        (["cut", "scrapped", "cut", "not_cut"], (0, None, 2, None), 1.0, 3.0),  # what lies between is not known
        (["cut", "cut", "not_cut", "not_cut"], (0, 1, None, None), 2.0, NAN),
        (["not_cut"] * 4, (None,) * 4, NAN, NAN),
    ],
)
def test_steps_by_hand(outcomes, grades, low, high):
    assert one_mount(outcomes, grades) == pytest.approx((low, high), nan_ok=True)


def test_ladders_at_other_settings_are_averaged_within_the_mount():
    rows = [(f"K{p}{s}", "M1", "a", "A1", s, p, "cut") for p in (5, 6) for s in STEPS]
    table = pd.DataFrame(rows, columns=["coupon", "mount", "nozzle", "specimen", "speed", "pressure", "outcome"])
    grades = dict.fromkeys(table["coupon"], 0) | {"K53.0": 2, "K64.0": 2}
    (row,) = mount_steps(table, grades, 1, "speed", ["pressure"]).to_dict("records")
    assert (row["low"], row["high"]) == (2.5, 3.5)  # (2, 3) and (3, 4)
    (row,) = mount_steps(table, grades | {"K64.0": 0}, 1, "speed", ["pressure"]).to_dict("records")
    assert row["low"] == 3.0 and np.isnan(row["high"])


def table(**limits):
    """Mounts of several types, each limit between two steps of 0.25."""
    rows = []
    for name, values in limits.items():
        for i, value in enumerate(values):
            low = np.floor(4 * value) / 4
            rows.append((name, f"{name}{i}", f"M{len(rows) + 1}", low, low + 0.25))
    return pd.DataFrame(rows, columns=["nozzle", "specimen", "mount", "low", "high"])


def spread(middle, n=6, half=0.2):
    return middle + half * np.linspace(-1, 1, n) + 0.01


def word(worthwhile, **limits):
    study = study_clean_speed(table(**limits), "plain", worthwhile, levels(1))
    (found,) = study.comparisons
    return found.answer, found.answer_adds


HALF = Worthwhile(0.5, "difference")
BASE = spread(4.0, half=0.3)


def test_the_four_words():
    assert word(HALF, plain=BASE, double=spread(6.0, half=0.3)) == ("better", Added.BY_AT_LEAST)
    assert word(HALF, plain=BASE, double=spread(4.6, half=0.3)) == ("better", Added.HOW_MUCH_OPEN)
    assert word(HALF, plain=BASE, double=spread(3.2, half=0.3)) == ("worse", None)
    assert word(HALF, plain=BASE, double=BASE) == (
        "same for practical purposes",
        None,
    )
    assert word(HALF, plain=spread(4.0, half=1.5), double=spread(4.5, half=1.5)) == ("not settled", None)
    assert word(None, plain=BASE, double=spread(6.0, half=0.3)) == (None, None)


def test_a_share_has_its_own_limit_on_each_side():
    # 20 % faster is 1.2, 20 % slower 0.8; 1 / 1.2 is 0.833, so that a drop of 18 % is not yet worthwhile
    fifth = Worthwhile(0.2, "ratio")
    assert fifth.limits == pytest.approx((np.log(0.8), np.log(1.2)))
    near = {"plain": spread(10.0, 10), "double": spread(8.3, 10)}
    assert word(fifth, **near) == ("same for practical purposes", None)
    assert word(Worthwhile(0.15, "ratio"), **near) == ("worse", None)
    assert word(fifth, plain=spread(10.0, 10), double=spread(12.6, 10)) == ("better", Added.BY_AT_LEAST)


def test_the_study_carries_the_comparison_and_its_place():
    mounts = table(plain=spread(4.0), double=spread(4.6))
    mounts.loc[0, "low"] = NAN
    mounts.loc[[10, 11], "high"] = NAN
    mounts.loc[len(mounts)] = ["double", "D9", "M13", NAN, NAN]
    study = study_clean_speed(mounts, "plain", HALF, levels(1), "m/min")
    kept = mounts.iloc[:12]
    bare = compare_ladders(kept["low"].to_numpy(), kept["high"].to_numpy(), kept["nozzle"].to_numpy(str), "plain")
    plain, double = study.types
    assert (plain.nozzle, plain.today, double.today) == ("plain", True, False)
    assert (plain.typical, plain.low, plain.high) == (
        bare.types[0].typical,
        bare.types[0].low,
        bare.types[0].high,
    )
    assert (double.clean_95, double.clean_95_low) == (bare.types[1].clean_95, bare.types[1].clean_95_low)
    assert double.clean_95_low < double.clean_95 < double.typical
    assert (plain.n_mounts, plain.n_censored_low, plain.n_censored_high) == (6, 1, 0)
    assert (double.n_mounts, double.n_censored_low, double.n_censored_high) == (6, 0, 2)
    (found,) = study.comparisons
    assert (found.value, found.low, found.high, found.p) == (
        bare.comparisons[0].value,
        bare.comparisons[0].low,
        bare.comparisons[0].high,
        bare.comparisons[0].p,
    )
    assert study.open_below == ("M1",) and study.open_above == ("M11", "M12") and study.left_out == ("M13",)
    assert (study.judged_by, study.units, study.df, study.unit) == ("specimen", 12, 10, "m/min")
    assert (study.confidence, study.sameness) == (0.95, pytest.approx(0.90))
    assert (study.first_step, study.last_step) == (kept["low"].min(), kept["high"].max())
    with pytest.raises(dataclasses.FrozenInstanceError):
        study.unit = "mm/s"


def test_more_looks_widen_the_intervals():
    mounts = table(plain=spread(4.0), double=spread(4.6))
    once, twice = (study_clean_speed(mounts, "plain", HALF, levels(1, k)).comparisons[0] for k in (1, 2))
    assert twice.low < once.low < once.high < twice.high


def test_pieces_are_told_apart():
    mounts = table(plain=spread(4.0), double=spread(4.6))
    one_each = study_clean_speed(mounts.assign(specimen=mounts["nozzle"]), "plain", HALF, levels(1))
    assert one_each.judged_by == "mount" and one_each.comparisons[0].one_specimen
    unnamed = study_clean_speed(mounts.assign(specimen=""), "plain", HALF, levels(1))
    assert unnamed.judged_by == "specimen" and not unnamed.comparisons[0].one_specimen
    assert [kind.n_specimens for kind in unnamed.types] == [6, 6]


@pytest.mark.parametrize(
    ("change", "worthwhile", "said"),
    [
        (lambda t: t.drop(columns="low"), HALF, "no column low"),
        (lambda t: t[t["nozzle"] != "plain"], HALF, "not among the mounts.*'plain'.*double"),
        (
            lambda t: t.assign(
                low=t["low"].where(t["nozzle"] != "plain"), high=t["high"].where(t["nozzle"] != "plain")
            ),
            HALF,
            "says anything",
        ),
        (lambda t: t, Worthwhile(0.0, "difference"), "worthwhile difference"),
        (lambda t: t, Worthwhile(NAN, "difference"), "worthwhile difference"),
        (lambda t: t, Worthwhile(1.0, "ratio"), "under 1"),
    ],
)
def test_bad_input_is_named(change, worthwhile, said):
    with pytest.raises(InputError, match=said):
        study_clean_speed(change(table(plain=spread(4.0), double=spread(4.6))), "plain", worthwhile, levels(1))


def test_one_ladder_of_each_type_cannot_be_judged():
    with pytest.raises(NotIdentifiable, match="One mount per type"):
        study_clean_speed(table(plain=[4.0], double=[5.0]), "plain", HALF, levels(1))


@pytest.mark.parametrize("missing", ["low", "high"])
def test_one_missing_end_of_an_interval_gives_no_word(missing):
    ends = {"value": 0.1, "low": 0.0, "high": 0.2, "same_low": 0.0, "same_high": 0.2, "p": 0.5} | {missing: np.nan}
    with pytest.raises(NotFinite, match="interval"):
        _word(LadderComparison(name="double", against="plain", kind="difference", **ends), HALF)
