"""The answer of a study in words: sentence, sizes, words of types, and a sentence for each kind of finding."""

import dataclasses

import pytest
from words.nonsense import NONSENSE

from trials.decide.kinds import StudyKind
from trials.decide.results import (
    Comparison,
    NextStep,
    NozzleRow,
    ResponseResult,
    Spread,
    State,
    Study,
    TermTest,
    Worded,
)
from trials.findings import About, Amount, Finding, Place, PlaceKind, Weight
from trials.infer.answer import Added, Answer
from trials.infer.kinds import InferKind
from trials.infer.model import RestsOn
from trials.words import model, remarks
from trials.words.findings import say
from trials.words.language import speaking
from trials.words.settings import at_place, place_words, term_words
from trials.words.study import (
    answer_sentence,
    basis_words,
    beside_headline,
    change_words,
    row_words,
    spread_words,
    step_words,
    worthwhile_words,
)

UNITS = {"pressure": "bar", "standoff": "mm"}
TODAY = Place(PlaceKind.TODAY, ({"pressure": 0.7, "standoff": 1.0},), UNITS)
AVERAGE = Place(PlaceKind.AVERAGE, ({"pressure": 0.5}, {"pressure": 0.7}), UNITS)
NAN = float("nan")


def compared(nozzle, answer, adds=None, sizes=(0.8, 0.7, 0.9), kind="ratio", place=TODAY):
    return Comparison(nozzle, "plain", place, kind, *sizes, p=0.01, answer=answer, answer_adds=adds)


def response(*comparisons, **changes):
    basis = RestsOn("specimen", 12, 3, "sheet", 6.0)
    bare = ResponseResult("roughness", "mean height", "Rz5", "log", "um", True, 9, 3, State.COMPARED, basis)
    return dataclasses.replace(bare, comparisons=comparisons, **changes)


def study(*results):
    rows = tuple(NozzleRow(n, "", n == "plain", None, 3, 27, 0) for n in ("plain", "double"))
    return Study("t", "q", results, rows)


def test_better_and_open_types_in_one_sentence():
    found = study(
        response(
            compared("double", Answer.BETTER, Added.BY_AT_LEAST, (0.67, 0.55, 0.81)),
            compared("plated", Answer.NOT_SETTLED),
            compared("shower", Answer.NOT_SETTLED),
        )
    )
    assert answer_sentence(found) == (
        "double is better than today's plain by at least the worthwhile difference (Rz5 33 % lower, interval 19 to "
        "45 %); plated and shower: not settled (at pressure 0.7 bar, standoff 1 mm; intervals 95 %, for all types "
        "together)."
    )


def test_a_type_whose_name_holds_the_symbol_still_names_the_response():
    # the symbol of squareness is "u", and "double" contains one
    result = response(compared("double", Answer.NOT_SETTLED), response="squareness", symbol="u", unit="mm")
    assert answer_sentence(study(result)) == "double: not settled (at pressure 0.7 bar, standoff 1 mm, by u)."


def test_one_piece_of_each_is_called_by_its_mark():
    pieces = {"plain": "C1", "double": "D1"}
    better = compared("double", Answer.BETTER, Added.HOW_MUCH_OPEN)
    said = answer_sentence(study(response(better, pieces=pieces)))
    assert said.startswith("nozzle D1 is better than nozzle C1, how much is open (Rz5 20 % lower, interval 10 to 30 %)")
    assert "double" not in said and "today" not in said
    bare = compared("double", Answer.NOT_SETTLED, Added.NO_REPLICATION, (0.8, NAN, NAN))
    said = answer_sentence(study(response(bare, pieces=pieces, replicated=False)))
    assert said.startswith("nozzle D1 against nozzle C1: not settled")
    assert said.endswith("Nothing above the coupon was repeated.")


def test_without_an_answer():
    assert answer_sentence(study()).startswith("No answer yet")
    single = dataclasses.replace(study(), nozzles=study().nozzles[:1])
    assert answer_sentence(single).startswith("One nozzle type was cut")


@pytest.mark.parametrize(
    ("sizes", "kind", "words"),
    [
        ((0.67, 0.55, 0.81), "ratio", "33 % lower, interval 19 to 45 %"),
        ((1.25, 1.1, 1.4), "ratio", "25 % higher, interval 10 to 40 %"),
        ((0.99, 0.82, 1.2), "ratio", "-1 %, interval -18 to +20 %"),
        ((0.9999, 0.82, 1.2), "ratio", "0 %, interval -18 to +20 %"),
        ((0.8, NAN, NAN), "ratio", "20 % lower"),
        ((-0.0301, -0.0583, 0.00198), "difference", "-0.030 mm, interval -0.058 to +0.002"),
        ((0.02, NAN, NAN), "difference", "+0.0200 mm"),
    ],
)
def test_sizes(sizes, kind, words):
    assert change_words(compared("double", None, None, sizes, kind), "mm") == words


def test_places():
    assert at_place(TODAY) == "at pressure 0.7 bar, standoff 1 mm"
    assert place_words(AVERAGE) == "average over the 2 settings that every type was allowed"
    assert at_place(AVERAGE, start=True) == "On average over the 2 settings that every type was allowed"
    assert term_words(("nozzle", "gas_flow", "gas_flow")) == "nozzle × gas flow squared"


def test_cells():
    row = study().nozzles[1]
    words = (Worded("roughness", Answer.BETTER, Added.HOW_MUCH_OPEN), Worded("squareness", Answer.NOT_SETTLED))
    assert row_words(dataclasses.replace(row, answers=words)) == "better, how much is open; not settled"
    assert row_words(study().nozzles[0]) == "today's nozzle"


def test_what_a_response_rests_on():
    assert basis_words(response()) == "12 specimens on 3 sheets; 6 degrees of freedom"
    single = dataclasses.replace(response(), rests_on=RestsOn("specimen", 1, 1, "block", None))
    assert basis_words(single) == "one specimen on one block; nothing above the coupon was repeated"
    alone = dataclasses.replace(response(), rests_on=None, state=State.ONE_TYPE)
    assert basis_words(alone) == "one nozzle type: nothing to compare"
    assert basis_words(dataclasses.replace(alone, state=State.NOT_STUDIED)) == "not studied"


def test_the_test_of_kenward_and_roger_stands_beside_the_headline():
    bare = TermTest(term="nozzle", df=3, den_df=6.0, F=12.3, p=0.001, parts=("nozzle",))
    beside = dataclasses.replace(bare, F_kenward_roger=9.8765, den_df_kenward_roger=7.04, p_kenward_roger=0.0061)
    assert beside_headline(response(terms=(bare,))) is None
    said = beside_headline(response(terms=(bare, beside)))
    assert said is not None and "F 9.88, df 3 and 7.0, p 0.006." in said
    sure = beside_headline(response(terms=(bare, dataclasses.replace(beside, p_kenward_roger=2.1e-6))))
    assert sure is not None and "df 3 and 7.0, p below\u00a00.001." in sure


def test_worthwhile_and_spread():
    result = dataclasses.replace(response(), worthwhile=0.139761942)
    assert worthwhile_words(result) == "15 %"
    flat = dataclasses.replace(result, scale="as measured", unit="mm", worthwhile=0.03)
    assert worthwhile_words(flat) == "0.03 mm"
    assert spread_words(Spread("sheet", 0.0277, 0.02), dataclasses.replace(result, block="block")) == (
        "2.8 % from one block to the next"
    )
    assert spread_words(Spread("coupon", 0.0183, 0.8), flat) == "0.0183 mm from coupon to coupon at one setting"


K = StudyKind
LOOK, CALM, CHANGE = Weight.LOOK_AT, Weight.NOTHING_FOUND, Weight.COULD_CHANGE
PER_CENT = {"value": Amount(18.1, "%"), "low": Amount(6.0, "%"), "high": Amount(31.7, "%"), "p": 0.002}
AROUND = {"value": Amount(2.0, "%"), "low": Amount(-10.6, "%"), "high": Amount(81.5, "%"), "p": 0.3}
RATIO = {"ratio": 4.7, "low": 0.91, "high": 24.0, "p": 0.03}
SHUFFLE = {"p": 0.0312, "smallest_p": 0.125, "arrangements": 8, "listed": True, "out_of_reach": 0.05}
DRAWN = SHUFFLE | {"listed": False, "out_of_reach": None, "arrangements": 5_846_817_936_960, "p": 0.0001}
SIZES = (("double", Amount(-33.2, "%"), Amount(-33.0, "%"), Answer.BETTER, Answer.BETTER),)
MOVED = (("double", Amount(-9.0, "%"), Amount(-33.0, "%"), Answer.NOT_SETTLED, Answer.BETTER),)
UNWORDED = (("double", Amount(-0.0135, "mm"), Amount(-0.0301, "mm"), None, None),)
BORNE = (("double", Amount(-0.0135, "mm"), Amount(-0.0301, "mm"), None, None, 0.0114),)
PAIR = About(nozzle="shower", against="double")
SAID = [
    (K.TERMS_LEFT_OUT, {"terms": ("a x b",)}, About(), CALM, "cannot carry them: a x b"),
    (K.SPREAD_LEFT_OUT, {}, About(source="mount"), CALM, "The spread between mounts cannot be told apart"),
    (K.BLOCKS_TAKEN_OUT, {"block": "block"}, About(), CALM, "with each block taken out, whatever the spread"),
    (K.BLOCKS_STAY, {"block": "sheet"}, About(), CALM, "The sheets do not hold the types alike"),
    (K.SPREAD_BY_TYPE, {}, About(), CALM, "each type has its own spread"),
    (K.ONE_SPREAD_FOR_ALL, {}, About(), CALM, "use one for all types"),
    (
        K.ONE_LOT,
        {"lots": (("a", "L1"),)},
        About(nozzles=("a", "b")),
        CHANGE,
        "every piece of A and B came from one lot",
    ),
    (
        K.LOST_AT_WORST,
        {"n": 1, "gone": (), "sizes": MOVED, "words_change": True},
        About(),
        CHANGE,
        "With the 1 coupon that was not severed or aborted at the worst value seen the answer changes: Double: not ",
    ),
    (K.ZEROS_AT_DOUBLE, {"n": 2, "gone": (), "sizes": SIZES, "words_change": False}, About(), CALM, "as twice the"),
    (
        K.ABOVE_AT_DOUBLE,
        {"n": 1, "gone": (), "sizes": MOVED, "words_change": True},
        About(),
        CHANGE,
        "With the 1 reading above the instrument's range at twice its bound the answer changes: Double: not ",
    ),
    (
        K.BELOW_AT_A_QUARTER,
        {"n": 3, "gone": (), "sizes": SIZES, "words_change": False},
        About(),
        CALM,
        "With the 3 readings below the instrument's range at a quarter of their bound no word changes",
    ),
    (K.SPREAD_ZERO, {"sources": ("mount",), "block": "sheet", "classical_beside": True}, About(), CALM, "beside them."),
    (K.SPREAD_ZERO, {"sources": ("mount",), "block": "sheet", "classical_beside": False}, About(), CALM, "side."),
    (K.OUTSIDE_OWN_SETTINGS, {}, About(nozzles=("a", "b"), place=TODAY), CHANGE, "a and b did not cut around pressure"),
    (
        K.ORDER_CHANGES,
        {"factor": "gas_flow", "unit": "bar", "low_at": 0.5, "high_at": 0.9},
        PAIR,
        LOOK,
        "shower is lower at 0.5 bar and higher at 0.9 bar, both beyond chance",
    ),
    (K.REFUSED, {"why": "Too few readings."}, About(), CALM, "Why: Too few readings."),
    (K.NOT_STUDIED, {}, About(response="kerf"), LOOK, "kerf was not studied."),
    (K.GRADES_ALL_ONE, {"grade": 2.0}, About(), CALM, "Every coupon has grade 2:"),
    (K.GRADES_NO_SPREAD, {}, About(), CALM, "no spread to judge by"),
    (K.ALWAYS_ONE_GRADE, {"grade": 0.0}, About(nozzle="double"), CALM, "double always has grade 0."),
    (K.GRADES_SHUFFLED, SHUFFLE, About(), CALM, "All 8 ways of dealing the types to specimens: p = 0.031, and none"),
    (K.NO_ORDERED_MODEL, {}, About(), CALM, "no ordered model"),
    (K.GRADES_APART, {"lower": True, "bound": 0.5}, PAIR, LOOK, "lower grades than double throughout"),
    (K.GRADES_APART, {"lower": False, "bound": 2.0}, PAIR, LOOK, "at least 2.00 times those of double"),
    (K.GRADES_APART, {"lower": True, "bound": None}, PAIR, LOOK, "throughout, so no finite estimate exists."),
    (K.GRADES_APART, {"lower": False, "bound": None}, PAIR, LOOK, "higher grades than double throughout"),
    (K.GRADE_ODDS, {"odds": 0.13, "low": 0.0, "high": float("inf")}, PAIR, CALM, "interval 0 to no bound"),
    (K.GRADES_BY_SHARES, {"grade": 1, "share": 0.2}, About(response="dross"), CALM, "at grade 1 or better, over all"),
    (K.GRADES_WITHOUT_WORTHWHILE, {}, About(response="dross"), CHANGE, "so the grades end in no word"),
    (K.GRADES_NOT_ALIKE, {"p": 0.0004}, About(), LOOK, "(p below 0.001)"),
    (K.FAR_READINGS, {"readings": ()}, About(), CALM, "No reading stands far"),
    (
        K.FAR_READINGS,
        {"readings": (("H4H", "2", Amount(423.0, "um")),)},
        About(),
        LOOK,
        "coupon H4H reading 2: 423 µm.",
    ),
    (
        K.FAR_READINGS,
        {"readings": (), "pairs": (("P7F", Amount(52.2, "um"), Amount(345.0, "um")),)},
        About(),
        LOOK,
        "Two readings far apart, and which one is off cannot be told: coupon P7F: 52.2 and 345 µm. Measure",
    ),
    (K.FAR_COUPONS, {}, About(), CALM, "No coupon stands far"),
    (
        K.FAR_COUPONS,
        {},
        About(coupons=tuple("ABCDEFGH")),
        LOOK,
        "coupons A, B, C, D, E, F and 2 more. Look at the edges.",
    ),
    (K.CENTRING, {"mounts": 1, "shifts": ()}, About(), CALM, "(1 mount looked at)"),
    (
        K.CENTRING,
        {"mounts": 2, "shifts": (("M5", "shower", "left", "right", Amount(0.13, "mm")),)},
        About(),
        LOOK,
        "mount M5 (Shower): left against right +0.130 mm. Check the centring of this mount.",
    ),
    (K.FAR_COUPONS, {}, About(coupons=("A",)), LOOK, "coupon A. Look at the edge."),
    (
        K.DRIFT,
        AROUND,
        About(),
        CALM,
        "No drift over the order of cutting is shown; -10.6 % to +81.5 % from first to last coupon cannot be excluded",
    ),
    (K.DRIFT, PER_CENT | {"p": 0.02}, About(), CALM, "likely but not sure (95 % interval, p = 0.020)"),
    (K.DRIFT, PER_CENT, About(), LOOK, "drifts over the order of cutting: +18.1 % from first to last coupon"),
    (K.WEAR_IN_A_MOUNT, AROUND, About(), CALM, "No change as a mount goes on is shown; -10.6 % to +81.5 % per ten"),
    (K.WEAR_IN_A_MOUNT, PER_CENT | {"p": 0.02}, About(), CALM, "likely but not sure"),
    (K.WEAR_IN_A_MOUNT, PER_CENT, About(), LOOK, "+18.1 % per ten coupons cut (95 % interval +6.0 % to +31.7 %)"),
    (K.SPREAD_ALONG_AN_EDGE, RATIO, PAIR, CALM, "(double) 4.7 to 1, with 0.91 to 24 not excluded (95 %, for all pairs"),
    (K.SPREAD_ALONG_AN_EDGE, RATIO | {"low": 1.2}, PAIR, CALM, "is likely to differ between types"),
    (K.SPREAD_ALONG_AN_EDGE, RATIO, PAIR, LOOK, "shower 4.7 times that of double"),
    (K.SPREAD_BETWEEN_COUPONS, RATIO, PAIR, CALM, "not shown to differ"),
    (K.SPREAD_BETWEEN_COUPONS, RATIO | {"low": 1.2}, PAIR, CALM, "is likely to differ between types"),
    (K.SPREAD_BETWEEN_COUPONS, RATIO, PAIR, LOOK, "differs between types"),
    (
        K.SPREAD_NOT_COMPARED,
        {"check": K.SPREAD_BETWEEN_COUPONS, "same": ("shower",), "at_end": ("a", "b")},
        About(),
        CALM,
        "the coupons of shower never differ and most grades of a and b lie at the end of the scale.",
    ),
    (
        K.SPREAD_NOT_COMPARED,
        {"check": K.SPREAD_ALONG_AN_EDGE, "same": ("shower",), "at_end": ()},
        About(),
        CALM,
        "not compared, since the readings on one coupon of shower never differ.",
    ),
    (K.SCALE, {"log": True, "low": 0.0, "high": 0.0, "best": 0.0}, About(), CALM, "power 0 fits best"),
    (K.CURVES_NOT_REPEATED, {}, About(), CALM, "No setting was cut twice"),
    (K.CURVES_REACH_ALL, {}, About(), CALM, "reaches every setting"),
    (K.CURVES, {"p": 0.78}, About(), CALM, "(p = 0.780)"),
    (K.CURVES, {"p": 0.002}, About(), LOOK, "lie off the fitted curves"),
    (K.SHUFFLED_SPECIMENS, SHUFFLE, About(), CALM, "the level 0.05 is out of reach."),
    (K.SHUFFLED_SPECIMENS, SHUFFLE, About(), CALM, "types differ here too. All 8 ways"),
    (K.SHUFFLED_SPECIMENS, SHUFFLE | {"p": 0.25}, About(), CALM, "too few to show any difference."),
    (K.SHUFFLED_SPECIMENS, SHUFFLE | {"p": 0.25, "smallest_p": 0.01}, About(), CALM, "no difference is shown here"),
    (K.SHUFFLED_SPECIMENS, DRAWN, About(), CALM, "Ways drawn from 5\u00a0846\u00a0817\u00a0936\u00a0960 of dealing"),
    (K.RESIDUAL_SHAPE, {"skewness": 0.1, "excess": 0.2, "p": 0.4}, About(), CALM, "look regular"),
    (
        K.RESIDUAL_SHAPE,
        {"skewness": 0.9, "excess": 2.0, "p": 0.001},
        About(),
        LOOK,
        "the high side and long tails",
    ),
    (K.RESIDUAL_SHAPE, {"skewness": -0.9, "excess": 0.0, "p": 0.001}, About(), LOOK, "a lean to the low side."),
    (K.RESIDUAL_SHAPE, {"skewness": 0.0, "excess": 0.0, "p": 0.001}, About(), LOOK, "another shape than the bell"),
    (K.SCALE, {"log": True, "low": -1.0, "high": 0.5, "best": -0.25}, About(), CALM, "powers -1 to 0.5 fit"),
    (K.SCALE, {"log": False, "low": -1.0, "high": 0.5, "best": -0.25}, About(), LOOK, "than the scale as measured"),
    (K.ZEROS, {"n": 1, "half": Amount(0.05, "um")}, About(), LOOK, "1 reading of zero counts as half"),
    (
        K.WITHOUT_THE_FAR,
        {"n": 1, "gone": (), "sizes": SIZES, "words_change": False},
        About(),
        CALM,
        "no word changes: Double",
    ),
    (K.DRIFT_AT_THE_BENCH, AROUND, About(), CALM, "+81.5 % from first to last reading cannot be excluded"),
    (K.DRIFT_AT_THE_BENCH, PER_CENT | {"p": 0.02}, About(), CALM, "order of measuring a drift of"),
    (K.DRIFT_AT_THE_BENCH, PER_CENT, About(), LOOK, "drift over the order of measuring: +18.1 % from first to last"),
    (K.TREND_NOT_KNOWN, {"check": K.DRIFT}, About(), CALM, "Drift over the order of cutting: cannot be"),
    (K.CHECK_NOT_MADE, {"check": K.SCALE, "problem": "Too few."}, About(), CALM, "Scale: cannot be computed. Too few."),
    (K.WITHOUT_THE_FAR, {"n": 4, "gone": ("x",), "sizes": MOVED, "words_change": True}, About(), CHANGE, "X is gone"),
    (
        K.WITHOUT_THE_FAR,
        {"n": 4, "gone": (), "sizes": UNWORDED, "words_change": False},
        About(),
        CALM,
        "the sizes are:",
    ),
    (
        K.WITHOUT_THE_FAR,
        {"n": 4, "gone": (), "sizes": BORNE, "words_change": False},
        About(),
        CALM,
        "Double -0.030 mm (was -0.013 mm)",
    ),
    (K.WITHOUT_THE_FAR, {"n": 4, "problem": "too few"}, About(), CHANGE, "nothing can be said: too few"),
    (
        K.ZEROS_AT_A_QUARTER,
        {"n": 4, "gone": (), "sizes": MOVED, "words_change": True},
        About(),
        CHANGE,
        "measure finer",
    ),
    (K.ONE_PIECE_OF_EACH, {}, About(), CALM, "one piece of each cannot speak for its type"),
    (K.ONLY_THESE_PIECES, {}, About(), CALM, "another nozzle of the same type may do otherwise"),
    (K.ORDER_NOT_KNOWN, {}, About(), CALM, "Whether the order of cutting was random"),
    (K.MANY_PRIMARIES, {"n": 3}, About(), CALM, "3 responses were called decisive"),
    (
        K.OTHER_JOBS,
        {"thickness": Amount(12.0, "mm"), "material": "S235", "gas": "oxygen"},
        About(),
        CALM,
        "than 12 mm S235 with oxygen.",
    ),
    (K.OTHER_JOBS, {"thickness": None, "material": None, "gas": None}, About(), CALM, "thickness or gas."),
    (
        K.OTHER_SETTINGS,
        {"ranges": (("pressure", "bar", (0.5, 0.9)), ("surface", "", ("clean", "rusty")))},
        About(),
        CALM,
        "(pressure 0.5 to 0.9 bar, surface clean and rusty)",
    ),
    (K.OTHER_SETTINGS, {"ranges": ()}, About(), CALM, "(one setting)"),
    (K.NOT_MEASURED, {}, About(), CALM, "operating window and cost: not computed here"),
    (K.NOT_MEASURED, {"window": True}, About(), CALM, "not measured here. Cost: not computed here."),
    (
        K.BEST_CONFIRMED,
        {"measured": 6, "mean": Amount(18.2, "um"), "low": Amount(16.3, "um"), "high": Amount(20.4, "um")},
        About(nozzle="double"),
        CALM,
        "6 coupons, 18.2 µm, fell within the limits 16.3 to 20.4 µm",
    ),
    (
        K.BEST_NOT_CONFIRMED,
        {"measured": 1, "mean": Amount(28.2, "um"), "low": Amount(16.3, "um"), "high": Amount(20.4, "um")},
        About(nozzle="double"),
        CHANGE,
        "1 coupon, 28.2 µm, fell outside the limits 16.3 to 20.4 µm",
    ),
    (
        K.CONFIRM_BEST,
        {"coupons": 6},
        About(nozzle="double", place=TODAY),
        CALM,
        "Confirm Double at pressure 0.7 bar, standoff 1 mm with 6 coupons",
    ),
    (K.SETTLE_READING, {}, About(), CHANGE, "Settle this reading first:"),
    (K.NOT_RECORDED_AS_CUT, {"n": 1}, About(), CALM, "1 planned coupon is not recorded"),
    (
        K.CONSIDER,
        {"price": 24.0, "today_price": 9.0, "currency": "EUR"},
        About(nozzle="double", place=TODAY),
        CALM,
        "Consider Double for this job at pressure 0.7 bar, standoff 1 mm (24.00 against 9.00 EUR a piece):",
    ),
    (
        K.CONSIDER,
        {"price": None, "today_price": 9.0, "currency": "EUR"},
        About(nozzle="double", place=AVERAGE),
        CALM,
        "for this job on average over the 2 settings",
    ),
    (
        K.CHANGE_OVER,
        {"price": 24.0, "today_price": 9.0, "currency": "EUR"},
        About(nozzle="double", place=TODAY),
        CALM,
        "If they confirm it, run a few parts with Double (24.00 against 9.00 EUR a piece), and change over if",
    ),
    (
        K.CHANGE_OVER,
        {"price": None, "today_price": 9.0, "currency": "EUR"},
        About(nozzle="double", place=TODAY),
        CALM,
        "run a few parts with Double, and change",
    ),
    (K.ALSO_BETTER, {}, About(nozzle="other", nozzles=("new",)), CALM, "New is better too, if Other cannot be had."),
    (K.ALSO_BETTER, {}, About(nozzle="c", nozzles=("a", "b")), CALM, "A and B are better too, if C cannot be had."),
    (
        K.REPEAT_WITH_PIECES,
        {"piece": "D1", "against_piece": "C1"},
        About(),
        CALM,
        "nozzle D1 did better than nozzle C1",
    ),
    (K.CHECK_CENTRING, {}, About(), LOOK, "Check the centring"),
    (
        K.FILE_VERDICT,
        {"action": "keep"},
        About(),
        CALM,
        "File this verdict. Nothing further to cut for this question; today's nozzle stays.",
    ),
    (K.FILE_VERDICT, {"action": "cut more"}, About(), CALM, "today's nozzle stays until more is cut"),
    (K.FILE_VERDICT, {"action": "nothing to compare"}, About(), CALM, "File this verdict."),
    (
        InferKind.FEW_SHEETS,
        {"n": 2, "block": "block", "enough": 3},
        About(),
        CALM,
        "Only 2 blocks: the block is",
    ),
    (InferKind.ONE_READING_PER, {}, About(source="coupon"), CALM, "One reading per coupon: the spread between coupons"),
    (InferKind.ONE_READING_PER, {}, About(source="mount"), CALM, "One reading per mount: its spread"),
    (InferKind.ONE_PER, {"of_each": "specimen"}, About(source="mount"), CALM, "One mount per specimen:"),
    (InferKind.ONE_SPECIMEN_EACH, {}, About(), CALM, "about these nozzles, not about these types"),
    (InferKind.ONE_SPECIMEN_OF, {}, About(nozzles=("a", "b")), CALM, "One specimen only of a and b:"),
    (InferKind.NOT_NAMED, {"missing": ("specimen", "mount")}, About(), CALM, "do not name each specimen and mount:"),
    (InferKind.NOT_REPEATED, {}, About(), CALM, "No specimen or mount was repeated"),
]
DRAWN = SHUFFLE | {"listed": False, "out_of_reach": None, "arrangements": 5_846_817_936_960, "p": 0.0001}


@pytest.mark.parametrize(("kind", "facts", "about", "weight", "words"), SAID)
def test_each_kind_says_its_facts(kind, facts, about, weight, words):
    finding = Finding(kind, about, facts, weight)
    assert words and words in say(finding)
    with speaking(NONSENSE):
        assert say(finding).startswith("zz") and words not in say(finding)


def test_no_kind_is_left_without_a_sentence():
    known = {kind for kind, *_ in SAID}
    assert set(StudyKind) == known & set(StudyKind) and set(InferKind) == known & set(InferKind)
    assert set(StudyKind) == set(remarks.SENTENCES) and set(InferKind) == set(model.SENTENCES)


def test_a_next_step_says_why():
    slip = Finding(StudyKind.REFUSED, facts={"why": "coupon H4H reads 423."})
    assert step_words(NextStep(Finding(StudyKind.SETTLE_READING), slip)) == (
        "Settle this reading first: Why: coupon H4H reads 423."
    )
