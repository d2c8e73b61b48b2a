"""The four words: every border of the rule, and how confidence is shared out."""

import numpy as np
import pytest

from trials.errors import WrongArgument
from trials.infer.answer import Added, Answer, answer, critical_values_below, levels
from trials.worthwhile import Margins

D = 0.14


@pytest.mark.parametrize(
    ("difference", "sameness", "expected"),
    [
        ((0.15, 0.40), (0.17, 0.38), (Answer.BETTER, Added.BY_AT_LEAST)),
        ((0.01, 0.40), (0.03, 0.38), (Answer.BETTER, Added.HOW_MUCH_OPEN)),
        ((D, 0.40), (0.16, 0.38), (Answer.BETTER, Added.HOW_MUCH_OPEN)),  # at D exactly it is not more than D
        ((-0.40, -0.01), (-0.38, -0.03), (Answer.WORSE, None)),
        ((-0.05, 0.30), (-0.03, 0.28), (Answer.NOT_SETTLED, None)),
        ((-0.13, 0.13), (-0.11, 0.11), (Answer.SAME, None)),
        ((0.01, 0.13), (0.02, 0.12), (Answer.SAME, None)),  # sameness is asked first
        ((0.0, 0.40), (0.02, 0.38), (Answer.NOT_SETTLED, None)),  # zero itself is not above zero
        ((-0.2, 0.2), (-0.1, D), (Answer.NOT_SETTLED, None)),  # touching D is not inside
    ],
)
def test_word(difference, sameness, expected):
    assert answer(difference, sameness, Margins(D, D)) == expected


@pytest.mark.parametrize(
    ("difference", "sameness", "expected"),
    [
        # 15 % lower is log 0.85 = -0.163, 15 % higher log 1.15 = +0.140: the sides are not alike
        ((-0.02, 0.158), (-0.01, 0.150), (Answer.SAME, None)),
        ((-0.158, 0.02), (-0.150, 0.01), (Answer.NOT_SETTLED, None)),
        ((0.150, 0.40), (0.17, 0.38), (Answer.BETTER, Added.HOW_MUCH_OPEN)),
        ((0.164, 0.40), (0.17, 0.38), (Answer.BETTER, Added.BY_AT_LEAST)),
    ],
)
def test_the_two_sides_of_the_worthwhile_difference(difference, sameness, expected):
    assert answer(difference, sameness, Margins(better=0.163, worse=0.140)) == expected


def test_confidence_is_shared_over_primaries_and_looks():
    assert (levels(1).difference, levels(1).sameness) == (0.95, 0.90)
    assert levels(2, 2).difference == pytest.approx(1 - 0.05 / 4, abs=1e-15)
    assert levels(2, 2).sameness == pytest.approx(1 - 0.10 / 4, abs=1e-15)


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan")])
def test_worthwhile_must_be_above_zero(bad):
    with pytest.raises(WrongArgument, match="above zero"):
        Margins(bad, 0.14)
    with pytest.raises(WrongArgument, match="above zero"):
        Margins(0.14, bad)
    with pytest.raises(WrongArgument, match="At least one"):
        levels(0)


def test_critical_values_give_the_words_that_intervals_give():
    rng, worthwhile = np.random.default_rng(9), Margins(better=0.163, worse=0.140)
    seen = set()
    for value, error, wide in zip(
        rng.normal(0, 0.2, 300), rng.uniform(0.02, 0.1, 300), rng.uniform(2, 3, 300), strict=True
    ):
        narrow = 0.8 * wide
        below = critical_values_below(np.array(value), np.array(error), worthwhile)
        against = {Answer.SAME: narrow, Answer.BETTER: wide, Answer.WORSE: wide}
        first = next((word for word, c in against.items() if c < below[word]), Answer.NOT_SETTLED)
        intervals = [(value - c * error, value + c * error) for c in (wide, narrow)]
        assert first == answer(*intervals, worthwhile)[0]
        seen.add(first)
    assert seen == set(Answer)
