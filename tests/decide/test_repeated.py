"""What a repetition does to a word: open where it must stand and does not, weaker where only its clause falls."""

import pytest

from trials.decide.kinds import StudyKind
from trials.decide.repeated import Repeated, unsettled
from trials.decide.results import Comparison
from trials.findings import Finding, Place, PlaceKind
from trials.infer.answer import Added, Answer

PLACE = Place(PlaceKind.TODAY, ({"pressure": 0.7},))
LEAST, OPEN = Added.BY_AT_LEAST, Added.HOW_MUCH_OPEN


def compared(answer, adds=None, nozzle="double"):
    return Comparison(nozzle, "cylindrical", PLACE, "ratio", 0.8, 0.7, 0.9, 0.01, answer, adds)


def after(kind, answer, adds=None, nozzle="double"):
    return Repeated(Finding(kind), (compared(answer, adds, nozzle),))


def outcome(word, *again):
    (found,) = unsettled((compared(*word),), again)
    return found.answer, found.answer_adds


@pytest.mark.parametrize(
    ("kind", "adds"),
    [
        (StudyKind.LOST_AT_WORST, Added.LOST_DECIDE),
        (StudyKind.ZEROS_AT_A_QUARTER, Added.ZEROS_DECIDE),
        (StudyKind.ZEROS_AT_DOUBLE, Added.ZEROS_DECIDE),
    ],
)
def test_a_word_that_changes_is_not_settled(kind, adds):
    assert outcome((Answer.BETTER, LEAST), after(kind, Answer.NOT_SETTLED)) == (Answer.NOT_SETTLED, adds)
    assert outcome((Answer.SAME,), after(kind, Answer.WORSE, OPEN)) == (Answer.NOT_SETTLED, adds)


def test_the_clause_falls_where_the_repetition_does_not_bear_it():
    assert outcome((Answer.BETTER, LEAST), after(StudyKind.LOST_AT_WORST, Answer.BETTER, OPEN)) == (Answer.BETTER, OPEN)
    stood = after(StudyKind.LOST_AT_WORST, Answer.BETTER, LEAST)
    assert outcome((Answer.BETTER, LEAST), stood) == (Answer.BETTER, LEAST)
    assert outcome((Answer.BETTER, OPEN), stood) == (Answer.BETTER, OPEN)


def test_what_is_flagged_only_another_type_or_none_decides_nothing():
    kept = (Answer.BETTER, LEAST)
    assert outcome(kept, after(StudyKind.WITHOUT_THE_FAR, Answer.NOT_SETTLED)) == kept
    assert outcome(kept, after(StudyKind.WITHOUT_THE_FAR, Answer.BETTER, OPEN)) == kept
    assert outcome(kept, after(StudyKind.LOST_AT_WORST, Answer.WORSE, OPEN, "shower")) == kept
    assert outcome(kept, Repeated(Finding(StudyKind.LOST_AT_WORST), ())) == kept


def test_a_word_that_is_open_already_or_not_given_stays():
    again = after(StudyKind.LOST_AT_WORST, Answer.BETTER, LEAST)
    assert outcome((Answer.NOT_SETTLED, Added.NO_REPLICATION), again) == (Answer.NOT_SETTLED, Added.NO_REPLICATION)
    assert outcome((None,), again) == (None, None)
