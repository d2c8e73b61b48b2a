"""Mean squares by sums per group against plain projections on dense matrices, and their use of memory."""

import tracemalloc

import numpy as np
import pytest
from scipy.linalg import pinv

from trials.infer.chance import find_layers, key

CUTOFF = 1e-10  # far above rounding, far below any direction that the designs have


def uneven(sheets_cross, wavy, seed=3):
    """Twelve specimens of four types, 72 coupons with up to three readings; a third of the readings lost."""
    rng = np.random.default_rng(seed)
    coupon = np.repeat(np.arange(72), 3)
    specimen = coupon // 6
    kind = specimen % 4
    sheet = coupon % 3 if sheets_cross else specimen // 4
    along = rng.normal(size=len(coupon)) if wavy else rng.normal(size=72)[coupon]
    fixed = np.column_stack([(kind[:, None] == np.arange(4)).astype(float), along])
    values = 5 + rng.normal(size=72)[coupon] + 0.5 * rng.normal(size=12)[specimen] + rng.normal(size=len(coupon))
    keep = rng.random(len(coupon)) < 0.67
    groups = {"sheet": sheet[keep], "specimen": specimen[keep], "coupon": coupon[keep]}
    return values[keep], fixed[keep], groups, kind[keep]


def by_projection(values, fixed, groups, kind, own):
    """Mean square, df and expectation of every layer from n-by-n projection matrices."""
    before, found = fixed @ pinv(fixed, rtol=CUTOFF), {}
    members = {layer: np.eye(labels.max() + 1)[labels] for layer, labels in groups.items()}
    columns = [fixed]
    for layer in groups:
        columns.append(members[layer])
        every = np.hstack(columns)
        after = every @ pinv(every, rtol=CUTOFF)
        gained = after - before
        for t in range(4) if layer in own else [None]:
            at = np.ones(len(kind), bool) if t is None else kind == t
            part = gained[at]
            df = np.trace(gained[:, at] @ part)
            sizes = {}
            for other, member in members.items():
                for u in range(4) if other in own else [None]:
                    touched = member if u is None else member[:, (member * (kind == u)[:, None]).any(axis=0)]
                    sizes[key(other, None if u is None else str(u))] = np.sum((part @ touched) ** 2) / df
            value = np.sum((part @ values) ** 2) / df
            found[key(layer, None if t is None else str(t))] = (value, df**2 / np.sum(part[:, at] ** 2), sizes)
        before = after
    return found


@pytest.mark.parametrize("sheets_cross", [False, True])
@pytest.mark.parametrize("wavy", [False, True])
@pytest.mark.parametrize("own", [(), ("coupon",), ("specimen", "coupon")])
def test_layers_are_projections(sheets_cross, wavy, own):
    values, fixed, groups, kind = uneven(sheets_cross, wavy)
    layers = find_layers(values, fixed, groups, kind, own)
    want = by_projection(values, fixed, groups, kind, own)
    assert {s.name for s in layers.squares} == {*want, "reading"}
    for square in layers.squares[:-1]:
        value, df, sizes = want[square.name]
        # Rounding of pseudo-inverses of 140 rows.
        assert (square.value, square.df) == pytest.approx((value, df), rel=1e-9)
        for name, size in sizes.items():
            assert square.sizes.get(name, 0.0) == pytest.approx(size, rel=1e-8, abs=1e-8)
    row = np.array([1.0, 0, 0, 0, 0.3])
    weights = row @ pinv(fixed, rtol=CUTOFF)
    mean, sizes = layers.mean(row)
    assert mean == pytest.approx(float(weights @ values), rel=1e-10)
    assert sizes["reading"] == pytest.approx(float(np.sum(weights**2)), rel=1e-9)
    assert sum(sizes[n] for n in sizes if n.startswith("specimen")) == pytest.approx(
        float(np.sum(np.bincount(groups["specimen"], weights) ** 2)), rel=1e-9
    )


def test_memory_grows_with_readings_not_with_readings_times_coupons():
    rng = np.random.default_rng(1)
    coupon = np.repeat(np.arange(20_000), 2)
    specimen = coupon // 10
    kind = specimen % 4
    fixed = (kind[:, None] == np.arange(4)).astype(float)
    values = rng.normal(size=20_000)[coupon] + rng.normal(size=2_000)[specimen] + rng.normal(size=len(coupon))
    tracemalloc.start()
    layers = find_layers(values, fixed, {"specimen": specimen, "coupon": coupon}, kind, ("coupon", "reading"))
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert [round(s.df) for s in layers.squares[:2]] == [1996, 4500]
    # One dense matrix of readings by coupons would take 6.4 GB, one of readings by specimens 640 MB.
    assert most < 2e8
