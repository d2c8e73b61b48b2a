"""The fastest clean cut of a ladder, counted by hand."""

import pandas as pd
import pytest

from trials.decide.ladder import LadderKind, Remark, fastest_clean, study_ladders
from trials.errors import InputError, NotIdentifiable

STEPS = (1.0, 2.0, 3.0, 4.0)


def ladder(outcomes, grades):
    """Fastest clean cut of one mount; grades in step order, None where none is recorded."""
    marks = [f"K{i}" for i in range(4)]
    table = pd.DataFrame({"coupon": marks, "mount": "M1", "nozzle": "a", "specimen": "A1", "speed": STEPS})
    known = {mark: grade for mark, grade in zip(marks, grades, strict=True) if grade is not None}
    return fastest_clean(table.assign(outcome=outcomes), known, 1, "speed", [])


CUT = ["cut"] * 4
CASES = [
    (CUT, (0, 1, 2, 0), 2.0, ""),  # a clean cut after the first failure does not count
    (CUT, (0, 0, 1, 1), 4.0, Remark.NO_FAILURE),
    (CUT, (3, 0, 0, 0), 0.0, Remark.AT_ONCE),
    (["cut", "cut", "not_severed", "not cut yet"], (0, 0, None, None), 2.0, ""),
    (["cut", "scrapped", "cut", "aborted"], (0, None, 1, None), 3.0, ""),  # scrapped says nothing
    (["cut", "cut", "not cut yet", "not cut yet"], (0, 1, None, None), 2.0, Remark.NO_FAILURE),
]


@pytest.mark.parametrize(("outcomes", "grades", "speed", "remark"), CASES)
def test_by_hand(outcomes, grades, speed, remark):
    (row,) = ladder(outcomes, grades).to_dict("records")
    assert (row["speed"], row["remark"]) == (speed, remark)


def test_a_ladder_without_grades_is_left_out():
    assert ladder(CUT, (None,) * 4).empty


def rows(*pairs):
    return pd.DataFrame(
        [
            {"mount": f"M{i}", "nozzle": n, "specimen": f"{n}{i}", "speed": v, "remark": ""}
            for i, (n, v) in enumerate(pairs)
        ]
    )


def test_one_ladder_of_each_type_cannot_be_judged():
    with pytest.raises(NotIdentifiable, match="One ladder per type"):
        study_ladders(rows(("a", 1.0), ("b", 2.0)), ("a", "b"), "a", "m/min")


def test_without_todays_type_there_is_no_comparison():
    with pytest.raises(InputError, match="cannot be compared"):
        study_ladders(rows(("b", 1.0), ("b", 2.0)), ("a", "b"), "a", "m/min")


def test_repeated_mounts_are_judged_by_specimens():
    table = rows(("a", 1.0), ("a", 1.2), ("a", 2.0), ("a", 2.2), ("b", 3.0), ("b", 3.2), ("b", 4.0), ("b", 4.2))
    table["specimen"] = ["A1", "A1", "A2", "A2", "B1", "B1", "B2", "B2"]
    (found,) = study_ladders(table, ("a", "b"), "a", "m/min").comparisons
    # balanced: specimen means 1.1, 2.1, 3.1, 4.1 leave 2 degrees of freedom
    assert (found.difference, found.df) == (pytest.approx(2.0, abs=1e-9), pytest.approx(2.0, abs=1e-6))


def test_what_a_ladder_leaves_open_names_its_mounts():
    table = rows(("a", 1.0), ("a", 1.2), ("b", 3.0), ("b", 3.2))
    table["remark"] = [Remark.NO_FAILURE, Remark.NONE, Remark.AT_ONCE, Remark.NO_FAILURE]
    found = study_ladders(table, ("a", "b"), "a", "m/min")
    assert {f.kind: dict(f.facts) for f in found.said} == {
        LadderKind.CLEAN_TO_THE_LAST: {"mounts": ("M0", "M3")},
        LadderKind.NOT_CLEAN_AT_ALL: {"mounts": ("M2",)},
        LadderKind.SPEEDS_RISE: {},
    }
