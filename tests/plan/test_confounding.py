"""What a set of nozzles cannot tell apart, by small sets made by hand."""

import pytest
from tests_support import TRIAL_TEXT

from trials.plan.confounding import _side, confounded
from trials.plan.kinds import PlanKind
from trials.trial import parse

HEAD, TAIL = TRIAL_TEXT.split("[[nozzles]]")[0], "[factors.pressure]" + TRIAL_TEXT.split("[factors.pressure]")[1]


def trial_of(*nozzles, method="full"):
    blocks = []
    for i, (details, specimens) in enumerate(nozzles):
        marks = str([f"N{i}{k}" for k in range(specimens)]).replace("'", '"')
        today = "today = true" if i == 0 else ""
        blocks.append(f'[[nozzles]]\ntype = "t{i}"\nspecimens = {marks}\n{today}\n{details}\n')
    return parse(HEAD + "".join(blocks) + TAIL.replace('method = "full"', f'method = "{method}"'))


def found(*nozzles, **asked):
    return [(one.kind, dict(one.facts)) for one in confounded(trial_of(*nozzles, **asked))]


def test_style_that_goes_with_size_is_said_with_its_side():
    thin, wide = 'wall = "single"\norifice_mm = 1.2', 'wall = "double"\norifice_mm = 1.6'
    assert found((thin, 3), (wide, 3)) == [
        (PlanKind.STYLE_WITH_SIZE, {"feature": "double wall", "size": "orifice_mm", "side": "larger"})
    ]
    ((_, facts),) = found((thin.replace("1.2", "1.8"), 3), (wide, 3))
    assert facts["side"] == "smaller"
    # a size that both have tells them apart
    assert found((thin, 3), (wide, 3), (thin.replace("1.2", "1.6"), 3)) == []
    # nothing is said of a size that is not stated
    assert found(('wall = "single"', 3), (wide, 3)) == []


def test_styles_that_always_go_together_are_named_once():
    plain, other = 'wall = "single"\nplated = false', 'wall = "double"\nplated = true'
    assert found((plain, 3), (other, 3)) == [(PlanKind.STYLES_TOGETHER, {"features": ("double wall", "plating")})]
    assert found((plain, 3), (other, 3), ('wall = "single"\nplated = true', 3)) == []
    # two bores that divide the types alike are one part
    bores = ('bore = "conical"\nwall = "single"', 3), ('bore = "cylindrical"\nwall = "double"', 3)
    assert found(*bores) == [(PlanKind.STYLES_TOGETHER, {"features": ("double wall", "bore")})]


@pytest.mark.parametrize(
    ("counts", "kind"), [((1, 1), PlanKind.ONE_OF_EACH), ((2, 1), PlanKind.ONE_SPECIMEN), ((2, 2), None)]
)
def test_types_with_one_specimen_are_named(counts, kind):
    said = confounded(trial_of(*(("", n) for n in counts)))
    assert [one.kind for one in said] == ([] if kind is None else [kind])
    if kind is PlanKind.ONE_SPECIMEN:
        assert said[0].about.nozzles == ("t1",)
    assert confounded(trial_of(*(("", n) for n in counts), method="bench")) == []


def test_sides_of_sizes():
    assert (_side([1.6], [1.2, 1.4]), _side([1.0], [1.2]), _side([1.2], [1.0, 1.4])) == ("larger", "smaller", "other")
    assert _side([1.2, 1.6], [1.4]) == "other"
