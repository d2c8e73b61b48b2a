"""Printed and recomputed examples: split plots, nested and crossed components, blocks, a full factorial.

Sources stand in tests/reference/mixed/SOURCES.md; tolerances are half a unit of the last printed digit, or what a
second program's own stopping rule allows.
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trials.infer.mixed import fit_mixed
from trials.infer.strata import strata_tests

HERE = Path(__file__).parent.parent / "reference" / "mixed"


def table(name):
    return pd.read_csv(HERE / f"{name}.csv")


def coded(values):
    """Sum-to-zero columns of a class."""
    levels, codes = np.unique(np.asarray(values), return_inverse=True)
    return np.vstack([np.eye(len(levels) - 1), -np.ones(len(levels) - 1)])[codes]


def crossed(a, b):
    return np.einsum("na,nb->nab", a, b).reshape(len(a), -1)


def model(*blocks):
    """Fixed matrix with a constant, and for each block the contrast rows that test it."""
    n = len(blocks[0])
    blocks = [b.reshape(n, -1) for b in blocks]
    owner = np.repeat(np.arange(-1, len(blocks)), [1] + [b.shape[1] for b in blocks])
    return np.hstack([np.ones((n, 1)), *blocks]), [np.eye(len(owner))[owner == i] for i in range(len(blocks))]


def close(got, expected, tolerance):
    assert abs(got - expected) <= tolerance, f"{got} against {expected}"


def test_crossed_sheets_against_r():
    """Five components, sheets crossing specimens, unequal numbers: pbkrtest's figures to its optimiser's six digits."""
    d, expected = table("crossed_sheets"), json.loads((HERE / "crossed_sheets.json").read_text())
    kind, x = coded(d["type"]), (d["pressure_bar"].to_numpy() - 0.7) / 0.2
    fixed, rows = model(kind, x, x**2, crossed(x[:, None], kind))
    fit = fit_mixed(np.log(d["rz5_um"]), fixed, {g: d[g] for g in ("coupon", "mount", "specimen", "sheet")})
    close(fit.reml_criterion, expected["reml_criterion"], 1e-8)
    total = sum(expected["variances"].values())
    for name, value in expected["variances"].items():
        close(fit.variances[name], value, 2e-5 * total)
    for j in range(9):
        got = fit.estimate(np.eye(9)[j])
        close(got.value, expected["estimate"][j], 1e-5 * expected["se"][j])
        assert got.se == pytest.approx(expected["se"][j], rel=1e-5)
        assert got.df == pytest.approx(expected["df"][j], rel=1e-4)
    assert np.diagonal(fit.covariance_unadjusted) ** 0.5 == pytest.approx(expected["se_unadjusted"], rel=1e-5)
    for contrast, test in zip(rows, expected["tests"].values(), strict=True):
        got = fit.test(contrast)
        assert got.df == test["df"]
        assert (got.F, got.den_df, got.p) == pytest.approx((test["F"], test["den_df"], test["p"]), rel=1e-4)


def test_oats_split_plot():
    d = table("yates_oats")
    variety, nitrogen = coded(d["V"]), coded(d["N"])
    plots = d["B"] + d["V"]
    fixed, rows = model(variety, nitrogen, crossed(variety, nitrogen))
    fit = fit_mixed(d["Y"], fixed, {"block": d["B"], "plot": plots})
    v, n = fit.test(rows[0]), fit.test(rows[1])
    close(v.F, 1.485340379, 1e-6)
    close(n.F, 37.68564706, 1e-5)
    assert (v.den_df, n.den_df) == pytest.approx((10, 45), rel=1e-6)
    terms = {"variety": variety, "nitrogen": nitrogen, "both": crossed(variety, nitrogen)}
    found = strata_tests(d["Y"], terms, {"block": d["B"], "plot": plots})
    left = {s.name: s.mean_square * s.df for s in found.strata}
    assert left == pytest.approx({"block": 15875.27778, "plot": 6013.305556, "reading": 7968.75}, rel=1e-8)
    sums = {name: t.F * t.df * left[t.stratum] / t.den_df for name, t in found.tests.items()}
    assert sums == pytest.approx({"variety": 1786.361111, "nitrogen": 20020.5, "both": 321.75}, rel=1e-8)


def test_oats_straight_line_in_nitrogen():
    d = table("yates_oats")
    rate = d["N"].str.removesuffix("cwt").astype(float).to_numpy()
    fit = fit_mixed(d["Y"], model(rate)[0], {"block": d["B"], "plot": d["B"] + d["V"]})
    sd = {k: np.sqrt(v) for k, v in fit.variances.items()}
    close(sd["block"], 14.5059829, 1e-4)
    close(sd["plot"], 11.00467454, 1e-4)
    close(sd["reading"], 12.86695881, 1e-5)
    slope = fit.estimate(np.array([0.0, 1.0]))
    close(slope.value, 73.66666667, 1e-6)
    close(slope.se, 6.781482734, 1e-5)


def test_dyestuff_batches():
    d = table("dyestuff")
    fit = fit_mixed(d["Yield"], np.ones((30, 1)), {"batch": d["Batch"]})
    close(fit.variances["batch"], 1764.05, 1e-3)
    close(fit.variances["reading"], 2451.25, 1e-3)
    close(fit.reml_criterion, 319.6542768, 1e-6)
    fixed, rows = model(coded(d["Batch"]))
    close(fit_mixed(d["Yield"], fixed, {}).test(rows[0]).F, 4.598266191, 1e-8)


def test_pastes_nested():
    d = table("pastes")
    fit = fit_mixed(d["strength"], np.ones((60, 1)), {"batch": d["batch"], "cask": d["sample"]})
    close(fit.variances["cask"], 8.433665931, 1e-4)
    close(fit.variances["batch"], 1.657310912, 1e-4)
    close(fit.variances["reading"], 0.678, 1e-6)
    close(fit.reml_criterion, 246.9907459, 1e-6)


def test_ergometer_stools_in_random_blocks():
    d = table("ergostool")
    fixed, rows = model(coded(d["Type"]))
    fit = fit_mixed(d["effort"], fixed, {"subject": d["Subject"]})
    close(np.sqrt(fit.variances["subject"]), 1.332465, 1e-6)
    close(np.sqrt(fit.variances["reading"]), 1.100294572, 1e-7)
    got = fit.test(rows[0])
    close(got.F, 22.35564058, 1e-6)
    assert got.den_df == pytest.approx(24, rel=1e-6)
    # the printed -60.57 belongs to treatment coding; the criterion moves with the log determinant of the coding
    treatment = np.column_stack([np.ones(36), *(d["Type"] == t for t in ("T2", "T3", "T4"))]).astype(float)
    close(fit_mixed(d["effort"], treatment, {"subject": d["Subject"]}).reml_criterion / -2, -60.56539435, 1e-5)


def test_rails():
    d = table("rail")
    fit = fit_mixed(d["travel"], np.ones((18, 1)), {"rail": d["Rail"]})
    close(np.sqrt(fit.variances["rail"]), 24.80546531, 1e-4)
    close(np.sqrt(fit.variances["reading"]), 4.020779363, 1e-6)
    close(fit.coefficients[0], 66.5, 1e-10)
    close(fit.reml_criterion / -2, -61.0885004, 1e-5)


def test_penicillin_blocks():
    d = table("bhh_penicillin_rcbd")
    fixed, rows = model(coded(d["blend"]), coded(d["treat"]))
    fit = fit_mixed(d["yield"], fixed, {})
    blends, treatments = fit.test(rows[0]), fit.test(rows[1])
    error = fit.variances["reading"]
    sums = [blends.F * 4 * error, treatments.F * 3 * error, error * treatments.den_df]
    assert sums == pytest.approx([264, 70, 226], rel=1e-10)
    close(treatments.F, 1.238938053, 1e-8)
    close(blends.F, 3.504424779, 1e-8)


def test_machines_and_operators():
    d = table("nist_nested_machines")
    operator = d["machine"].astype(str) + d["operator"]
    found = strata_tests(d["diameter"], {"machine": coded(d["machine"])}, {"operator": operator})
    sums = {s.name: s.mean_square * s.df for s in found.strata}
    assert sums == pytest.approx({"operator": 1.86e-5, "reading": 3.46e-4}, rel=1e-7)
    close(found.tests["machine"].F, 20.3844086, 1e-6)
    squares = {s.name: s.mean_square for s in found.strata}
    close(squares["operator"] / squares["reading"], 0.4300578035, 1e-8)  # 0.428 in print comes from rounded squares


def test_rubber_suppliers():
    d = table("lawson_rubber_nested")
    batch = d["supplier"] + d["batch"]
    sample = batch + d["sample"].astype(str)
    found = strata_tests(d["elasticity"], {"supplier": coded(d["supplier"])}, {"batch": batch, "sample": sample})
    sums = {s.name: s.mean_square * s.df for s in found.strata}
    assert sums == pytest.approx({"batch": 12734.5, "sample": 5080.0, "reading": 57700 / 3}, rel=1e-9)
    supplier = found.tests["supplier"]
    close(supplier.F * 3 * 12734.5 / 12, 51989.5, 1e-4)


def effects(d, words):
    return {w: np.prod([d[f].to_numpy(dtype=float) for f in w.split(":")], axis=0) for w in words}


def test_ceramic_strength_full_factorial():
    d = table("nist_ceramic_2p5")
    names = ["speed", "rate", "grit", "direction", "batch"]
    words = [":".join(names[i] for i in range(5) if m >> i & 1) for m in range(1, 32) if bin(m).count("1") <= 3]
    columns = effects(d, words)
    fixed, rows = model(*columns.values())
    fit = fit_mixed(d["strength"], fixed, {})
    error = fit.variances["reading"]
    sums = {w: fit.test(r).F * error for w, r in zip(words, rows, strict=True)}
    printed = {
        "speed": 894.33, "rate": 3497.20, "speed:rate": 4872.57, "grit": 12663.96, "speed:grit": 1838.76,
        "rate:grit": 307.46, "speed:rate:grit": 357.05, "direction": 315132.65, "speed:direction": 1637.21,
        "rate:direction": 1972.71, "speed:rate:direction": 5895.62, "grit:direction": 3158.34,
        "speed:grit:direction": 2.12, "rate:grit:direction": 44.49, "batch": 33653.91, "speed:batch": 465.05,
        "rate:batch": 199.15, "speed:rate:batch": 144.71, "grit:batch": 29.36, "speed:grit:batch": 30.36,
        "rate:grit:batch": 25.58, "direction:batch": 1328.83, "speed:direction:batch": 544.58,
        "rate:direction:batch": 167.31, "grit:direction:batch": 32.46,
    }  # fmt: skip
    for word, value in printed.items():
        close(sums[word], value, 0.0102)
    close(np.sqrt(error), 17.8163188, 1e-6)
    close(fit.coefficients[0], 546.8959375, 1e-9)
    close(fit.test(rows[words.index("direction")]).F, 992.7901327, 1e-5)
    close(fit.test(rows[words.index("rate")]).p, 0.01601896944, 1e-9)


def test_ceramic_strength_twelve_terms():
    d = table("nist_ceramic_2p5")
    words = ["speed", "rate", "grit", "direction", "batch", "speed:rate", "speed:grit", "speed:direction",
             "rate:direction", "speed:rate:direction", "grit:direction", "direction:batch"]  # fmt: skip
    fixed, rows = model(*effects(d, words).values())
    fit = fit_mixed(d["strength"], fixed, {})
    close(np.sqrt(fit.variances["reading"]), 14.96345682, 1e-6)
    close(fit.test(rows[3]).F, 1407.438845, 1e-4)
    close(fit.test(rows[9]).F, 26.33090608, 1e-6)
    close(fit.test(rows[11]).p, 0.02485917342, 1e-8)
