"""A plan as arrays: balance, counts and variances of small layouts made by hand."""

from dataclasses import replace
from types import SimpleNamespace as Made

import numpy as np
import pytest

from trials.infer.model import find_structure
from trials.plan.assess.frame import Frame, _balanced, _pair_variance, _same, _yardstick_df
from trials.plan.power import Balanced


def laid(*mounts):
    """Coupons of mounts (nozzle, specimen, sheet, settings): settings and labels as a frame holds them."""
    rows = [(n, s, t, f"M{i}", f"M{i}-{k}", x) for i, (n, s, t, xs) in enumerate(mounts) for k, x in enumerate(xs)]
    columns = [np.array(column, dtype=object) for column in zip(*rows, strict=True)]
    nozzle, specimen, sheet, mount, coupon, x = columns
    return {"nozzle": nozzle, "pressure": x}, {"specimen": specimen, "sheet": sheet, "mount": mount, "coupon": coupon}


def frame_of(*mounts, trial=None):
    settings, labels = laid(*mounts)
    structure = find_structure(settings["nozzle"], labels)
    types = tuple(dict.fromkeys(settings["nozzle"]))
    return Frame(
        trial=trial or Made(types=types, today=Made(type=types[0])),
        model=Made(axes=(), block_levels=()),
        fixed=np.ones((len(labels["mount"]), 1)),
        settings=settings,
        labels=labels,
        structure=structure,
        balanced=_balanced(settings, labels),
        yardstick_df=_yardstick_df(settings["nozzle"], labels, structure),
        coupon_df=1,
        confounded=(),
    )


X = (0.5, 0.7)
EVEN = [(n, f"{n}{s}", f"S{s}", X) for n in "ab" for s in (1, 2)]


@pytest.mark.parametrize(
    ("mounts", "balanced"),
    [
        (EVEN, True),
        ([*EVEN[:-1], ("b", "b2", "S2", (0.7, 0.5))], True),  # in another order
        ([*EVEN[:-1], ("b", "b2", "S2", (0.5, 0.9))], False),  # another setting in one mount
        ([*EVEN[:-1], ("b", "b2", "S2", (0.5, 0.7, 0.7))], False),  # one coupon more
        ([*EVEN[:-1], ("b", "b2", "S1", X)], False),  # a sheet with more of one type
        ([*EVEN, ("a", "a1", "S1", X), ("b", "b1", "S1", X)], False),  # one specimen of each mounted twice
        ([*EVEN, *EVEN], True),  # all mounted twice on the same sheet
        ([*EVEN, *((n, s, "S2" if t == "S1" else "S1", x) for n, s, t, x in EVEN)], True),  # once on every sheet
        (
            [(n, f"{n}{s}", t, X) for n in "ab" for s, on in ((1, "SSTT"), (2, "STTT"), (3, "SSST")) for t in on],
            False,  # specimens that visit sheets unequally, though types do not
        ),
        ([("a", "a1", "S1", X), ("a", "a2", "S1", X), ("b", "b1", "S1", X)], False),  # two specimens beside one
    ],
)
def test_balance_of_a_layout(mounts, balanced):
    assert _balanced(*laid(*mounts)) is balanced


def test_labels_that_mean_the_same():
    a = np.array(["x", "x", "y"], dtype=object)
    assert _same(a, np.array([1, 1, 2])) and not _same(a, np.array([1, 2, 2])) and not _same(a, np.array([1, 1, 1]))


def test_the_mean_variance_of_a_pair_by_hand():
    """Differences b - a and c - a with variances 2 and 6 and a covariance of 1: c - b has 2 + 6 - 2."""
    spread = np.array([[2.0, 1.0], [1.0, 6.0]])
    assert _pair_variance(np.eye(2), spread) == pytest.approx((2 + 6 + 6) / 3)
    assert _pair_variance(np.eye(2)[:1], spread) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("mounts", "df"),
    [
        (EVEN, 4 - 2 - 1),  # two types, two sheets
        ([(n, f"{n}{s}", "S1", X) for n in "ab" for s in (1, 2)], 4 - 2),
        ([*EVEN, *((n, s, "S2" if t == "S1" else "S1", x) for n, s, t, x in EVEN)], 4 - 2),  # sheets cost nothing
        ([(n, f"{n}1", "S1", X) for n in "ab"], 0),  # nothing is repeated
        ([(n, f"{n}1", "S1", X) for n in "ab" for _ in range(3)], 6 - 2),  # mounts of one specimen each
        (
            [("a", f"a{s}", "S1", X) for s in (1, 2)] + [("b", f"b{s}", "S2", X) for s in (1, 2)],
            0,
        ),  # sheets of their own
    ],
)
def test_degrees_of_freedom_between_pieces(mounts, df):
    assert frame_of(*mounts).yardstick_df == df


def test_the_nearest_balanced_plan():
    uneven = frame_of(*EVEN, ("a", "a3", "S1", X), ("a", "a3", "S2", X), ("b", "b2", "S1", (0.5,)))
    # five specimens, seven mounts, thirteen coupons of two types: 2.5, 3.5 and 6.5 of each
    assert uneven.nearest_balanced(4) == Balanced(2, 2, 2, 2, 4, 2)
    assert (uneven.per_type("specimen"), uneven.per_type("mount")) == (2.5, 3.5)
    assert frame_of(("a", "a1", "S1", X), ("a", "a2", "S1", X)).nearest_balanced(1) is None


@pytest.mark.parametrize(
    ("pieces", "expected"),
    [
        ({"a": 4, "b": 2, "c": 2}, (2, 2.0)),
        ({"a": 3, "b": 3, "c": 2}, (9, 1.0)),  # the others differ among themselves
        ({"a": 1, "b": 2, "c": 2}, (9, 1.0)),
        ({"a": 2, "b": 1, "c": 1}, (9, 1.0)),
        ({"b": 2, "c": 2}, (9, 1.0)),  # today's is not cut
    ],
)
def test_how_many_times_as_many_of_todays(pieces, expected):
    mounts = [(n, f"{n}{s}", "S1", X) for n, count in pieces.items() for s in range(count)]
    frame = frame_of(*mounts, trial=Made(types=("a", "b", "c"), today=Made(type="a")))
    assert frame._specimens(9) == expected


def test_spreads_of_the_layers_and_of_sheets():
    spreads = {"specimen": 0.3, "mount": 0.2, "sheet": 0.5, "coupon": 0.1, "reading": 0.4}
    frame = frame_of(*EVEN)
    assert frame.coupon_variance(spreads, 4) == pytest.approx(0.01 + 0.16 / 4)
    out, own = frame._variances(spreads, 0.05), frame._variances(spreads, None)
    assert out == pytest.approx({"specimen": 0.09, "mount": 0.04, "sheet": 1e6 * 0.05})
    assert own == pytest.approx({"specimen": 0.09, "mount": 0.04, "sheet": 0.25})
    one = frame_of(*((n, s, "S1", x) for n, s, _, x in EVEN))
    assert "sheet" not in one._variances(spreads, 0.05)
    for block, random in (((), True), (("S1",), True), (("S1", "S2"), False)):  # two sheets that stay fixed
        fixed = replace(frame, model=Made(axes=(), block_levels=block))
        assert ("sheet" in fixed._variances(spreads, 0.05)) is random
    alone = frame_of(*((n, f"{n}1", "S1", X) for n in "ab" for _ in range(3)))
    assert alone._variances(spreads, 0.05) == pytest.approx({"mount": 0.04})


def test_the_covariance_of_a_mean_by_hand():
    """Two specimens of each of two types, one mount of two coupons: one column of ones, so the mean of all eight."""
    frame = frame_of(*((n, s, "S1", x) for n, s, _, x in EVEN))
    spreads = {"specimen": 0.3, "mount": 0.2, "coupon": 0.1}
    assert frame.covariance(spreads, 1)[0, 0] == pytest.approx((0.09 + 0.04) / 4 + 0.01 / 8)
