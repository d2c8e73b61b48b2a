"""Kinds of findings: their values differ over all floors, since JSON and the words know a kind by its value."""

from collections import Counter

from trials.words.findings import ROOMS, SENTENCES


def test_no_two_kinds_share_a_value():
    values = Counter(str(kind) for room in ROOMS for kind in room.SENTENCES)
    assert [value for value, n in values.items() if n > 1] == []
    assert len(SENTENCES) == len(values) > 100
