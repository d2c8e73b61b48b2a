"""Random structure read off the labels, and the findings that go with it."""

import numpy as np
import pytest

from trials.infer.kinds import InferKind
from trials.infer.model import RestsOn, find_structure, rests_on


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
    ("shape", "groups", "yardstick", "replicated", "said"),
    [
        ({}, {"specimen", "coupon"}, "specimen", True, InferKind.ONE_PER),
        ({"mounts": 2}, {"specimen", "mount", "coupon"}, "specimen", True, None),
        ({"specimens": 1, "mounts": 3}, {"mount", "coupon"}, "mount", True, InferKind.ONE_SPECIMEN_EACH),
        ({"specimens": 1}, {"coupon"}, "coupon", False, InferKind.NOT_REPEATED),
        ({"readings": 1}, {"specimen"}, "specimen", True, InferKind.ONE_READING_PER),
        ({"sheets": 3}, {"sheet", "specimen", "coupon"}, "specimen", True, None),
        ({"sheets": 2}, {"specimen", "coupon"}, "specimen", True, InferKind.FEW_SHEETS),
        ({"coupons": 1}, {"specimen"}, "specimen", True, InferKind.ONE_PER),
    ],
)
def test_structure(shape, groups, yardstick, replicated, said):
    nozzle, found = labels(**shape)
    structure = find_structure(nozzle, found)
    assert set(structure.groups) == groups
    assert structure.yardstick == yardstick
    assert structure.replicated is replicated
    assert said is None or said in {finding.kind for finding in structure.said}
    assert (structure.block is not None) == (shape.get("sheets") == 2)


def test_missing_specimens_are_said():
    nozzle, found = labels()
    found["specimen"] = np.array([""] * len(nozzle), dtype=object)
    del found["mount"]
    structure = find_structure(nozzle, found)
    assert not structure.replicated
    (found,) = [finding for finding in structure.said if finding.kind == InferKind.NOT_NAMED]
    assert found.facts["missing"] == ("specimen", "mount")


def test_rests_on():
    nozzle, found = labels(types=4, sheets=3)
    assert rests_on(find_structure(nozzle, found), 6.0) == RestsOn("specimen", 12, 3, "sheet", 6.0)
