"""The fastest clean cut in words: every kind has its sentence, every number its place."""

import math
from dataclasses import replace

import pytest

from trials.decide.clean_speed import CleanSpeed, Worthwhile
from trials.decide.ladder import LadderAnswer, LadderComparison, LadderKind, MountLadder
from trials.findings import About, Amount, Finding, Place, PlaceKind
from trials.infer.answer import Added, Answer
from trials.words import ladders
from trials.words.findings import say
from trials.words.language import Language, speaking

K, INF, NAN = LadderKind, math.inf, math.nan
PRICES = {"price": 24.0, "today_price": 9.0, "currency": "EUR", "first": Amount(3.0, "m/min")}
SAID = [
    (Finding(K.CLEAN_MEANS, facts={"grade": 1, "stated": True}), "dross grade is at most 1."),
    (Finding(K.CLEAN_MEANS, facts={"grade": 0, "stated": False}), "without dross (grade 0)"),
    (Finding(K.CLEAN_TO_THE_LAST, facts={"mounts": ("M1", "M2")}), "Clean to the last step in M1 and M2"),
    (Finding(K.NOT_CLEAN_AT_ALL, facts={"mounts": ("M3",)}), "Not clean at the first step in M3"),
    (Finding(K.SAYS_NOTHING, facts={"mounts": ("M4",)}), "No step of M4"),
    (Finding(K.ONE_STEP_WIDE), "stopped at one step"),
    (
        Finding(K.BELOW_THE_LADDER, facts={"nozzle": "b", "speed": Amount(2.9, "m/min"), "first": Amount(3, "m/min")}),
        "of b, 2.90 m/min, lies below the first step that was cut (3.00 m/min)",
    ),
    (
        Finding(K.JUDGED_BY, facts={"unit": "specimen", "n": 12, "df": 10, "pooled": False}),
        "Judged by 12 specimens (10 degrees",
    ),
    (Finding(K.JUDGED_BY, facts={"unit": "mount", "n": 1, "df": 1, "pooled": False}), "Judged by 1 mount (1 degree"),
    (Finding(K.JUDGED_BY, facts={"unit": "mount", "n": 8, "df": 6, "pooled": True}), "show no spread beyond"),
    (Finding(K.NO_CHANCE_AT_ONE_STEP), "each ladder stops at its first cut that is not clean"),
    (Finding(K.SPEEDS_RISE), "Speeds rise in order inside a mount"),
    (Finding(K.THICKNESS_RISES), "each on a sheet of its own"),
    (Finding(K.NO_WORTHWHILE), "numbers and no word"),
    (Finding(K.NOT_COMPARED, facts={"text": "One mount per type."}), "cannot be compared: One mount per type."),
    (
        Finding(K.CONSIDER, About(nozzle="b"), {**PRICES, "safe": Amount(4.04, "m/min")}),
        "Consider B for this job (24.00 against 9.00 EUR a piece): 95 % of its mounts cut clean up to at least 4.04",
    ),
    (Finding(K.CONSIDER, About(nozzle="b"), {**PRICES, "safe": Amount(2.5, "m/min")}), "as you mean to run"),
    (
        Finding(K.CONSIDER, About(nozzle="b"), {**PRICES, "price": None, "safe": Amount(-INF, "m/min")}),
        "Consider B for this job; cut a few parts",
    ),
]


DECLARED = Worthwhile(0.3, "difference")


def clean(nozzle, typical, low=NAN, high=NAN):
    return CleanSpeed(nozzle, nozzle == "a", typical, low, high, typical - 0.2, typical - 0.4, 6, 6, 0, 0)


def compared(value, low, high, answer, adds=None, kind="difference", nozzle="b"):
    place = Place(PlaceKind.STATED, ({},))
    span = (value, low, high)
    return LadderComparison(nozzle, "a", place, kind, *span, 0.01, answer, adds, 0.95, span, 1.0, 1.0)


def found(*comparisons, worthwhile=DECLARED, pieces=None):
    types = (clean("a", 3.6), *(clean(c.nozzle, 3.6 + c.value) for c in comparisons))
    return LadderAnswer(
        "speed",
        "m/min",
        "a",
        Place(PlaceKind.STATED, ({},)),
        types,
        comparisons,
        (),
        (3.0, 5.0),
        pieces or {},
        worthwhile,
    )


@pytest.mark.parametrize(("finding", "words"), SAID, ids=[f.kind.value for f, _ in SAID])
def test_each_kind_says_its_facts(finding, words):
    assert words in say(finding) and say(finding).endswith(".")


def test_no_kind_is_left_without_a_sentence():
    assert {finding.kind for finding, _ in SAID} == set(LadderKind) == set(ladders.SENTENCES)


def test_the_caption_names_only_what_is_drawn():
    whole = replace(found(), mounts=(MountLadder("M1", "a", "A1", 3.4, 3.6),))
    said = ladders.ladder_caption(whole)
    assert said.startswith("Bar:") and "Diamond:" in said and "Upright stroke:" in said and "rrow" not in said
    open_end = replace(whole, mounts=(*whole.mounts, MountLadder("M2", "a", "A2", 5.0, NAN)))
    assert "Arrow: the ladder gives no end" in ladders.ladder_caption(open_end)
    bare = replace(whole, types=(replace(clean("a", NAN), clean_95_low=NAN),))
    assert ladders.ladder_caption(bare) == "Bar: from the last clean to the first unclean step of one mount."


def test_the_answer_names_speeds_size_and_word():
    better = compared(0.75, 0.46, 1.04, Answer.BETTER, Added.BY_AT_LEAST)
    assert ladders.answer_clause(found(better)) == (
        "b is better than today's a by at least the worthwhile difference: clean up to 4.35 m/min against 3.60 m/min, "
        "+0.750 m/min, interval +0.460 to +1.04 m/min (fastest clean cut; intervals 95 %)."
    )
    open_ = replace(better, answer_adds=Added.HOW_MUCH_OPEN)
    assert "b is better than today's a, how much is open: clean up to" in ladders.answer_clause(found(open_))
    worse = compared(-0.75, -1.04, -0.46, Answer.WORSE)
    assert "b is worse than today's a: clean up to 2.85 m/min against 3.60 m/min" in ladders.answer_clause(found(worse))
    others = [compared(0.1, -0.1, 0.2, Answer.SAME), compared(0.1, -0.9, 0.9, Answer.NOT_SETTLED, nozzle="c")]
    assert ladders.answer_clause(found(*others)).startswith(
        "b against today's a: same for practical purposes; c against today's a: not settled (fastest clean cut"
    )
    pieces = ladders.answer_clause(found(better, pieces={"a": "A1", "b": "B1"}))
    assert pieces.startswith("nozzle B1 is better than nozzle A1")


def test_without_a_word_or_a_comparison():
    bare = compared(1.2, 1.1, 1.3, None, kind="ratio")
    assert "b +20 %, interval +10 to +30 %." in ladders.answer_clause(found(bare, worthwhile=None))
    assert "cannot be compared" in ladders.answer_clause(found())


def test_ends_that_a_ladder_does_not_give():
    answer = found()
    assert ladders.speed_words(INF, answer) == "above 5.00 m/min"
    assert ladders.speed_words(-INF, answer) == "below 3.00 m/min"
    mounts = [MountLadder("M", "a", "", *ends) for ends in ((3.0, 3.5), (3.0, NAN), (NAN, 3.0))]
    assert [ladders.mount_words(m, answer) for m in mounts] == [
        "3.00 to 3.50 m/min",
        "above 3.00 m/min",
        "below 3.00 m/min",
    ]
    assert ladders.size_words(compared(INF, 0.2, INF, None), "m/min") == "not known"
    assert ladders.span_words(compared(INF, 0.2, INF, None), "m/min") == "+0.200 to no bound m/min"


def test_every_sentence_goes_through_the_language():
    nonsense = Language("xx", lambda template: "zz", lambda one, many, n: "zz")
    with speaking(nonsense):
        assert {say(finding) for finding, _ in SAID} == {"zz"}
        assert ladders.answer_clause(found(compared(0.75, 0.46, 1.04, Answer.BETTER))) == "zz"
