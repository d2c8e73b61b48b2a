"""What lives do not tell and what comes next: every kind has its sentence, with its facts."""

import pytest

from trials.decide.lives_advice import LifeTold
from trials.endings import Part
from trials.findings import About, Amount, Finding
from trials.words.findings import say
from trials.words.language import Language, speaking
from trials.words.life_told import SENTENCES, outlasting

T, PAIR = LifeTold, About(nozzle="plated", against="plain")
NOZZLES = {"part": Part.NOZZLE.value}
COUNTS = {**NOZZLES, "n": 20, "now": 12, "chance": 0.8, "most": 200, "worthwhile": 0.3}
SAID = [
    (
        Finding(T.EARLY_OPEN, PAIR, {"quantile": 0.1, "low": 0.701, "high": 3.82}),
        "that fewer of Plated fail early is not proved (the life that nine in ten outlast, judged by itself: 0.70 to "
        "3.9 times that of Plain)",
    ),
    (
        Finding(T.FAILED_FIRST, PAIR, {"life": Amount(42.0, "pierces"), "todays": Amount(46.0, "pierces")}),
        "The first Plated failed sooner than the first Plain: after 42 pierces, against 46.",
    ),
    (Finding(T.AGES_DIFFER), "early and late failures give different figures"),
    (
        Finding(T.NONE_RAN_LONGER, facts={"types": (("plated", Amount(250.0, "hours")),)}),
        "Most pieces still good after the longest life seen: Plated (250 hours).",
    ),
    (Finding(T.LEAST_ASSUMED), "rest on an assumption"),
    (Finding(T.LIVES_ALONE), "only lives are compared here"),
    (Finding(T.JOB_NOT_SAID), "the table of lives does not say them"),
    (Finding(T.WEIGH_PRICE, PAIR, {"dearer": False}), "that Plated pays for it by its longer life is not proved"),
    (Finding(T.WEIGH_PRICE, PAIR, {"dearer": True}), "the longer life of Plated does not pay for it"),
    (
        Finding(T.CHANGE_OVER, PAIR, NOZZLES),
        "Change over to Plated for this job; write down how long the first nozzles",
    ),
    (Finding(T.WATCH_FIRST, PAIR, {"life": Amount(42.0, "pierces")}), "from 42 pierces on"),
    (Finding(T.KEEP_ON, PAIR), "Keep Plated"),
    (Finding(T.MORE_PIECES, facts=COUNTS), "with 20 nozzles of each type instead of 12"),
    (Finding(T.MORE_PIECES, facts={**COUNTS, "n": 12}), "with as many nozzles again (12 of each type)"),
    (Finding(T.NO_NUMBER, facts={**COUNTS, "n": None}), "No number of nozzles up to 200 of each type"),
    (Finding(T.RUN_LONGER, About(nozzles=("plated", "double")), NOZZLES), "Run Plated and Double and today's on"),
    (Finding(T.RUN_ANOTHER, PAIR), "give another type the same work as Plated"),
    (Finding(T.NOT_BY_WEAR, facts={"part": Part.LENS.value}), "lenses fail early here rather than by wear"),
]


@pytest.mark.parametrize(("finding", "words"), SAID, ids=[f"{f.kind.value}-{k}" for k, (f, _) in enumerate(SAID)])
def test_each_kind_says_its_facts(finding, words):
    assert words in say(finding) and say(finding).endswith(".")


def test_no_kind_is_left_without_a_sentence_or_an_example():
    assert {finding.kind for finding, _ in SAID} == set(LifeTold) == set(SENTENCES)


@pytest.mark.parametrize(("quantile", "words"), [(0.5, "half"), (0.1, "nine in ten"), (0.025, "97.5 %")])
def test_those_who_outlast_a_life(quantile, words):
    assert outlasting(quantile) == words


def test_every_sentence_goes_through_the_language():
    with speaking(Language("xx", lambda template: "zz", lambda one, many, n: "zz")):
        assert {say(finding) for finding, _ in SAID} == {"zz"}
