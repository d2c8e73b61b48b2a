"""Chances and typical edges at many settings: how parts are put together, from figures set by hand."""

from types import SimpleNamespace as Made

import numpy as np
import pandas as pd
import pytest

from trials.decide import surfaces
from trials.infer.chance.surface import Surface
from trials.infer.yardstick import Estimates

EXACT = 1e-12  # sums and products of a few doubles


def typical(rows, added=2, sheets=3, variance=0.09):
    found = Estimates(np.array([3.0, 4.0]), np.array([[0.04, 0.01], [0.01, 0.05]]), np.array([10.0, 8.0]))
    fitted = Made(
        judged=Made(between=Made(estimates=lambda contrasts: found, added=added)),
        fit=Made(variances={"sheet": variance} if variance is not None else {}),
        ready=Made(structure=Made(counts={"sheet": sheets} if sheets else {})),
    )
    return surfaces.typical_at(fitted, np.array(rows)), found


def test_a_mean_gets_back_what_sheets_add_to_it():
    found, own = typical([[1.0, 5.0], [2.0, 6.0]])
    # 0.09 over 3 sheets is 0.03, once and four times; the two means share the sheets
    assert found.covariance == pytest.approx(np.array([[0.07, 0.07], [0.07, 0.17]]), rel=EXACT)
    assert found.values is own.values
    # Satterthwaite (1946): 0.07^2 / (0.04^2 / 10 + 0.03^2 / 2), and 0.17^2 / (0.05^2 / 8 + 0.12^2 / 2)
    assert found.dfs == pytest.approx([0.0049 / 0.00061, 0.0289 / 0.0075125], rel=1e-9)


def test_two_sheets_leave_one_degree_of_freedom():
    found, _ = typical([[1.0, 5.0], [1.0, 6.0]], sheets=2)
    assert found.dfs[0] == pytest.approx(0.085**2 / (0.04**2 / 10 + 0.045**2 / 1), rel=1e-9)


@pytest.mark.parametrize("changed", [{"added": 0}, {"sheets": 1}, {"sheets": 0}, {"variance": 0.0}, {"variance": None}])
def test_without_a_spread_of_sheets_nothing_is_added(changed):
    found, own = typical([[1.0, 5.0], [2.0, 6.0]], **changed)
    assert found is own


def test_a_difference_counts_no_sheets_and_one_mean_among_differences_does():
    found, own = typical([[0.0, 5.0], [0.0, 6.0]])
    assert found is own
    found, own = typical([[0.0, 5.0], [1.0, 6.0]])
    assert found.covariance == pytest.approx(np.array([[0.04, 0.01], [0.01, 0.08]]), rel=EXACT)
    assert found.dfs[0] == pytest.approx(10.0, rel=EXACT)


def together(monkeypatch, measured, graded, counts):
    """Chance and bound at two settings; each part: (estimates, bounds), None where it is not asked for."""
    seen = {}

    def part(name, figures):
        def made(known, label, settings, sure, cuts, lost):
            seen[name] = (sure, cuts, lost)
            return Surface(np.array(figures[0]), np.array(figures[1]), sure)

        return made

    monkeypatch.setattr(surfaces, "cuts_of", lambda coupons, label: counts)
    monkeypatch.setattr(surfaces, "_measured", part("measured", measured))
    monkeypatch.setattr(surfaces, "_graded", part("graded", graded))
    known = Made(sources={"u": 1} if measured else {}, dross=1 if graded else None, coupons=None)
    return *surfaces.chances_at(known, "new", [{}, {}]), seen


def test_grades_are_joined_by_product_and_bonferroni_and_lost_cuts_count_once(monkeypatch):
    estimate, low, seen = together(monkeypatch, ((0.72, 0.45), (0.6, 0.3)), ((0.8, 0.5), (0.5, 0.1)), (10, 2))
    # 2 of 10 lost: the measured part carries it, the grades are those of edges that were cut
    assert estimate == pytest.approx([0.72 * 0.8, 0.45 * 0.5], rel=EXACT)
    assert low == pytest.approx([0.1, 0.0], abs=EXACT)
    assert seen == {"measured": (0.975, 10, 2), "graded": (0.975, 0, 0)}


def test_a_bound_does_not_pass_its_estimate(monkeypatch):
    estimate, low, _ = together(monkeypatch, ((0.9, 0.9), (0.9, 0.9)), ((0.9, 0.5), (0.9, 0.9)), (0, 0))
    assert estimate == pytest.approx([0.81, 0.45], rel=EXACT) and low == pytest.approx([0.8, 0.45], rel=EXACT)


def test_where_every_cut_was_lost_nothing_meets(monkeypatch):
    zero = ((0.0, 0.0), (0.0, 0.0))
    estimate, low, _ = together(monkeypatch, zero, zero, (4, 4))
    assert estimate.tolist() == low.tolist() == [0.0, 0.0]


def test_one_part_alone_keeps_its_own_bound(monkeypatch):
    one = ((0.7, 0.6), (0.5, 0.4))
    for measured, graded, name in ((one, None, "measured"), (None, one, "graded")):
        estimate, low, seen = together(monkeypatch, measured, graded, (10, 2))
        assert (estimate.tolist(), low.tolist()) == ([0.7, 0.6], [0.5, 0.4]) and seen == {name: (0.95, 10, 2)}


def grades(monkeypatch, fitted, marks):
    """What is asked of the ordered model, or the surface where it gives none."""
    asked = {}

    def grade_surface(fit, rows, at_most, specimens, df, sure, cuts, lost):
        asked.update(at_most=at_most, specimens=specimens, df=df, sure=sure, cuts=cuts, lost=lost)
        return asked

    monkeypatch.setattr(surfaces, "grade_surface", grade_surface)
    monkeypatch.setattr(surfaces, "grade_rows", lambda ready, label, settings: np.zeros((len(settings), 1)))
    table = pd.DataFrame({"nozzle": ["new"] * len(marks) + ["old"], "specimen": [*marks, "o1"]})
    table["value"] = [float(i % 2) for i in range(len(table))]
    coupons = table.assign(outcome="cut")
    trial = Made(application=Made(required=Made(dross_grade=0)))
    known = Made(trial=trial, dross=table, studied={"dross": fitted}, coupons=coupons)
    return surfaces._graded(known, "new", [{}, {}, {}], 0.95, 4, 0), asked


@pytest.mark.parametrize(("counts", "df"), [({"specimen": 7}, 5.0), ({"specimen": 2}, 1.0), ({}, 1.0)])
def test_grades_count_the_specimens_beyond_one_of_each_type(monkeypatch, counts, df):
    fitted = Made(graded=1, ready=Made(structure=Made(counts=counts), types=("old", "new")))
    found, asked = grades(monkeypatch, fitted, ["n1", "n2", "n2", ""])
    assert found is asked
    assert asked == {"at_most": 0, "specimens": 2, "df": df, "sure": 0.95, "cuts": 4, "lost": 0}
    assert grades(monkeypatch, fitted, ["", ""])[1]["specimens"] == 1


def test_without_an_ordered_model_the_share_holds_everywhere(monkeypatch):
    for fitted in (None, Made(graded=None)):
        found, asked = grades(monkeypatch, fitted, ["n1", "n1", "n2", "n2"])
        # every specimen has one coupon of grade 1: half the coupons meet grade 0, no whole specimen does
        assert not asked and found.estimate.tolist() == [0.5] * 3 and found.low.tolist() == [0.0] * 3
