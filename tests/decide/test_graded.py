"""Dross grades that fit no common model: an honest sentence each, and no warning text from a library."""

from types import SimpleNamespace as Made

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trials.decide import graded
from trials.decide.chance_result import Asked
from trials.decide.chances import chances
from trials.decide.kinds import StudyKind
from trials.decide.response import Studied, fit_response, study_response
from trials.findings import Amount, Finding, Place, PlaceKind
from trials.infer.answer import levels
from trials.infer.chance import ChanceKind
from trials.words.findings import say

ALL = [(p, q) for p in (0.5, 0.7, 0.9) for q in (0.6, 1.0, 1.4)]


def grades(make_table, cylindrical, double, specimens=3, settings=None):
    """One grade per coupon; a type's grades come from a list in turn."""
    table = make_table(readings=1, specimens=specimens, settings=settings)
    for kind, own in (("cylindrical", cylindrical), ("double", double)):
        rows = table["nozzle"] == kind
        table.loc[rows, "value"] = np.resize(np.asarray(own, dtype=float), rows.sum())
    return table


def study(trial, table):
    found = fit_response(trial, "dross", table)
    if not isinstance(found, Studied):
        return found
    return study_response(trial, found, {"cylindrical": ALL, "double": ALL}, levels(1))


MIXED = [0, 1, 2, 1, 3, 1, 0, 2, 1, 1, 0]


K = StudyKind


@pytest.mark.parametrize(
    ("cylindrical", "double", "kinds"),
    [
        (MIXED, [0], {K.ALWAYS_ONE_GRADE, K.GRADES_SHUFFLED, K.GRADES_APART}),
        ([0], MIXED, {K.ALWAYS_ONE_GRADE, K.GRADES_SHUFFLED, K.GRADES_APART}),
        ([0], [0], {K.NOT_STUDIED, K.GRADES_ALL_ONE}),
        ([2], [2], {K.NOT_STUDIED, K.GRADES_ALL_ONE}),
        ([0], [3], {K.NOT_STUDIED, K.ALWAYS_ONE_GRADE, K.GRADES_SHUFFLED}),
        (MIXED, MIXED[::-1], {K.GRADE_ODDS}),
        ([0, 1], [1, 0], {K.GRADE_ODDS}),
    ],
)
def test_adversarial_grades(trial, make_table, cylindrical, double, kinds):
    result = study(trial, grades(make_table, cylindrical, double))
    told = {K.ALWAYS_ONE_GRADE, K.GRADES_SHUFFLED, K.GRADES_APART, K.NOT_STUDIED, K.GRADES_ALL_ONE, K.GRADE_ODDS}
    assert {finding.kind for finding in result.said} & told == kinds
    for finding in (*result.said, *result.checks):
        assert not any(bad in say(finding).lower() for bad in ("nan", "warning", "singular", "converge"))


def test_a_type_that_is_always_the_same_is_named_with_its_grade(trial, make_table):
    result = study(trial, grades(make_table, [0], [3]))
    same = {f.about.nozzle: f.facts["grade"] for f in result.said if f.kind == K.ALWAYS_ONE_GRADE}
    (shuffled,) = [f for f in result.said if f.kind == K.GRADES_SHUFFLED]
    assert same == {"cylindrical": 0.0, "double": 3.0}
    assert (shuffled.facts["arrangements"], shuffled.facts["out_of_reach"]) == (8, 0.05)


def test_odds_are_bounded_by_what_few_specimens_know(trial, make_table, monkeypatch):
    # 2 types of 3 specimens leave 4: Student's 2.776 (printed tables), whose square is 7.71 of chi-square
    assert graded.profile_level(4) == pytest.approx(stats.chi2.cdf(2.776**2, 1), abs=2e-5)
    assert graded.profile_level(10**7) == pytest.approx(0.95, abs=1e-6) and graded.profile_level(0) == 0.95
    table = grades(make_table, MIXED, MIXED[::-1])
    (told,) = [f.facts for f in study(trial, table).said if f.kind == K.GRADE_ODDS]
    monkeypatch.setattr(graded, "profile_level", lambda df: 0.95)
    (usual,) = [f.facts for f in study(trial, table).said if f.kind == K.GRADE_ODDS]
    assert told["odds"] == usual["odds"] and told["low"] < usual["low"] < usual["high"] < told["high"]


def test_one_coupon_per_type(trial, make_table):
    result = study(trial, grades(make_table, [0], [1], specimens=1, settings=[(0.7, 1.0)]))
    assert not result.comparisons and "too few" in " ".join(map(say, result.said))


def test_shuffled_p_stands_in_the_table_of_terms(trial, make_table):
    result = study(trial, grades(make_table, MIXED, [0]))
    nozzle = next(t for t in result.terms if t.term == "nozzle")
    # three sheets with one specimen of each type: 8 arrangements, so no p below 1/8 can come out
    assert nozzle.p >= 1 / 8 and nozzle.p_classical is None


def test_chance_of_grades_that_no_model_fits_counts_whole_specimens(trial, make_table):
    table = grades(make_table, [0], [0])
    coupons = table.drop_duplicates("coupon").assign(outcome="cut")
    met = coupons[["coupon", "nozzle", "outcome"]].assign(meets="yes")
    today = Place(PlaceKind.TODAY, (trial.today_settings,))
    rows = chances(trial, {}, today, coupons, met, table)
    assert [row.asked for row in rows] == [Asked("dross", Amount(1.0))] * 2
    assert all(row.rests_on == (Finding(ChanceKind.NO_GRADE_MODEL, facts={"specimens": 3}),) for row in rows)
    # three specimens, all clean: the lower limit of Clopper and Pearson (1934) for 3 of 3 is 0.05^(1/3)
    assert all(row.estimate == 1.0 and row.low == pytest.approx(0.05 ** (1 / 3), abs=1e-12) for row in rows)


@pytest.mark.parametrize(("marks", "count"), [(["a", "b", "b", ""], 2), (["", ""], 1), ([], 1), (["a"], 1)])
def test_specimens_behind_grades_are_those_with_a_mark(marks, count):
    assert graded.specimens_in(pd.DataFrame({"specimen": pd.Series(marks, dtype=object)})) == count


@pytest.mark.parametrize(
    ("counts", "df"), [({"specimen": 7}, 5.0), ({"specimen": 3}, 1.0), ({"specimen": 2}, 1.0), ({}, 1.0)]
)
def test_the_spread_of_specimens_rests_on_those_beyond_one_of_each_type(counts, df):
    assert graded.spread_df(Made(structure=Made(counts=counts), types=("a", "b"))) == df


def test_the_row_of_a_place_is_the_mean_over_its_settings(trial, make_table):
    ready = fit_response(trial, "dross", grades(make_table, MIXED, MIXED[::-1])).ready
    one, other = ({"pressure": 0.5, "standoff": 0.6}, {"pressure": 0.9, "standoff": 1.4})
    rows = [graded.grade_row(ready, "double", Place(PlaceKind.STATED, (at,))) for at in (one, other)]
    both = graded.grade_row(ready, "double", Place(PlaceKind.STATED, (one, other)))
    assert rows[0].shape == both.shape and not np.allclose(rows[0], rows[1])
    np.testing.assert_allclose(both, (rows[0] + rows[1]) / 2.0, rtol=1e-12)


@pytest.mark.parametrize(("cylindrical", "double", "lower"), [(MIXED, [0], True), ([0], MIXED, False)])
def test_grades_that_stand_apart_are_bounded_on_the_near_side(trial, make_table, cylindrical, double, lower):
    said = study(trial, grades(make_table, cylindrical, double)).said
    (apart,) = [finding.facts for finding in said if finding.kind == K.GRADES_APART]
    assert apart["lower"] is lower
    # odds of a worse grade: at most so many where they are zero, at least so many where they are infinite
    assert apart["bound"] is not None and (apart["bound"] < 1.0 if lower else apart["bound"] > 1.0)


@pytest.mark.parametrize(
    ("double", "kind", "at_end"),
    [
        ([1, 2, 3, 2, 1, 2, 3], K.SPREAD_BETWEEN_COUPONS, None),
        ([4, 4, 3, 4, 4], K.SPREAD_NOT_COMPARED, ("double",)),
        ([0, 0, 1, 0, 0], K.SPREAD_NOT_COMPARED, ("double",)),
    ],
)
def test_no_ratio_of_spreads_for_grades_at_the_end_of_the_scale(trial, make_table, double, kind, at_end):
    result = study(trial, grades(make_table, [1, 2, 3, 2, 2, 1, 3, 2], double))
    (found,) = [c for c in result.checks if c.kind in (K.SPREAD_BETWEEN_COUPONS, K.SPREAD_NOT_COMPARED)]
    assert (found.kind, found.facts.get("at_end")) == (kind, at_end)
