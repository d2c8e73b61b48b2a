"""Steps of the search for many restricted likelihoods at once: bounds by hand, curvature where it may be used."""

import numpy as np
import pytest

from trials.errors import NotIdentifiable
from trials.infer.mixed.by_type import TypedDesign
from trials.infer.mixed.scoring import LEAST, Scores, _step, bounded, score, search


def test_a_solution_without_negative_entries_is_kept():
    matrix = np.array([[[2.0, 0.5], [0.5, 1.0]]])
    right = np.array([[3.0, 2.0]])
    assert bounded(matrix, right, 1)[0] == pytest.approx(np.linalg.solve(matrix[0], right[0]))


def test_the_most_negative_leaves_first_and_the_others_are_solved_again():
    """First solution (-1, 2, ...): with the first entry at zero the second is right / diagonal."""
    matrix = np.array([[[1.0, 0.5, 0.0], [0.5, 1.0, 0.0], [0.0, 0.0, 2.0]]])
    right = np.array([[0.0, 1.5, 3.0]])
    assert np.linalg.solve(matrix[0], right[0]) == pytest.approx([-1.0, 2.0, 1.5])
    assert bounded(matrix, right, 2)[0] == pytest.approx([0.0, 1.5, 1.5])
    # two at once: only the more negative of them is taken out, the other comes back above zero
    both = np.array([[[1.0, 0.9, 0.0], [0.9, 1.0, 0.0], [0.0, 0.0, 1.0]]])
    aim = np.array([[-0.05, -0.01, 1.0]])
    free = np.linalg.solve(both[0], aim[0])
    assert free[0] < 0 < free[1]
    assert bounded(both, aim, 2)[0] == pytest.approx([0.0, 0.0, 1.0])


def test_a_variance_of_readings_is_no_less_than_a_millionth_of_the_largest():
    found = bounded(np.array([np.eye(3)]), np.array([[4.0, 2.0, -1.0]]), 2)[0]
    assert found == pytest.approx([4.0, 2.0, 4.0 * LEAST], rel=1e-12)
    assert LEAST == 1e-6
    alone = bounded(np.array([np.eye(2)]), np.array([[3.0, -1.0]]), 0)[0]  # nothing but readings: nothing leaves
    assert alone == pytest.approx([3.0, 3.0 * LEAST], rel=1e-12)


def test_each_response_is_bounded_by_itself():
    matrix = np.repeat(np.array([[[1.0, 0.5], [0.5, 1.0]]]), 2, axis=0)
    found = bounded(matrix, np.array([[0.0, 1.5], [3.0, 3.0]]), 1)
    assert found == pytest.approx(np.array([[0.0, 1.5], [2.0, 2.0]]))


def test_readings_that_show_nothing_are_refused():
    with pytest.raises(NotIdentifiable, match="do not differ at all"):
        bounded(np.array([[[1.0, 0.0], [0.0, 0.0]]]), np.array([[1.0, 0.0]]), 1)


def scores(information, observed, quadratic):
    none = np.zeros((1, 0, 0))
    made = (np.array([m], dtype=float) for m in (quadratic, information, observed))
    return Scores(none, none, none, np.ones(1), *made)


GAMMA = np.array([[1.0, 1.0]])


def test_far_from_the_end_a_step_is_fishers():
    now = scores(np.eye(2), 3.0 * np.eye(2), [0.5, 2.0])
    # where the information times the step is the quadratic
    assert _step(now, GAMMA, np.array([False]), 1)[0] == pytest.approx([0.5, 2.0])


def test_close_to_the_end_a_step_is_newtons_where_the_likelihood_curves_down():
    """Curvature 2 x 3 - 1 = 5: gamma + slope / 5, with the slope quadratic - information x gamma."""
    now = scores(np.eye(2), 3.0 * np.eye(2), [0.5, 2.0])
    assert _step(now, GAMMA, np.array([True]), 1)[0] == pytest.approx([1 - 0.5 / 5, 1 + 1.0 / 5])
    # curved by less than a twentieth of the information: scoring again
    for observed, by_newton in ((0.53, True), (0.52, False)):
        flat = scores(np.eye(2), observed * np.eye(2), [0.5, 2.0])
        expected = [0.0, 1 + 1.0 / (2 * observed - 1)] if by_newton else [0.5, 2.0]
        assert _step(flat, GAMMA, np.array([True]), 1)[0] == pytest.approx(expected)


@pytest.fixture(scope="module")
def design():
    """Two types of four specimens, three coupons each, two readings; spreads of coupons and readings by type."""
    kind = np.repeat(["a", "b"], 24)
    specimen, coupon = np.repeat(np.arange(8), 6), np.repeat(np.arange(24), 2)
    fixed = np.column_stack([kind == "a", kind == "b"]).astype(float)
    return TypedDesign.build(fixed, {"specimen": specimen, "coupon": coupon}, kind, ["coupon"]), specimen, coupon, kind


def dense(design, gamma):
    """The covariance of readings and the parts of it, in full."""
    made, specimen, coupon, kind = design
    same = {"specimen": specimen[:, None] == specimen, "coupon": coupon[:, None] == coupon}
    parts = [same["specimen"].astype(float)]
    parts += [same["coupon"] * ((kind == t)[:, None] & (kind == t)).astype(float) for t in ("a", "b")]
    parts += [np.diag((kind == t).astype(float)) for t in ("a", "b")]
    assert list(made.names) == ["specimen", "coupon of a", "coupon of b", "reading of a", "reading of b"]
    return sum(g * part for g, part in zip(gamma, parts, strict=True)), parts


def test_scores_are_those_of_the_dense_algebra(design):
    made, *_, kind = design
    gamma = np.array([0.7, 0.3, 0.5, 1.0, 0.8])
    y = np.random.default_rng(4).standard_normal(48)
    found = score(made.cells, made.cells.reduced(y[None]), gamma[None])
    v, parts = dense(design, gamma)
    x = np.column_stack([kind == "a", kind == "b"]).astype(float)
    inverse = np.linalg.inv(v)
    p = inverse - inverse @ x @ np.linalg.solve(x.T @ inverse @ x, x.T @ inverse)
    py = p @ y
    assert found.rss[0] == pytest.approx(y @ py)
    assert found.quadratic[0] == pytest.approx([py @ part @ py for part in parts])
    assert found.information[0] == pytest.approx(np.array([[np.trace(p @ a @ p @ b) for b in parts] for a in parts]))
    assert found.observed[0] == pytest.approx(np.array([[py @ a @ p @ b @ py for b in parts] for a in parts]))


def test_the_search_ends_where_scoring_changes_nothing_for_each_response(design):
    """At the end of each search the score of every variance above zero is zero, of one at zero it points below."""
    made, specimen, coupon, kind = design
    rng, wide = np.random.default_rng(7), np.where(kind == "b", 2.0, 1.0)
    responses = np.array(
        [
            rng.standard_normal(8)[specimen] * s + wide * (rng.standard_normal(24)[coupon] + rng.standard_normal(48))
            for s in (0.0, 0.5, 2.0)
        ]
    )
    responses = responses - np.array([[y[kind == t].mean() for t in kind] for y in responses])
    responses /= np.sqrt(np.sum(responses**2, axis=1, keepdims=True) / 46)
    found, settled = search(made.cells, made.cells.reduced(responses))
    assert settled.all() and found.min() >= 0
    now = score(made.cells, made.cells.reduced(responses), found)
    slope = now.quadratic - np.einsum("bij,bj->bi", now.information, found)
    scale = np.sqrt(np.einsum("bii->bi", now.information))
    above = found > 1e-9
    assert np.abs(slope / scale)[above].max() < 1e-6 and (slope[~above] <= 1e-9).all()
