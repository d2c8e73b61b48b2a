"""Fits without groupings against the certified values of the NIST Statistical Reference Datasets (public domain)."""

import re
from pathlib import Path

import numpy as np
import pytest

from trials.infer.mixed import fit_mixed

HERE = Path(__file__).parent.parent / "reference" / "strd"


def certified_anova(name):
    text = (HERE / f"{name}.dat").read_text()
    start = int(re.search(r"Data\s+\(lines (\d+) to", text).group(1))
    rows = np.array([line.split() for line in text.splitlines()[start - 1 :] if line.strip()], dtype=float)
    between = re.search(r"Between \w+\s+(.*)", text).group(1).split()
    within = re.search(r"Within \w+\s+(.*)", text).group(1).split()
    return rows[:, 0], rows[:, 1], float(between[3]), int(between[0]), float(within[2]), int(within[0])


def digits(got, certified):
    """Number of correct digits, log relative error."""
    return 15.0 if got == certified else -np.log10(abs(got - certified) / abs(certified))


@pytest.mark.parametrize(
    ("name", "f_digits", "spread_digits"),
    [
        # lower level of difficulty: nearly all that double precision holds
        ("SiRstv", 12.5, 12.5),
        ("SmLs01", 14, 14),
        ("SmLs02", 14, 14),
        ("SmLs03", 13.5, 13.5),
        # average level: readings with 7 constant leading digits are stored to 1e-10 of their spread
        ("AtmWtAg", 10, 10),
        ("SmLs04", 10, 10),
        ("SmLs05", 10, 10),
        ("SmLs06", 10, 10),
        # higher level: readings with 13 constant leading digits are stored to 1e-4 of their spread
        ("SmLs07", 4, 4),
        ("SmLs08", 4, 4),
        ("SmLs09", 4, 4),
    ],
)
def test_one_way_analysis_of_variance(name, f_digits, spread_digits):
    treatment, y, certified_f, df, mean_square, within_df = certified_anova(name)
    levels, codes = np.unique(treatment, return_inverse=True)
    coding = np.vstack([np.eye(len(levels) - 1), -np.ones(len(levels) - 1)])
    fit = fit_mixed(y, np.column_stack([np.ones(len(y)), coding[codes]]), {})
    test = fit.test(np.eye(len(levels))[1:])
    assert (test.df, test.den_df) == (df, within_df)
    assert digits(test.F, certified_f) >= f_digits
    assert digits(fit.variances["reading"], mean_square) >= spread_digits


def test_contrasts_of_cell_means_do_not_see_thirteen_leading_digits():
    treatment, y, *_ = certified_anova("SmLs07")
    cells = (treatment[:, None] == np.unique(treatment)).astype(float)
    row = np.array([1.0, -1 / 3, -1 / 3, -1 / 3, 0, 0, 0, 0, 0])  # the weights do not sum to zero in binary
    far, near = fit_mixed(y, cells, {}).estimate(row), fit_mixed(y - 1e12, cells, {}).estimate(row)
    assert digits(far.value, near.value) >= 12
    assert digits(far.se, near.se) >= 12


def test_straight_line_norris_to_twelve_digits():
    rows = (HERE / "Norris.dat").read_text().splitlines()[60:]
    y, x = np.array([r.split() for r in rows if r.strip()], dtype=float).T
    fit = fit_mixed(y, np.column_stack([np.ones(len(y)), x]), {})
    slope, intercept = fit.estimate(np.array([0.0, 1.0])), fit.estimate(np.array([1.0, 0.0]))
    assert digits(intercept.value, -0.262323073774029) >= 12
    assert digits(intercept.se, 0.232818234301152) >= 12
    assert digits(slope.value, 1.00211681802045) >= 12
    assert digits(slope.se, 0.429796848199937e-3) >= 12
    assert digits(np.sqrt(fit.variances["reading"]), 0.884796396144373) >= 12
    test = fit.test(np.array([[0.0, 1.0]]))
    assert digits(test.F, 5436385.54079785) >= 12
    assert test.den_df == 34
