"""Card and chart in words: every kind has its sentence, every number its place."""

import pytest

from trials.decide.card import CardKind, Safe, Setting, Span, Watch
from trials.decide.chart import ChartKind, Said
from trials.findings import About, Amount, Finding
from trials.infer.answer import Added, Answer
from trials.nozzles import Nozzle
from trials.words import card, chart
from trials.words.findings import say

JOB = {"material": "S235", "thickness_mm": 12.0, "gas": "oxygen"}
SAID = [
    (Finding(CardKind.ONLY_TODAY), "Only these settings were compared"),
    (
        Finding(CardKind.NOT_SHOWN_SAFE, facts={"wanted": 0.9, "low": 0.51}),
        "a chance of 90 % is not shown: it is at least 51 %",
    ),
    (Finding(CardKind.NOT_SHOWN_SAFE, facts={"wanted": 0.9, "low": None}), "No setting beside these"),
    (Finding(CardKind.EXPLORATORY), "undeclared look"),
    (Finding(CardKind.NO_LIVES, About(nozzle="d")), "No lives of d are on record"),
    (
        Finding(CardKind.LIFE_STATED, facts={"life": Amount(300.0, "hours"), "source": "book"}),
        "Typical life 300 hours (book)",
    ),
    (
        Finding(CardKind.LIFE_SEEN, facts={"tenth": Amount(120.0, "hours"), "at_least": Amount(70.0, "hours"), "n": 8}),
        "Look at it closely from 70 hours on, change it at 120 hours: nine in ten last so long (8 pieces tried).",
    ),
    (
        Finding(CardKind.LIFE_NONE_FAILED, facts={"at_least": Amount(70.0, "hours"), "n": 8}),
        "None of 8 pieces failed",
    ),
    (Finding(ChartKind.NO_VERDICT, facts={"folder": "x"}), "x holds no kept verdict"),
    (Finding(ChartKind.SPELLED_TWICE, About(nozzles=("a", "A"))), "a and A differ only in case or spaces"),
    (Finding(ChartKind.TWO_FORMS, About(nozzle="a")), "a is described differently"),
    (Finding(ChartKind.TRIALS_DISAGREE, About(nozzle="a"), {"folder": "x"}), "the list takes the newest, x"),
    (
        Finding(ChartKind.RESTS_ON_MARKED, facts={**JOB, "folder": "x", "marks": ("another machine", "exploratory")}),
        "For 12 mm S235, oxygen the list rests on x, which is marked: another machine, exploratory.",
    ),
    (Finding(ChartKind.NOT_POOLED), "not pooled"),
]


@pytest.mark.parametrize(("finding", "words"), SAID, ids=[f.kind.value for f, _ in SAID])
def test_each_kind_says_its_facts(finding, words):
    assert words in say(finding)


def test_no_kind_is_left_without_a_sentence():
    assert {finding.kind for finding, _ in SAID} == {*CardKind, *ChartKind} == {*card.SENTENCES, *chart.SENTENCES}
    assert all(card.watch_words(one) for one in Watch)


def said(value, kind="ratio", **other):
    return Said("roughness", "Rz5", "um", Answer.BETTER, kind=kind, value=value, **other)


def test_a_gain_has_its_size_and_its_way():
    assert chart.gain(said(0.67)) == "Rz5 33 % lower"
    assert chart.gain(said(-0.03, "difference")) == "Rz5 0.030 µm lower"
    assert chart.gain(said(0.67, adds=Added.BY_AT_LEAST)) == "Rz5 33 % lower, at least the worthwhile"
    assert chart.gain(said(None)) == ""


def test_a_setting_shows_its_span_or_that_none_was_shown():
    one = Setting("pressure", 0.7, "bar", held=False)
    span = Safe(0.9, 0.97, 0.93, (Span("pressure", 0.5, 0.9, "bar"),))
    assert card.setting_row(one, span) == ["pressure", "0.7 bar", "0.5 to 0.9 bar"]
    assert card.setting_row(one, Safe(0.9, 0.97, 0.5, ()))[2] == "not shown"
    assert card.setting_row(one, None)[2] == "only this was compared"


def test_a_look_alike_is_told_by_its_bore_where_the_orifice_is_the_same():
    from trials.decide.card import LookAlike

    own, other = Nozzle(type="a", bore="conical", orifice_mm=1.4), Nozzle(type="b", bore="cylindrical", orifice_mm=1.4)
    words = card.differences(own, LookAlike(other, ("bore",), same_orifice=True))
    assert words == (
        "b: the same orifice, so the number on it does not tell; look into the bore: conical here, cylindrical there."
    )
