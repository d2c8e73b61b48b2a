"""A trial's own honesty is simulated for a new look and read back from a kept one."""

import json
from datetime import UTC, datetime

from trials.decide.results import HonestyRow, OwnHonesty
from trials.infer.answer import Answer
from trials.steps.files import plain
from trials.steps.own_honesty import honesty_for
from trials.store.records import KeptLook

SHARES = {Answer.BETTER: 0.02, Answer.SAME: 0.6, Answer.WORSE: 0.01, Answer.NOT_SETTLED: 0.37}
HONEST = OwnHonesty("roughness", 4000, 0.031, 0.04, 0.6, 0.8, (HonestyRow("double", SHARES, SHARES),))


def kept(summary):
    return KeptLook(1, datetime(2026, 3, 2, tzinfo=UTC), True, "ab", 3, "2", (), None, {}, None, summary)


def test_a_kept_look_gives_back_what_was_simulated_for_it():
    summary = json.loads(json.dumps({"study": {"honesty": plain((HONEST,))}}))
    assert honesty_for(None, None, kept(summary)) == (HONEST,)


def test_a_look_of_an_earlier_version_has_none():
    assert honesty_for(None, None, kept({"answer": "better"})) == ()
    assert honesty_for(None, None, kept({"study": {"title": "T"}})) == ()
