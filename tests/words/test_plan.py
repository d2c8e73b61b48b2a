"""Sentences of plans: every kind has one, numbers and units as people read them, nothing lost in another language."""

import re
from datetime import date

import pytest
from tests_support import told

from trials.findings import About, Amount, Finding, PlaceKind
from trials.nozzles import Nozzle
from trials.plan.assess import assess
from trials.plan.assess.prediction_map import prediction_map
from trials.plan.choose import make_plan
from trials.plan.kinds import PlanKind
from trials.plan.power import Counts, specimens_needed
from trials.trial import Limit, parse
from trials.words import findings
from trials.words.findings import say
from trials.words.language import Language, speaking
from trials.words.plan import described, limit_words
from trials.words.plan_chances import effort_words, settled_words
from trials.words.system import System, showing

LIMIT = {
    "limit_nozzle": "double",
    "limit_factors": ("pressure",),
    "limit_weights": (),
    "at_most": 0.8,
    "at_least": None,
    "product_at_most": None,
    "sum_at_most": None,
}
SETTING = (("pressure", Amount(0.9, "bar")), ("lens", "new"))
SIZE = {"coupons": 1, "mounts": 2, "specimens": 2, "sheets": 1}
NEEDED = {
    "chance": 0.8,
    "specimens": 3,
    "specimens_at_worthwhile": 9,
    "specimens_at_zero": None,
    "mounts": 1,
    "mounts_known": True,
    "mounts_at_worthwhile": None,
    "mounts_at_zero": None,
    "most": 200,
}
FACTS = {
    PlanKind.FURTHER_SETTLES: {"asked": 0.8, "reached": True, "hours": 9.0, "machine_hours": 4.0, "bench_hours": 5.0}
    | {"money": 950.0, "currency": "EUR", "new": (("double", ("D4", "D5")),), "again": 6, "coupons": 3, "repeats": 3}
    | {"different": 0.82, "same": 0.84, "now_different": 0.3, "now_same": 0.1},
    PlanKind.FURTHER_BY_OWN: {"dfs": (("roughness", 6.0),)},
    PlanKind.TWO_LOOKS: {"first": (("cylindrical", 5), ("double", 4)), "whole": (("cylindrical", 9), ("double", 7))}
    | {"stop_different": 0.43, "stop_same": 0.4, "expected_different": 1900.0, "expected_same": 1950.0}
    | {"most": 2600.0, "one": 2000.0, "currency": "EUR"},
    PlanKind.AS_WRITTEN: {"text": "An old sentence."},
    PlanKind.GRADE_WITHOUT_WORTHWHILE: {"grade": 1},
    PlanKind.SIZE: SIZE,
    PlanKind.STYLE_WITH_SIZE: {"feature": "conical bore", "size": "orifice_mm", "side": "other"},
    PlanKind.STYLES_TOGETHER: {"features": ("bore", "side jets")},
    PlanKind.TYPES_ALONG_ORDER: {"share": 0.6},
    PlanKind.SHEETS_UNEVEN: {"mounts": 3, "sheets": 2, "fewest_on": ("S2",), "fewest": 1, "most": 2},
    PlanKind.SPACING: {"length": Amount(60.0, "mm"), "width": Amount(40.0, "mm")}
    | {"gap": Amount(12.0, "mm"), "margin": Amount(15.0, "mm")},
    PlanKind.DISTANCE: {"distance": Amount(144.0, "mm")},
    PlanKind.MAY_TIP: {"width": Amount(40.0, "mm"), "pitch": Amount(60.0, "mm")},
    PlanKind.SETTINGS_LEFT_OUT: {"count": 1, "of": 9, "settings": (SETTING,)} | LIMIT,
    PlanKind.SETTING_LEFT_OUT: {"setting": SETTING} | LIMIT,
    PlanKind.BUDGET_UNUSED: {"asked": 10, "method": "full", "coupons": 54},
    PlanKind.LADDER_STEPS: {"low": Amount(1.0, "m/min"), "high": Amount(2.0, "m/min"), "steps": 6},
    PlanKind.LADDER_SHEETS: {"low": Amount(2.0, "mm"), "high": Amount(8.0, "mm"), "steps": 4},
    PlanKind.LADDER_FEW_MOUNTS: {"mounts": (("a", 3), ("b", 4)), "enough": 6},
    PlanKind.CONFIRM_LIMITS: {"setting": SETTING, "coupons": 4, "readings": 2, "confidence": 0.975}
    | {"low": Amount(19.1, "um"), "high": Amount(23.9, "um")},
    PlanKind.LADDER_STEPS_LEFT_OUT: {"count": 1},
    PlanKind.LIFE_MOVED: {"setting": SETTING},
    PlanKind.BENCH_STUDY: {"coupons": 10, "settings": 9},
    PlanKind.FRACTION: {"settings": 8, "resolution": 4},
    PlanKind.ALIASES: {"effects": ((("a", "b"), 1), (("c", "d"), -1), (("e",), 1))},
    PlanKind.SCREENING: {"settings": 13, "factors": 6},
    PlanKind.SURFACE: {"settings": 9, "where": "corners"},
    PlanKind.CORNERS_LEFT_OUT: {"count": 1, "of": 4},
    PlanKind.SPREADS_ASSUMED: {"unknown": ("mount", "coupon"), "assumed": ("mount",)},
    PlanKind.CHOSEN_FOR: {"aim": "prediction", "coefficients": 4, "terms": ("nozzle", "pressure")},
    PlanKind.TERMS_NOT_CARRIED: {"terms": ("pressure squared",)},
    PlanKind.UNEQUAL_COUPONS: {"coupons": (("a", 5), ("b", 6))},
    PlanKind.NO_TRUE_REPEATS: {"repeats": 1},
    PlanKind.BETWEEN_LEVELS: {"settings": 1},
    PlanKind.DOUBLE_WALL_HIGH_PRESSURE: {"gas": "nitrogen"},
    PlanKind.BLOCK: SIZE | {"block": 2, "purpose": "axial"},
    PlanKind.BLOCK_DECLARED: {"left": 1, "looks": 2},
    PlanKind.BLOCK_EXPLORATORY: {"looks": 1},
    PlanKind.GAIN_MEANS: {"falls": (("a", 0.29),), "specimens_share": 0.5},
    PlanKind.GAIN_CURVATURE_NEW: {"factors": ("pressure",)},
    PlanKind.GAIN_CURVATURE_SHARPER: {"factors": ("pressure",)},
    PlanKind.GAIN_CONFIRMED: {"coupons": 4, "chance": 0.47},
    PlanKind.JUDGED_BY_PIECES: {"at": PlaceKind.AVERAGE, "piece": "specimen", "df": 3, "den_df": 6, "pieces": 12},
    PlanKind.JUDGED_BY_BOTH: {"at": PlaceKind.TODAY, "piece": "mount"},
    PlanKind.JUDGED_BY_COUPONS: {"asks": "change", "factor": "pressure", "df": 1, "den_df": 79},
    PlanKind.NO_TEST_SHEETS: {"at": PlaceKind.AVERAGE},
    PlanKind.NO_TEST_REPEATED: {"at": PlaceKind.TODAY},
    PlanKind.NOT_ESTIMATED: {"terms": ("nozzle x pressure squared",)},
    PlanKind.SPREAD_SOURCE: {"source": "earlier trial"},
    PlanKind.SPREAD_MISSING: {"sources": ("mount",)},
    PlanKind.EFFECTIVE_COUPONS: {"coupons": 4.26},
    PlanKind.NEEDED: NEEDED,
    PlanKind.EFFORT_TIMES: {name: Amount(4.0, "min") for name in ("mount", "sheet", "coupon", "reading")}
    | {"speed": Amount(1.0, "m_min"), "places": 1, "repeat_share": 0.1},
    PlanKind.SETTINGS_DEALT: {"each": 3, "repeats": 1, "settings": 9},
    PlanKind.COSTS_ASSUMED: {"taken": (("machine_hour", Amount(120.0)), ("mount_minutes", Amount(12.0, "min")))}
    | {"currency": "EUR"},
    PlanKind.OUT_OF_REACH: {"asked": 0.9, "best": 0.7, "most": 40, "limits": (("double", 4),)},
    PlanKind.PAGES_LOST: {"one_coupon": True, "one_reading": True, "one_setting": False},
    PlanKind.TWO_PLACES: {"today": 0.8, "average": 0.7, "common_curves": 0.9, "at": PlaceKind.TODAY, "common": False}
    | {"average_money": 900.0, "currency": "EUR"},
    PlanKind.FEWEST_SHEETS: {"sheets": 2},
    PlanKind.SPREADS_OPEN: {"source": "pilot", "df": 6.0, "mean": 0.7, "low": 0.5, "high": 0.9, "asked": 0.8}
    | {"fewest": 4, "most": None, "limit": 60},
    PlanKind.LOOKS_SHARED: {"primaries": 2, "looks": 1},
    PlanKind.LIFE_RATIO: {"specimens": 6, "ratio": 2.041, "chance": 0.8},
}
ABOUT = About(response="roughness", nozzle="double", nozzles=("double", "shower"))


@pytest.mark.parametrize("kind", list(PlanKind))
def test_every_kind_has_a_sentence_of_its_own(kind):
    said = say(Finding(kind, ABOUT, FACTS.get(kind, {})))
    assert said.endswith(".") and len(said.split()) > 2
    assert "{" not in said and "Amount" not in said and "None" not in said


def test_no_two_kinds_share_a_value_with_another_room():
    # members of different enumerations with one value would be one key of the collected sentences
    assert {kind for kind in findings.sentences() if kind in set(map(str, PlanKind))} == set(PlanKind)
    assert all(type(kind) is PlanKind for kind in findings.sentences() if kind in set(map(str, PlanKind)))


@pytest.mark.parametrize(
    ("kind", "facts", "said"),
    [
        (PlanKind.SIZE, SIZE, "1 coupon in 2 mounts of 2 specimens on 1 sheet; order and marks drawn at random."),
        (PlanKind.LADDER_STEPS_LEFT_OUT, {"count": 1}, "Nozzle double: 1 step of each mount left out by limits."),
        (
            PlanKind.BETWEEN_LEVELS,
            {"settings": 1},
            "1 setting lies on a limit or at today's setting, between the levels.",
        ),
        (
            PlanKind.BLOCK_DECLARED,
            {"left": 1, "looks": 2},
            "Declared: 1 look at the data is left of the 2 stated before cutting, so the next answer counts in full.",
        ),
        (
            PlanKind.SHEETS_UNEVEN,
            FACTS[PlanKind.SHEETS_UNEVEN],
            "Nozzle double: 3 mounts do not divide over 2 sheets; sheet S2 holds it once, another 2 times, so part of "
            "the sheet difference stays in its mean.",
        ),
        (
            PlanKind.SETTING_LEFT_OUT,
            {"setting": SETTING} | LIMIT,
            "Nozzle double: pressure 0.9 bar, lens new left out by the limit 'double: pressure at most 0.8'.",
        ),
        (
            PlanKind.ALIASES,
            FACTS[PlanKind.ALIASES],
            "a x b cannot be told apart from c x d (with opposite sign) or e.",
        ),
        (
            PlanKind.TWO_LOOKS,
            FACTS[PlanKind.TWO_LOOKS],
            "In two looks: 5 cylindrical and 4 double are cut and asked first, and grow to 9 cylindrical and 7 double "
            "only if not everything is settled. The first look ends the trial rightly with a chance of 43 % if the "
            "types differ by the worthwhile difference, and of 40 % if they do not, so 1900 EUR or 1950 EUR are spent "
            "on average and 2600 EUR at most, beside 2000 EUR for one look. Two looks are cheaper on average: put "
            "looks = 2 under [plan], plan the first part, and go on with `trials extend --settle`.",
        ),
        (
            PlanKind.FURTHER_SETTLES,
            FACTS[PlanKind.FURTHER_SETTLES],
            "The cheapest extension that settles: 2 new double (D4, D5) and 6 pieces mounted once more; 3 coupons a "
            "mount, all of them at today's setting. It takes 9.0 h (4.0 at the machine, 5.0 at the bench) and 950 EUR. "
            "A comparison then ends right with a chance of 82 % if the types differ by the worthwhile difference, and "
            "of 84 % if they do not; what is cut so far has 30 % and 10 %.",
        ),
        (
            PlanKind.NEEDED,
            NEEDED | {"mounts_known": False},
            "For a chance of 80 % of a right answer: 9 specimens of each type instead of 3 if the true difference is "
            "the worthwhile one, no number up to 200 specimens of each type if there is none; how much further mounts "
            "would help is not known, since each specimen was mounted once.",
        ),
        (
            PlanKind.SETTINGS_DEALT,
            {"each": 3, "repeats": 1, "settings": 9},
            "Each mount gets 3 coupons, 1 of them at today's setting; the others are dealt to the mounts in turn, so "
            "that every type meets every setting equally often, to within one coupon.",
        ),
        (
            PlanKind.SETTINGS_DEALT,
            {"each": 3, "repeats": 0, "settings": 9},
            "Each mount gets 3 coupons. No coupon of a mount is set aside for today's setting: all settings are dealt "
            "to the mounts in turn, so that every type meets every setting equally often, to within one coupon.",
        ),
        (
            PlanKind.NEEDED,
            NEEDED | {"today": 1.5, "specimens": 6, "specimens_at_worthwhile": 8, "specimens_at_zero": 6},
            "For a chance of 80 % of a right answer: 12 specimens of today's type instead of 9 and 8 of each other "
            "type instead of 6 if the true difference is the worthwhile one, the 9 of today's type and 6 of each other "
            "type as now if there is none; no number of mounts of these specimens will do.",
        ),
        (
            PlanKind.NEEDED,
            NEEDED | {"today": 1.5, "specimens": 6, "specimens_at_worthwhile": 8, "specimens_at_zero": 10},
            "For a chance of 80 % of a right answer: 12 specimens of today's type and 8 of each other type if the true "
            "difference is the worthwhile one, 15 and 10 if there is none (now 9 and 6); no number of mounts of these "
            "specimens will do.",
        ),
    ],
)
def test_numbers_and_plurals_as_people_read_them(kind, facts, said):
    assert say(Finding(kind, ABOUT, facts)) == said


def test_limits_and_nozzles_in_words():
    units = {"pressure": "bar", "standoff": "mm"}
    both = Limit(factor="pressure", at_least=0.2, at_most=0.8)
    assert limit_words(both, units) == "pressure at least 0.2 and at most 0.8 bar"
    assert limit_words(both, {}) == "pressure at least 0.2 and at most 0.8"
    assert (
        limit_words(Limit(nozzle="double", factor="pressure", at_least=0.2), units)
        == "double: pressure at least 0.2 bar"
    )
    product = Limit(factors=("pressure", "standoff"), product_at_most=1.2)
    assert limit_words(product, units) == "pressure x standoff at most 1.2 bar x mm"
    weighted = Limit(factors=("pressure", "standoff"), weights=(2.0, 1.0), sum_at_most=3.0)
    assert limit_words(weighted, units) == "2 pressure + 1 standoff at most 3 (bar, mm)"
    with showing(System.INCH):  # a product has no unit of its own in inches: it stays as the trial file states it
        assert limit_words(both, units) == "pressure at least 2.9 and at most 11.6 psi"
        assert limit_words(product, units) == "pressure x standoff at most 1.2 bar x mm"
    nozzle = Nozzle(type="d", bore="conical", wall="double", plated=True, orifice_mm=1.4, specimens=("D1",))
    assert described(nozzle) == "conical bore, double wall, plated, orifice 1.4 mm"
    assert described(Nozzle(type="d", specimens=("D1",))) == "details not given"


def test_square_and_cubic_metres_are_printed_as_such(trial_text):
    trial = parse(trial_text.replace("speed_m_min = 1.1", "speed_m_min = 1.1\npressure_bar = 0.7"))
    work = assess(trial, make_plan(trial)).effort
    assert re.search(r"[\d.]+ m² of sheet, at most [\d.]+ m³ of gas", effort_words(work))
    assert "m2" not in effort_words(work) and "m3" not in effort_words(work)


def test_one_specimen_per_type_gets_no_number_of_specimens():
    needed = specimens_needed({"mount": 0.05**2, "coupon": 0.1**2}, 0.14, Counts(3, 1, 2, 6, 3))
    said = settled_words("roughness", needed)
    assert "With one specimen per type no number of mounts of these specimens will do for the types" in said
    assert "specimens of each type" not in said


NONSENSE = Language("xx", lambda one: _nonsense(one), lambda one, many, n: _nonsense(one if n == 1 else many))


def _nonsense(template):
    """A sentence of the same places and not one word of the first."""
    return " ".join(f"zq {place}" for place in re.findall(r"\{[a-z_]+\}", template)) or "zq"


def numbers(value):
    """The same structure with every sentence taken out."""
    if isinstance(value, dict):
        words = ("words", "question", "pattern_words")
        return {key: numbers(item) for key, item in value.items() if key not in words}
    return [numbers(item) for item in value] if isinstance(value, list) else value


def test_nothing_but_words_changes_in_another_language(trial_text):
    from trials.report.plan_paper import PlanPaper, plan_data
    from trials.steps.files import plain
    from trials.steps.plan import Planned, plan_json

    text = trial_text.replace(
        "[plan]\n", '[plan]\nlimits = [{ nozzle = "double", factor = "pressure", at_most = 0.8 }]\n'
    )

    def made():
        trial = parse(text)
        plan = make_plan(trial)
        found = assess(trial, plan)
        map_ = prediction_map(trial, plan, "roughness", trial.today.type)
        json = plain(plan_json(Planned(trial, plan, found, False)))
        data = plan_data(PlanPaper(trial, plan, found, map_), date(2026, 3, 2))
        shape = [
            [(block["kind"], len(block.get("items", block.get("rows", ())))) for block in part["blocks"]]
            for part in data["sections"]
        ]
        return json, shape, told(plan.found)

    english, shape, said = made()
    with speaking(NONSENSE):
        nonsense, other_shape, other_said = made()
    assert numbers(english) == numbers(nonsense) and shape == other_shape
    # the language was spoken at all: not one sentence is as before
    assert len(said) == len(other_said) and not set(said) & set(other_said)
