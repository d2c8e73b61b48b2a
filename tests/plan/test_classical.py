"""Classical plans against published tables, an independent package, and their own algebra multiplied out."""

import itertools
import json
import re
from pathlib import Path

import numpy as np
import pydoe
import pytest

from trials.errors import Infeasible, WrongArgument
from trials.plan.classical.plans import (
    alias_groups,
    best_generators,
    box_behnken,
    central_composite,
    conference_matrix,
    definitive_screening,
    fraction,
    full_factorial,
)
from trials.plan.optimal import choose_rows, efficiencies

REFERENCE = Path(__file__).parents[1] / "reference" / "plans"
CHECKS = {e["id"]: e["checks"] for e in json.loads((REFERENCE / "plan_checks.json").read_text())}
LETTERS = "ABCDEFGHIJKLMNOP"


def letters(k):
    return tuple(LETTERS[:k])


def same_runs(a, b):
    """Equal up to the order of runs; 1e-9 for the axial distance."""
    assert np.lexsort(a.T).size == np.lexsort(b.T).size
    assert a[np.lexsort(np.round(a, 9).T)] == pytest.approx(b[np.lexsort(np.round(b, 9).T)], abs=1e-9)


def quadratic(runs):
    """Full quadratic model matrix, squares as they are: some of the figures depend on the coding."""
    products = [runs[:, i] * runs[:, j] for i, j in itertools.combinations(range(runs.shape[1]), 2)]
    return np.column_stack([np.ones(len(runs)), runs, runs**2, *products])


# ---- two-level plans ------------------------------------------------------------------------------------------------


def test_full_factorial_equals_independent_package():
    same_runs(full_factorial({"a": 3, "b": 2, "c": 4}).runs, pydoe.fullfact([3, 2, 4]) * [1, 2, 2 / 3] - 1)
    same_runs(full_factorial(dict.fromkeys("abcd", 2)).runs, pydoe.ff2n(4))


@pytest.mark.parametrize("check", CHECKS["fractional_resolution"], ids=lambda c: c["quantity"])
def test_resolution_of_standard_fractions(check):
    k, r = map(int, re.search(r"2\^\((\d+)-(\d+)\)", check["quantity"]).groups())
    generators = dict(re.findall(r"(\w)=(\w+)", check["quantity"]))
    plan = fraction(letters(k), generators)
    assert len(generators) == r
    assert plan.runs.shape == (2 ** (k - r), k)
    assert plan.resolution == check["published"]  # exact: a whole number
    words = [c if c not in generators else generators[c].lower() for c in letters(k)]
    made = " ".join(w.lower() for w in words)
    same_runs(plan.runs, pydoe.fracfact(made))


# k, generators, minus signs, and the words multiplied out by hand
FRACTIONS = [
    (5, {"D": "AB", "E": "AC"}, (), {"ABD": 1, "ACE": 1, "BCDE": 1}),
    (6, {"E": "ABC", "F": "BCD"}, ("F",), {"ABCE": 1, "BCDF": -1, "ADEF": -1}),
    (
        7,
        {"E": "ABC", "F": "BCD", "G": "ACD"},
        ("E", "G"),
        {"ABCE": -1, "BCDF": 1, "ACDG": -1, "ADEF": -1, "BDEG": 1, "ABFG": -1, "CEFG": 1},
    ),
]


@pytest.mark.parametrize(("k", "generators", "minus", "words"), FRACTIONS)
def test_aliases_by_multiplying_the_generators_out(k, generators, minus, words):
    plan = fraction(letters(k), generators, minus)
    assert {"".join(w.factors): w.sign for w in plan.words} == words
    column = {name: plan.runs[:, i] for i, name in enumerate(plan.names)}
    for word, sign in words.items():
        assert (np.prod([column[c] for c in word], axis=0) == sign).all()
    # aliases: exactly the pairs of effects whose columns are equal or opposite, with the sign between them
    effects = [e for size in (1, 2) for e in itertools.combinations(plan.names, size)]
    columns = {e: np.prod([column[c] for c in e], axis=0) for e in effects}
    expected = {(a, b): int(columns[a] @ columns[b]) // len(plan.runs) for a in effects for b in effects}
    got = dict.fromkeys(expected, 0)
    for group in alias_groups(plan):
        for a, b in itertools.product(group, group):
            got[a.factors, b.factors] = a.sign * b.sign
    assert got == expected


def test_word_lengths_and_full_factorial_without_words():
    assert fraction(letters(7), {"D": "AB", "E": "AC", "F": "BC", "G": "ABC"}).word_lengths == (0, 0, 7, 7, 0, 0, 1)
    whole = fraction("AB", {})
    assert (whole.resolution, whole.words, whole.word_lengths) == (None, (), (0, 0))


# resolution and word lengths of minimum aberration fractions, Box, Hunter and Hunter (2005) table 6.22, from memory
BEST = [
    (4, 3, 4, (0, 0, 0, 1)),
    (5, 3, 3, (0, 0, 2, 1, 0)),
    (6, 4, 4, (0, 0, 0, 3, 0, 0)),
    (7, 5, 4, (0, 0, 0, 1, 2, 0, 0)),
    (8, 4, 4, (0, 0, 0, 14, 0, 0, 0, 1)),
    (8, 6, 5, (0, 0, 0, 0, 2, 1, 0, 0)),
    (9, 5, 4, (0, 0, 0, 6, 8, 0, 0, 1, 0)),
]


@pytest.mark.parametrize(("k", "basic", "resolution", "lengths"), BEST)
def test_best_generators_have_minimum_aberration(k, basic, resolution, lengths):
    plan = fraction(letters(k), best_generators(letters(k), basic))
    assert (plan.resolution, plan.word_lengths) == (resolution, lengths)


# ---- curved responses -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("check", CHECKS["ccd_tables"], ids=lambda c: c["quantity"])
def test_rotatable_distances(check):
    k, runs = map(int, re.search(r"k=(\d) factorial runs (\d+)", check["quantity"]).groups())
    whole = full_factorial(dict.fromkeys(letters(k), 2))
    plan = central_composite(letters(k), "rotatable", corners=whole if runs == 2**k else None)
    assert plan.corners == runs
    assert plan.distance == pytest.approx(check["published"], abs=5.1e-4)  # printed to three places
    assert plan.distance == pytest.approx(check["recomputed"], abs=1e-8)  # recomputed to nine


@pytest.mark.parametrize("k", [2, 3, 4])
def test_composites_equal_independent_package(k):
    rotatable, faced = central_composite(letters(k), "rotatable", centre=5), central_composite(letters(k), centre=5)
    same_runs(rotatable.runs, pydoe.ccdesign(k, center=(2, 3), alpha="r", face="ccc"))
    same_runs(faced.runs, pydoe.ccdesign(k, center=(2, 3), face="ccf"))


@pytest.mark.parametrize("k", [5, 6, 7])
def test_larger_composites_are_rotatable_and_carry_the_quadratic_model(k):
    plan = central_composite(letters(k), "rotatable")
    assert plan.runs.shape == ({5: 16, 6: 32, 7: 64}[k] + 2 * k + 4, k)
    fourth, mixed = (plan.runs[:, 0] ** 4).sum(), (plan.runs[:, 0] ** 2 * plan.runs[:, 1] ** 2).sum()
    assert fourth == pytest.approx(3 * mixed, rel=1e-12)  # Box and Hunter (1957): [iiii] = 3 [iijj]
    assert np.linalg.matrix_rank(quadratic(plan.runs)) == (k + 1) * (k + 2) // 2


@pytest.mark.parametrize("k", [3, 4, 5])
def test_box_behnken_equals_independent_package(k):
    same_runs(box_behnken(letters(k), centre=3).runs, pydoe.bbdesign(k, center=3))


@pytest.mark.parametrize(
    ("k", "runs", "meetings"), [(3, 15, {4}), (4, 27, {4}), (5, 46, {4}), (6, 54, {8, 16}), (7, 62, {8})]
)
def test_box_behnken_is_balanced_and_carries_the_quadratic_model(k, runs, meetings):
    # run counts of Box and Behnken (1960), table 4; how often two factors are varied together
    plan = box_behnken(letters(k)).runs
    assert plan.shape == (runs, k)
    meet = np.einsum("ni,nj->ij", plan**2, plan**2)
    assert set(meet[~np.eye(k, dtype=bool)].tolist()) == meetings
    assert len(set(np.diag(meet))) == 1
    assert set(np.abs(plan).sum(axis=1)) == {0, 2 if k < 6 else 3}
    assert np.linalg.matrix_rank(quadratic(plan)) == (k + 1) * (k + 2) // 2


def test_trebuchet_fit_is_reproduced_on_our_plan():
    data = np.loadtxt(REFERENCE / "lawson_trebuchet_bbd.csv", delimiter=",", skiprows=1)
    same_runs(box_behnken("abc").runs, data[:, :3])
    fit, *_ = np.linalg.lstsq(quadratic(data[:, :3]), data[:, 3], rcond=None)
    published = [c["published"] for c in CHECKS["lawson_trebuchet_bbd"] if c["quantity"].startswith("coef")]
    assert fit == pytest.approx(published, abs=1.02e-5)  # printed to five places


EFFICIENCY_PLANS = {
    "ccd3_rot_20": central_composite("abc", "rotatable", centre=6).runs,
    "ccf3_20": central_composite("abc", "faced", centre=6).runs,
    "full3_27": full_factorial(dict.fromkeys("abc", 3)).runs,
}


@pytest.mark.parametrize("check", CHECKS["design_efficiency_shared"], ids=lambda c: c["quantity"])
def test_efficiencies_of_quadratic_plans(check):
    name, *_, figure = check["quantity"].split()
    got = efficiencies(quadratic(EFFICIENCY_PLANS[name]))
    value = {"D": got.d, "G": got.g, "A": got.a, "lnD": got.log_det, "maxlev": got.largest_variance}[figure]
    assert value == pytest.approx(check["recomputed"], abs=2e-8)  # given to eight places


def test_printed_d_optimal_plan_of_twelve_runs():
    # three factors, the first at five levels and with its square, 12 of 20 runs: D 0.6825575, A 2.2 and G 1 are printed
    grid = np.array(list(itertools.product(np.linspace(-1, 1, 5), [-1, 1], [-1, 1])))
    rows = np.column_stack([np.ones(len(grid)), grid, grid[:, 0] ** 2])
    got = efficiencies(rows[choose_rows(rows, 12, seed=1).rows])
    assert got.d == pytest.approx(CHECKS["d_optimal_12"][0]["published"], abs=1.02e-7)
    assert 1 / got.a == pytest.approx(2.2, abs=1e-9)
    assert got.g == pytest.approx(1.0, abs=1e-9)


# ---- screening ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("order", [4, 6, 8, 10, 12])
def test_conference_matrices(order):
    matrix = conference_matrix(order)
    assert (np.diag(matrix) == 0).all()
    assert (np.abs(matrix[~np.eye(order, dtype=bool)]) == 1).all()
    assert (matrix.T @ matrix == (order - 1) * np.eye(order)).all()
    assert ((matrix if order in (6, 10) else -matrix) == matrix.T).all()  # symmetric or skew, Paley (1933)


@pytest.mark.parametrize("k", range(3, 13))
def test_definitive_screening_keeps_single_factors_clear(k):
    runs = definitive_screening(letters(k)).runs
    order = max(4, k + k % 2)
    assert runs.shape == (2 * order + 1, k)  # 9, 9, 13, 13, 17, ... of Jones and Nachtsheim (2011)
    products = np.column_stack([runs[:, i] * runs[:, j] for i in range(k) for j in range(i, k)])
    assert (runs.T @ products == 0).all()
    assert (runs.T @ runs == 2 * (order - 1) * np.eye(k)).all()
    squares = np.column_stack([np.ones(len(runs)), runs, runs**2])
    assert np.linalg.matrix_rank(squares) == 2 * k + 1


# ---- refusals -------------------------------------------------------------------------------------------------------

REFUSED = [
    (lambda: fraction("ABCDE", {"D": "AB", "E": "AB"}), Infeasible, "D and E would have the same column"),
    (lambda: fraction("ABC", {"C": "A"}), Infeasible, "A and C would have the same column"),
    (lambda: fraction("ABCD", {"C": "AB", "D": "AC"}), WrongArgument, "generator D = A x C must give one factor"),
    (lambda: fraction("ABC", {"D": "AB"}), WrongArgument, "generator D = A x B must give one factor"),
    (lambda: fraction("ABC", {"C": "AB"}, minus="B"), WrongArgument, "B has a minus sign but no generator"),
    (lambda: fraction("AAB", {}), WrongArgument, "each once"),
    (lambda: full_factorial({"a": 1}), WrongArgument, "a has 1 levels"),
    (lambda: best_generators("ABCDEFGH", 3), Infeasible, "8 runs cannot hold 8 factors"),
    (lambda: best_generators(LETTERS, 6), Infeasible, "too many ways"),
    (lambda: central_composite("A"), WrongArgument, "two factors or more, not 1"),
    (lambda: central_composite("AB", "spherical"), WrongArgument, "kind is 'spherical'"),
    (lambda: central_composite("ABCD", corners=fraction("ABCD", {"D": "ABC"})), Infeasible, "resolution 4 confuse"),
    (lambda: central_composite("ABC", corners=full_factorial({"A": 2, "B": 2})), WrongArgument, "same factors"),
    (lambda: box_behnken("AB"), Infeasible, "no Box-Behnken plan for 2 factors"),
    (lambda: definitive_screening(LETTERS[:13]), Infeasible, "takes 3 to 12 factors"),
    (lambda: conference_matrix(16), Infeasible, "no conference matrix of order 16"),
]


@pytest.mark.parametrize(("call", "error", "text"), REFUSED, ids=[r[2] for r in REFUSED])
def test_refusals_say_why(call, error, text):
    with pytest.raises(error, match=text):
        call()
