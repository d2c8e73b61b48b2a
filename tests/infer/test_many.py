"""Many responses at once give what each gives alone; reduced rows give what the absorbed chain gives."""

from dataclasses import replace

import numpy as np
import pytest

from tests.infer.test_yardstick import Trial
from trials.errors import NotFinite, WrongShape
from trials.infer.many import ManyDesign
from trials.infer.mixed.cells import _directions
from trials.infer.yardstick import YardstickDesign

ROUNDING = 1e-8  # both ways solve the same equations; a search ends within 1e-9 of the largest variance


def lose(share, seed):
    return lambda n: np.random.default_rng(seed).random(n) >= share


TRIALS = {
    "balanced": (Trial((3, 3, 3), readings=3), True),
    "unequal, a fifth lost": (Trial((2, 4, 3), settings=6, keep=lose(0.2, 1)), True),
    "two mounts, three sheets": (Trial((3, 3, 3), sheets=3, mounts=2), True),
    "one spread": (Trial((3, 3, 3), sheets=3), False),
    "one spread, a fifth lost": (Trial((2, 4, 3), settings=6, keep=lose(0.2, 2)), False),
}


def design_of(trial, by_type, **changed):
    return YardstickDesign.build(trial.fixed, trial.groups | changed, types=trial.kind if by_type else None)


@pytest.mark.parametrize("name", TRIALS)
@pytest.mark.parametrize("specimen", [0.0, 1.5])
def test_many_at_once_are_each_alone(name, specimen):
    trial, by_type = TRIALS[name]
    design = design_of(trial, by_type)
    many = ManyDesign.build(design)
    assert many.cells is not None
    rng = np.random.default_rng(3)
    responses = np.array([trial.response(rng, specimen) for _ in range(4)])
    found = many.fit(responses).judge(trial.contrast)
    alone = [design.fit(y) for y in responses]
    each = [one.estimates(trial.contrast) for one in alone]
    assert found.estimates.values == pytest.approx(np.array([e.values for e in each]), rel=ROUNDING, abs=ROUNDING)
    assert found.estimates.covariance == pytest.approx(np.array([e.covariance for e in each]), rel=ROUNDING)
    assert found.estimates.dfs == pytest.approx(np.array([e.dfs for e in each]), rel=ROUNDING)
    assert found.p() == pytest.approx(np.array([one.test(trial.contrast).p for one in alone]), rel=ROUNDING)


def test_a_true_difference_moves_the_test_of_the_same_readings():
    trial, by_type = TRIALS["balanced"]
    design = design_of(trial, by_type)
    y = trial.response(np.random.default_rng(4), 1.0)
    moved = np.array([1.5, -0.5])
    p = ManyDesign.build(design).fit(y[None]).judge(trial.contrast).p(moved)[0]
    assert p == pytest.approx(design.fit(y + trial.fixed[:, 1:3] @ moved).test(trial.contrast).p, rel=ROUNDING)


def test_more_than_fit_in_a_chunk(monkeypatch):
    trial, by_type = TRIALS["balanced"]
    many, rng = ManyDesign.build(design_of(trial, by_type)), np.random.default_rng(5)
    responses = np.array([trial.response(rng, 1.0) for _ in range(5)])
    whole = many.fit(responses).judge(trial.contrast)
    monkeypatch.setattr("trials.infer.many.CHUNK", 2)
    parts = many.fit(responses).judge(trial.contrast)
    assert parts.p() == pytest.approx(whole.p(), rel=ROUNDING) and len(parts.p()) == 5


@pytest.mark.parametrize("name", ["balanced", "unequal, a fifth lost", "two mounts, three sheets"])
def test_reduced_rows_give_what_the_chain_gives(name):
    trial, _ = TRIALS[name]
    typed = design_of(trial, True).typed
    y = trial.response(np.random.default_rng(6), 0.5)
    y = np.where(trial.kind == 0, 3.0 * y, y)
    own, chain = typed.fit(y), replace(typed, cells=None).fit(y)
    assert typed.cells is not None and own.converged and chain.converged
    assert own.coefficients == pytest.approx(chain.coefficients, rel=ROUNDING, abs=ROUNDING)
    assert own.covariance == pytest.approx(chain.covariance, rel=1e-6, abs=1e-8)
    assert list(own.variances.values()) == pytest.approx(list(chain.variances.values()), rel=1e-6, abs=1e-8)
    assert own.reml_criterion == pytest.approx(chain.reml_criterion, abs=1e-8)


def test_a_plan_that_stays_large_is_fitted_one_by_one(monkeypatch):
    monkeypatch.setattr("trials.infer.mixed.cells.MOST_ROWS", 5)
    trial, _ = TRIALS["balanced"]
    design, rng = design_of(trial, True), np.random.default_rng(7)
    many = ManyDesign.build(design)
    responses = np.array([trial.response(rng, 1.0), trial.fixed[:, 1], trial.response(rng, 1.0)])
    found = many.fit(responses).judge(trial.contrast)  # the second leaves no spread to judge by
    assert many.cells is None and len(found.p()) == 2
    assert found.p([1.0, 0.0])[1] == pytest.approx(
        design.fit(responses[2] + trial.fixed[:, 1]).test(trial.contrast).p, rel=ROUNDING
    )
    assert many.fit(responses[1:2]).judge(trial.contrast).p().shape == (0,)


def test_bad_arrays_are_named():
    trial, _ = TRIALS["balanced"]
    many = ManyDesign.build(design_of(trial, True))
    with pytest.raises(WrongShape, match=r"the responses have shape \(2, 3\)"):
        many.fit(np.zeros((2, 3)))
    with pytest.raises(NotFinite, match="a response holds"):
        many.fit(np.full((2, len(trial.kind)), np.nan))
    fits = many.fit(trial.response(np.random.default_rng(9), 1.0)[None])
    with pytest.raises(WrongShape, match="the contrasts have shape"):
        fits.judge(trial.contrast[:, 1:])
    with pytest.raises(NotFinite, match="a contrast holds"):
        fits.judge(np.full_like(trial.contrast, np.inf))


@pytest.mark.parametrize("coupons", [20, 400])
def test_directions_inside_cells_are_those_of_the_columns(coupons):
    """Two ways, for few coupons and for many; what is rounding of unit columns gives none."""
    rng = np.random.default_rng(5)
    columns = np.linalg.qr(rng.normal(size=(coupons, 4)))[0]
    turns = _directions(np.column_stack([columns[:, :3], columns[:, 0] - columns[:, 1], 1e-6 * columns[:, 3]]))
    assert turns.shape == (coupons, 3)
    assert turns.T @ turns == pytest.approx(np.eye(3), abs=1e-12)  # rounding of sums of 400 products
    assert turns @ (turns.T @ columns[:, :3]) == pytest.approx(columns[:, :3], abs=1e-9)  # 1e-6 squared, and rounding
