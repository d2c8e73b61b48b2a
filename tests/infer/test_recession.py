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
    assert r._balanced(rises, level) != strict.any()


def test_one_constraint_that_may_rise_is_not_taken_for_none():
    """All cancel in pairs but one row, which rises where the others stay level: separation of a single coupon."""
    rises = np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0]])
    assert not r._balanced(rises, np.zeros((0, 2)))
    assert r.recession(rises).strict.tolist() == [False, False, True]
