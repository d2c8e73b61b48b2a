"""The one file with the figures of the standards."""

import json
from dataclasses import FrozenInstanceError
from importlib import resources

import pytest

from trials import standards
from trials.errors import InputError

STATUSES = {"confirmed", "partly confirmed", "from memory", "derived", "own rule", "common practice, no source"}


def entries(node):
    """Every object of the file that carries a status."""
    if isinstance(node, dict):
        if "status" in node:
            yield node
        node = list(node.values())
    if isinstance(node, list):
        for part in node:
            yield from entries(part)


def test_every_figure_says_how_it_was_checked():
    data = json.loads(resources.files("trials").joinpath("data", "standards.json").read_text(encoding="utf-8"))
    found = list(entries(data))
    assert len(found) > 50
    assert {entry["status"] for entry in found} <= STATUSES
    # whoever calls a figure confirmed says by what
    assert all(entry["source"] for entry in found if entry["status"] in ("confirmed", "partly confirmed"))


def test_a_corrected_figure_is_followed_everywhere(monkeypatch):
    """One value changed in the file changes the limit, the grade and the row with its status."""
    from trials.grade import iso9013

    data = json.loads(json.dumps(standards._data()))
    data["iso9013"]["squareness_mm"]["ranges"][0] |= {"base": 0.06, "status": "checked against the standard"}
    cached = (standards.squareness_ranges, standards._data)
    for function in cached:
        function.cache_clear()
    with monkeypatch.context() as patch:
        patch.setattr(standards, "_data", lambda: data)
        assert float(iso9013.squareness_limit(1, 10.0)) == 0.09
        assert int(iso9013.squareness_range(0.085, 10.0)) == 1
        row = standards.squareness_ranges()[0]
        assert (row.range, row.base, row.status) == (1, 0.06, "checked against the standard")
    standards.squareness_ranges.cache_clear()
    assert int(iso9013.squareness_range(0.085, 10.0)) == 2


@pytest.mark.parametrize(
    ("edition", "name", "ranges", "status"),
    [
        (None, "EXC1", (None, None), "from memory"),
        (None, "EXC2", (5, 4), "confirmed"),
        (None, "EXC3", (4, 4), "confirmed"),
        (None, "EXC4", (4, 4), "confirmed"),
        ("2008+A1:2011", "EXC2", (4, 4), "from memory"),
        ("2008+A1:2011", "EXC4", (3, 3), "from memory"),
    ],
)
def test_execution_classes_by_edition(edition, name, ranges, status):
    found = standards.execution_classes(edition)[name]
    assert (found.squareness_range, found.roughness_range) == ranges
    assert found.status == status
    assert found.clause == "6.4.3, Table 9"


@pytest.mark.parametrize(
    ("method", "cutoffs"),
    [
        ("ISO 21920-3", [(0.16, 0.08), (0.8, 0.25), (16.0, 0.8), (80.0, 2.5), (None, 8.0)]),
        ("ISO 4288", [(0.1, 0.08), (0.5, 0.25), (10.0, 0.8), (50.0, 2.5), (None, 8.0)]),
    ],
)
def test_cutoffs(method, cutoffs):
    rows = standards.cutoff_rows(method)
    assert [(row.to_um, row.cutoff_mm) for row in rows] == cutoffs
    assert [row.over_um for row in rows[1:]] == [row.to_um for row in rows[:-1]]


def test_delta_a_rows_meet_without_a_hole():
    rows = standards.delta_a_rows()
    assert [row.over_mm for row in rows[1:]] == [row.to_mm for row in rows[:-1]]
    assert [row.fixed_mm for row in rows[1:4]] == [0.3, 0.6, 1.0]


def test_cautions_name_the_hazards_and_who_decides():
    hazards = {caution.hazard for caution in standards.cautions()}
    assert {"laser light", "oxygen", "nitrogen and argon", "high-pressure gas", "fume", "tip-up"} <= hazards
    assert "hot and sharp coupons" in hazards
    assert any("machine maker" in caution.text for caution in standards.cautions())


def test_results_cannot_be_changed():
    with pytest.raises(FrozenInstanceError):
        standards.squareness_ranges()[0].base = 0.0
    with pytest.raises(TypeError):
        standards.execution_classes()["EXC2"] = None


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: standards.scope("saw"), "unknown cutting process; found 'saw'; allowed: laser, plasma, oxyfuel"),
        (lambda: standards.execution_classes("1066"), "unknown edition of EN 1090-2; found '1066'"),
        (lambda: standards.cutoff_rows("by eye"), "unknown rule for the cut-off; found 'by eye'"),
        (lambda: standards.roughness_depth_mm(0.0), "no usual depth for this thickness"),
    ],
)
def test_unknown_names(call, message):
    with pytest.raises(InputError, match=message):
        call()
