"""One response from readings to words: what is said when the trial is sound, and when it cannot answer."""

import math

import numpy as np
import pytest
from tests_support import TRIAL_TEXT

from trials.decide.response import Studied, fit_response, study_response
from trials.infer.answer import levels
from trials.trial import parse

ALL = [(p, q) for p in (0.5, 0.7, 0.9) for q in (0.6, 1.0, 1.4)]
ALLOWED = {"cylindrical": ALL, "double": ALL}


def study(trial, table, name="roughness", allowed=ALLOWED):
    found = fit_response(trial, name, table)
    return study_response(trial, found, allowed, levels(1)) if isinstance(found, Studied) else found


def said(result):
    return " ".join([*result.said, *result.more, *(c.sentence for c in result.checks), result.rests_on])


def checks(result):
    return {check.name: check for check in result.checks}


def test_a_clear_difference_is_called_better(trial, make_table):
    result = study(trial, make_table(effect=(0.0, -0.5)))
    (comparison,) = result.comparisons
    assert (comparison.nozzle, comparison.against, comparison.kind) == ("double", "cylindrical", "ratio")
    assert comparison.answer == "better"
    assert comparison.answer_adds == "by at least the worthwhile difference"
    assert comparison.low < math.exp(-0.5) < comparison.high
    assert result.rests_on == "6 specimens on 3 sheets; 2 degrees of freedom"


def test_balanced_terms_equal_the_classical_strata(trial, make_table):
    for seed in range(1, 40):
        result = study(trial, make_table(seed=seed, spread=(0.08, 0.08, 0.0, 0.05, 0.04)))
        if min(s.sd for s in result.spread) > 1e-6:
            break
    # design of the project, section 6: a balanced trial with every spread above zero gives exactly the strata tests
    assert result.terms and all(t.strata_F is not None for t in result.terms)
    for term in result.terms:
        assert pytest.approx(term.strata_F, rel=1e-6) == term.F
        assert term.den_df == pytest.approx(term.strata_den_df, rel=1e-6)


def test_a_spread_of_zero_stays_and_is_said(trial, make_table):
    for seed in range(1, 60):
        result = study(trial, make_table(seed=seed, spread=(0.0, 0.0, 0.0, 0.05, 0.04)))
        if any(s.sd < 1e-9 for s in result.spread):
            break
    assert "stays in the reckoning" in said(result)


def test_one_specimen_per_type(trial, make_table):
    bare = study(trial, make_table(specimens=1, sheets=1, effect=(0.0, -0.5)))
    (comparison,) = bare.comparisons
    assert comparison.p is None and math.isnan(comparison.low)
    assert comparison.answer == "not settled" and "nothing above the coupon" in comparison.answer_adds
    assert "these nozzles, not about these types" in said(bare)
    mounted = study(trial, make_table(specimens=1, mounts=3, sheets=3, effect=(0.0, -0.5)))
    assert mounted.comparisons[0].p is not None
    assert "these nozzles, not about these types" in said(mounted)
    assert mounted.rests_on.startswith("6 mounts")


def test_nozzle_tied_to_sheet_is_refused_in_words(trial, make_table):
    table = make_table(sheets=2)
    table["sheet"] = np.where(table["nozzle"] == "double", "S1", "S0")
    result = study(trial, table)
    assert not result.comparisons
    assert "cannot be told apart from the sheets" in said(result)


def test_limits_that_make_regions_differ(trial, make_table):
    table = make_table()
    table = table[~((table["nozzle"] == "double") & (table["pressure_bar"] > 0.6))]
    allowed = {"cylindrical": ALL, "double": [s for s in ALL if s[0] < 0.6]}
    result = study(trial, table, allowed=allowed)
    assert "double did not cut around pressure 0.7 bar" in said(result)
    assert "Left out of the model" in said(result)
    assert all(math.isfinite(x) for c in result.comparisons for x in (c.value, c.low, c.high))


def test_aliased_settings_leave_in_the_order_of_the_plan(trial, make_table):
    result = study(trial, make_table(settings=[(0.5, 0.6), (0.7, 1.0), (0.9, 1.4)] * 2))
    assert "Left out of the model" in said(result) and "not by what the data say" in said(result)
    assert [t.term for t in result.terms][:2] == ["nozzle", "pressure"]


def test_one_type_one_reading_and_too_few(trial, make_table):
    table = make_table()
    single = study(trial, table[table["nozzle"] == "double"])
    assert single.rests_on == "one nozzle type: nothing to compare" and not single.comparisons
    once = study(trial, make_table(readings=1))
    assert "cannot be told apart" in said(once) and once.comparisons[0].p is not None
    assert "too few to study" in said(study(trial, table.head(2)))
    flat = study(trial, table.assign(value=35.0))
    assert "reproduce every reading exactly" in said(flat)


def test_only_two_sheets_are_a_fixed_part(trial, make_table):
    result = study(trial, make_table(specimens=4, sheets=2))
    assert "Only 2 sheets" in said(result)
    assert {s.source for s in result.spread} == {"specimen", "coupon", "reading"}


def test_zero_readings_count_as_half_a_step_and_are_repeated(trial, make_table):
    table = make_table(effect=(0.0, -0.5))
    table.loc[table.index[:2], "value"] = 0.0
    result = study(trial, table)
    assert "2 readings of zero count as half" in said(result)
    assert "zeros at a quarter" in checks(result)


def test_tenfold_slip_is_flagged_and_the_answer_repeated(trial, make_table):
    table = make_table(effect=(0.0, -0.5))
    table.loc[10, "value"] *= 10
    found = checks(study(trial, table))
    assert found["far readings"].flagged and found["far readings"].coupons == (table.loc[10, "coupon"],)
    assert "without the far ones" in found


def test_off_centre_mount_is_named(trial, make_table):
    table = make_table(readings=4)
    leaning = (table["mount"] == "M010") & (table["side"] == "left")
    table.loc[leaning, "value"] *= 1.25
    found = checks(study(trial, table))["centring"]
    assert found.flagged and "mount M010 (cylindrical)" in found.sentence


def test_drift_over_the_order_is_named(trial, make_table):
    table = make_table(spread=(0.02, 0.03, 0.0, 0.03, 0.03))
    table["value"] *= np.exp(0.3 * table["cut_order"] / table["cut_order"].max())
    assert checks(study(trial, table))["drift"].flagged
    assert not checks(study(trial, make_table(spread=(0.02, 0.03, 0.0, 0.03, 0.03))))["drift"].flagged


def test_unequal_spread_is_named(trial, make_table):
    table = make_table(readings=6, seed=4)
    wild = table["nozzle"] == "double"
    rng = np.random.default_rng(2)
    table.loc[wild, "value"] *= np.exp(rng.normal(0, 0.15, wild.sum()))
    found = checks(study(trial, table))["spread along an edge"]
    assert found.flagged and found.nozzles == ("double",)


def test_shuffled_specimens_say_what_is_out_of_reach(trial, make_table):
    found = checks(study(trial, make_table(effect=(0.0, -0.5))))["shuffled specimens"]
    # 3 sheets with one specimen of each of two types: 2^3 = 8 arrangements, so p below 1/4 cannot come out two-sided
    assert "8 arrangements" in found.sentence and "out of reach" in found.sentence


def test_words_do_not_depend_on_row_order_or_unit(trial, make_table):
    table = make_table(effect=(0.0, -0.3))
    first = study(trial, table)
    again = study(trial, table.sample(frac=1.0, random_state=3))
    inches = study(trial, table.assign(value=table["value"] / 0.0254))
    for a, b, c in zip(first.comparisons, again.comparisons, inches.comparisons, strict=True):
        assert (a.value, a.low, a.high) == (b.value, b.low, b.high)
        # a ratio has no unit; the optimiser stops at 1e-10 of the criterion
        assert c.value == pytest.approx(a.value, rel=1e-6) and c.low == pytest.approx(a.low, rel=1e-6)
        assert a.answer == b.answer == c.answer


def test_word_cut_without_being_planned_is_a_level(trial, make_table):
    text = TRIAL_TEXT.replace(
        '[factors.standoff]\nunit = "mm"\nlevels = [0.6, 1.0, 1.4]\ntoday = 1.0',
        '[factors.surface]\nlevels = ["clean", "rusty"]\ntoday = "clean"',
    )
    table = make_table(settings=[(p, q) for p in (0.5, 0.7, 0.9) for q in ("clean", "rusty")])
    table = table.rename(columns={"standoff_mm": "surface"})
    table.loc[table["coupon"] == table["coupon"].iloc[0], "surface"] = "oily"
    both = [(p, q) for p in (0.5, 0.7, 0.9) for q in ("clean", "rusty")]
    result = study(parse(text), table, allowed={"cylindrical": both, "double": both})
    assert result.comparisons and result.comparisons[0].p is not None


def test_sheets_that_look_alike_do_not_flatter_the_test(trial, make_table):
    for seed in range(1, 60):
        result = study(trial, make_table(seed=seed, spread=(0.0, 0.1, 0.0, 0.05, 0.04), specimens=6))
        spread = {s.source: s.sd for s in result.spread}
        if spread["sheet"] < 1e-9 and spread["specimen"] > 1e-3:
            break
    assert "types are compared with each sheet taken out" in said(result)
    nozzle = next(t for t in result.terms if t.term == "nozzle")
    # balanced: exactly the classical test in the specimen stratum, 2 x 6 specimens less 2 types less 2 sheets
    assert nozzle.den_df == pytest.approx(8, rel=1e-6)
    assert pytest.approx(nozzle.strata_F, rel=1e-6) == nozzle.F
