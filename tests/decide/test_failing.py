"""Of 100 edges how many fewer fail: the difference of the chances, limits from draws that hold their truth."""

import numpy as np
import pytest

from trials import steps
from trials.decide.failing import Failing, failing, fewer_fail
from trials.decide.response import Studied, fit_response
from trials.decide.study import study
from trials.steps.fit import evidence


@pytest.fixture(scope="module")
def found(example):
    records = steps.load(example("nitrogen_6mm"))
    known = evidence(records)
    result = study(records.trial, known)
    studied = {
        name: made
        for name in records.trial.responses
        if isinstance(made := fit_response(records.trial, name, known.tables[name]), Studied)
    }
    return result, failing(records.trial, studied, result.chances, known.coupons, known.tables["dross"])


def test_no_window_is_made_that_nobody_asked_for(found):
    assert found[0].window is None


def test_draws_say_what_the_chances_say(found):
    result, fails = found
    for each in fails:
        of_all = next(c for c in result.chances if c.nozzle == each.nozzle and not c.asked.response)
        assert each.estimate == pytest.approx(1.0 - of_all.estimate, abs=1e-12)
        assert each.draws.min() >= 0.0 and each.draws.max() <= 1.0
        # the bound beside the chance adds those of dross and of the rest (Bonferroni), so it lies below the joint one
        assert np.quantile(1.0 - each.draws, 0.05) >= of_all.low - 0.01


def test_means_of_types_err_apart(found):
    _, (one, other, _) = found
    # the spreads are shared, the means are not: comonotone draws would be correlated near 1
    assert abs(np.corrcoef(one.draws, other.draws)[0, 1]) < 0.9


def test_the_difference_is_that_of_the_chances(found):
    result, fails = found
    share = {each.nozzle: 100.0 * each.estimate for each in fails}
    assert [each.nozzle for each in result.fewer] == ["conical 2.5", "pointed 2.0"]
    for each in result.fewer:
        assert (each.today, each.with_it) == (share["conical 2.0"], share[each.nozzle])
        assert each.fewer.value == pytest.approx(each.today - each.with_it)
        assert each.fewer.low < each.fewer.value < each.fewer.high


def test_nothing_against_a_type_without_a_chance():
    assert fewer_fail((Failing("a", 0.1, np.full(8, 0.1)),), "today") == ()
