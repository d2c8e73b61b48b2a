"""The word for each type from its ratio of lives, and the ends counted."""

import math
from dataclasses import replace

import pytest

from trials.decide.lives import LivesKind, Upkeep, answer_lives, compare, in_detail, typical_lives
from trials.endings import Ended, Part
from trials.errors import WrongArgument
from trials.infer.life import LifeRatio, study_lives
from trials.infer.life.regression import CHARACTERISTIC


def ratio(value, low, high, p=0.01):
    return LifeRatio("b", "a", 0.632, value, low, high, p, True, (5, 5), (2.0,))


INF = math.inf
WORDS = [
    # a quarter longer matters: log 1.25
    (ratio(1.6, 1.26, 2.0), ratio(1.6, 1.3, 1.9), "better", "by at least the worthwhile difference"),
    (ratio(1.6, 1.24, 2.0), ratio(1.6, 1.3, 1.9), "better", "how much is open"),
    (ratio(0.7, 0.5, 0.99), ratio(0.7, 0.55, 0.95), "worse", None),
    (ratio(1.05, 0.7, 1.5), ratio(1.05, 0.81, 1.24), "same for practical purposes", None),
    (ratio(1.05, 0.7, 1.5), ratio(1.05, 0.76, 1.24), "same for practical purposes", None),  # 24 % shorter
    (ratio(1.05, 0.7, 1.5), ratio(1.05, 0.74, 1.24), "not settled", None),  # 26 % shorter
    (ratio(1.05, 0.7, 1.5), ratio(1.05, 0.81, 1.26), "not settled", None),
    (ratio(INF, 1.3, INF), ratio(INF, 1.4, INF), "better", "by at least the worthwhile difference"),
    (ratio(INF, 0.9, INF), ratio(INF, 1.0, INF), "not settled", None),
    (ratio(0.0, 0.0, 0.8), ratio(0.0, 0.0, 0.7), "worse", None),
]


@pytest.mark.parametrize(("wide", "narrow", "word", "adds"), WORDS)
def test_the_rule_of_edges_gives_the_word_of_lives(wide, narrow, word, adds):
    found = compare(wide, narrow, 0.95, 0.25)
    assert (found.answer, found.answer_adds) == (word, adds)
    assert (found.nozzle, found.against, found.kind, found.p, found.confidence) == ("b", "a", "ratio", 0.01, 0.95)
    assert (found.value, found.low, found.high) == (wide.ratio, wide.low, wide.high)


def test_the_size_is_also_said_in_worthwhile_differences():
    assert compare(ratio(1.5625, 1.3, 1.9), ratio(1.5625, 1.3, 1.9), 0.95, 0.25).times_worthwhile == pytest.approx(2.0)
    # 25 % shorter is a ratio of 0.75, and twice that 0.75 squared
    short = ratio(0.5625, 0.5, 0.6)
    assert compare(short, short, 0.95, 0.25).times_worthwhile == pytest.approx(2.0)


def test_without_a_worthwhile_difference_no_word():
    found = compare(ratio(1.6, 1.26, 2.0), ratio(1.6, 1.3, 1.9), 0.95, None)
    assert (found.answer, found.answer_adds, found.times_worthwhile) == (None, None, None)


def test_a_worthwhile_difference_of_nothing_is_refused():
    with pytest.raises(WrongArgument, match="above zero"):
        compare(ratio(1.6, 1.26, 2.0), ratio(1.6, 1.3, 1.9), 0.95, 0.0)
    with pytest.raises(WrongArgument, match="below 100 %"):
        compare(ratio(1.6, 1.26, 2.0), ratio(1.6, 1.3, 1.9), 0.95, 1.0)


TIME = [10.0, 20.0, 33.0, 5.0, 7.0, 9.0, 40.0]
TYPES = ["a", "a", "a", "c", "b", "b", "b"]
ENDS = [Ended.TAKEN_OFF_GOOD] * 4 + [Ended.WORN, Ended.WORN, Ended.PLUGGED]


@pytest.mark.parametrize(("worthwhile", "word"), [(0.25, "not settled"), (None, None)])
def test_a_pair_without_failures_stays_in_its_place_with_nothing_to_bound_it(worthwhile, word):
    study = study_lives(TIME, [end.failed for end in ENDS], TYPES, "a")
    found = answer_lives(study, "hours", worthwhile, TYPES, ENDS)
    c, b = found.comparisons
    assert (c.nozzle, c.against, c.low, c.high, c.p, c.answer) == ("c", "a", 0.0, INF, None, word)
    assert math.isnan(c.value) and b.nozzle == "b" and b.value == 0.0
    silent = [f.kind for f in found.said]
    assert silent == ([] if worthwhile else [LivesKind.NO_WORTHWHILE])


def test_ends_are_counted_by_type():
    study = study_lives(TIME, [end.failed for end in ENDS], TYPES, "a")
    found = answer_lives(study, "hours", None, TYPES, ENDS)
    assert [(each.nozzle, dict(each.counts)) for each in found.ends] == [
        ("a", {Ended.TAKEN_OFF_GOOD: 3}),
        ("c", {Ended.TAKEN_OFF_GOOD: 1}),
        ("b", {Ended.WORN: 2, Ended.PLUGGED: 1}),
    ]


def test_only_a_piece_taken_off_good_did_not_fail():
    assert [end for end in Ended if not end.failed] == [Ended.TAKEN_OFF_GOOD]


RAN = [10.0, 14.0, 18.0, 25.0, 12.0, 17.0, 24.0, 30.0]
KINDS = ["a"] * 4 + ["b"] * 4
WORN = [Ended.WORN] * 4 + [Ended.WORN, Ended.PLUGGED, Ended.WORN, Ended.TAKEN_OFF_GOOD]


@pytest.fixture(scope="module")
def answered():
    study = study_lives(RAN, [end.failed for end in WORN], KINDS, "a", quantiles=(0.1, 0.5, CHARACTERISTIC))
    return answer_lives(study, "hours", 0.25, KINDS, WORN)


def test_a_typical_life_is_that_of_the_weibull_curve(answered):
    """Of characteristic life eta and shape m: eta log(2)^(1/m), eta (-log 0.9)^(1/m), a mean of eta Gamma(1 + 1/m)."""
    shape = answered.study.shape
    for each, typed in zip(typical_lives(answered, "folder"), answered.study.types, strict=True):
        whole = next(at for at in typed.at if at.quantile == CHARACTERISTIC)
        eta, gamma = whole.life, math.gamma(1 + 1 / shape)
        assert each.median == pytest.approx(eta * math.log(2) ** (1 / shape))
        assert each.tenth == pytest.approx(eta * (-math.log(0.9)) ** (1 / shape))
        assert (each.mean, each.mean_low, each.mean_high) == pytest.approx(
            (gamma * eta, gamma * whole.low, gamma * whole.high)
        )
        assert each.low < each.median < each.high and each.tenth_low < each.tenth
        assert (each.n, each.unit, each.source, each.part) == (4, "hours", "folder", answered.part)
    assert [each.failures for each in typical_lives(answered, "f")] == [4, 3]


def test_lives_of_lens_and_window_follow_those_of_the_nozzle(answered):
    whole = replace(answered, beside=(replace(answered, part=Part.LENS),))
    assert [each.part for each in typical_lives(whole, "f")] == [answered.part] * 2 + [Part.LENS] * 2


def test_a_study_that_states_no_median_is_refused(answered):
    few = study_lives(RAN, [end.failed for end in WORN], KINDS, "a", quantiles=(0.1, CHARACTERISTIC))
    with pytest.raises(WrongArgument, match="0.5 of them failed"):
        typical_lives(answer_lives(few, "hours", 0.25, KINDS, WORN), "f")


def test_what_was_cleaned_and_put_back_is_counted_by_type(answered):
    kept = Upkeep(cleaned=[0, 2, 3, 0, 0, 0, 0, 0], refitted=[1, 0, 0, 0, 0, 4, 0, 0])
    found = in_detail(answered, (), KINDS, kept)
    assert [(c.cleaned_pieces, c.cleaned, c.refitted_pieces, c.refitted) for c in found.care] == [
        (2, 5, 1, 1),
        (0, 0, 1, 4),
    ]
    assert [f.kind for f in found.cautions] == [LivesKind.CLEANED_IS_ONE_LIFE]
    bare = in_detail(answered, (), KINDS, Upkeep([0] * 8, [0] * 8))
    assert bare.care == () and bare.cautions == ()
    one = in_detail(answered, ("cause",), KINDS, Upkeep([0] * 8, [0] * 7 + [1]))
    assert [f.kind for f in one.cautions] == [LivesKind.CAUSES_APART, LivesKind.CLEANED_IS_ONE_LIFE]
    assert one.causes == ("cause",) and len(one.care) == 2
