"""What is refused at its border, and taken one step inside: shares of 0 and 1, counts of none, lost of all."""

import numpy as np
import pytest

from trials.errors import InputError, NotFinite, WrongArgument, WrongShape
from trials.infer.answer import levels
from trials.infer.chance.confirm import mean_of_new
from trials.infer.chance.grade import chance_of_grade
from trials.infer.chance.mean_squares import MeanSquare
from trials.infer.chance.next_edge import NextEdge, lost_cuts
from trials.infer.chance.proportion import lowest_share
from trials.infer.chance.window import alike_best, region_band
from trials.infer.ladder import compare_ladders
from trials.infer.life import bound_without_failures, cumulative_incidence, life_ratio, study_lives, survival_table
from trials.infer.life.detectable import detectable_ratio
from trials.infer.means import against_reference
from trials.infer.mixed import fit_mixed
from trials.infer.ordinal import fit_ordinal

RNG = np.random.default_rng(1)
TIME, FAILED = np.arange(1.0, 13.0), np.tile([1.0, 1.0, 0.0], 4)
TYPES = np.repeat(["a", "b"], 6)
GRADES = fit_ordinal(np.array([0, 1, 2, 0, 1, 1, 0, 2, 1, 0], dtype=float), RNG.normal(size=(10, 1)))
MIXED = fit_mixed(RNG.normal(size=12), np.ones((12, 1)), {"specimen": np.repeat(np.arange(4), 3)})
SQUARES = (
    MeanSquare("specimen", 5.0, 4.0, {"specimen": 3.0, "reading": 1.0}),
    MeanSquare("reading", 1.0, 9.0, {"reading": 1.0}),
)
EDGE = NextEdge(10.0, {"specimen": 0.2, "reading": 0.1}, SQUARES, {"specimen": "specimen"}, "reading")
LOW = np.array([1.0, 1.5, 2.0, 1.0, 1.5, 2.5])

SHARES = {
    "t interval": lambda c: MIXED.estimate(np.ones(1), c),
    "simultaneous": lambda c: against_reference(np.zeros(2), np.eye(2), np.full(2, 5.0), c),
    "share": lambda c: lowest_share(3, 5, c),
    "band": lambda c: region_band(np.zeros(2), np.eye(2), np.full(2, 5.0), c, draws=64),
    "alike": lambda c: alike_best(np.zeros(2), np.eye(2), 5.0, 0, c, draws=64),
    "grade": lambda c: chance_of_grade(GRADES, np.zeros(1), 1.0, 4, 3.0, c, draws=64),
    "grades profile": lambda c: GRADES.profile(0, c),
    "new coupons": lambda c: mean_of_new(EDGE, {"specimen": 2, "reading": 4}, 0.0, c),
    "ladders": lambda c: compare_ladders(LOW, LOW + 0.5, np.repeat(["a", "b"], 3), "a", confidence=c),
    "ladder sameness": lambda c: compare_ladders(LOW, LOW + 0.5, np.repeat(["a", "b"], 3), "a", sameness=c),
    "ladder share": lambda c: compare_ladders(LOW, LOW + 0.5, np.repeat(["a", "b"], 3), "a", share=c),
    "lives": lambda c: life_ratio(TIME, FAILED, TYPES, "b", "a", confidence=c),
    "lives apart": lambda c: life_ratio(TIME, FAILED, TYPES, "b", "a", common_shape=False, confidence=c),
    "life at a share": lambda c: study_lives(TIME, FAILED > 0, TYPES, "a", quantiles=(c,)),
    "none failed": lambda c: bound_without_failures(TIME, 2.0, c),
    "survival": lambda c: survival_table(TIME, FAILED, c),
    "causes": lambda c: cumulative_incidence(TIME, ["x", "y", ""] * 4, c),
}


@pytest.mark.parametrize("asked", list(SHARES))
def test_a_share_lies_between_none_and_all(asked):
    for border in (0.0, 1.0):
        with pytest.raises((WrongArgument, WrongShape, InputError)):
            SHARES[asked](border)
    for inside in (0.02, 0.98):
        assert SHARES[asked](inside) is not None


COUNTS = {
    "looks": (lambda n: levels(1, n), 0, 1),
    "primaries": (lambda n: levels(n), 0, 1),
    "cuts": (lambda n: lost_cuts(n, 0, np.zeros(3)), 0, 1),
    "all lost": (lambda n: lost_cuts(5, n, np.zeros(3)), 6, 5),
    "lost below none": (lambda n: lost_cuts(5, n, np.zeros(3)), -1, 0),
    "more than all": (lambda n: lowest_share(n, 5, 0.9), 6, 5),
    "fewer than none": (lambda n: lowest_share(n, 5, 0.9), -1, 0),
    "of none": (lambda n: lowest_share(0, n, 0.9), 0, 1),
    "specimens of grades": (lambda n: chance_of_grade(GRADES, np.zeros(1), 1.0, n, 3.0, draws=64), 0, 1),
    "df of grades": (lambda n: chance_of_grade(GRADES, np.zeros(1), 1.0, 4, float(n), draws=64), 0, 1),
    "new specimens": (lambda n: mean_of_new(EDGE, {"specimen": n, "reading": 4}), 0, 1),
    "failures to come": (lambda n: detectable_ratio(0.3, n), 0, 1),
    "shape": (lambda n: bound_without_failures(TIME, float(n)), 0, 1),
    "a life": (lambda n: bound_without_failures(np.array([float(n)]), 2.0), 0, 1),
    "df of a band": (lambda n: alike_best(np.zeros(2), np.eye(2), float(n), 0, draws=64), 0, 1),
    "variance of a band": (lambda n: region_band(np.zeros(1), np.array([[float(n)]]), np.full(1, 5.0), draws=64), 0, 1),
    "coefficient of grades": (lambda n: GRADES.profile(n), 1, 0),
    "coefficient below": (lambda n: GRADES.profile(n), -1, 0),
    "quadrature": (
        lambda n: fit_ordinal(np.array([0.0, 1.0, 1.0, 0.0]), np.zeros((4, 0)), np.array(list("aabb")), n), 0, 1
    ),
}  # fmt: skip


@pytest.mark.parametrize("asked", list(COUNTS))
def test_a_count_at_its_border(asked):
    ask, outside, inside = COUNTS[asked]
    with pytest.raises((WrongArgument, WrongShape, InputError)):
        ask(outside)
    assert ask(inside) is not None


def test_the_row_of_a_missing_label_is_named():
    labels = np.array(["a", "a", None, "b", "b", "b"], dtype=object)
    with pytest.raises(NotFinite, match="no label at row 3"):
        fit_mixed(np.arange(6.0), np.ones((6, 1)), {"specimen": labels})
    with pytest.raises(NotFinite, match="at row 2"):
        fit_mixed(np.array([1.0, np.inf, 2.0, 3.0, 4.0, 6.0]), np.ones((6, 1)), {"specimen": list("aabbcc")})
