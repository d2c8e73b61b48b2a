import numpy as np
import pytest

from trials.infer.likelihood import recession as r


@pytest.mark.parametrize("seed", range(12))
def test_weights_that_cancel_are_found_only_where_no_direction_rises(seed):
    rng = np.random.default_rng(seed)
    rises = rng.normal(size=(40, 4))
    level = rng.normal(size=(seed % 3, 4))
    if seed % 2:  # one direction lifts every constraint
        rises[:, 0], level[:, 0] = np.abs(rises[:, 0]), 0.0
    _, strict = r._widest(rises, level)
    assert strict.any() == bool(seed % 2)
    assert r._gap(rises, level).any() == strict.any()


def separated(seed):
    """Constraints that cancel in three columns, and a few that one or two further columns lift."""
    rng = np.random.default_rng(seed)
    few, open_ways = 2 + seed % 4, 1 + seed % 2
    shut = np.hstack([rng.normal(size=(40, 3)), np.zeros((40, open_ways))])
    lifted = np.hstack([rng.normal(size=(few, 3)), rng.uniform(0.5, 1.0, size=(few, open_ways))])
    level = np.hstack([rng.normal(size=(seed % 3, 3)), np.zeros((seed % 3, open_ways))])
    return rng.permutation(np.vstack([shut, lifted])), level, few


@pytest.mark.parametrize("seed", range(12))
def test_what_some_direction_lifts_is_proved_as_the_linear_programme_finds_it(seed, monkeypatch):
    rises, level, few = separated(seed)
    _, strict = r._widest(rises, level)
    assert strict.sum() == few
    monkeypatch.setattr(r, "_widest", None)  # it takes long to load
    assert r.recession(rises, level).strict.tolist() == strict.tolist()


def test_where_nothing_is_proved_the_linear_programme_decides(monkeypatch):
    rises, level, _ = separated(0)
    monkeypatch.setattr(r, "PROJECTIONS", 1)
    assert r._lifted(rises, level) is None
    assert r.recession(rises, level).strict.tolist() == r._widest(rises, level)[1].tolist()


def test_one_constraint_that_may_rise_is_not_taken_for_none():
    """All cancel in pairs but one row, which rises where the others stay level: separation of a single coupon."""
    rises = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0]])
    assert r._gap(rises, np.zeros((0, 2))).any()
    assert r.recession(rises).strict.tolist() == [False, False, True]
    assert r.recession(rises).infinite.tolist() == [0, 1]
