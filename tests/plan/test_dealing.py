"""Settings dealt to mounts: equally often, far apart, and the plan that a trial file then makes."""

from collections import Counter

import pytest
from tests_support import TRIAL_TEXT

from trials.errors import InputError
from trials.frozen import freeze_hash
from trials.plan.choose import make_plan
from trials.plan.dealing import deal
from trials.trial import parse

DEALT = TRIAL_TEXT.replace("[plan]\n", "[plan]\ncoupons_per_mount = 3\nrepeats = 1\n", 1)


@pytest.mark.parametrize(("settings", "mounts", "each"), [(8, 8, 2), (9, 6, 3), (5, 7, 2), (4, 3, 6), (1, 4, 2)])
def test_every_setting_equally_often(settings, mounts, each):
    hands = deal(settings, mounts, each)
    assert [len(hand) for hand in hands] == [each] * mounts
    counts = Counter(i for hand in hands for i in hand)
    times = [counts[i] for i in range(settings)]
    assert max(times) - min(times) <= 1


def test_more_mounts_leave_the_first_hands_as_they_are():
    assert deal(8, 20, 3)[:7] == deal(8, 7, 3)


def test_the_same_two_settings_do_not_always_share_a_mount():
    pairs = Counter(frozenset(hand) for hand in deal(8, 16, 2))
    assert max(pairs.values()) <= 2


def test_plan_of_a_trial_file_with_coupons_per_mount():
    assert "[plan]" in TRIAL_TEXT
    plan = make_plan(parse(DEALT))
    per_mount = plan.coupons.groupby("mount").size()
    assert set(per_mount) == {3}
    today = plan.coupons[(plan.coupons["pressure_bar"] == 0.7) & (plan.coupons["standoff_mm"] == 1.0)]
    assert set(today.groupby("mount").size()) == {1} and len(today) == len(per_mount)
    others = plan.coupons.drop(today.index)
    counts = others.groupby(["nozzle", "pressure_bar", "standoff_mm"]).size()
    assert counts.max() <= 1  # 3 specimens x 2 coupons over 8 settings
    by_type = {
        kind: set(map(tuple, own[["pressure_bar", "standoff_mm"]].to_numpy())) for kind, own in others.groupby("nozzle")
    }
    first, second = by_type.values()
    assert first == second


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("repeats = 1", "repeats = 4", "coupons_per_mount = 3 is fewer than plan.repeats = 4"),
        ('method = "full"', 'method = "surface"', "goes with method 'full'"),
    ],
)
def test_counts_that_do_not_go_together(old, new, place):
    assert old in DEALT
    with pytest.raises(InputError, match=place):
        parse(DEALT.replace(old, new, 1))


def test_a_number_of_specimens_draws_marks():
    numbered = TRIAL_TEXT.replace('specimens = ["C1", "C2", "C3"]', "specimens = 3")
    numbered = numbered.replace('specimens = ["D1", "D2", "D3"]', "specimens = 3")
    trial = parse(numbered)
    assert [nozzle.specimens for nozzle in trial.nozzles] == [("C1", "C2", "C3"), ("D1", "D2", "D3")]
    assert freeze_hash(trial) == freeze_hash(parse(TRIAL_TEXT))


def test_drawn_marks_are_unlike_those_of_other_types():
    numbered = TRIAL_TEXT.replace('type = "double"', 'type = "conical"').replace('["D1", "D2", "D3"]', "2")
    trial = parse(numbered)
    assert trial.nozzles[1].specimens == ("CO1", "CO2")


def test_a_question_without_the_new_keys_keeps_its_identity():
    assert freeze_hash(parse(TRIAL_TEXT)) != freeze_hash(parse(DEALT))
    asked = TRIAL_TEXT.replace("[plan]\n", '[plan]\nsettle = "80 %"\n', 1)
    assert freeze_hash(parse(asked)) == freeze_hash(parse(TRIAL_TEXT))
