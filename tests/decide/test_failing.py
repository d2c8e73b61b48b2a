"""Of 100 edges how many fewer fail: the difference of the chances, limits from draws that hold their truth."""

import math

import numpy as np
import pandas as pd
import pytest

from trials import steps
from trials.decide.chance_result import TOGETHER, Asked, ChanceResult
from trials.decide.chances import measured_limits, source_of
from trials.decide.failing import DRAWS, SEED, Failing, chance_of_everything, failing, fewer_fail
from trials.decide.response import Studied, fit_response
from trials.decide.study import study
from trials.findings import Place, PlaceKind
from trials.infer.chance import Rule, beta_draws, draws, edge_chance, edge_draws, even_normals
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
    basis = records.trial, studied, result.chances, known.coupons, known.tables["dross"]
    return result, failing(*basis), basis


def test_no_window_is_made_that_nobody_asked_for(found):
    assert found[0].window is None


def test_draws_say_what_the_chances_say(found):
    result, fails, _ = found
    for each in fails:
        of_all = next(c for c in result.chances if c.nozzle == each.nozzle and not c.asked.response)
        assert each.estimate == pytest.approx(1.0 - of_all.estimate, abs=1e-12)
        assert each.draws.min() >= 0.0 and each.draws.max() <= 1.0
        # the bound beside the chance adds those of dross and of the rest (Bonferroni), so it lies below the joint one
        assert np.quantile(1.0 - each.draws, 0.05) >= of_all.low - 0.01


def test_limits_of_the_difference_are_those_of_plain_random_numbers(found, monkeypatch):
    """Means that err apart, spreads that are shared: as with random numbers in the place of even points."""
    _, fails, basis = found
    even = draws._points

    def of_chance(dimensions, power, seed):
        if seed == SEED + 1:  # edges that every draw averages over
            return even(dimensions, power, seed)
        return np.random.default_rng([seed, dimensions]).random((2**power, dimensions))

    monkeypatch.setattr(draws, "_points", of_chance)
    monkeypatch.setattr("trials.decide.failing.DRAWS", 16_384)
    for kept in (draws.even_normals, draws.chi_square_draws):
        kept.cache_clear()
    plain = failing(*basis)
    for kept in (draws.even_normals, draws.chi_square_draws):
        kept.cache_clear()
    for ours, theirs in zip(fewer_fail(fails, "conical 2.0"), fewer_fail(plain, "conical 2.0"), strict=True):
        # limits at 2.5 % of 4,096 draws err by about 1 of 100 where 95 % span 84
        assert (ours.fewer.low, ours.fewer.high) == pytest.approx((theirs.fewer.low, theirs.fewer.high), abs=3.0)


def test_the_difference_is_that_of_the_chances(found):
    result, fails, _ = found
    share = {each.nozzle: 100.0 * each.estimate for each in fails}
    assert [each.nozzle for each in result.fewer] == ["conical 2.5", "pointed 2.0"]
    for each in result.fewer:
        assert (each.today, each.with_it) == (share["conical 2.0"], share[each.nozzle])
        assert each.fewer.value == pytest.approx(each.today - each.with_it)
        assert each.fewer.low < each.fewer.value < each.fewer.high


def test_nothing_against_a_type_without_a_chance():
    assert fewer_fail((Failing("a", 0.1, np.full(8, 0.1)),), "today") == ()


PLACE = Place(PlaceKind.TODAY, ({"pressure": 0.7, "standoff": 1.0},), {"pressure": "bar", "standoff": "mm"})


def without(trial, *names):
    required = trial.application.required.model_copy(update=dict.fromkeys(names))
    return trial.model_copy(update={"application": trial.application.model_copy(update={"required": required})})


def as_cut(table, lost=()):
    """Coupons as tried: those of the table, and lost ones by (nozzle, specimen)."""
    coupons = table.drop_duplicates("coupon").assign(outcome="cut")[["coupon", "nozzle", "specimen", "outcome"]]
    gone = [{"coupon": f"lost {i}", "nozzle": n, "specimen": s, "outcome": "aborted"} for i, (n, s) in enumerate(lost)]
    return pd.concat([coupons, pd.DataFrame(gone, columns=coupons.columns)], ignore_index=True)


def test_one_measured_requirement_by_hand(trial, make_table):
    trial = without(trial, "squareness_range", "dross_grade")
    studied = {"roughness": fit_response(trial, "roughness", table := make_table(effect=(0.45, 0.2)))}
    coupons = as_cut(table, [("double", "d0"), ("double", "d1")])
    chances = [ChanceResult(label, Asked("roughness"), PLACE, 0.8, 0.6) for label in trial.types]
    found = failing(trial, studied, chances, coupons, table.assign(value=3.0))  # grades that nobody requires
    source = source_of(studied["roughness"].ready, studied["roughness"].fit)
    rule = Rule(math.log(measured_limits(trial)["roughness"]), 3, "worst")
    for k, (label, lost) in enumerate([("cylindrical", 0), ("double", 2)]):
        seed = 1_000 * (k + 1)
        kept = beta_draws(27.5, lost + 0.5, even_normals(2, DRAWS, 202 + seed)[:, 0])
        meets = edge_chance(*edge_draws(source.edge(label, PLACE), DRAWS, 0, seed), rule)
        assert (found[k].nozzle, found[k].estimate) == (label, pytest.approx(0.2))
        assert found[k].draws == pytest.approx(1.0 - kept * meets, rel=1e-12)
        assert 0.05 < meets.mean() < 0.95


def test_grades_without_a_model_by_hand(trial, make_table):
    """Every coupon meets but two of c0, and d1 lost one: two of three specimens of either type, Jeffreys' draws."""
    trial = without(trial, "squareness_range", "roughness_range")
    table = make_table(readings=1).assign(value=0.0)
    table.loc[table.index[table["specimen"] == "c0"][:2], "value"] = 2.0
    coupons = as_cut(table, [("double", "d1")])
    chances = [ChanceResult(label, TOGETHER, PLACE, 0.9, 0.5) for label in trial.types]
    found = failing(trial, {}, chances, coupons, table)
    for k, cut in enumerate((27.5, 27.5)):
        seed = 1_000 * (k + 1)
        met = beta_draws(2.5, 1.5, even_normals(2, DRAWS, 101 + seed)[:, 0])
        kept = beta_draws(cut, k + 0.5, even_normals(2, DRAWS, 202 + seed)[:, 0])
        assert found[k].draws == pytest.approx(1.0 - met * kept, rel=1e-12)
    # with no coupon on record nothing is known of losses
    (alone,) = failing(trial, {}, chances[:1], coupons[:0], table)
    assert alone.draws == pytest.approx(1.0 - beta_draws(2.5, 1.5, even_normals(2, DRAWS, 1101)[:, 0]), rel=1e-12)


def test_the_chance_of_everything_is_that_of_all_together_or_the_only_one():
    one, other = (ChanceResult("a", Asked(name), PLACE, 0.8, 0.6) for name in ("roughness", "dross"))
    whole = ChanceResult("a", TOGETHER, PLACE, 0.7, 0.5)
    assert chance_of_everything([one, other, whole], "a") is whole
    assert chance_of_everything([one], "a") is one and chance_of_everything([one, other], "a") is None
    assert chance_of_everything([whole], "b") is None


def test_fewer_of_a_hundred_with_limits_of_the_draws():
    # today's draws run evenly from 0.4 to 0.8, the other type's are all 0.3: 10 to 50 fewer, 95 % of it 11 to 49
    today, other = Failing("p", 0.6, np.linspace(0.4, 0.8, 1001)), Failing("d", 0.25, np.full(1001, 0.3))
    (found,) = fewer_fail((other, today), "p")
    assert (found.nozzle, found.today, found.with_it) == ("d", 60.0, 25.0)
    assert (found.fewer.value, found.fewer.low, found.fewer.high) == pytest.approx((35.0, 11.0, 49.0), rel=1e-12)
