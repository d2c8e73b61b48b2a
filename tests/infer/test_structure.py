"""Random structure read off the labels, and the sentences that go with it."""

import numpy as np
import pytest

from trials.infer.model import find_structure, rests_on


def labels(types=2, specimens=3, mounts=1, coupons=4, readings=3, sheets=1):
    rows = [
        (f"t{t}", f"s{t}{s}", f"m{t}{s}{m}", f"c{t}{s}{m}{c}", f"p{s % sheets}")
        for t in range(types)
        for s in range(specimens)
        for m in range(mounts)
        for c in range(coupons)
        for _ in range(readings)
    ]
    columns = [np.array(column, dtype=object) for column in zip(*rows, strict=True)]
    return columns[0], dict(zip(("specimen", "mount", "coupon", "sheet"), columns[1:], strict=True))


@pytest.mark.parametrize(
    ("shape", "groups", "yardstick", "replicated", "words"),
    [
        ({}, {"specimen", "coupon"}, "specimen", True, "One mount per specimen"),
        ({"mounts": 2}, {"specimen", "mount", "coupon"}, "specimen", True, ""),
        ({"specimens": 1, "mounts": 3}, {"mount", "coupon"}, "mount", True, "these nozzles, not about these types"),
        ({"specimens": 1}, {"coupon"}, "coupon", False, "No specimen or mount was repeated"),
        ({"readings": 1}, {"specimen"}, "specimen", True, "One reading per coupon"),
        ({"sheets": 3}, {"sheet", "specimen", "coupon"}, "specimen", True, ""),
        ({"sheets": 2}, {"specimen", "coupon"}, "specimen", True, "Only 2 sheets"),
        ({"coupons": 1}, {"specimen"}, "specimen", True, "One coupon per specimen"),
    ],
)
def test_structure(shape, groups, yardstick, replicated, words):
    nozzle, found = labels(**shape)
    structure = find_structure(nozzle, found)
    assert set(structure.groups) == groups
    assert structure.yardstick == yardstick
    assert structure.replicated is replicated
    assert words in " ".join(structure.said)
    assert (structure.block is not None) == (shape.get("sheets") == 2)


def test_missing_specimens_are_said():
    nozzle, found = labels()
    found["specimen"] = np.array([""] * len(nozzle), dtype=object)
    del found["mount"]
    structure = find_structure(nozzle, found)
    assert not structure.replicated
    assert "name no specimen and no mount" in " ".join(structure.said)


def test_rests_on_in_words():
    nozzle, found = labels(types=4, sheets=3)
    assert rests_on(find_structure(nozzle, found), 6.0) == "12 specimens on 3 sheets; 6 degrees of freedom"
