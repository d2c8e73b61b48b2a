"""Every kind of finding about a chance has a sentence that carries its facts, in whatever language."""

import pytest

from trials.decide.chance_result import TOGETHER, Asked, ChanceResult
from trials.findings import About, Amount, Finding, Place, PlaceKind
from trials.infer.chance import ChanceKind
from trials.steps.files import plain
from trials.words.chances import SENTENCES, asked_words, likely
from trials.words.findings import say
from trials.words.language import Language, speaking

K = ChanceKind
SAID = [
    (K.RULE, {"judged_by": "worst", "readings": 1}, "Worst of 1 reading per edge."),
    (K.RULE, {"judged_by": "mean", "readings": 3}, "Mean of 3 readings per edge."),
    (K.GRADE_RULE, {"at_most": 1.0, "new_specimen": True}, "Grade 1 or better; a new specimen each time."),
    (K.GRADE_RULE, {"at_most": 0.0, "new_specimen": False}, "Grade 0 or better; for these specimens only."),
    (K.NEW_EACH_TIME, {"layers": (), "pooled": ()}, "A new edge each time."),
    (K.NEW_EACH_TIME, {"layers": ("coupon",), "pooled": ()}, "New coupon each time."),
    (
        K.NEW_EACH_TIME,
        {"layers": ("specimen", "coupon"), "pooled": ("specimen",)},
        "New specimen and coupon each time; spread of specimens pooled over the types.",
    ),
    (K.SPREAD_NOT_KNOWN, {"layers": ("mount",)}, "The spread of mounts could not be estimated on its own."),
    (K.READINGS_INDEPENDENT, {}, "readings count as independent, the cautious way."),
    (K.SPREAD_OF_TYPE, {"by_type": True}, "Spread of coupons and readings by type."),
    (K.SPREAD_OF_TYPE, {"by_type": False}, "Spread of coupons and readings pooled over the types."),
    (K.PENALISED, {}, "Estimated with a weak prior"),
    (K.NO_GRADE_MODEL, {"specimens": 1}, "the bound counts 1 whole specimen."),
    (K.NO_GRADE_MODEL, {"specimens": 3}, "the bound counts 3 whole specimens."),
    (K.MOVE_TOGETHER, {}, "Responses move together"),
    (K.DROSS_APART, {}, "Dross is taken as independent of the rest"),
    (K.LOST_CUTS, {"lost": 1, "cuts": 26}, "1 of 26 cuts was lost and counts as not meeting."),
    (K.LOST_CUTS, {"lost": 2, "cuts": 26}, "2 of 26 cuts were lost and count as not meeting."),
    (
        K.TOLERANCE,
        {"share": 0.9, "confidence": 0.95, "value": Amount(41.26, "um"), "readings": 3, "judged_by": "worst"},
        "With 95 % confidence 90 % of edges that are cut through lie below 41.3 µm, by the worst of 3 readings.",
    ),
    (
        K.TOLERANCE,
        {"share": 0.9, "confidence": 0.95, "value": Amount(41.26, "um"), "readings": 2, "judged_by": "mean"},
        "With 95 % confidence 90 % of edges that are cut through lie below 41.3 µm, by the mean of 2 readings.",
    ),
    (
        K.REACH,
        {"target": 0.9, "specimens": 3, "needed": 11, "more_than": None, "shown": ()},
        "3 specimens of the type do not show 90 %; about 11 would, if the estimate is right and the other types grow "
        "alike.",
    ),
    (
        K.REACH,
        {"target": 0.9, "specimens": 3, "needed": None, "more_than": 1000, "shown": ()},
        "3 specimens of the type do not show 90 %; if the estimate is right, more than 1000 would be needed.",
    ),
    (
        K.REACH,
        {"target": 0.9, "specimens": 3, "needed": None, "more_than": None, "shown": ((6, 0.71), (12, 0.78))},
        "The estimate lies below 90 %, so 3 specimens of the type do not show it; if the estimate is right, "
        "6 specimens would show at least 71 % and 12 specimens would show at least 78 %.",
    ),
    (K.WITHOUT_FLAGGED, {"estimate": 0.93, "low": 0.7}, "Without the flagged readings 93 %, at least 70 %."),
    (K.ANY_CORRELATION, {"least": 0.961, "most": 0.964}, "Whatever the correlation, the estimates allow 96 %."),
    (K.ANY_CORRELATION, {"least": 0.997, "most": 1.0}, "Whatever the correlation, the estimates allow over 99 %."),
    (K.ANY_CORRELATION, {"least": 0.4, "most": 0.6}, "Whatever the correlation, the estimates allow 40 % to 60 %."),
]


@pytest.mark.parametrize(("kind", "facts", "words"), SAID)
def test_each_kind_says_its_facts(kind, facts, words):
    said = say(Finding(kind, facts=facts))
    assert words in said and said.endswith(".")


def test_no_kind_is_left_without_a_sentence():
    assert set(SENTENCES) == set(ChanceKind) == {kind for kind, _, _ in SAID}


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (Asked("squareness", Amount(0.234, "mm")), "u at most 0.234 mm"),
        (Asked("roughness", Amount(49.6, "um")), "Rz5 at most 49.6 µm"),
        (Asked("dross", Amount(1.0)), "dross grade 1 or better"),
        (TOGETHER, "all together"),
    ],
)
def test_what_is_asked(asked, words):
    assert asked_words(asked) == words


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.0, "0 %"),
        (0.004, "under 1 %"),
        (0.005, "under 1 %"),
        (0.006, "1 %"),
        (0.994, "99 %"),
        (0.995, "over 99 %"),
        (1.0, "over 99 %"),
    ],
)
def test_a_chance_is_never_certain(share, words):
    assert likely(share) == words


def test_a_row_for_machines_keeps_its_words_beside_its_fields():
    lost = Finding(K.LOST_CUTS, About(nozzle="a"), {"lost": 2, "cuts": 9})
    rule = Finding(K.RULE, facts={"judged_by": "worst", "readings": 3})
    today = Place(PlaceKind.TODAY, ({"pressure": 0.7},), {"pressure": "bar"})
    row = plain(ChanceResult("a", TOGETHER, today, 0.7, 0.4, notes=(lost,), rests_on=(rule,)))
    assert (row["requirement"], row["settings"]) == ("all together", "pressure 0.7 bar")
    assert row["words"] == "2 of 9 cuts were lost and count as not meeting."
    assert row["assumed"] == ["Worst of 3 readings per edge."] and row["estimate"] == 0.7
    assert row["notes"][0]["facts"] == {"lost": 2, "cuts": 9} and row["notes"][0]["kind"] == "chance_lost_cuts"


def test_every_sentence_goes_through_the_language():
    nonsense = Language("xx", lambda template: "zz", lambda one, many, n: "zz")
    with speaking(nonsense):
        assert {say(Finding(kind, facts=facts)) for kind, facts, _ in SAID} == {"zz"}
