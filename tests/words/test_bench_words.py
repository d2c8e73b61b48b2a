"""What is said of measured edges and of the study of the bench."""

import pytest

from trials.bench.kinds import BenchKind as K
from trials.bench.kinds import Design, Source
from trials.findings import About, Amount, Finding
from trials.words import bench
from trials.words.findings import say, sentences

MM = {"asked": Amount(8.0, "mm"), "evaluated": Amount(40.0, "mm"), "cutoff": Amount(2.5, "mm")}
SPIKE = {"points": 1, "first": Amount(7.0, "mm")}


@pytest.mark.parametrize(
    ("kind", "facts", "sentence"),
    [
        (K.LINES_PASSED_OVER, {"lines": 1}, "1 line above the column names was passed over"),
        (K.LINES_PASSED_OVER, {"lines": 3}, "3 lines above the column names were passed over"),
        (K.POINTS_TWICE, {"points": 1}, "1 point stood twice with the same height: dropped once"),
        (
            K.RESAMPLED,
            {"spacing": Amount(0.0100044, "mm")},
            "steps were uneven: resampled by straight lines at 0.01 mm",
        ),
        (K.SPIKES_KEPT, SPIKE, "1 point stands far off its neighbours, at 7 mm: kept"),
        (
            K.SPIKES_BRIDGED,
            SPIKE | {"points": 2},
            "2 points stand far off their neighbours, the first at 7 mm: bridged by straight lines",
        ),
        (
            K.CUTOFF_CHOSEN,
            {"cutoff": MM["cutoff"], "method": "ISO 21920-3"},
            "cut-off 2.5 mm chosen by ISO 21920-3",
        ),
        (
            K.CUTOFF_TOO_SHORT,
            {"method": "ISO 4288", "asked": MM["asked"], "cutoff": MM["cutoff"]},
            "ISO 4288 asks for a cut-off of 8 mm, the trace holds 2.5 mm only",
        ),
        (
            K.CUTOFF_UNUSUAL,
            {"rz5": Amount(112.34, "um"), "method": "ISO 21920-3", **MM},
            "at Rz5 112 µm ISO 21920-3 would ask for a cut-off of 8 mm, 40 mm evaluated; 2.5 mm was used",
        ),
        (
            K.SPACING_WIDE,
            {"spacing": Amount(5.0000001, "um"), "usual": Amount(1.5, "um")},
            "points 5 µm apart, usual are up to 1.5 µm: narrow dales may be missed",
        ),
        (
            K.FEW_POINTS,
            {"points": 0, "low": Amount(1.0, "mm"), "high": Amount(11.0, "mm")},
            "only 0 points between 1 mm and 11 mm depth: u may read too small",
        ),
        (
            K.READING_UNCERTAIN,
            {"expanded": 0.23511, "unit": ""},
            "One reading is uncertain by 0.235 either way (k = 2).",
        ),
        (
            K.READING_UNCERTAIN,
            {"expanded": 0.23511, "unit": "um"},
            "One reading is uncertain by 0.235 µm either way (k = 2).",
        ),
        (
            K.SHARE_OF_SPREAD,
            {"share": 0.003},
            "The bench makes up less than 1 % of the variance of the trial's readings.",
        ),
        (K.SHARE_OF_LIMIT, {"share": 0.153}, "That is 15 % of the limit it is graded against."),
        (
            K.BIAS_WITHIN,
            {"bias": 0.02, "readings": 3, "unit": "mm"},
            "The bench reads +0.02 mm against the reference, within what 3 readings and the certificate leave open.",
        ),
        (
            K.PAIRS_AGREE,
            {"same": 0.9, "within_one": 1.0},
            "Two inspectors give a coupon the same grade in 90 % of cases and grades at most one apart in 100 %.",
        ),
        (
            K.GRADE_NEEDS_COUPONS,
            {"worthwhile": 1.0, "coupons": 5},
            "The bench does not see a difference of 1 in grade between two coupons; it takes 5 coupons of each, if "
            "they were all alike.",
        ),
    ],
)
def test_sentences(kind, facts, sentence):
    assert say(Finding(kind, facts=facts)) == sentence


def test_a_spread_below_zero_is_named():
    found = say(Finding(K.BELOW_ZERO, About(source=Source.INSPECTOR)))
    assert found == "The estimate of the spread between inspectors is below zero and counts as zero."


def test_every_kind_source_and_design_has_words():
    assert set(K) <= set(sentences())
    assert all(bench.source(name) for name in Source)
    assert all(bench.design(known) for known in Design)


def test_how_edges_were_measured_names_only_what_was_noted():
    said = bench.how_measured(["stylus 4"], [], [2.5, 0.8], [])
    assert said == ["Instruments: stylus 4.", "Cut-off: 2.5, 0.8 mm."]
