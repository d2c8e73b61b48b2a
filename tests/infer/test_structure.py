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


@pytest.mark.parametrize("empty", ["", None, float("nan")])
def test_a_grouping_with_a_label_missing_is_absent(empty):
    nozzle, found = labels(mounts=2)
    found["mount"] = found["mount"].copy()
    found["mount"][3] = empty
    structure = find_structure(nozzle, found)
    assert "mount" not in structure.groups and "mount" not in structure.counts
    assert find_structure(nozzle, found | {"mount": np.array([], dtype=object)}).counts == structure.counts


def test_counts_are_those_of_the_records_and_what_merges_is_said_of_whom():
    nozzle, found = labels(types=2, specimens=3, coupons=4, sheets=3)
    structure = find_structure(nozzle, found)
    assert structure.counts == {"sheet": 3, "specimen": 6, "mount": 6, "coupon": 24}
    (merged,) = [one for one in structure.said if one.kind is InferKind.ONE_PER]
    assert (merged.about.source, merged.facts) == ("mount", {"of_each": "specimen"})
    assert structure.block_word == "sheet"


def test_few_sheets_are_a_fixed_part_and_counted():
    nozzle, found = labels(sheets=2)
    structure = find_structure(nozzle, found, "block")
    assert structure.block.tolist() == found["sheet"].tolist()
    (said,) = [one for one in structure.said if one.kind is InferKind.FEW_SHEETS]
    assert said.facts == {"n": 2, "block": "block", "enough": 3}
    assert find_structure(*labels(sheets=1)).block is None


def test_types_with_one_specimen_beside_others_with_more_are_named():
    nozzle, found = labels(specimens=2)
    keep = ~np.isin(found["specimen"], ["s11"])
    structure = find_structure(nozzle[keep], {name: values[keep] for name, values in found.items()})
    (said,) = [one for one in structure.said if one.kind is InferKind.ONE_SPECIMEN_OF]
    assert said.about.nozzles == ("t1",) and not structure.pieces_only and structure.yardstick == "specimen"
    # as few specimens as types, though they are not the same thing
    swapped = np.array(["x", "y"] * (len(nozzle) // 2), dtype=object)
    crossed = find_structure(nozzle, found | {"specimen": swapped})
    assert crossed.pieces_only and InferKind.ONE_SPECIMEN_EACH in {one.kind for one in crossed.said}


def test_a_mount_that_carries_two_types_is_no_yardstick():
    nozzle, found = labels(specimens=1, mounts=3)
    found["mount"] = np.array([name[:1] + name[2:] for name in found["mount"]], dtype=object)  # shared by both types
    structure = find_structure(nozzle, found)
    assert structure.yardstick == "coupon" and not structure.replicated


def test_one_type_needs_no_yardstick_and_readings_alone_give_one():
    nozzle, found = labels(types=1, specimens=1)
    assert find_structure(nozzle, found).replicated
    bare = find_structure(nozzle, {})
    assert (bare.groups, bare.yardstick, bare.pieces_only) == ({}, "reading", True)


def test_what_a_test_rests_on_is_counted():
    nozzle, found = labels(types=2, specimens=1, coupons=3)
    structure = find_structure(nozzle, found)
    assert rests_on(structure, None) == RestsOn("coupon", 6, 1, "sheet", None)
    assert rests_on(find_structure(nozzle, {}), None) == RestsOn("reading", None, 0, "sheet", None)


def test_one_mount_of_each_type_repeats_nothing():
    """Specimens are not named: the mounts are the types themselves, so that only coupons are left to judge by."""
    nozzle, found = labels(specimens=1)
    structure = find_structure(nozzle, {"mount": found["mount"], "coupon": found["coupon"]})
    assert structure.yardstick == "coupon" and not structure.replicated
    two = labels(specimens=1, mounts=2)
    assert find_structure(two[0], {"mount": two[1]["mount"], "coupon": two[1]["coupon"]}).yardstick == "mount"
