"""Small parts of a study by hand: axes of a response, order of its rows, grades without spread, counts, borders."""

from types import SimpleNamespace as Made

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from tests_support import TRIAL_TEXT

from trials.decide import graded, ladder, money, repeated, response
from trials.decide.card import _gain, _level, _look_alike, _nearest, _span, look_alikes, settings_of, watch
from trials.decide.chances import cuts_of, lost_in, measured_limits
from trials.decide.clean_speed import Worthwhile
from trials.decide.cost import Rates, Running
from trials.decide.decision_result import Question
from trials.decide.kinds import StudyKind
from trials.decide.more_cutting import more_cutting
from trials.decide.prepare import _axes, _settled, _sorted, _without, prepare, specimens_of
from trials.decide.study import asked_by
from trials.decide.window import _border, _others, _searched, asks_window, two_factors
from trials.errors import InputError, NotIdentifiable
from trials.findings import Amount, Finding, Place, PlaceKind, Weight
from trials.infer.answer import Answer, levels
from trials.infer.model import find_structure
from trials.plan.kinds import PlanKind
from trials.trial import parse

LENS = '[factors.lens]\nlevels = ["new", "old"]\ntoday = "new"\n[held]'
FOUR = TRIAL_TEXT.replace(
    "[held]",
    '[factors.focus]\nunit = "mm"\nlevels = [3.0, 5.0]\ntoday = 4.0\n'
    '[factors.delay]\nunit = "s"\nlevels = [0.1, 0.2]\ntoday = 0.1\n' + LENS,
)


# ---- a response made ready -------------------------------------------------------------------------------------------


def test_axes_are_what_varied_with_its_planned_levels(trial_text_with_lens):
    trial = parse(trial_text_with_lens)
    columns = {name: trial.factor_column(name) for name in trial.factors}

    def axes(**given):
        rows = {"pressure_bar": [0.5, 0.9], "standoff_mm": [1.0, 1.0], "lens": ["new", "old"]} | given
        found = _axes(trial, pd.DataFrame(rows), ("cylindrical", "double"), columns)
        return {axis.name: axis.levels for axis in found}

    # a number keeps its planned levels, what did not vary is no axis, a word has those that were cut
    assert axes() == {"nozzle": ("cylindrical", "double"), "pressure": (0.5, 0.7, 0.9), "lens": ("new", "old")}
    assert axes(lens=["new", "worn"])["lens"] == ("new", "worn")
    assert "lens" not in axes(lens=["old", "old"])
    assert axes(lens=["worn", "bent"])["lens"] == ("bent", "worn")
    one = _axes(
        trial, pd.DataFrame({"pressure_bar": [0.5, 0.9], "standoff_mm": [1, 1], "lens": ["new"] * 2}), ("a",), columns
    )
    assert [axis.name for axis in one] == ["pressure"]


@pytest.fixture
def trial_text_with_lens():
    return TRIAL_TEXT.replace("[held]", LENS)


def test_rows_stand_by_coupon_side_and_reading():
    rows = [("B", "left", 1), ("A", "right", 1), ("A", "left", 2), ("A", "left", 1), ("A", "left", 10)]
    table = pd.DataFrame(rows, columns=["coupon", "side", "reading"]).assign(value=range(5))
    assert _sorted(table)["value"].tolist() == [3, 4, 2, 1, 0]  # as words: 1, 10, 2
    assert _sorted(table[["coupon", "value"]])["value"].tolist() == [1, 2, 3, 4, 0]  # ties stay as they came


def test_a_grouping_that_the_settings_swallow_leaves_by_name():
    nozzle = np.repeat(["a", "b"], 8).astype(object)
    specimen = np.repeat(np.arange(4), 4).astype(str).astype(object)
    coupon = np.repeat(np.arange(8), 2).astype(str).astype(object)
    structure = find_structure(nozzle, {"specimen": specimen, "coupon": coupon})
    fixed = (specimen[:, None] == np.unique(specimen)).astype(float)  # a column for each specimen
    settled, design, said = _settled(fixed, structure)
    assert set(settled.groups) == {"coupon"} and [one.about.source for one in said] == ["specimen"]
    assert (settled.replicated, settled.pieces_only, settled.yardstick) == (False, True, "coupon")
    kept, _, none = _settled(np.ones((16, 1)), structure)
    assert kept is structure and none == () and design is not None
    other = _without(structure, "coupon", {"specimen": specimen})
    assert (other.replicated, other.pieces_only, other.yardstick) == (True, False, "specimen")
    with pytest.raises(NotIdentifiable):
        _settled(np.ones((16, 2)), structure)


def test_an_adopted_table_has_no_order_of_cutting_and_speaks_of_blocks(make_table):
    trial = parse(TRIAL_TEXT)
    ready = prepare(trial, "roughness", make_table(sheets=2))
    assert "cut_order" in ready.table and ready.structure.block_word == "sheet"
    plan = trial.plan.model_copy(update={"method": "adopted"})
    adopted = prepare(trial.model_copy(update={"plan": plan}), "roughness", make_table(sheets=2))
    assert "cut_order" not in adopted.table and adopted.structure.block_word == "block"


# ---- grades ----------------------------------------------------------------------------------------------------------


def ready_of(values, kinds, specimen=None):
    table = pd.DataFrame({"nozzle": kinds, "value": values, "specimen": specimen or kinds})
    groups = {} if specimen is None else {"specimen": np.array(specimen, dtype=object)}
    return Made(
        table=table,
        y=np.array(values, dtype=float),
        types=("a", "b"),
        structure=Made(groups=groups, counts={"specimen": 4}),
    )


def kinds(found):
    return [one.kind for one in found]


def test_what_grades_without_spread_say():
    alike = ready_of([1, 1, 1, 1], list("aabb"))
    assert kinds(graded.without_spread(alike)) == [StudyKind.GRADES_ALL_ONE]
    assert graded.without_spread(alike)[0].facts == {"grade": 1.0}
    pieces = ["A1", "A1", "A2", "A2", "B1", "B1", "B2", "B2"]
    apart = graded.without_spread(ready_of([0] * 4 + [3] * 4, list("aaaabbbb"), pieces))
    assert kinds(apart) == [StudyKind.ALWAYS_ONE_GRADE] * 2 + [StudyKind.GRADES_SHUFFLED]
    assert [one.facts["grade"] for one in apart[:2]] == [0.0, 3.0]
    # four specimens in two types: six arrangements, two of them as far apart
    assert apart[2].facts["arrangements"] == 6 and apart[2].facts["p"] == pytest.approx(2 / 6)
    # no specimen is named, or no type is always the same: nothing can be shuffled
    assert kinds(graded.without_spread(ready_of([0] * 4 + [3] * 4, list("aaaabbbb")))) == [StudyKind.GRADES_NO_SPREAD]
    mixed = ready_of([0, 1] * 2 + [3, 2] * 2, list("aaaabbbb"), pieces)
    assert kinds(graded.without_spread(mixed)) == [StudyKind.GRADES_NO_SPREAD]


def test_tests_are_shuffled_only_where_a_type_is_always_the_same():
    pieces = ["A1", "A1", "A2", "A2", "B1", "B1", "B2", "B2"]
    mixed = ready_of([0, 1] * 2 + [3, 2] * 2, list("aaaabbbb"), pieces)
    assert graded.shuffled(mixed, ("kept",)) == (("kept",), ())
    assert graded.shuffled(ready_of([0] * 4 + [3] * 4, list("aaaabbbb")), ("kept",)) == (("kept",), ())


def test_without_a_model_of_grades_nothing_is_said_of_odds():
    assert kinds(graded.against_reference(Made(today="a", types=("a", "b")), None)) == [StudyKind.NO_ORDERED_MODEL]
    assert graded._proportional(None, []) == () and graded._exp(np.inf) == np.inf and graded._exp(0.0) == 1.0


# ---- counts ----------------------------------------------------------------------------------------------------------

OUTCOMES = pd.DataFrame(
    {
        "nozzle": ["a", "a", "a", "a", "a", "b"],
        "specimen": ["A1", "A2", "A2", "A3", "A4", "B1"],
        "outcome": ["cut", "not_severed", "aborted", "scrapped", "not_cut", "aborted"],
    }
)


def test_cuts_tried_and_lost_of_a_type():
    """Scrapped for another reason and never cut count as neither."""
    assert cuts_of(OUTCOMES, "a") == (3, 2) and cuts_of(OUTCOMES, "b") == (1, 1)
    assert lost_in(OUTCOMES, "a") == {"A2"} and lost_in(OUTCOMES.drop(columns="specimen"), "a") == frozenset()


def test_without_a_thickness_nothing_measured_is_required(trial):
    assert set(measured_limits(trial)) == {"squareness", "roughness"}
    bare = trial.model_copy(update={"application": trial.application.model_copy(update={"thickness_mm": None})})
    assert measured_limits(bare) == {}


NEEDED = {"specimens": 3, "chance": 0.8, "specimens_at_worthwhile": 7, "specimens_at_zero": 5}


def needed(**changes):
    return Finding(PlanKind.NEEDED, facts=NEEDED | changes)


CUT = pd.DataFrame(
    [(n, f"{n}{s}", f"{n}{s}{m}") for n in "ab" for s in range(3) for m in range(2) for _ in range(4)],
    columns=["nozzle", "specimen", "mount"],
)


def test_more_cutting_is_as_before_with_the_pieces_that_are_missing(trial):
    """Four pieces more of both types, two mounts of four coupons each, for the response that needs most."""
    found = more_cutting(trial, [needed(specimens_at_worthwhile=4), needed()], CUT)
    assert (found.chance, found.specimens, found.now, found.coupons) == (0.8, 7, 3, 4 * 2 * 2 * 4)
    assert found.money is None and found.bench_hours == pytest.approx(64 * (3 + 0.1) * 4 / 60)
    costs = parse(TRIAL_TEXT + "[costs]\nmachine_hour = 100\n")
    assert more_cutting(costs, [needed()], CUT).money > 0


@pytest.mark.parametrize(
    ("given", "coupons"),
    [
        ([], CUT),
        ([needed(specimens_at_zero=None)], CUT),
        ([needed(), needed(specimens_at_worthwhile=None)], CUT),
        ([needed(specimens=7)], CUT),
        ([needed()], CUT.assign(mount="")),
    ],
)
def test_where_no_number_will_do_nothing_is_reckoned(trial, given, coupons):
    assert more_cutting(trial, given, coupons) is None


# ---- windows ---------------------------------------------------------------------------------------------------------


def test_a_window_is_asked_of_two_numbers_planned_for_prediction():
    surface = TRIAL_TEXT.replace('method = "full"', 'method = "surface"')
    assert asks_window(parse(surface)) and not asks_window(parse(TRIAL_TEXT))
    assert not asks_window(parse(surface.replace("levels = [0.6, 1.0, 1.4]", "levels = [1.0]")))


def test_the_factors_of_a_map_and_those_that_are_searched():
    trial = parse(FOUR)
    assert two_factors(trial) == ("pressure", "standoff") and two_factors(trial, ["delay", "focus"]) == (
        "delay",
        "focus",
    )
    assert _searched(trial) == ("pressure", "standoff", "focus", "delay")[: len(_searched(trial))]
    assert len(_searched(trial)) >= 3
    for wrong in (["pressure"], ["pressure", "pressure"], ["pressure", "lens"], ["pressure", "speed"]):
        with pytest.raises(InputError, match="two factors with several numbers"):
            two_factors(trial, wrong)
    rest = {"focus": 4.0, "delay": 0.1, "lens": "new"}
    assert _others(trial, ("pressure", "standoff"), {}) == rest
    assert _others(trial, ("pressure", "standoff"), {"focus": 3.5}) == rest | {"focus": 3.5}
    with pytest.raises(InputError, match="not a factor to hold; found 'pressure'; allowed: focus, delay, lens"):
        _others(trial, ("pressure", "standoff"), {"pressure": 0.5})
    with pytest.raises(InputError, match="none: both factors are on the map"):
        _others(parse(TRIAL_TEXT), ("pressure", "standoff"), {"pressure": 0.5})


def test_the_border_is_the_nearest_place_in_the_other_state():
    """Pressure spans 4 and standoff 0.4: a step of 0.1 counts as much as one of 1."""
    places = [{"pressure": float(p), "standoff": s} for s in (1.0, 1.1, 1.4) for p in (0, 1, 4)]
    safe = np.array([True, True, False, False, False, False, False, False, False])
    axes = ("pressure", "standoff")
    assert _border(places, safe, {"pressure": 0.1, "standoff": 1.0}, axes) == {"pressure": 0.0, "standoff": 1.1}
    assert _border(places, safe, {"pressure": 3.9, "standoff": 1.0}, axes) == {"pressure": 1.0, "standoff": 1.0}
    assert _border(places, np.ones(9, dtype=bool), {"pressure": 0.1, "standoff": 1.0}, axes) is None


# ---- the card --------------------------------------------------------------------------------------------------------


def shown(lows, x=(0.5, 0.7, 0.9, 1.1), y=(0.6, 1.0), today=(0.9, 0.95)):
    """A window over pressure and standoff: lower bounds by pressure at the standoff of 1.0, nothing elsewhere."""
    settings = [{"pressure": p, "standoff": s} for s in y for p in x]
    low = [0.0] * len(x) + list(lows)
    found = Made(
        across=("pressure", "standoff"), x=x, y=y, wanted=0.9, units={"pressure": "bar"},
        today={"pressure": today[0], "standoff": today[1]},
    )  # fmt: skip
    return found, Made(settings=settings, low=low)


@pytest.mark.parametrize(
    ("lows", "span"),
    [
        ((0.95, 0.9, 0.99, 0.5), (0.5, 0.9)),
        ((0.95, 0.89, 0.9, 0.9), (0.9, 1.1)),
        ((0.95, 0.95, 0.95, 0.95), (0.5, 1.1)),
        ((0.95, 0.95, 0.89, 0.95), None),
        ((0.0, 0.0, 0.9, 0.0), (0.9, 0.9)),
    ],
)
def test_a_span_runs_over_steps_next_to_each_other(lows, span):
    found = _span(*shown(lows), "pressure")
    assert (None if found is None else (found.low, found.high)) == span
    if found is not None:
        assert (found.name, found.unit) == ("pressure", "bar")
        across = _span(*shown(lows), "standoff")
        assert (across.low, across.high, across.unit) == (1.0, 1.0, "")  # nothing is shown at 0.6 mm


def test_settings_of_a_card_are_those_compared_and_those_held():
    trial = parse(TRIAL_TEXT.replace("speed_m_min = 1.1", "speed_m_min = 1.1\ncooled = true\ndry = false"))
    found = {one.name: (one.value, one.unit, one.held) for one in settings_of(trial)}
    assert found["pressure"] == (0.7, "bar", False) and found["speed_m_min"] == (1.1, "", True)
    assert (found["cooled"][0], found["dry"][0]) == ("yes", "no") and _level("so") == "so"
    assert settings_of(trial, {"pressure": 0.9})[0].value == 0.9
    assert _nearest((0.5, 0.7, 0.9), 0.78) == 0.7


def test_look_alikes_come_first_and_are_told_apart_by_what_both_state():
    text = TRIAL_TEXT.replace(
        "[factors.pressure]",
        '[[nozzles]]\ntype = "pointed"\nbore = "conical"\nwall = "double"\npoint = true\norifice_mm = 1.7\n'
        'specimens = ["P1"]\n[factors.pressure]',
    )
    trial = parse(text)
    plain, double, pointed = trial.nozzles
    first, second = look_alikes(trial, plain)
    assert (first.nozzle, first.differs, first.same_orifice) == (double, ("wall",), True)
    assert (
        second.nozzle == pointed and set(second.differs) >= {"bore", "wall", "orifice_mm"} and not second.same_orifice
    )
    unknown = plain.model_copy(update={"orifice_mm": None})
    assert not _look_alike(unknown, unknown).same_orifice
    assert len(watch(pointed)) == len(watch(plain)) + 2


def test_the_gain_of_a_card_is_the_largest_that_is_better():
    def said(*pairs):
        return [Made(answer=answer, times_worthwhile=times) for answer, times in pairs]

    assert _gain(said((Answer.BETTER, 2.0), (Answer.SAME, 9.0), (Answer.BETTER, 3.0))) == 3.0
    assert _gain(said((Answer.BETTER, None))) == 1.0 and _gain(said((Answer.SAME, 9.0))) == 0.0


# ---- ladders and how many more ---------------------------------------------------------------------------------------


def ladder_study(**changes):
    types = tuple(Made(nozzle=n, clean_95_low=low) for n, low in (("a", 1.5), ("b", 0.9), ("c", -np.inf), ("d", 1.0)))
    made = Made(
        unit="m/min", judged_by="mount", units=12, df=8, pooled=True, worthwhile=Made(), sd_zero=False, first_step=1.0,
        open_above=("M1",), open_below=(), left_out=(), types=types,
    )  # fmt: skip
    return Made(**vars(made) | changes)


def test_what_is_said_beside_the_answer_of_a_ladder():
    said = {one.kind: one for one in ladder._said(ladder_study())}
    assert said[ladder.LadderKind.JUDGED_BY].facts == {"unit": "mount", "n": 12, "df": 8, "pooled": True}
    assert said[ladder.LadderKind.CLEAN_TO_THE_LAST].facts == {"mounts": ("M1",)}
    below = said[ladder.LadderKind.BELOW_THE_LADDER]  # of 1.5, 0.9, none and the first step itself only the second
    assert below.facts == {"nozzle": "b", "speed": Amount(0.9, "m/min"), "first": Amount(1.0, "m/min")}
    assert len(said) == 3
    more = {
        one.kind
        for one in ladder._said(ladder_study(worthwhile=None, sd_zero=True, left_out=("M2",), open_below=("M3",)))
    }
    assert more == {
        ladder.LadderKind.JUDGED_BY,
        ladder.LadderKind.NO_WORTHWHILE,
        ladder.LadderKind.CLEAN_TO_THE_LAST,
        ladder.LadderKind.NOT_CLEAN_AT_ALL,
        ladder.LadderKind.SAYS_NOTHING,
        ladder.LadderKind.ONE_STEP_WIDE,
        ladder.LadderKind.BELOW_THE_LADDER,
    }


@pytest.mark.parametrize(
    ("kind", "value", "times"),
    [
        ("difference", 1.0, 2.0),
        ("difference", -1.0, 2.0),
        ("ratio", 1.21, 2.0),
        ("ratio", 0.81, 2.0),
        ("ratio", 0.0, None),
    ],
)
def test_the_size_of_a_ladder_in_worthwhile_differences(kind, value, times):
    """Half a unit, or a tenth up and down: 1.1 squared is 1.21, 0.9 squared 0.81."""
    worthwhile = Worthwhile(0.5 if kind == "difference" else 0.1, kind)
    found = ladder._times(Made(kind=kind, value=value), worthwhile)
    assert found == (None if times is None else pytest.approx(times))
    assert ladder._times(Made(kind=kind, value=np.inf), worthwhile) is None
    assert ladder._times(Made(kind=kind, value=value), None) is None


def test_nothing_more_is_asked_of_a_ladder_without_a_typical_speed():
    types = (Made(typical=np.inf, n_specimens=3, n_mounts=3),) * 2
    opened = (Made(answer=Answer.NOT_SETTLED),)
    share = Made(worthwhile=Worthwhile(0.1, "ratio"), comparisons=opened, types=types, specimen_sd=0.1, mount_sd=0.1)
    assert ladder._more(None, share, levels(1), (1.0, 5.0), 9) == ()
    one = Made(**vars(share) | {"types": (Made(typical=4.0, n_specimens=1, n_mounts=1),) * 2})
    assert ladder._more(None, one, levels(1), (1.0, 5.0), 9) == ()  # nothing is left to judge by
    settled = Made(**vars(share) | {"comparisons": (Made(answer=Answer.SAME),)})
    assert ladder._more(None, settled, levels(1), (1.0, 5.0), 9) == ()


def counted(today, others, named=True):
    rows = [(kind, f"{kind}{s}", c) for kind, n in {"a": today, **others}.items() for s in range(n) for c in range(2)]
    table = pd.DataFrame(rows, columns=["nozzle", "specimen", "coupon"])
    return Made(table=table if named else table.drop(columns="specimen"), today="a", types=("a", *others))


@pytest.mark.parametrize(
    ("today", "others", "found"),
    [
        (4, {"b": 2, "c": 2}, (2, 2.0)),
        (2, {"b": 3}, (3, 2 / 3)),
        (1, {"b": 2, "c": 2}, (2, 1.0)),
        (3, {"b": 2, "c": 3}, (3, 1.0)),
        (2, {"b": 1, "c": 1}, (1, 1.0)),
    ],
)
def test_specimens_of_the_others_and_of_todays(today, others, found):
    assert specimens_of(counted(today, others)) == pytest.approx(found)
    assert specimens_of(counted(today, others, named=False)) == (1, 1.0)


def test_a_type_outside_of_what_it_was_allowed_is_named():
    place = Place(PlaceKind.TODAY, ({"pressure": 0.7, "lens": "new"},), {"pressure": "bar"})
    ready = Made(types=("a", "b", "c"))
    allowed = {"a": [(0.5, "new"), (0.9, "old")], "b": [(0.5, "new"), (0.6, "new")], "c": [(0.5, "old"), (0.9, "old")]}
    (found,) = response._outside(ready, allowed, place)
    assert found.about.nozzles == ("b", "c") and found.about.place == place
    several = Place(PlaceKind.AVERAGE, ({"pressure": 0.7, "lens": "new"},) * 2, {})
    assert response._outside(ready, allowed, several) == []
    assert response._outside(Made(types=("a",)), allowed, place) == []


def test_what_a_trial_asks_follows_from_its_plan():
    def asked(old, new):
        return asked_by(parse(TRIAL_TEXT.replace(old, new)))

    assert asked("", "") is Question.COMPARE
    assert asked('method = "full"', 'method = "life"') is Question.LIFE
    assert asked('method = "full"', 'method = "optimal"\naim = "prediction"\ncoupons = 54') is Question.WINDOW


# ---- repetitions -----------------------------------------------------------------------------------------------------


def repeatable(scale="log", higher=False, per_coupon=False):
    quantity = Made(scale=scale, higher_is_better=higher, per_coupon=per_coupon)
    trial = Made(types=("a", "b"), responses={"rough": Made(readings=3)})
    return Made(table=pd.DataFrame({"value": [5.0, 9.0, 2.0]}), quantity=quantity, trial=trial, name="rough")


def test_lost_coupons_stand_at_the_worst_value_once_for_each_reading():
    lost = pd.DataFrame({"coupon": ["X", "Y", "Z"], "nozzle": ["a", "b", "gone"]})
    found = repeated._at_worst(repeatable(), lost)
    assert found["coupon"].tolist() == ["X", "Y"] * 3 and set(found["value"]) == {9.0}
    assert found["reading"].tolist() == [1, 1, 2, 2, 3, 3]
    assert set(repeated._at_worst(repeatable(higher=True), lost)["value"]) == {2.0}
    for once in (repeatable(scale="grade"), repeatable(per_coupon=True)):
        assert repeated._at_worst(once, lost)["reading"].tolist() == [1, 1]


def test_what_a_repetition_moved_is_set_beside_what_was():
    def one(nozzle, value, answer, kind="ratio"):
        return Made(nozzle=nozzle, value=value, answer=answer, kind=kind, low=value - 0.1, high=value + 0.3)

    before = [one("a", 0.8, Answer.BETTER), one("b", 1.1, Answer.SAME)]
    same = repeated._beside(
        StudyKind.WITHOUT_THE_FAR, 4, before, (one("a", 0.75, Answer.BETTER), one("b", 1.0, Answer.SAME)), "um"
    )
    assert (same.weight, same.facts["words_change"], same.facts["gone"], same.facts["n"]) == (
        Weight.NOTHING_FOUND,
        False,
        (),
        4,
    )
    assert same.facts["sizes"][0] == (
        "a", Amount(pytest.approx(-20.0), "%"), Amount(pytest.approx(-25.0), "%"), Answer.BETTER, Answer.BETTER,
        pytest.approx(0.2),
    )  # fmt: skip
    moved = repeated._beside(
        StudyKind.WITHOUT_THE_FAR, 4, before, (one("a", 0.75, Answer.SAME), one("b", 1.0, Answer.SAME)), "um"
    )
    gone = repeated._beside(StudyKind.WITHOUT_THE_FAR, 4, before, (one("a", 0.75, Answer.BETTER),), "um")
    assert (moved.weight, gone.weight, gone.facts["gone"]) == (Weight.COULD_CHANGE, Weight.COULD_CHANGE, ("b",))
    assert repeated._size(one("a", 0.25, None, "difference"), "mm") == Amount(0.25, "mm")


def test_one_degree_of_freedom_widens_the_odds_most():
    """Student's t at 97.5 % on one degree of freedom is 12.706 (printed tables)."""
    assert graded.profile_level(1) == pytest.approx(stats.chi2.cdf(12.7062**2, 1), abs=1e-9)
    assert graded.profile_level(2) == pytest.approx(stats.chi2.cdf(4.302653**2, 1), abs=1e-7)
    assert graded.profile_level(0) == graded.profile_level(-1) == 0.95


def test_a_share_of_a_ladder_is_taken_at_todays_typical_speed(monkeypatch):
    asked = []
    monkeypatch.setattr(
        ladder, "specimens_needed", lambda *given: asked.append(given) or Made(finding=lambda: "needed")
    )
    study = Made(
        worthwhile=Worthwhile(0.1, "ratio"), comparisons=(Made(answer=Answer.NOT_SETTLED),),
        types=(Made(typical=4.0, n_specimens=3, n_mounts=3),) * 2, specimen_sd=0.4, mount_sd=0.3,
    )  # fmt: skip
    assert ladder._more(None, study, levels(1), (1.0, 5.8), 9) == ("needed",)
    # 0.4 and 0.3 of a speed of 4, and a twelfth of a step of 0.6 squared
    assert asked[0][0] == pytest.approx({"specimen": 0.01, "mount": (0.09 + 0.03) / 16})


def test_nothing_decides_where_nothing_is_uncertain():
    running = Running(speed_m_min=1.0, nozzle_price=9.0, nozzle_life_m=2000.0)
    nozzle = Made(type="b", price=14.0)
    case = money._Case(nozzle, Running(speed_m_min=1.1), Running(speed_m_min=1.1))
    found = money._against(case, money._Case(Made(type="a", price=9.0), running, running), Rates(machine_hour=120.0))
    assert (found.decides, found.decides_share, found.per_year) == (None, 0.0, None)
