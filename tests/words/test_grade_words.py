"""What is said of a grade and of a requirement."""

import pytest

from trials.findings import About, Amount, Finding
from trials.grade.coupons import grade_edge
from trials.grade.iso9013 import designation
from trials.grade.kinds import GradeKind as K
from trials.grade.kinds import Item, Meets
from trials.trial import Requirement
from trials.words import grade
from trials.words.language import Language, speaking
from trials.words.requirement import required

BACKWARDS = Language("backwards", lambda t: f"<{t}>", lambda one, many, n: f"<{one}>")
SCOPE = {"low": Amount(0.5, "mm"), "high": Amount(32.0, "mm")}


@pytest.mark.parametrize(
    ("reasons", "sentence"),
    [
        ([Finding(K.ALL_INSIDE)], "every required value is inside its limit"),
        (
            [Finding(K.OUT_OF_SCOPE, facts=SCOPE)],
            "thickness outside 0.5 to 32 mm, graded by the same formulas",
        ),
        (
            [
                Finding(K.WORSE_THAN_LAST, About(response=Item.SQUARENESS), {"last": 5}),
                Finding(K.OVER_LIMIT, About(response=Item.SQUARENESS)),
            ],
            "u worse than range 5; u over the limit",
        ),
        (
            [Finding(K.BEYOND_RANGE, About(response=Item.ROUGHNESS))],
            "Rz5 beyond the range of its instrument, which leaves it open",
        ),
        (
            [Finding(K.NEAR_LIMIT, About(response=Item.ROUGHNESS))],
            "Rz5 too near the limit for the uncertainty of the bench",
        ),
        (
            [Finding(K.NOT_MEASURED, About(response=item)) for item in Item],
            "u not measured; Rz5 not measured; dross not graded",
        ),
        (
            [Finding(K.FEW_READINGS, About(response=Item.SQUARENESS), {"usual": 3})],
            "fewer readings of u than the usual 3",
        ),
    ],
)
def test_why(reasons, sentence):
    assert grade.why(reasons) == sentence


@pytest.mark.parametrize(
    ("u", "rz5", "thickness", "sentence"),
    [
        (2, 2, 6.0, "ISO 9013-220"),
        (0, 0, 6.0, "none: u worse than range 5, Rz5 worse than range 4"),
        (2, 2, 40.0, "none: thickness outside 0.5 to 32 mm"),
        (-1, -1, 6.0, "none: neither u nor Rz5 was graded"),
    ],
)
def test_designation(u, rz5, thickness, sentence):
    assert grade.designation(designation(u, rz5, thickness)) == sentence


def test_every_kind_and_answer_has_words():
    assert set(K) == set(grade.SENTENCES)
    assert [grade.meets(answer) for answer in Meets] == ["yes", "undecided", "no"]
    assert [grade.range_words(n) for n in (-1, 0, 3)] == ["not graded", "worse than the last range", "range 3"]


def test_a_requirement_part_by_part():
    asked = Requirement(execution_class="EXC4 2008", dross_grade=1, rz5_um=30.0, squareness_range=2)
    assert required(asked) == (
        "u in range 2",
        "Rz5 up to 30 µm",
        "dross grade up to 1",
        "EXC4 of EN 1090-2:2008+A1:2011 (u range 3, Rz5 range 3; from memory)",
    )
    assert required(Requirement()) == ()


def test_a_shared_set_of_reasons_comes_with_its_number():
    one = (Finding(K.NOT_SEVERED),)
    assert [grade.reasons_counted(one, n) for n in (1, 4)] == ["not severed (1 coupon)", "not severed (4 coupons)"]


def test_another_language_changes_words_only():
    asked = Requirement(squareness_range=2)
    with speaking(BACKWARDS):
        found = grade_edge(6.0, u_mm=0.5, requirement=asked)
        said = grade.why(found.reasons)
    assert found == grade_edge(6.0, u_mm=0.5, requirement=asked)
    assert said == "<u over the limit>; <fewer readings of u than the usual 3>"
