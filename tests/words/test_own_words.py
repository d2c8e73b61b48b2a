"""Both limits of a worthwhile difference, and a trial's own honesty, in words."""

import dataclasses

import pytest
from tests_support import TRIAL_TEXT
from words.nonsense import NONSENSE

from trials.decide.results import HonestyRow, OwnHonesty, ResponseResult, State
from trials.infer.answer import Answer
from trials.trial import parse
from trials.words.language import speaking
from trials.words.own_honesty import honesty_heads, honesty_rows, honesty_sentence
from trials.words.worthwhile import planned_limits, planned_sentences, worthwhile_limits


@pytest.mark.parametrize(
    ("name", "words"),
    [
        # 35 um expected: 0.85 x 35 = 29.75, 1.15 x 35 = 40.25
        (
            "roughness",
            "at least 15 % lower (29.8 µm, beside 35.0 µm) is better, at least 15 % higher (40.2 µm, beside 35.0 µm) "
            "is worse",
        ),
        ("squareness", "at least 0.03 mm lower is better, at least 0.03 mm higher is worse"),
        ("dross", ""),
    ],
)
def test_limits_before_cutting(name, words):
    assert planned_limits(parse(TRIAL_TEXT), name) == words


def test_each_worthwhile_difference_has_a_sentence():
    found = planned_sentences(parse(TRIAL_TEXT))
    assert [line.split(":")[0] for line in found] == [
        "Worthwhile difference in roughness",
        "Worthwhile difference in squareness",
    ]


def test_limits_of_a_result_mirror_where_more_is_better():
    result = ResponseResult(
        "kerf", "kerf width", "kerf", "as measured", "mm", True, 9, 3, State.COMPARED,
        worthwhile_better=0.03, worthwhile_worse=0.03, worthwhile_level=0.3,
    )  # fmt: skip
    assert worthwhile_limits(result) == (
        "at least 0.03 mm lower (10 % of 0.300 mm) is better, at least 0.03 mm higher (10 % of 0.300 mm) is worse"
    )
    more = dataclasses.replace(result, higher_is_better=True)
    assert worthwhile_limits(more).startswith("at least 0.03 mm higher (10 % of 0.300 mm) is better")
    assert worthwhile_limits(dataclasses.replace(result, worthwhile_better=None)) == ""


SHARES = {Answer.BETTER: 0.02, Answer.SAME: 0.6, Answer.WORSE: 0.01, Answer.NOT_SETTLED: 0.37}
HONEST = OwnHonesty("roughness", 4000, 0.031, 0.04, 0.6, 0.8, (HonestyRow("double", SHARES, SHARES),))


def test_own_honesty_is_one_sentence_and_a_table():
    said = honesty_sentence(HONEST)
    for words in (
        "4\u00a0000 simulated trials",
        "this one (Rz5; its layout",
        "3.1 % where none differed",
        "4.0 %",
        "60 % of the words",
        "80 % in",
    ):
        assert words in said
    rows = honesty_rows(HONEST)
    assert [len(row) for row in rows] == [len(honesty_heads())] * 2
    assert rows[0] == ["double", "no difference", "2.0 %", "60.0 %", "1.0 %", "37.0 %"]
    with speaking(NONSENSE):
        assert "4\u00a0000" in honesty_sentence(HONEST) and "simulated" not in honesty_sentence(HONEST)
