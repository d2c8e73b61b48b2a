"""Measurement studies against published data and hand-worked cases."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trials.bench.gauge import coupons_to_see, measurement_study, reference_bias, remeasured
from trials.bench.kinds import BenchKind as K
from trials.errors import InputError, NotFinite, NotIdentifiable, WrongShape
from trials.findings import Finding

DATA = Path(__file__).parents[1] / "reference" / "bench"


def lawson():
    table = pd.read_csv(DATA / "lawson_gage_rr.csv")
    return table["y"], table["part"], table["oper"]


def flights():
    table = pd.read_csv(DATA / "sixsigma_rr_3x3x3.csv")
    return table["time1"], table["prototype"], table["operator"]


def by_source(rows):
    return {row.source: row for row in rows}


@pytest.mark.parametrize(
    ("data", "squares", "variances", "digits"),
    [
        # R 4.2.2, aov and expected mean squares, printed to 8 and 6 digits
        (
            lawson,
            {"coupon": 1.448915, "inspector": 0.02970333, "coupon x inspector": 0.48393, "repeat": 0.02255},
            {"coupon": 0.02235093, "inspector": -0.00060167, "coupon x inspector": 0.01306667, "repeat": 0.00075167},
            1.02e-8,
        ),
        (
            flights,
            {"coupon": 1.200719, "inspector": 0.052941, "coupon x inspector": 0.083393, "repeat": 0.3854},
            {"coupon": 0.06439, "inspector": 0.000625, "coupon x inspector": -0.000188, "repeat": 0.021411},
            1.02e-6,
        ),
    ],
    ids=["10 x 3 x 2", "3 x 3 x 3"],
)
def test_crossed_studies_to_the_printed_digits(data, squares, variances, digits):
    study = measurement_study(*data())
    assert study.design == "crossed"
    assert {row.source: row.sum_of_squares for row in study.table} == pytest.approx(squares, abs=digits)
    found = {spread.source: spread.estimate for spread in study.spreads if spread.source in variances}
    assert found == pytest.approx(variances, abs=digits)


@pytest.mark.parametrize(
    ("material", "s_r", "s_R"),
    # A, D, E: figures of ASTM E691; B, C: R 4.2.2 from the packaged copy
    [
        ("A", 1.0632, 1.0632),
        ("B", 1.4961, 1.4961),
        ("C", 2.7509, 3.4789),
        ("D", 2.6251, 3.3657),
        ("E", 3.9350, 4.1923),
    ],
)
def test_one_way_study_to_the_printed_digits(material, s_r, s_R):
    """Eight laboratories with three readings each stand for the coupons of one inspector."""
    rows = pd.read_csv(DATA / "e691_glucose.csv").query("Material == @material")
    study = measurement_study(rows["Glucose"], rows["Laboratory"])
    # four decimals printed; the standard's own are rounded from rounded sums, hence two units of the last
    assert study.repeatability.sd == pytest.approx(s_r, abs=2e-4)
    assert np.hypot(study.coupon.sd, study.repeatability.sd) == pytest.approx(s_R, abs=2e-4)


def test_negative_parts_count_as_zero_and_it_says_so():
    study = measurement_study(*lawson())
    parts = by_source(study.spreads)
    assert parts["inspector"].sd == 0.0
    below = [finding.about.source for finding in study.findings if finding.kind == K.BELOW_ZERO]
    assert below == ["inspector"]
    assert study.bench.sd**2 == pytest.approx(0.0130666667 + 0.0007516667, abs=1e-9)
    assert study.expanded == pytest.approx(2 * study.bench.sd, rel=1e-12)


def test_shares_and_what_the_bench_can_see():
    study = measurement_study(*lawson(), limit=0.5, trial_sd=0.3, worthwhile=0.1)
    assert study.share_of_limit == pytest.approx(study.expanded / 0.5, rel=1e-12)
    assert study.share_of_spread == pytest.approx((study.bench.sd / 0.3) ** 2, rel=1e-12)
    # 2 (0.2351 / 0.1)^2 = 11.05
    assert study.findings[-1] == Finding(K.NEEDS_COUPONS, facts={"coupons": 12})
    assert [(f.kind, f.facts["share"]) for f in study.findings[-3:-1]] == [
        (K.SHARE_OF_LIMIT, study.share_of_limit),
        (K.SHARE_OF_SPREAD, study.share_of_spread),
    ]
    assert study.findings[0] == Finding(K.READING_UNCERTAIN, facts={"expanded": study.expanded, "unit": ""})
    sharp = measurement_study(*lawson(), worthwhile=0.4)
    assert sharp.findings[-1].kind == K.SEES_WORTHWHILE
    assert (sharp.share_of_limit, sharp.share_of_spread) == (None, None)


def test_row_order_and_labels_do_not_matter():
    y, part, oper = lawson()
    order = np.random.default_rng(1).permutation(len(y))
    renamed = part.map(lambda p: f"K{97 - p}")
    base, other = measurement_study(y, part, oper), measurement_study(y[order], renamed[order], oper[order])
    for one, two in zip(base.spreads, other.spreads, strict=True):
        assert one.source == two.source
        assert two.estimate == pytest.approx(one.estimate, rel=1e-9)
        assert (two.low, two.high) == pytest.approx((one.low, one.high), rel=1e-9)


def test_interval_of_repeatability_is_the_chi_square_one():
    repeat = measurement_study(*lawson()).repeatability
    # 0.02255 over the chi-square quantiles 46.97924 and 16.79077 at 30 df (R 4.2.2, qchisq)
    assert repeat.low**2 == pytest.approx(0.02255 / 46.97924, rel=1e-6)
    assert repeat.high**2 == pytest.approx(0.02255 / 16.79077, rel=1e-6)


def test_nested_study_by_hand():
    """Two inspectors with two coupons each, measured twice: mean squares 32, 4 and 0.5 worked on paper."""
    y = [9.5, 10.5, 11.5, 12.5, 13.5, 14.5, 15.5, 16.5]
    coupon = ["a", "a", "b", "b", "c", "c", "d", "d"]
    study = measurement_study(y, coupon, ["I"] * 4 + ["J"] * 4)
    assert study.design == "nested"
    assert [row.mean_square for row in study.table] == pytest.approx([32.0, 4.0, 0.5], rel=1e-12)
    found = {s.source: s.estimate for s in study.spreads}
    assert found == pytest.approx(
        {"inspector": 7.0, "coupon": 1.75, "repeat": 0.5, "reproducibility": 7.0, "bench": 7.5}, rel=1e-12
    )


def test_nested_study_may_reuse_coupon_numbers_only_if_they_are_the_same_coupon():
    y = [9.5, 10.5, 11.5, 12.5, 13.5, 14.5, 15.5, 16.5]
    study = measurement_study(y, [1, 1, 2, 2, 1, 1, 2, 2], ["I"] * 4 + ["J"] * 4)
    assert study.design == "crossed"


def test_one_inspector_has_no_reproducibility_and_says_so():
    study = measurement_study([1.0, 1.2, 2.0, 2.2, 3.0, 3.2], [1, 1, 2, 2, 3, 3])
    assert study.design == "one inspector"
    assert study.reproducibility is None
    # pairs 0.2 apart: variance 0.02
    assert study.repeatability.estimate == pytest.approx(0.02, rel=1e-9)
    assert study.bench.sd == study.repeatability.sd
    assert [finding.kind for finding in study.findings] == [K.READING_UNCERTAIN, K.ONE_INSPECTOR]


def test_unequal_counts_go_by_likelihood_and_agree_with_the_balanced_case():
    """Where all parts are above zero, restricted likelihood on a balanced table gives the analysis of variance."""
    from trials.bench.variance_likelihood import by_likelihood

    rng = np.random.default_rng(7)
    coupon, inspector = np.repeat(np.arange(12), 6), np.tile(np.repeat(np.arange(3), 2), 12)
    y = rng.normal(0, 3, 12)[coupon] + np.array([-1.5, 0, 1.5])[inspector]
    y = y + rng.normal(0, 1, (12, 3))[coupon, inspector] + rng.normal(0, 0.4, 72)
    balanced = by_source(measurement_study(y, coupon, inspector).spreads)
    assert min(spread.estimate for spread in balanced.values()) > 0
    likelihood = by_source(by_likelihood(y, coupon, inspector, inspector * 12 + coupon, 0.95))
    for name, spread in likelihood.items():
        # the search stops at about 1e-5 of a variance
        assert spread.estimate == pytest.approx(balanced[name].estimate, rel=1e-3), name
    fewer = measurement_study(y[5:], coupon[5:], inspector[5:])
    assert fewer.design == "unequal counts"
    assert fewer.bench.low is None
    assert fewer.repeatability.low < fewer.repeatability.sd < fewer.repeatability.high
    assert fewer.bench.sd == pytest.approx(balanced["bench"].sd, rel=0.1)


def test_once_each_by_two_inspectors():
    """Mean squares worked on paper: with coupon and inspector taken out, what is left counts as repeatability."""
    table = np.array([[10.0, 11.1], [12.2, 13.0], [14.0, 15.3], [17.0, 17.8], [15.0, 16.0]])
    coupon, inspector = (part.ravel() for part in np.indices(table.shape))
    study = measurement_study(table.ravel(), coupon, inspector)
    left = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + table.mean()
    residual = float(np.sum(left**2)) / 4
    by_inspector = 5 * float(np.var(table.mean(axis=0), ddof=1))
    assert study.design == "once each"
    # the search stops at about 1e-5 of a variance
    assert study.repeatability.estimate == pytest.approx(residual, rel=1e-3)
    assert study.reproducibility.estimate == pytest.approx((by_inspector - residual) / 5, rel=1e-3)
    # chi-square quantiles 11.14329 and 0.48442 at 4 df (R 4.2.2, qchisq)
    bounds = [study.repeatability.low**2, study.repeatability.high**2]
    assert bounds == pytest.approx([4 * residual / 11.14329, 4 * residual / 0.48442], rel=1e-5)
    assert [f.kind for f in study.findings[:3]] == [K.READING_UNCERTAIN, K.UNEQUAL_COUNTS, K.NOBODY_TWICE]


def test_places_of_a_trial_that_were_measured_again():
    readings = pd.DataFrame(
        {
            "coupon": ["A", "A", "A", "B", "B", "C"],
            "reading": [1, 2, 1, 1, 1, 1],
            "repeat": [0, 0, 1, None, 1, 0],
            "value": [10.0, 12.0, 10.4, 8.0, 8.2, 9.0],
            "inspector": ["I", "I", "J", "I", None, "I"],
        }
    )
    values, places, inspectors = remeasured(readings)
    assert values.tolist() == [10.0, 10.4, 8.0, 8.2]
    assert places.tolist() == ["A, reading 1"] * 2 + ["B, reading 1"] * 2
    assert inspectors.tolist() == ["I", "J", "I", ""]
    study = measurement_study(*remeasured(readings.drop(columns="inspector")))
    # by hand: pairs 0.4 and 0.2 apart, (0.08 + 0.02) / 2
    assert (study.design, study.repeatability.estimate) == ("one inspector", pytest.approx(0.05, rel=1e-9))
    with pytest.raises(NotIdentifiable, match="No reading was measured again"):
        remeasured(readings.iloc[[0, 1, 3]])


def test_bias_against_a_reference_piece():
    found = reference_bias([3.02, 3.03, 3.01], 3.0, reference_expanded=0.01)
    # by hand: mean 3.02, s / sqrt 3 = 0.0057735, t(0.975; 2) = 4.302653
    assert found.value == pytest.approx(0.02, rel=1e-9)
    assert found.high - found.value == pytest.approx(4.302653 * 0.00577350, rel=1e-6)
    assert found.standard_uncertainty == pytest.approx(np.hypot(0.00577350, 0.005), rel=1e-6)
    assert found.finding == Finding(K.BIAS_WITHIN, facts={"bias": found.value, "readings": 3, "unit": ""})
    assert reference_bias([3.2, 3.21, 3.2], 3.0).finding.kind == K.BIAS_BEYOND
    # the interval reaches 0.0248 either way; the certificate's 0.01 joins it
    assert [reference_bias([3.04, 3.05, 3.03], 3.0, u).beyond for u in (0.01, 0.02)] == [True, False]


def test_expanded_uncertainty_takes_in_bias_and_levelling():
    bias = reference_bias([3.02, 3.03, 3.01], 3.0, reference_expanded=0.01)
    study = measurement_study(*lawson(), bias=bias, other_standard_uncertainty=0.03)
    parts = study.bench.sd**2 + bias.standard_uncertainty**2 + 0.03**2
    assert study.expanded == pytest.approx(2 * np.sqrt(parts) + 0.02, rel=1e-9)


@pytest.mark.parametrize(("difference", "expanded", "n"), [(1.0, 0.7, 1), (1.0, 1.0, 2), (1.0, 2.0, 8), (1.0, 0.0, 1)])
def test_coupons_to_see(difference, expanded, n):
    assert coupons_to_see(difference, expanded) == n


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: measurement_study([1, np.nan], [1, 1]), NotFinite, "Reading 2 of the study"),
        (lambda: measurement_study([1, 2], [1]), WrongShape, "give one of each per row"),
        (lambda: measurement_study([1, 2], [1, 1]), NotIdentifiable, "one coupon; measure two"),
        (lambda: measurement_study([1, 2], [1, 2]), NotIdentifiable, "No coupon was measured twice"),
        (lambda: reference_bias([1.0], 1.0), WrongShape, "2 readings or more"),
        (lambda: reference_bias([1.0, np.nan], 1.0), NotFinite, "correct it"),
        (lambda: coupons_to_see(0.0, 1.0), InputError, "not a difference; found 0.0"),
    ],
)
def test_bad_input(call, error, message):
    with pytest.raises(error, match=message):
        call()
