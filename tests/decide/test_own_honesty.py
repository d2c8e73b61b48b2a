"""A trial's own honesty: simulated at its own layout and spreads, counted by the real rule."""

from dataclasses import replace
from types import SimpleNamespace as Made

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t

from trials.decide.evidence import Evidence
from trials.decide.own_honesty import _by_row, _draws, _summary, honesty_of, own_honesty, words_of
from trials.decide.response import fit_response
from trials.findings import Place, PlaceKind
from trials.infer.answer import Answer, Levels
from trials.infer.yardstick import Estimates
from trials.worthwhile import Margins

SETTINGS = [(0.7, 1.0)] * 3


def evidence(table):
    coupons = table.drop_duplicates("coupon").assign(outcome="cut")
    allowed = {"cylindrical": [SETTINGS[0]], "double": [SETTINGS[0]]}
    return Evidence({"roughness": table}, coupons, pd.DataFrame(), allowed)


@pytest.fixture
def small(make_table):
    """Five pieces of each type, three coupons each at one setting, with the spreads of a usual trial."""
    return make_table(specimens=5, sheets=1, settings=SETTINGS, spread=(0.0, 0.12, 0.0, 0.08, 0.05))


def test_the_rule_speaks_wrongly_about_as_often_as_it_says(trial, small, monkeypatch):
    monkeypatch.setattr("trials.decide.own_honesty.TRIALS", 400)
    seen = []
    (found,) = honesty_of(trial, evidence(small), lambda done, of: seen.append((done, of)))
    assert (found.response, found.trials) == ("roughness", 400) and seen[-1] == (400, 400)
    # 5 % by the rule; three standard errors of 400 trials are 3.3 points
    assert 0.0 < found.wrong_at_none < 0.083 and found.wrong_at_worthwhile < 0.083
    (row,) = found.rows
    assert row.nozzle == "double"
    for shares in (row.at_none, row.at_worthwhile):
        assert sum(shares.values()) == pytest.approx(1.0, abs=1e-12)
    assert found.wrong_at_none == pytest.approx(row.at_none[Answer.BETTER] + row.at_none[Answer.WORSE], abs=1e-12)
    assert found.settled_at_worthwhile == row.at_worthwhile[Answer.BETTER] > row.at_none[Answer.BETTER] + 0.1


def test_a_large_trial_that_is_fitted_one_by_one_gets_fewer_trials(trial, small, monkeypatch):
    readings = len(small)
    given = {"TRIALS": 60, "FEWEST": 20, "AT_ONCE": 10, "READINGS": 30 * readings}
    for name, value in given.items():
        monkeypatch.setattr(f"trials.decide.own_honesty.{name}", value)
    assert honesty_of(trial, evidence(small))[0].trials == 60
    monkeypatch.setattr("trials.infer.mixed.cells.MOST_ROWS", 0)
    seen = []
    (found,) = honesty_of(trial, evidence(small), lambda done, of: seen.append((done, of)))
    assert found.trials == 30 and seen == [(10, 30), (20, 30), (30, 30)]
    monkeypatch.setattr("trials.decide.own_honesty.READINGS", 1)
    assert honesty_of(trial, evidence(small))[0].trials == 20


def test_what_was_found_does_not_enter(trial, small):
    moved = small.assign(value=small["value"].where(small["nozzle"] == "cylindrical", small["value"] * 0.5))
    first, second = (honesty_of(trial, evidence(table))[0] for table in (small, moved))
    assert first == second


def test_nothing_is_simulated_where_nothing_gives_words(trial, make_table):
    bare = make_table(specimens=1, sheets=1)
    assert honesty_of(trial, evidence(bare)) == ()
    one_type = make_table()
    studied = fit_response(trial, "roughness", one_type[one_type["nozzle"] == "double"])
    assert own_honesty(studied, None, None, None) is None


def test_words_of_simulated_trials_by_students_t():
    """One contrast on 8 degrees of freedom, standard error 0.1, worthwhile 0.3 down: limits by the t table."""
    wide, narrow = 0.1 * t.ppf(0.975, 8), 0.1 * t.ppf(0.95, 8)
    values = np.array(
        [0.0, narrow - 0.3 + 0.001, narrow - 0.3 - 0.001, 0.3 + wide, -0.301 - wide, 0.3 - narrow + 0.001]
    )
    found = Estimates(values[:, None], np.full((6, 1, 1), 0.01), np.full((6, 1), 8.0))
    words = words_of(found, Levels(0.95, 0.90), Margins(0.3, 0.3))
    b, s, w, o = Answer.BETTER, Answer.SAME, Answer.WORSE, Answer.NOT_SETTLED
    assert words.shape == (6, 2, 1)
    assert words[:, 0, 0].tolist() == [s, s, o, b, w, o]
    # each moved by the 0.3: 0.3, 0.187, 0.185, 0.83, just beyond the other way, and 0.415, against 0.231
    assert words[:, 1, 0].tolist() == [b, o, o, b, w, b]


def test_shares_of_words_by_hand():
    b, s, w, o = Answer.BETTER, Answer.SAME, Answer.WORSE, Answer.NOT_SETTLED
    none = [[o, o], [b, o], [w, b], [s, s], [s, o]]
    worth = [[b, b], [b, o], [s, b], [w, s], [o, o]]
    found = _summary("u", ["x", "y"], np.array([none, worth], dtype=object).transpose(1, 0, 2))
    assert (found.response, found.trials) == ("u", 5)
    # trials in which any word is wrong: two without a difference, two with the worthwhile one
    assert (found.wrong_at_none, found.wrong_at_worthwhile) == (0.4, 0.4)
    assert found.settled_at_none == pytest.approx((2 / 5 + 1 / 5) / 2)
    assert found.settled_at_worthwhile == pytest.approx((2 / 5 + 2 / 5) / 2)
    x, y = found.rows
    assert (x.nozzle, y.nozzle) == ("x", "y")
    assert x.at_none == {b: 0.2, s: 0.4, w: 0.2, o: 0.2} and y.at_worthwhile == {b: 0.4, s: 0.2, w: 0.0, o: 0.4}


def test_readings_are_drawn_at_the_spreads_of_their_own_type():
    table = pd.DataFrame({"nozzle": ["a", "a", "b", "b"]})
    groups = {"specimen": np.array(["s1", "s1", "s2", "s3"], dtype=object)}
    ready = Made(table=table, y=np.zeros(4), structure=Made(groups=groups))
    pooled, own = {"specimen": 0.25, "reading": 1.0}, {"reading of a": 4.0, "reading of b": 9.0}
    assert _by_row(ready, "reading", {**pooled, **own}).tolist() == [4.0, 4.0, 9.0, 9.0]
    assert _by_row(ready, "mount", pooled).tolist() == [0.0] * 4
    for by_type, reading in ((True, [2.0, 2.0, 3.0, 3.0]), (False, [1.0] * 4)):
        judged = Made(by_type=by_type, between=Made(fit=Made(variances=own)))
        draws = _draws(Made(ready=ready, fit=Made(variances=pooled), judged=judged))
        assert draws.n == 4 and draws.spreads["reading"].tolist() == reading
        assert draws.spreads["specimen"].tolist() == [0.5] * 4


def test_a_contrast_is_the_difference_of_the_means_turned_so_that_more_is_better(trial, small, monkeypatch):
    asked = []
    monkeypatch.setattr(
        "trials.decide.own_honesty._words", lambda studied, contrasts, *others: asked.append(contrasts) or np.array([])
    )
    lower = fit_response(trial, "roughness", small)
    upward = replace(lower.ready, quantity=replace(lower.ready.quantity, higher_is_better=True))
    place = Place(PlaceKind.TODAY, (trial.today_settings,))
    for studied in (lower, replace(lower, ready=upward)):
        assert own_honesty(studied, place, Levels(0.95, 0.90), Margins(0.1, 0.1)) is None
    logs = np.log(small["value"]).groupby(small["nozzle"]).mean()
    coefficients = np.linalg.lstsq(lower.ready.fixed, lower.ready.y, rcond=None)[0]
    gap = logs["double"] - logs["cylindrical"]  # as many readings of each, so the least squares are the plain means
    found = [(contrasts @ coefficients).tolist() for contrasts in asked]
    assert found == [[pytest.approx(-gap, rel=1e-9)], [pytest.approx(gap, rel=1e-9)]]
