"""Dross grades that fit no common model: an honest sentence each, and no warning text from a library."""

import numpy as np
import pytest

from trials.decide.chance_result import Asked
from trials.decide.chances import chances
from trials.decide.response import Studied, fit_response, study_response
from trials.findings import Amount, Finding, Place, PlaceKind
from trials.infer.answer import levels
from trials.infer.chance import ChanceKind

ALL = [(p, q) for p in (0.5, 0.7, 0.9) for q in (0.6, 1.0, 1.4)]


def grades(make_table, cylindrical, double, specimens=3, settings=None):
    """One grade per coupon; a type's grades come from a list in turn."""
    table = make_table(readings=1, specimens=specimens, settings=settings)
    for kind, own in (("cylindrical", cylindrical), ("double", double)):
        rows = table["nozzle"] == kind
        table.loc[rows, "value"] = np.resize(np.asarray(own, dtype=float), rows.sum())
    return table


def study(trial, table):
    found = fit_response(trial, "dross", table)
    if not isinstance(found, Studied):
        return found
    return study_response(trial, found, {"cylindrical": ALL, "double": ALL}, levels(1))


MIXED = [0, 1, 2, 1, 3, 1, 0, 2, 1, 1, 0]


@pytest.mark.parametrize(
    ("cylindrical", "double", "words"),
    [
        (MIXED, [0], ("double always has grade 0", "shuffles whole specimens", "no finite estimate exists")),
        ([0], MIXED, ("cylindrical always has grade 0", "shuffles whole specimens", "no finite estimate exists")),
        ([0], [0], ("Every coupon has grade 0: the grades tell no nozzle from another",)),
        ([2], [2], ("Every coupon has grade 2: the grades tell no nozzle from another",)),
        ([0], [3], ("cylindrical always has grade 0; double always has grade 3", "8 arrangements", "out of reach")),
        (MIXED, MIXED[::-1], ("odds of a worse dross grade with double",)),
        ([0, 1], [1, 0], ("odds of a worse dross grade with double",)),
    ],
)
def test_adversarial_grades(trial, make_table, cylindrical, double, words):
    result = study(trial, grades(make_table, cylindrical, double))
    said = " ".join(result.said)
    for word in words:
        assert word in said, said
    for text in [*result.said, *(c.sentence for c in result.checks)]:
        assert not any(bad in text.lower() for bad in ("nan", "warning", "singular", "converge"))


def test_one_coupon_per_type(trial, make_table):
    result = study(trial, grades(make_table, [0], [1], specimens=1, settings=[(0.7, 1.0)]))
    assert not result.comparisons and "too few" in " ".join(result.said)


def test_shuffled_p_stands_in_the_table_of_terms(trial, make_table):
    result = study(trial, grades(make_table, MIXED, [0]))
    nozzle = next(t for t in result.terms if t.term == "nozzle")
    # three sheets with one specimen of each type: 8 arrangements, so no p below 1/8 can come out
    assert nozzle.p >= 1 / 8 and nozzle.strata_p is None


def test_chance_of_grades_that_no_model_fits_counts_whole_specimens(trial, make_table):
    table = grades(make_table, [0], [0])
    coupons = table.drop_duplicates("coupon").assign(outcome="cut")
    met = coupons[["coupon", "nozzle", "outcome"]].assign(meets="yes")
    today = Place(PlaceKind.TODAY, (trial.today_settings,))
    rows = chances(trial, {}, today, coupons, met, table)
    assert [row.asked for row in rows] == [Asked("dross", Amount(1.0))] * 2
    assert all(row.rests_on == (Finding(ChanceKind.NO_GRADE_MODEL, facts={"specimens": 3}),) for row in rows)
    # three specimens, all clean: the lower limit of Clopper and Pearson (1934) for 3 of 3 is 0.05^(1/3)
    assert all(row.estimate == 1.0 and row.low == pytest.approx(0.05 ** (1 / 3), abs=1e-12) for row in rows)
