"""The answer in four words, against a difference declared worthwhile before cutting.

Intervals decide, in this order: same for practical purposes, better, worse, not settled. The confidence is shared out
over the primary responses and the declared looks (Bonferroni), so that the whole verdict errs in at most 5 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from trials.errors import WrongArgument
from trials.worthwhile import Margins

RULE_VERSION = "3"
"""Version of the rule that gives the words, kept with each look; it is raised whenever a word could change."""


class Answer(StrEnum):
    """The four words."""

    BETTER = "better"
    WORSE = "worse"
    SAME = "same for practical purposes"
    NOT_SETTLED = "not settled"


class Added(StrEnum):
    """What is added to a word: how far better it is shown to be, or why it stays open."""

    BY_AT_LEAST = "by at least the worthwhile difference"
    HOW_MUCH_OPEN = "how much is open"
    LOST_DECIDE = "the coupons that were lost could change the word"
    ZEROS_DECIDE = "what a reading of zero counts as could change the word"
    RANGE_DECIDES = "how far readings lie beyond the instrument's range could change the word"
    NO_REPLICATION = "nothing above the coupon was repeated, so the word stays open"


@dataclass(frozen=True)
class Levels:
    """Confidence of the two intervals: `difference` for better and worse, `sameness` for equivalence."""

    difference: float
    sameness: float

    def shared(self, comparisons: int) -> Levels:
        """The same confidence shared out over several comparisons; one where there are none.

        >>> levels(1).shared(2)
        Levels(difference=0.975, sameness=0.95)
        """
        parts = max(comparisons, 1)
        return Levels(1.0 - (1.0 - self.difference) / parts, 1.0 - (1.0 - self.sameness) / parts)


def levels(primaries: int, looks: int = 1) -> Levels:
    """1 - 0.05 / (m k) and 1 - 0.10 / (m k) for m primary responses and k declared looks.

    Raises
    ------
    WrongArgument
        If either number is below one.
    """
    if primaries < 1 or looks < 1:
        raise WrongArgument("At least one primary response and one look are needed; declare them in the trial file.")
    shares = primaries * looks
    return Levels(1.0 - 0.05 / shares, 1.0 - 0.10 / shares)


def answer(
    difference: tuple[float, float], sameness: tuple[float, float], worthwhile: Margins
) -> tuple[Answer, Added | None]:
    """The word and its added clause for one nozzle type against today's.

    difference, sameness: intervals (low, high) of the improvement over today's nozzle on the model's scale, positive
    is better; worthwhile: D on the same scale, which has two sides.

    >>> worthwhile = Margins(better=0.163, worse=0.140)
    >>> word, added = answer((0.02, 0.30), (0.04, 0.28), worthwhile)
    >>> print(word, added, sep="; ")
    better; how much is open
    >>> print(answer((-0.05, 0.16), (-0.04, 0.15), worthwhile)[0])
    same for practical purposes
    """
    if -worthwhile.worse < sameness[0] and sameness[1] < worthwhile.better:
        return Answer.SAME, None
    if difference[0] > 0:
        return Answer.BETTER, Added.BY_AT_LEAST if difference[0] > worthwhile.better else Added.HOW_MUCH_OPEN
    if difference[1] < 0:
        return Answer.WORSE, None
    return Answer.NOT_SETTLED, None


def critical_values_below(
    value: NDArray[np.float64], error: NDArray[np.float64], worthwhile: Margins
) -> dict[Answer, NDArray[np.float64]]:
    """Critical values (...) below which each word's own condition holds, for improvements (...) with standard errors.

    The same rule as `answer` from the other end, for many improvements at once: same for practical purposes against the
    critical value of the interval for sameness, better and worse against that for a difference.
    """
    same = np.minimum(value + worthwhile.worse, worthwhile.better - value)
    return {Answer.SAME: same / error, Answer.BETTER: value / error, Answer.WORSE: -value / error}
