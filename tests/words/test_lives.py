"""Lives in words: every kind has its sentence, every number its place."""

import math

import pytest

from trials.decide.lives import ANYWHERE, LifeComparison, LivesKind, answer_lives
from trials.endings import Ended
from trials.findings import About, Finding
from trials.infer.life import LifeKind, LifeRatio, study_lives
from trials.words import lives
from trials.words.findings import say
from trials.words.language import Language, speaking

K, INF = LifeKind, math.inf
SHAPES = {"p": 0.0123, "shape": 2.0, "shapes": (("a", 1.5), ("b", 3.25))}
SAID = [
    (Finding(K.NOTHING_FAILED, facts={"shape": 2.0}), "bounds assume a Weibull shape of 2.00."),
    (Finding(K.NEITHER_FAILED, About(nozzle="c", against="a")), "Neither c nor a failed"),
    (Finding(K.SHAPE_ASSUMED, facts={"shape": 2.0}), "The shape is an assumption"),
    (Finding(K.SHAPES_NOT_CHECKED), "cannot be checked with these failures"),
    (Finding(K.SHAPES_DIFFER, facts=SHAPES), "do not share one Weibull shape (p 0.012; a 1.50, b 3.25)"),
    (Finding(K.SHAPES_ALIKE, facts=SHAPES), "One Weibull shape for all types (2.00) is not contradicted (p 0.01)."),
    (Finding(K.EARLY_FAILURES, facts={"shape": 0.7}), "early failures, not wear"),
    (Finding(K.FEW_FAILURES, About(nozzles=("a", "b")), {"few": 5}), "Fewer than 5 failures of A and B"),
    (Finding(K.BEYOND_LONGEST, About(nozzles=("b",))), "The characteristic life of b lies beyond"),
    (Finding(K.TAKEN_OFF_LIKE_OTHERS), "no nearer to failure than the others"),
    (Finding(LivesKind.NO_WORTHWHILE), "numbers and no word"),
    (Finding(LivesKind.NOTE_MEANS_GOOD, facts={"lives": 1}), "The note of 1 life says that it was still good"),
    (Finding(LivesKind.NOTE_MEANS_GOOD, facts={"lives": 3}), "The notes of 3 lives say that they were still good"),
    (Finding(LivesKind.CAUSES_APART), "A cause by itself"),
    (Finding(LivesKind.CLEANED_IS_ONE_LIFE), "has one life, from new to its end"),
    (Finding(LivesKind.PART_NOT_STUDIED, facts={"part": "lens", "lives": 1}), "1 life of a lens is on record"),
    (Finding(LivesKind.PART_NOT_STUDIED, facts={"part": "window", "lives": 3}), "3 lives of a window are on record"),
]


@pytest.mark.parametrize(("finding", "words"), SAID, ids=[f.kind.value for f, _ in SAID])
def test_each_kind_says_its_facts(finding, words):
    assert words in say(finding) and say(finding).endswith(".")


def test_no_kind_is_left_without_a_sentence():
    kinds = {finding.kind for finding, _ in SAID}
    assert kinds == {*LifeKind, *LivesKind} == set(lives.SENTENCES)


def compared(value, low, high, answer=None, adds=None, confidence=0.95):
    return LifeComparison("b", "a", ANYWHERE, "ratio", value, low, high, 0.01, answer, adds, confidence)


LASTS = "b lasts 1.60 times as long as today's a (95 % interval 1.26 to 2.00); "
COMPARED = [
    (compared(1.6, 1.26, 2.0), None, LASTS + "longer lives are shown."),
    (
        compared(1.6, 1.26, 2.0, "better", "by at least the worthwhile difference"),
        0.25,
        LASTS + "better, by at least the worthwhile 25 %.",
    ),
    (
        compared(1.6, 1.26, 2.0, "better", "how much is open"),
        0.3,
        LASTS + "better; whether by the worthwhile 30 % is open.",
    ),
    (compared(1.6, 1.26, 2.0, "worse"), 0.25, LASTS + "worse (worthwhile: 25 % longer)."),
    (
        compared(1.6, 1.26, 2.0, "same for practical purposes"),
        0.25,
        LASTS + "same for practical purposes (worthwhile: 25 % longer).",
    ),
    (compared(1.6, 1.26, 2.0, "not settled"), 0.25, LASTS + "not settled (worthwhile: 25 % longer)."),
    (
        compared(INF, 1.3, INF, confidence=0.975),
        None,
        "b never failed: it lasts at least 1.30 times as long as today's a (98.8 % confidence); "
        "longer lives are shown.",
    ),
    (
        compared(0.0, 0.0, 0.8),
        None,
        "today's a never failed: b lasts at most 0.80 times as long (97.5 % confidence); shorter lives are shown.",
    ),
    (
        compared(1.0, 0.8, 1.3),
        None,
        "b lasts 1.00 times as long as today's a (95 % interval 0.80 to 1.30); no difference is shown, and none is "
        "ruled out within these limits.",
    ),
]


@pytest.mark.parametrize(("comparison", "worthwhile", "words"), COMPARED)
def test_a_comparison_of_lives(comparison, worthwhile, words):
    assert lives.comparison_sentence(comparison, worthwhile) == words


def test_the_answer_comes_first_and_a_pair_without_a_ratio_is_said_once():
    ends = [Ended.TAKEN_OFF_GOOD] * 3 + [Ended.WORN, Ended.WORN]
    types = ["a", "a", "c", "b", "b"]
    study = study_lives([10.0, 12.0, 9.0, 5.0, 7.0], [end.failed for end in ends], types, "a")
    first, *rest = lives.sentences(answer_lives(study, "hours", 0.25, types, ends))
    assert first.startswith("today's a never failed: b lasts at most")
    assert rest[0] == "Neither c nor a failed, so their lives cannot be compared; run them longer."
    assert [line.split(":")[0] for line in rest[1:]] == ["a", "c", "b"]
    assert rest[1].startswith("a: 0 of 2 failed; characteristic life above") and "(97.5 % confidence)" in rest[1]
    assert "hours (95 % interval" in rest[3]


@pytest.mark.parametrize(
    ("quantile", "words"), [(0.6321, "characteristic life"), (0.1, "10 % failed"), (0.025, "2.5 % failed")]
)
def test_a_share_failed(quantile, words):
    assert lives.share_words(quantile) == words


@pytest.mark.parametrize(
    ("life", "words"), [((170.4, 120.2, 240.3), "170 (120 to 240)"), ((INF, 120.2, INF), "above 120")]
)
def test_a_life_with_its_limits(life, words):
    assert lives.life_words(*life) == words


def test_a_ratio_in_a_table_and_what_it_rests_on():
    common = LifeRatio("b", "a", 0.632, 1.6, 1.2, 2.0, 0.0004, True, (8, 1), (2.5,))
    assert lives.ratio_cells(common) == ["b", "a", "every share", "one for all", "1.60 (1.20 to 2.00)", "below 0.001"]
    assert lives.ratio_note(common) == "One Weibull shape (2.50) for all types; 8 and 1 failure."
    own = LifeRatio("b", "a", 0.1, 1.6, 1.2, 2.0, 0.9995, False, (8, 12), (2.5, 3.0))
    assert lives.ratio_cells(own)[2:4] == ["10 % failed", "own"] and lives.ratio_cells(own)[5] == "above 0.999"
    assert lives.ratio_note(own) == "Weibull shapes of their own (2.50 and 3.00); 8 and 12 failures."
    never = LifeRatio("b", "a", 0.632, 0.0, 0.0, 0.8, 0.02, True, (3, 0), (2.5,))
    assert lives.ratio_words(never) == "at most 0.800" and "a never failed" in lives.ratio_note(never)
    assert len(lives.ratio_head()) == len(lives.ratio_cells(never))


def test_every_sentence_goes_through_the_language():
    nonsense = Language("xx", lambda template: "zz", lambda one, many, n: "zz")
    with speaking(nonsense):
        assert {say(finding) for finding, _ in SAID} == {"zz"}
        assert {lives.comparison_sentence(c, share) for c, share, _ in COMPARED} == {"zz"}
        assert {lives.end_words(end) for end in Ended} == {"zz"}
