"""A trial's own honesty: simulated at its own layout and spreads, counted by the real rule."""

import pandas as pd
import pytest

from trials.decide.evidence import Evidence
from trials.decide.own_honesty import honesty_of, own_honesty
from trials.decide.response import fit_response
from trials.infer.answer import Answer

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
