"""Chances of a whole requirement: grades that no model fits, and the bound for everything together."""

from types import SimpleNamespace as Made

import numpy as np
import pytest
from scipy.stats import binomtest
from tests_support import TRIAL_TEXT

from trials.decide.chance_result import TOGETHER
from trials.decide.chances import _together, chances
from trials.decide.response import fit_response
from trials.findings import Place, PlaceKind
from trials.infer.chance import ChanceKind, chance, lowest_share
from trials.trial import parse

TODAY = Place(PlaceKind.TODAY, ({"pressure": 0.7, "standoff": 1.0},))


def as_cut(table, lost=()):
    coupons = table.drop_duplicates("coupon")[["coupon", "nozzle", "specimen"]].copy()
    coupons["outcome"] = np.where(coupons["coupon"].isin(lost), "not_severed", "cut")
    grades = coupons.assign(meets="yes")
    return coupons, grades


def grade_table(table, rough):
    """Worst dross grade per coupon: 0, and 3 on the coupons named."""
    out = table.drop_duplicates("coupon").copy()
    return out.assign(value=np.where(out["coupon"].isin(rough), 3.0, 0.0))


def found_for(rows, response):
    return {row.nozzle: row for row in rows if row.asked.response == response}


def coupons_of(table, specimen):
    return list(table.loc[table["specimen"] == specimen, "coupon"].unique())


def test_bound_on_whole_specimens_is_the_exact_one(make_table):
    table = make_table()
    rough, lost = coupons_of(table, "c1")[:2], coupons_of(table, "d0")[:1]
    coupons, grades = as_cut(table, lost)
    kept = table[~table["coupon"].isin(lost)]
    rows = chances(parse(TRIAL_TEXT), {}, TODAY, coupons, grades, grade_table(kept, rough))
    found = found_for(rows, "dross")
    # One specimen of three has rough coupons, one of three lost a cut: two of three meet throughout.
    exact = binomtest(2, 3, alternative="greater").proportion_ci(0.95, "exact").low
    assert found["cylindrical"].low == pytest.approx(exact, abs=1e-9)
    assert found["double"].low == pytest.approx(exact, abs=1e-9)
    assert found["cylindrical"].estimate == pytest.approx(25 / 27)
    assert found["double"].estimate == pytest.approx(26 / 27)


def test_bound_is_nothing_where_every_specimen_has_a_rough_coupon(make_table):
    table = make_table()
    rough = [coupons_of(table, s)[0] for s in ("c0", "c1", "c2")]
    rows = chances(parse(TRIAL_TEXT), {}, TODAY, *as_cut(table), grade_table(table, rough))
    assert found_for(rows, "dross")["cylindrical"].low == 0.0


@pytest.mark.parametrize(("count", "total", "confidence"), [(0, 3, 0.95), (3, 3, 0.95), (5, 9, 0.975), (1, 12, 0.9)])
def test_lowest_share_is_clopper_and_pearson(count, total, confidence):
    want = binomtest(count, total, alternative="greater").proportion_ci(confidence, "exact").low
    assert lowest_share(count, total, confidence) == pytest.approx(want, abs=1e-12)


def test_bound_of_all_together_shares_out_the_error(make_table):
    trial = parse(TRIAL_TEXT.replace("squareness_range = 2, ", ""))
    table = make_table(effect=(-1.0, -1.0))
    studied = {"roughness": fit_response(trial, "roughness", table)}
    rows = chances(trial, studied, TODAY, *as_cut(table), grade_table(table, []))
    whole = found_for(rows, TOGETHER.response)["double"]
    measured = next(r for r in rows if r.nozzle == "double" and r.asked.response == "roughness")
    # Three clean specimens at 97.5 %: 0.025 ** (1 / 3); the measured part at 97.5 % lies below its bound at 95 %.
    clean = 0.025 ** (1 / 3)
    assert 0.0 < whole.low < max(0.0, measured.low + clean - 1.0) + 1e-12
    assert whole.low == pytest.approx(measured_at_half(trial, studied, "double") + clean - 1.0, abs=1e-9)


def measured_at_half(trial, studied, label):
    from trials.decide.chances import _measured, measured_limits, source_of

    source = source_of(studied["roughness"].ready, studied["roughness"].fit)
    part = _measured(trial, source, None, label, TODAY, measured_limits(trial)["roughness"], (27, 0))
    return chance(part.edge, part.rule, 0.975, cuts=27, lost=0).low


def test_limits_at_any_correlation_count_lost_cuts_once(monkeypatch):
    joint = Made(estimate=0.6, low=0.4, rests_on=())  # lost cuts counted
    monkeypatch.setattr("trials.decide.chances.chance_of_all", lambda *args, **counts: joint)
    parts = [Made(row=Made(estimate=chance), edge=None, rule=None) for chance in (0.72, 0.64)]
    found = _together(parts, {}, None, "double", TODAY, 10, 2)
    # 8 of 10 edges were cut: 0.9 and 0.8 of those meet each, so at least 0.7 and at most 0.8 of those meet both
    limits = next(f.facts for f in found.notes if f.kind == ChanceKind.ANY_CORRELATION)
    assert limits == pytest.approx({"least": 0.7 * 0.8, "most": 0.8 * 0.8}, rel=1e-12)
    assert (found.estimate, found.low) == pytest.approx((0.6, 0.4), rel=1e-12)
