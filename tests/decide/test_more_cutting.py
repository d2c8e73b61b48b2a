"""What would settle an open answer: pieces of the larger need, mounts and coupons as before, counted by hand."""

import pandas as pd
import pytest

from trials.decide.more_cutting import more_cutting
from trials.findings import Finding
from trials.plan.kinds import PlanKind


def needed(worthwhile, zero, now=3):
    facts = {"specimens": now, "chance": 0.8, "specimens_at_worthwhile": worthwhile, "specimens_at_zero": zero}
    return Finding(PlanKind.NEEDED, facts=facts)


def cut(specimens, mounts, coupons):
    rows = [(f"s{s}", f"M{s}x{m}") for s in range(specimens) for m in range(mounts) for _ in range(coupons)]
    return pd.DataFrame(rows, columns=["specimen", "mount"])


@pytest.mark.parametrize(
    ("laid_out", "coupons"),
    [((6, 1, 2), 2 * 8 * 2), ((6, 2, 1), 2 * 8 * 2), ((6, 2, 3), 2 * 8 * 6), ((1, 4, 1), 2 * 8 * 4)],
)
def test_the_larger_need_in_the_layout_of_before(trial, laid_out, coupons):
    found = more_cutting(trial, (needed(7, 11), needed(9, 4)), cut(*laid_out))
    assert (found.specimens, found.now, found.chance, found.coupons) == (11, 3, 0.8, coupons)


def test_nothing_where_no_number_would_do_or_none_is_needed(trial):
    assert more_cutting(trial, (needed(7, None),), cut(6, 1, 2)) is None
    assert more_cutting(trial, (needed(3, 3),), cut(6, 1, 2)) is None
    assert more_cutting(trial, (), cut(6, 1, 2)) is None
