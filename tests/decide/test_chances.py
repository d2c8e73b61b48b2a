"""Each number behind a chance, against the same chance put together by hand from the room below."""

import math

import numpy as np
import pytest

from trials.decide.chance_result import TOGETHER
from trials.decide.chances import TARGET, chances, measured_limits
from trials.decide.measured import mean_rows
from trials.decide.response import Studied, fit_response
from trials.decide.surfaces import chance_alone, known_of
from trials.findings import Place, PlaceKind
from trials.grade.iso9013 import roughness_limit, squareness_limit
from trials.infer.chance import ChanceKind, Rule, chance, estimate_chance, find_source, tolerance_bound

LOST = {"cylindrical": 4, "double": 0}


@pytest.fixture
def cut(trial, make_table):
    """Roughness around 35 um, u around 0.2 mm, dross, the place, coupons with four lost ones, grades."""
    rough = make_table(effect=(0.45, 0.2), seed=4)
    square = make_table(seed=9).assign(value=lambda t: 0.2 + 0.1 * np.log(t["value"] / 35))
    dross = rough.drop_duplicates("coupon").assign(
        value=lambda t: np.resize([0, 1, 2, 1, 0, 1, 1], len(t)).astype(float)
    )
    coupons = rough.drop_duplicates("coupon")[["coupon", "nozzle"]].assign(outcome="cut")
    gone = coupons.groupby("nozzle").head(4).query("nozzle == 'cylindrical'").index
    coupons.loc[gone[:3], "outcome"], coupons.loc[gone[3:], "outcome"] = "not_severed", "aborted"
    grades = coupons.assign(meets=["yes" if i % 3 else "no" for i in range(len(coupons))])
    studied = {}
    for name, table in (("roughness", rough), ("squareness", square), ("dross", dross)):
        keep = table[~table["coupon"].isin(coupons.loc[gone, "coupon"])]
        studied[name] = fit_response(trial, name, keep)
        assert isinstance(studied[name], Studied)
    place = Place(PlaceKind.TODAY, (trial.today_settings,))
    return studied, place, coupons, grades, dross


def by(rows, nozzle, response):
    return next(r for r in rows if r.nozzle == nozzle and r.asked.response == response)


def facts(row, kind):
    return next((f.facts for f in row.notes if f.kind == kind), None)


def test_limits_are_those_of_the_required_ranges(trial):
    found = measured_limits(trial)
    assert found == {
        "squareness": pytest.approx(float(squareness_limit(2, 12.0))),
        "roughness": pytest.approx(float(roughness_limit(2, 12.0))),
    }


@pytest.mark.parametrize("nozzle", ["cylindrical", "double"])
def test_a_measured_requirement_is_the_chance_of_its_own_edge_and_rule(trial, cut, nozzle):
    studied, place, coupons, grades, dross = cut
    rows = chances(trial, studied, place, coupons, grades, dross)
    for name, limit in measured_limits(trial).items():
        ready, fit = studied[name].ready, studied[name].fit
        rule = Rule(math.log(limit) if name == "roughness" else limit, 3, "worst")
        settings = mean_rows(ready, place)[ready.types.index(nozzle)]
        mean = fit.estimate(settings)
        source = find_source(ready.y, ready.fixed, ready.structure.groups, ready.table["nozzle"].to_numpy(object))
        edge = source.edge(settings, nozzle, mean.value, mean.se)
        row = by(rows, nozzle, name)
        share = 1 - LOST[nozzle] / 27
        assert row.estimate == pytest.approx(share * estimate_chance(edge, rule), rel=1e-12)
        assert row.low == pytest.approx(chance(edge, rule, cuts=27, lost=LOST[nozzle]).low, rel=1e-12)
        assert (row.cuts, row.lost) == (27, LOST[nozzle])
        assert row.asked.limit.value == limit and row.place is place
        bound = facts(row, ChanceKind.TOLERANCE)["value"]
        back = math.exp if name == "roughness" else float
        # by the same rule as the chance: the limit at which the bound of edges that are cut through is 90 %
        assert bound.value == pytest.approx(back(tolerance_bound(edge, TARGET, 3, "worst")), rel=1e-12)
        at_bound = Rule(math.log(bound.value) if name == "roughness" else bound.value, 3, "worst")
        # both quantiles lie between two of 8,192 draws
        assert chance(edge, at_bound).low == pytest.approx(TARGET, abs=5e-5)
        assert bound.unit == ready.quantity.unit


def test_lost_cuts_are_a_fact_of_the_type_that_lost_them(trial, cut):
    rows = chances(trial, *cut)
    for row in rows:
        lost = LOST[row.nozzle]
        assert facts(row, ChanceKind.LOST_CUTS) == ({"lost": lost, "cuts": 27} if lost else None)


def test_all_together_multiplies_dross_in_once_and_counts_lost_cuts_once(trial, cut):
    rows = chances(trial, *cut)
    measured_only = chances(trial.model_copy(update={"application": without_dross(trial)}), *cut)
    for nozzle in trial.types:
        share = 1 - LOST[nozzle] / 27
        both, all_ = by(measured_only, nozzle, ""), by(rows, nozzle, "")
        dross = by(rows, nozzle, "dross")
        assert all_.estimate == pytest.approx(both.estimate * dross.estimate / share, rel=1e-12)
        bare = [by(rows, nozzle, name).estimate / share for name in ("squareness", "roughness", "dross")]
        limits = facts(all_, ChanceKind.ANY_CORRELATION)
        assert limits["least"] == pytest.approx(max(0.0, sum(bare) - 2) * share, rel=1e-12)
        assert limits["most"] == pytest.approx(min(bare) * share, rel=1e-12)
        # the joint chance is an average over 512 even points
        assert limits["least"] - 1e-3 <= all_.estimate <= limits["most"] + 1e-3
        assert 0.0 <= all_.low <= all_.estimate and all_.low <= dross.low


def without_dross(trial):
    required = trial.application.required.model_copy(update={"dross_grade": None})
    return trial.application.model_copy(update={"required": required})


def test_beside_all_together_stands_the_share_that_met_everything(trial, cut):
    rows, grades = chances(trial, *cut), cut[3]
    for row in rows:
        own = grades[grades["nozzle"] == row.nozzle]
        if row.asked == TOGETHER:
            assert (row.share_met, row.n_coupons) == (pytest.approx((own["meets"] == "yes").mean()), 27)
        else:
            assert (row.share_met, row.n_coupons) == (None, 0)


def test_a_flagged_reading_is_left_out_beside_the_chance_and_not_in_it(trial, cut):
    studied, place, coupons, grades, dross = cut
    raw = studied["roughness"].ready.table.copy()
    slip = raw.index[raw["nozzle"] == "double"][1]
    raw.loc[slip, "value"] *= 3.0
    slipped = {"roughness": fit_response(trial, "roughness", raw)}
    plain = {"roughness": fit_response(trial, "roughness", raw.drop(slip))}
    asked = by(chances(trial, slipped, place, coupons, grades), "double", "roughness")
    clean = by(chances(trial, plain, place, coupons, grades), "double", "roughness")
    beside = facts(asked, ChanceKind.WITHOUT_FLAGGED)
    assert beside["estimate"] == pytest.approx(clean.estimate, rel=1e-9)
    assert beside["low"] == pytest.approx(clean.low, rel=1e-9)
    assert asked.estimate < clean.estimate
    other = by(chances(trial, slipped, place, coupons, grades), "cylindrical", "roughness")
    assert facts(other, ChanceKind.WITHOUT_FLAGGED) is None


def test_what_more_specimens_would_show_starts_from_those_of_a_type(trial, cut):
    rows = chances(trial, *cut)
    found = [facts(row, ChanceKind.REACH) for row in rows]
    reached = [one for one in found if one]
    assert reached and all(one["specimens"] == 3 and one["target"] == TARGET for one in reached)
    for row, one in zip(rows, found, strict=True):
        if one and row.lost == 0:
            assert (one["needed"] is None) == (row.estimate <= TARGET or one["more_than"] is not None)


def test_the_spread_is_said_to_be_of_the_type_or_pooled(trial, cut):
    rows = chances(trial, *cut)
    said = [f.facts for row in rows for f in row.rests_on if f.kind == ChanceKind.SPREAD_OF_TYPE]
    assert said == [{"by_type": True}] * 4


@pytest.mark.parametrize("asked", [("squareness", "roughness", "dross"), ("squareness", "roughness"), ("roughness",)])
def test_the_window_gives_the_same_chance_at_one_setting(trial, cut, asked):
    studied, place, coupons, grades, dross = cut
    if "dross" not in asked:
        trial = trial.model_copy(update={"application": without_dross(trial)})
    studied = {name: studied[name] for name in asked}
    rows = chances(trial, studied, place, coupons, grades, dross)
    known = known_of(trial, studied, coupons, dross)
    row = by(rows, "cylindrical", "" if len(asked) > 1 else asked[0])  # the type that lost four cuts
    assert chance_alone(known, "cylindrical", trial.today_settings) == pytest.approx((row.estimate, row.low), rel=1e-9)


def test_the_window_gives_the_same_chance_of_a_grade_alone(trial, cut):
    _, place, coupons, grades, dross = cut
    required = trial.application.required.model_copy(update={"squareness_range": None, "roughness_range": None})
    trial = trial.model_copy(update={"application": trial.application.model_copy(update={"required": required})})
    studied = {"dross": cut[0]["dross"]}
    rows, known = chances(trial, studied, place, coupons, grades, dross), known_of(trial, studied, coupons, dross)
    for nozzle in trial.types:
        row = by(rows, nozzle, "dross")
        assert chance_alone(known, nozzle, trial.today_settings) == pytest.approx((row.estimate, row.low), rel=1e-9)
