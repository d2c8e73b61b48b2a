"""Each type at its best from figures set by hand: which place is picked, what it gains, what it compares with."""

import math
from types import SimpleNamespace as Made

import numpy as np
import pytest

from trials.asked import BestBy
from trials.decide import best
from trials.decide.window_result import Best
from trials.infer.answer import Answer, Levels
from trials.infer.chance.window import optimism, region_band
from trials.infer.yardstick import Estimates
from trials.worthwhile import Margins

EXACT = 1e-12  # sums and products of a few doubles


def fitted(coefficients, variances, df=10.0, scale="log", higher=False):
    """A fit that knows its coefficients (k,) and their variances (k,) and nothing else."""
    b, v = np.array(coefficients), np.diag(variances)

    def estimates(rows):
        return Estimates(rows @ b, rows @ v @ rows.T, np.full(len(rows), df))

    quantity = Made(scale=scale, higher_is_better=higher)
    ready = Made(quantity=quantity, structure=Made(counts={}, replicated=True), today="old", types=("old", "new"))
    return Made(
        ready=ready,
        fit=Made(coefficients=b, variances={}),
        judged=Made(between=Made(estimates=estimates, added=0)),
    )


def picked(monkeypatch, aim, chances, lows, edges=None, speeds=(1.0, 2.0, 3.0), higher=False):
    """Place of the best of three settings; edges: typical ones, None where nothing is measured that decides."""
    monkeypatch.setattr(best, "rows_at", lambda ready, label, kept: np.eye(len(kept)))
    studied = {} if edges is None else {"edge": fitted(edges, np.ones(3), higher=higher)}
    application = Made(window_chance=0.9, best_by=aim)
    known = Made(trial=Made(application=application, factors={"speed": 1, "pressure": 1}), studied=studied)
    places = [{"speed": s, "pressure": 1.0} for s in speeds]
    return best.pick(known, "new", places, np.array(chances), np.array(lows), "" if edges is None else "edge")


@pytest.mark.parametrize(
    ("chances", "edges", "place"),
    [
        ((0.900, 0.896, 0.893), (3.0, 2.0, 1.0), 1),  # within half a point of the highest, and lower
        ((0.900, 0.880, 0.860), (3.0, 2.0, 1.0), 0),
        ((0.860, 0.900, 0.899), (1.0, 2.0, 3.0), 1),
    ],
)
def test_by_chance_the_lowest_edge_of_those_alike(monkeypatch, chances, edges, place):
    assert picked(monkeypatch, BestBy.CHANCE, chances, (0.5, 0.5, 0.5), edges) == place


def test_where_higher_is_better_the_highest_edge_of_those_alike(monkeypatch):
    found = picked(monkeypatch, BestBy.CHANCE, (0.9, 0.9, 0.9), (0.5, 0.5, 0.5), (1.0, 3.0, 2.0), higher=True)
    assert found == 1
    assert picked(monkeypatch, BestBy.EDGE, (0.9, 0.1, 0.2), (0.5, 0.5, 0.5), (1.0, 3.0, 2.0), higher=True) == 1


def test_without_an_edge_the_highest_bound_of_those_alike(monkeypatch):
    assert picked(monkeypatch, BestBy.CHANCE, (0.900, 0.896, 0.893), (0.5, 0.6, 0.9)) == 1
    assert picked(monkeypatch, BestBy.EDGE, (0.900, 0.896, 0.893), (0.5, 0.6, 0.9)) == 1


def test_by_edge_the_lowest_whatever_its_chance(monkeypatch):
    assert picked(monkeypatch, BestBy.EDGE, (0.9, 0.5, 0.1), (0.8, 0.4, 0.0), (3.0, 2.0, 1.0)) == 2


@pytest.mark.parametrize(
    ("chances", "lows", "place"),
    [
        ((0.99, 0.95, 0.5), (0.95, 0.90, 0.1), 1),  # the fastest that is shown to, the stated chance itself included
        ((0.99, 0.90, 0.5), (0.80, 0.70, 0.1), 1),  # none is shown to: the fastest that is estimated to
        ((0.70, 0.60, 0.5), (0.60, 0.50, 0.1), 0),  # none does at all: by chance
    ],
)
def test_by_speed_the_fastest_that_meets(monkeypatch, chances, lows, place):
    assert picked(monkeypatch, BestBy.SPEED, chances, lows, (1.0, 2.0, 3.0)) == place


def test_of_equal_speeds_the_lower_edge(monkeypatch):
    found = picked(monkeypatch, BestBy.SPEED, (0.99,) * 3, (0.95,) * 3, (1.0, 3.0, 2.0), speeds=(1.0, 2.0, 2.0))
    assert found == 2


# one place of reference, one a tenth away whose error is as large as its step, one ten errors away
ROWS = np.array([[1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [1.0, 0.0, 1.0]])
KEPT = [{"x": 0.0}, {"x": 1.0}, {"x": 2.0}]


def test_alike_are_those_that_differ_by_less_than_their_error():
    fit = fitted((3.0, 0.1, 1.0), (0.01, 0.01, 0.01))
    assert best._alike(fit, ROWS, KEPT, 0, 1.0) == (KEPT[0], KEPT[1])
    upward = fitted((3.0, 0.1, 1.0), (0.01, 0.01, 0.01), higher=True)
    assert best._alike(upward, ROWS, KEPT, 2, -1.0) == (KEPT[2],)
    # at the place that was not the best, only what is higher by far is told from it
    assert best._alike(fit, ROWS, KEPT, 1, 1.0) == (KEPT[0], KEPT[1])
    # of the same place twice none is worse; without it the second of two would be taken for the best itself
    assert best._alike(fit, ROWS[[1, 1, 2]], KEPT, 0, 1.0) == (KEPT[0], KEPT[1])
    assert best._alike(fit, ROWS[[2, 0, 0]], KEPT, 1, 1.0) == (KEPT[1], KEPT[2])


def test_all_are_alike_where_settings_change_nothing():
    assert best._alike(fitted((3.0, 0.1, 1.0), (0.01,) * 3), ROWS[[0, 0, 0]], KEPT, 0, 1.0) == tuple(KEPT)


def test_places_told_apart_by_a_tenth_of_the_degrees_of_freedom_are_not_alike():
    # a step of 2.5 errors: on 100 degrees of freedom it is shown (one-sided 1.96 of two pairs), on 2 it is not (4.3)
    for df, alike in ((100.0, (KEPT[0],)), (2.0, (KEPT[0], KEPT[1]))):
        fit = fitted((3.0, 0.25, 9.0), (0.01, 0.01, 0.01), df)
        assert best._alike(fit, ROWS, KEPT, 0, 1.0) == alike


@pytest.mark.parametrize(("scale", "higher"), [("log", False), ("as measured", False), ("log", True)])
def test_the_gain_is_the_step_from_todays_less_what_picking_made_of_it(scale, higher):
    fit = fitted((3.0, -0.2, -0.5), (0.04, 0.01, 0.02), 12.0, scale, higher)
    # today's setting is the first place, so that the best is the second of those away from it
    found = best._gain(fit, ROWS, ROWS[0], 2)
    steps, covariance = np.array([-0.2, -0.5]), np.diag([0.01, 0.02])
    band, sign = region_band(steps, covariance, np.full(2, 12.0)), -1.0 if higher else 1.0
    taken = sign * optimism(sign * steps, covariance)
    assert abs(taken) > 1e-3
    on = math.exp if scale == "log" else float
    assert found.kind == ("ratio" if scale == "log" else "difference")
    assert found.value == pytest.approx(on(-0.5 + taken), rel=EXACT)
    assert (found.low, found.high) == pytest.approx((on(band.low[1]), on(band.high[1])), rel=EXACT)
    assert found.optimism == pytest.approx(on(taken), rel=EXACT)
    assert best._gain(fit, ROWS, ROWS[2], 2) is None


def test_what_would_confirm_the_best(trial, monkeypatch):
    asked = {}

    def mean_of_new(edge, counts, moved, sure):
        asked.update(edge=edge, counts=counts, moved=moved, sure=sure)
        return math.log(20.0), math.log(30.0)

    monkeypatch.setattr(best, "mean_of_new", mean_of_new)
    quantity = Made(scale="log", low=0.0, high=math.inf)
    source = Made(ready=Made(quantity=quantity, types=("cylindrical", "double")))
    known = Made(trial=trial, sources={"roughness": source}, edge=lambda *about: about)
    found = best._confirmation(known, "roughness", "double", {"pressure": 0.8}, 0.02)
    # three specimens of the type, three sheets planned, three readings; 5 % shared by two types
    counts = {"sheet": 3, "specimen": 3, "mount": 3, "coupon": 3, "reading": 9}
    edge = ("roughness", "double", {"pressure": 0.8})
    assert asked == {"edge": edge, "counts": counts, "moved": 0.02, "sure": pytest.approx(0.975, rel=EXACT)}
    assert (found.coupons, found.readings, found.confidence) == (3, 3, asked["sure"])
    assert (found.low, found.high) == pytest.approx((20.0, 30.0), rel=EXACT) and found.settings == {"pressure": 0.8}
    assert best._confirmation(known, "squareness", "double", {}, 0.0) is None
    two = trial.nozzles[0].model_copy(update={"specimens": trial.nozzles[0].specimens[:2]})
    fewer = trial.model_copy(update={"nozzles": (two, *trial.nozzles[1:])})
    alone = Made(ready=Made(quantity=quantity, types=("cylindrical",)))
    best._confirmation(
        Made(**{**vars(known), "trial": fewer, "sources": {"roughness": alone}}), "roughness", "cylindrical", {}, 0
    )
    # two specimens are cut on two sheets at most; all 5 % for the one type
    assert asked["counts"] == {"sheet": 2, "specimen": 2, "mount": 2, "coupon": 2, "reading": 6}
    assert asked["sure"] == pytest.approx(0.95, rel=EXACT)
    one_sheet = trial.model_copy(update={"plan": trial.plan.model_copy(update={"sheets": 1})})
    best._confirmation(Made(**{**vars(known), "trial": one_sheet}), "roughness", "double", {}, 0.0)
    assert asked["counts"]["sheet"] == 1


GRID = [{"x": x, "y": y, "z": 7.0} for y in (10.0, 20.0, 30.0, 40.0, 50.0) for x in (1.0, 2.0, 3.0, 4.0, 5.0)]


def test_a_best_puts_the_figures_of_its_own_place_together(monkeypatch):
    fit = fitted((3.0, -0.2, -0.5), (0.04, 0.01, 0.02), 12.0, "as measured", higher=True)
    rows = {0.0: ROWS[0], 1.0: ROWS[1], 2.0: ROWS[2]}
    monkeypatch.setattr(best, "rows_at", lambda ready, label, kept: np.array([rows[p["x"]] for p in kept]))
    monkeypatch.setattr(best, "_confirmation", lambda known, main, label, settings, moved: (label, settings, moved))
    application = Made(window_chance=0.9, best_by=BestBy.CHANCE)
    known = Made(trial=Made(application=application, factors={}), studied={"edge": fit})
    chances, lows = np.array([0.5, 0.9, 0.6]), np.array([0.4, 0.8, 0.5])
    found = best.best_of(known, "new", KEPT, chances, lows, "edge", KEPT[2])
    # the typical edges 3.0, 2.8, 2.5, higher is better; the chance decides for the second
    values, covariance = ROWS @ fit.fit.coefficients, ROWS @ np.diag([0.04, 0.01, 0.02]) @ ROWS.T
    band = region_band(values, covariance, np.full(3, 12.0))
    assert (found.settings, found.chance, found.chance_low) == (KEPT[1], 0.9, 0.8)
    assert found.edge == pytest.approx(2.8, rel=EXACT)
    ends = (band.low[1], band.high[1], band.alone_low[1], band.alone_high[1])
    assert (found.edge_low, found.edge_high, found.alone_low, found.alone_high) == pytest.approx(ends, rel=EXACT)
    # from today's 2.5 to 2.8 is 0.3 more, less what picking made of it
    assert found.gain.value == pytest.approx(0.3 + found.gain.optimism, rel=1e-9) and found.gain.optimism < 0
    moved = -optimism(-values, covariance)
    assert found.confirm == ("new", KEPT[1], pytest.approx(moved, rel=EXACT)) and moved < -1e-3
    outside = best.best_of(known, "new", KEPT, chances, lows, "edge", None)
    assert outside.gain is None and outside.edge == found.edge
    grades_alone = best.best_of(known, "new", KEPT, chances, lows, "", KEPT[2])
    assert grades_alone == Best(KEPT[1], 0.9, 0.8)


def test_places_that_could_have_been_picked_are_the_ends_and_the_middle():
    found = best._places(GRID, Best({"x": 2.0, "y": 40.0, "z": 7.0}, 0.9, 0.8))
    marks = [{"x": x, "y": y, "z": 7.0} for y in (10.0, 30.0, 50.0) for x in (1.0, 3.0, 5.0)]
    assert found == [{"x": 2.0, "y": 40.0, "z": 7.0}, *marks]
    assert best._places(GRID, Best(GRID[0], 0.9, 0.8)) == marks  # the best itself once


@pytest.mark.parametrize(("scale", "higher"), [("log", False), ("as measured", True)])
def test_bests_are_compared_at_their_own_places(monkeypatch, scale, higher):
    """Two types with one place each: the difference of the two, its band that of one estimate (Student's t)."""
    # columns: level, new against old, setting; the new type at x = 2, today's at x = 1
    fit = fitted((3.0, -0.6, -0.1), (0.0, 0.01, 0.0), 10.0, scale, higher)
    monkeypatch.setattr(
        best, "rows_at", lambda ready, label, kept: np.array([[1.0, label == "new", p["x"]] for p in kept])
    )
    grid = [[{"x": x, "y": y} for y in (0.0, 1.0) for x in (at, at + 1e-12)] for at in (2.0, 1.0)]
    new, now = ((label, Best(places[0], 0.9, 0.8), places) for label, places in zip(("new", "old"), grid, strict=True))
    found = best._compared(fit, new, now, Levels(0.95, 0.90), Margins(0.2, 0.2))
    on = math.exp if scale == "log" else float
    # -0.6 less 0.1 for the setting; t on 10 degrees of freedom, 0.975: 2.2281
    ends = -0.7 - 2.2281 * 0.1, -0.7 + 2.2281 * 0.1
    assert found.value == pytest.approx(on(-0.7), rel=1e-9)
    assert (found.low, found.high) == pytest.approx((on(ends[0]), on(ends[1])), rel=0.01)  # share from draws
    assert found.answer == (Answer.WORSE if higher else Answer.BETTER) and found.confidence == 0.95
    assert (found.nozzle, found.against) == ("new", "old") and found.kind == (
        "ratio" if scale == "log" else "difference"
    )
    assert found.settings == {"x": 2.0, "y": 0.0} and found.against_settings == {"x": 1.0, "y": 0.0}


@pytest.mark.parametrize(
    ("step", "error", "word"),
    [
        (-0.7, 0.1, Answer.BETTER),
        (0.7, 0.1, Answer.WORSE),
        # 1.812 errors at 90 %, 2.228 at 95 %, a fifth is worthwhile: the same within 0.172, though 0.212 is open
        (0.0, 0.095, Answer.SAME),
        # less than none within 0.172, not within 0.212
        (-0.19, 0.095, Answer.NOT_SETTLED),
    ],
)
def test_the_word_on_two_bests_takes_each_limit_at_its_own_confidence(monkeypatch, step, error, word):
    fit = fitted((3.0, step), (0.0, error**2))
    monkeypatch.setattr(best, "rows_at", lambda ready, label, kept: np.array([[1.0, label == "new"]] * len(kept)))
    new, now = ((label, Best({"x": 1.0}, 0.9, 0.8), [{"x": 1.0}, {"x": 2.0}]) for label in ("new", "old"))
    assert best._compared(fit, new, now, Levels(0.95, 0.90), Margins(0.2, 0.2)).answer == word


def test_the_band_of_two_bests_runs_over_pairs_of_places(monkeypatch):
    fit = fitted((3.0, -0.6, -0.1), (0.01, 0.02, 0.03), 10.0, "as measured")
    monkeypatch.setattr(
        best, "rows_at", lambda ready, label, kept: np.array([[1.0, label == "new", p["x"]] for p in kept])
    )
    grid = [{"x": x} for x in (0.0, 1.0, 2.0)]
    found = best._compared(
        fit, ("new", Best({"x": 2.0}, 0.9, 0.8), grid), ("old", Best({"x": 1.0}, 0.9, 0.8), grid),
        Levels(0.95, 0.90), Margins(0.2, 0.2),
    )  # fmt: skip
    rows = np.array([[0.0, 1.0, own - other] for own in (2.0, 0.0, 1.0) for other in (1.0, 0.0, 2.0)])
    band = region_band(rows @ [3.0, -0.6, -0.1], rows @ np.diag([0.01, 0.02, 0.03]) @ rows.T, np.full(9, 10.0))
    assert found.value == pytest.approx(-0.7, rel=EXACT)
    assert (found.low, found.high) == pytest.approx((band.low[0], band.high[0]), rel=1e-9)


def test_bests_are_compared_only_where_there_is_something_to_compare(trial, monkeypatch):
    seen = []
    monkeypatch.setattr(best, "_compared", lambda fitted, new, now, shared, margins: seen.append((new, now, shared)))
    fit = fitted((3.0, 0.0, 0.0), (0.01,) * 3)
    fit.ready.today = "cylindrical"
    known = Made(trial=trial, studied={"roughness": fit})
    one = Best({"x": 1.0}, 0.9, 0.8)
    found = [(label, one, KEPT) for label in ("cylindrical", "double", "third")]
    levels = Levels(0.95, 0.90)
    assert best.compare_bests(known, "", found, levels) == ()
    assert len(best.compare_bests(known, "roughness", found, levels)) == 2
    assert [(new[0], now[0], shared) for new, now, shared in seen] == [
        (label, "cylindrical", levels.shared(2)) for label in ("double", "third")
    ]
    assert best.compare_bests(known, "roughness", found[1:], levels) == ()  # today's type has no best
    fit.ready.structure.replicated = False
    assert best.compare_bests(known, "roughness", found, levels) == ()
