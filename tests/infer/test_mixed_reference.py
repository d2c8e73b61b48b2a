"""Mixed model with Kenward-Roger against R 4.2.2, lme4 1.1.31, pbkrtest 0.5.2, emmeans 1.8.4.1 (files beside)."""

import json
from pathlib import Path

import numpy as np
import pytest

from trials.infer.means import all_pairs
from trials.infer.mixed import fit_mixed

HERE = Path(__file__).parent.parent / "reference" / "mixed"
CASES = ["s1_mixed_log_three_level", "s2_mixed_quadratic", "s3_mixed_public_splitplot", "s7_mixed_boundary"]


class Case:
    """One file: its data as a model matrix in sum-to-zero coding, the fit, and what R found."""

    def __init__(self, name):
        content = json.loads((HERE / f"{name}.json").read_text())
        self.columns = content["data"]["columns"]
        self.levels = content["data"]["factor_levels"]
        self.expected = content["expected"]
        self.tolerance = content["tolerance"]
        self.terms = [t["term"] for t in self.expected["anova_type3_kr"]]
        y = np.array(self.columns["y"], dtype=float)
        self.response = np.log(y) if content["model"]["transform"] == "log" else y
        rows = {name: np.array(values) for name, values in self.columns.items()}
        blocks = [np.ones((len(y), 1))] + [self.block(term, rows) for term in self.terms]
        self.fixed = np.hstack(blocks)
        self.owner = np.repeat(np.arange(-1, len(self.terms)), [b.shape[1] for b in blocks])
        self.groups = {g: self.columns[g] for g in content["model"]["random_intercepts"]}
        self.fit = fit_mixed(self.response, self.fixed, self.groups)

    def block(self, term, rows):
        """Columns of one term at the given rows; interactions with the first factor running fastest."""
        n = len(next(iter(rows.values())))
        out = np.ones((n, 1))
        for part in term.split(":"):
            out = (out[:, None, :] * self.main(part, rows)[:, :, None]).reshape(n, -1)
        return out

    def main(self, name, rows):
        if name == "I(x1c^2)":
            return np.asarray(rows["x1c"], dtype=float)[:, None] ** 2
        if name not in self.levels:
            return np.asarray(rows[name], dtype=float)[:, None]
        levels = self.levels[name]
        coding = np.vstack([np.eye(len(levels) - 1), -np.ones(len(levels) - 1)])
        return coding[[levels.index(v) for v in rows[name]]]

    def mean_rows(self, wanted):
        """Rows of the model matrix averaged over the factors that `wanted` does not fix; covariates at their mean."""
        covariates = {n for n in ("x1c",) if any(n in t for t in self.terms)}
        used = {p for t in self.terms for p in t.split(":") if p in self.levels}
        free = [f for f in sorted(used) if f not in wanted]
        cells = [{}]
        for factor in free:
            cells = [dict(c, **{factor: level}) for c in cells for level in self.levels[factor]]
        rows = {f: [wanted.get(f, c.get(f)) for c in cells] for f in used}
        for name in covariates:
            rows[name] = [wanted.get(name, np.mean(self.columns[name]))] * len(cells)
        blocks = [np.ones((len(cells), 1))] + [self.block(t, rows) for t in self.terms]
        return np.hstack(blocks).mean(axis=0)


@pytest.fixture(scope="module", params=CASES)
def case(request):
    return Case(request.param)


def test_variances_and_criterion(case):
    expected = case.expected
    total = sum(v["variance"] for v in expected["varcomp"])
    for v in expected["varcomp"]:
        name = "reading" if v["group"] == "Residual" else v["group"]
        assert abs(case.fit.variances[name] - v["variance"]) <= case.tolerance["varcomp_rel"] * total
    # both criteria are at their minimum, so they agree to rounding of sums of some hundred terms
    assert case.fit.reml_criterion == pytest.approx(expected["reml_criterion"], abs=1e-8)
    assert case.fit.converged


def test_coefficients(case):
    tolerance = case.tolerance
    for j, c in enumerate(case.expected["coefficients"]):
        got = case.fit.estimate(np.eye(len(case.fit.coefficients))[j])
        assert got.value == pytest.approx(c["estimate"], rel=tolerance["estimates_rel"])
        assert got.se == pytest.approx(c["se_kr"], rel=tolerance["se_rel"])
        assert got.df == pytest.approx(c["df_kr"], rel=tolerance["df_rel"])
        assert got.p == pytest.approx(c["p_kr"], rel=tolerance["p_rel"])
        plain = np.sqrt(case.fit.covariance_unadjusted[j, j])
        assert plain == pytest.approx(c["se_unadjusted"], rel=tolerance["se_rel"])


def test_terms(case):
    for i, term in enumerate(case.expected["anova_type3_kr"]):
        got = case.fit.test(np.eye(len(case.owner))[case.owner == i])
        assert got.df == term["ndf"]
        assert abs(got.F - term["F"]) <= case.tolerance["F_rel"] * term["F"]
        assert got.den_df == pytest.approx(term["ddf"], rel=case.tolerance["df_rel"])
        assert got.p == pytest.approx(term["p"], rel=case.tolerance["p_rel"])


def test_marginal_means_and_their_differences(case):
    for table in case.expected["emmeans"]:
        means = table["means"]
        named = [k for k in means if k in case.columns]
        held = {k: v[0] for k, v in dict(table["at"]).items() if k not in named}
        places = zip(*(means[k] for k in named), strict=True)
        rows = [case.mean_rows({**held, **dict(zip(named, place, strict=True))}) for place in places]
        for row, *figures in zip(
            rows, *(means[k] for k in ("emmean", "se_kr", "df_kr", "lower95", "upper95")), strict=True
        ):
            check_estimate(case, row, figures)
        check_differences(case, table, named, rows)


def check_estimate(case, row, figures):
    got = case.fit.estimate(row)
    value, se, df, low, high = figures
    # a difference near zero is held to the tolerance of its standard error, as its limits are
    assert got.value == pytest.approx(value, rel=case.tolerance["estimates_rel"], abs=1e-5 * se)
    assert got.se == pytest.approx(se, rel=case.tolerance["se_rel"])
    assert got.df == pytest.approx(df, rel=case.tolerance["df_rel"])
    assert got.low == pytest.approx(low, abs=1e-4 * se)
    assert got.high == pytest.approx(high, abs=1e-4 * se)


def check_differences(case, table, named, rows):
    contrasts = table["contrasts"]
    by = [k for k in named if k in contrasts]
    first = next(k for k in named if k not in by)
    labels = [str(v) for v in table["means"][first]]
    within = [tuple(str(table["means"][k][i]) for k in by) for i in range(len(rows))]
    for i, name in enumerate(contrasts["contrast"]):
        place = tuple(str(contrasts[k][i]) for k in by)
        left, right = (labels_index(labels, within, label, place) for label in name.split(" - "))
        row = rows[left] - rows[right]
        check_estimate(case, row, [contrasts[k][i] for k in ("estimate", "se_kr", "df_kr", "lower95", "upper95")])
        got = case.fit.estimate(row)
        assert got.p == pytest.approx(contrasts["p_unadjusted"][i], rel=case.tolerance["p_rel"])
        pair = all_pairs(np.array([got.value]), np.array([got.se]), np.array([got.df]), len(set(labels)))
        assert pair.p[0] == pytest.approx(contrasts["p_tukey"][i], abs=1e-5)
        assert pair.low[0] == pytest.approx(contrasts["tukey_lower95"][i], abs=1e-4 * got.se)
        assert pair.high[0] == pytest.approx(contrasts["tukey_upper95"][i], abs=1e-4 * got.se)


def labels_index(labels, within, label, place):
    return next(i for i, (a, b) in enumerate(zip(labels, within, strict=True)) if a == label and b == place)
