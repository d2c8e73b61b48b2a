"""How a window is laid out: axes, places, borders, what is looked at beyond the map; by hand, without a fit."""

import math
from types import SimpleNamespace as Made

import numpy as np
import pandas as pd
import pytest

from trials.decide import window
from trials.decide.window_result import WindowStudy
from trials.errors import InputError, NotIdentifiable
from trials.trial import parse


@pytest.fixture
def three(trial_text):
    """The small trial with focus as a third factor, and a lens as a fourth in words."""
    third = '[factors.focus]\nunit = "mm"\nlevels = [-2.0, 2.0]\ntoday = 2.0\n'
    fourth = '[factors.lens]\nlevels = ["old", "new"]\ntoday = "old"\n'
    return parse(trial_text.replace("[held]", third + fourth + "[held]"))


def asked_of(trial, coupons, axes=("pressure", "standoff"), searched=("pressure", "standoff"), points=3):
    others = {name: level for name, level in trial.today_settings.items() if name not in axes}
    known = Made(trial=trial, coupons=coupons, sources={})
    return window._Asked(known, axes, others, "", searched, points)


def cut_at(trial, *places, nozzle="double", outcome="cut"):
    columns = [trial.factor_column(name) for name in trial.factors]
    rows = [(nozzle, outcome, *place) for place in places]
    return pd.DataFrame(rows, columns=["nozzle", "outcome", *columns])


def test_the_factors_of_a_map(three):
    assert window.two_factors(three) == ("pressure", "standoff")
    assert window.two_factors(three, ["focus", "pressure"]) == ("focus", "pressure")
    for across in (["focus"], ["focus", "focus"], ["focus", "lens"], ["focus", "pressure", "standoff"]):
        with pytest.raises(InputError, match="two factors"):
            window.two_factors(three, across)
    assert window._searched(three) == ("pressure", "standoff", "focus")


def test_the_rest_is_held_at_todays_setting_or_as_told(three):
    axes = ("pressure", "standoff")
    assert window._others(three, axes, {}) == {"focus": 2.0, "lens": "old"}
    assert window._others(three, axes, {"focus": -1.0}) == {"focus": -1.0, "lens": "old"}
    with pytest.raises(InputError, match="not a factor to hold"):
        window._others(three, axes, {"pressure": 0.7})


def test_steps_run_evenly_over_what_was_cut_as_they_are_dialled(trial):
    done = cut_at(trial, (0.5, 0.6), (0.9, 1.6), (0.7, 1.0))
    lost = cut_at(trial, (0.1, 9.0), outcome="aborted")
    asked = asked_of(trial, pd.concat([done, lost]), points=4)
    # thirds of 0.4 bar and of 1.0 mm, four figures
    assert asked.along("pressure") == (0.5, 0.6333, 0.7667, 0.9)
    assert asked.along("standoff", 3) == (0.6, 1.1, 1.6)


def test_places_lie_inside_what_was_cut_with_the_type_and_the_first_factor_runs_fastest(three):
    own = cut_at(three, *[(p, s, 2.0, "old") for p, s in ((0.5, 0.6), (0.9, 0.6), (0.5, 1.4))])
    other = cut_at(three, (0.9, 1.4, 2.0, "old"), nozzle="cylindrical")
    lost = cut_at(three, (0.9, 1.4, 2.0, "old"), outcome="aborted")
    asked = asked_of(three, pd.concat([own, other, lost]))
    found = asked.inside("double", ("pressure", "standoff"))
    pairs = [(0.5, 0.6), (0.7, 0.6), (0.9, 0.6), (0.5, 1.0), (0.7, 1.0), (0.5, 1.4)]
    assert found == [{"pressure": p, "standoff": s, "focus": 2.0, "lens": "old"} for p, s in pairs]
    assert asked.cut("double", ("standoff", "pressure")).tolist() == [[0.6, 0.5], [0.6, 0.9], [1.4, 0.5]]


GRID = [{"x": x, "y": y} for y in (0.0, 50.0, 100.0) for x in (1.0, 1.2, 1.4)]


def test_the_border_is_nearest_in_the_ranges_of_the_factors():
    safe = np.array([place not in ({"x": 1.0, "y": 50.0}, {"x": 1.2, "y": 0.0}) for place in GRID])
    # from (1.2, 40): half a range and a tenth to the one, 0.4 of a range to the other
    assert window._border(GRID, safe, {"x": 1.2, "y": 40.0}, ("x", "y")) == {"x": 1.2, "y": 0.0}
    assert window._border(GRID, ~safe, {"x": 1.2, "y": 40.0}, ("x", "y")) == {"x": 1.2, "y": 0.0}
    # next to today's is the one that is not safe: the nearest that is
    assert window._border(GRID, safe, {"x": 1.01, "y": 51.0}, ("x", "y")) == {"x": 1.2, "y": 50.0}
    assert window._border(GRID, np.ones(9, bool), {"x": 1.2, "y": 40.0}, ("x", "y")) is None
    line = [{"x": 1.0, "y": y} for y in (0.0, 1.0, 2.0, 3.0)]
    assert window._border(line, np.array([True, True, True, False]), {"x": 1.0, "y": 0.0}, ("x", "y")) == line[3]


@pytest.mark.parametrize(("marks", "own", "types"), [("AAABBBCCCC", 4, 10 / 4), ("ABC", 1, 3.0), ("ABCC", 2, 2.0)])
def test_reach_goes_by_the_least_sure_response_and_the_specimens_of_a_type(monkeypatch, trial, marks, own, types):
    """Types are cylindrical (A), plated (B) and double (C), which is asked about; all specimens over its own."""
    lows = {"u": 0.7, "r": 0.4}
    names = {"A": "cylindrical", "B": "plated", "C": "double"}
    table = pd.DataFrame({"nozzle": [names[m] for m in marks], "specimen": [f"{m}{k}" for k, m in enumerate(marks)]})
    ready = Made(structure=Made(counts={"specimen": len(marks)}), table=table)
    known = Made(
        trial=trial,
        sources={name: Made(ready=ready) for name in lows},
        edge=lambda name, label, settings: (name, label, settings),
        rule=lambda name: f"rule of {name}",
        coupons=pd.DataFrame({"nozzle": ["double"] * 3, "outcome": ["cut", "cut", "aborted"]}),
    )

    def chance(edge, rule, draws, cuts, lost):
        return Made(low=lows[edge[0]], counts=(cuts, lost))

    monkeypatch.setattr(window, "chance", chance)
    monkeypatch.setattr(
        window, "find_reach", lambda edge, rule, found, *rest: (edge[0], found.counts, found.low, *rest)
    )
    wanted = trial.application.window_chance
    assert window._reach(known, "double", {}) == ("r", (3, 1), 0.4, wanted, own, types)
    assert window._reach(Made(**{**vars(known), "sources": {}}), "double", {}) is None
    ready.structure.counts.clear()
    assert window._reach(known, "double", {}) is None


def corners(trial):
    every = [(p, s, f, "old") for p in (0.5, 0.9) for s in (0.6, 1.4) for f in (-2.0, 2.0)]
    return cut_at(trial, *every)


def test_a_best_is_sought_over_all_factors_of_numbers(monkeypatch, three):
    seen = []
    monkeypatch.setattr(window, "chances_at", lambda known, label, places: seen.append((label, len(places))) or "own")
    every = asked_of(three, corners(three), searched=("pressure", "standoff", "focus"))
    places, found = window._sought(every, "double", GRID, "map")
    # five settings along each of three factors, all of them inside the box that was cut
    assert seen == [("double", 125)] and found == "own" and len({p["focus"] for p in places}) == 5
    assert {p["lens"] for p in places} == {"old"}
    flat = asked_of(three, corners(three)[:4], searched=("pressure", "standoff", "focus"))
    assert window._sought(flat, "double", GRID, "map") == (GRID, "map")  # no volume was cut
    two = asked_of(three, corners(three), searched=("standoff", "pressure"))
    assert window._sought(two, "double", GRID, "map") == (GRID, "map") and len(seen) == 1


def test_the_map_elsewhere_stands_at_the_ends_of_a_further_factor(monkeypatch, three):
    seen = []

    def chances_at(known, label, places):
        seen.append((label, len(places), {p["focus"] for p in places}))
        edge = known.trial.application.window_chance
        first = places[0]["focus"]
        return np.array([edge, edge, 0.1, 0.2]), np.array([edge if first > 0 else 0.5, 0.3, 0.1, 0.2])

    monkeypatch.setattr(window, "chances_at", chances_at)
    asked = asked_of(three, corners(three), searched=("pressure", "standoff", "focus"))
    low, high = window._elsewhere(asked, ["double"], "focus")
    assert seen == [("double", 25, {-2.0}), ("double", 25, {2.0})]
    assert (low.factor, low.level, high.level) == ("focus", -2.0, 2.0)
    assert (low.share_estimate, low.share_bound) == ({"double": 0.5}, {"double": 0.0})
    assert (high.share_estimate, high.share_bound) == ({"double": 0.5}, {"double": 0.25})


def test_a_map_is_coarser_where_a_trial_asks_something_else(monkeypatch, trial):
    seen = []
    monkeypatch.setattr(window, "study_window", lambda *given, points: seen.append(points))
    monkeypatch.setattr(window, "POINTS", 9)
    monkeypatch.setattr(window, "FEWER_POINTS", 7)
    for asks in (True, False):
        monkeypatch.setattr(window, "asks_window", lambda trial, asks=asks: asks)
        window.window_of(trial, {}, None, None)
    assert seen == [9, 7]

    def refuses(*given, points):
        raise NotIdentifiable("no region")

    monkeypatch.setattr(window, "study_window", refuses)
    assert window.window_of(trial, {}, None, None) is None


def test_a_window_says_what_it_rests_on(monkeypatch, three):
    """Which response decides, what was searched, at which confidence bests are compared; nothing is fitted."""
    levels = []
    monkeypatch.setattr(window, "known_of", lambda *given: Made(trial=three, coupons=given[2], sources={}))
    monkeypatch.setattr(window, "_of_type", lambda asked, label: (Made(nozzle=label, best=label), asked.points))
    monkeypatch.setattr(window, "compare_bests", lambda known, main, found, alone: levels.append((found, alone)) or ())
    monkeypatch.setattr(window, "_elsewhere", lambda asked, types, name: (name,))
    ready = Made(types=("cylindrical", "double"))
    studied = {"roughness": Made(ready=ready, graded=None), "dross": Made(ready=ready, graded=1)}
    found = window.study_window(three, studied, corners(three), points=4)
    assert (found.response, found.unit, found.across) == ("roughness", "um", ("pressure", "standoff"))
    assert (found.searched, found.elsewhere) == (("pressure", "standoff", "focus"), ("focus",))
    assert (found.others, found.asked) == ({"focus": 2.0, "lens": "old"}, False)
    assert len(found.x) == 4 and [each.nozzle for each in found.types] == ["cylindrical", "double"]
    ((pairs, alone),) = levels
    assert pairs == [("cylindrical", "cylindrical", 4), ("double", "double", 4)]
    assert alone == window.levels(1, three.plan.looks)
    held = window.study_window(three, studied, corners(three), held={"focus": 1.0})
    assert (held.searched, held.elsewhere, held.others["focus"]) == (("pressure", "standoff"), (), 1.0)
    assert len(held.x) == window.POINTS
    graded = window.study_window(three, {"dross": studied["dross"]}, corners(three))
    assert (graded.response, graded.unit) == ("", "")
    one = {"roughness": studied["roughness"], "dross": Made(ready=Made(types=("double",)), graded=1)}
    assert [each.nozzle for each in window.study_window(three, one, corners(three)).types] == ["double"]
    assert math.isclose(found.wanted, three.application.window_chance)


def test_the_widest_window_is_that_which_is_shown_then_estimated_then_likeliest():
    def study(*types):
        rows = [Made(share_bound=bound, share_estimate=share, best=Made(chance=best)) for bound, share, best in types]
        fields = dict.fromkeys(WindowStudy.__dataclass_fields__) | {"types": tuple(rows)}
        return WindowStudy(**fields), rows

    shown, rows = study((0.1, 0.2, 0.91), (0.05, 0.9, 0.99))
    assert (shown.shown, shown.likely, shown.widest) == (True, True, rows[0])
    likely, rows = study((0.0, 0.2, 0.95), (0.0, 0.3, 0.91))
    assert (likely.shown, likely.likely, likely.widest) == (False, True, rows[1])
    never, rows = study((0.0, 0.0, 0.4), (0.0, 0.0, 0.5))
    assert (never.shown, never.likely, never.widest) == (False, False, rows[1])
