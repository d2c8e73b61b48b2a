"""Which form of a nozzle meets which caution, by gas."""

import pytest
from tests_support import TRIAL_TEXT

from trials.plan.cautions import nozzle_cautions
from trials.plan.kinds import PlanKind
from trials.trial import parse

ABOUT_A_TYPE = {
    PlanKind.CYLINDRICAL_HIGH_PRESSURE,
    PlanKind.CONICAL_OXYGEN,
    PlanKind.DOUBLE_WALL_HIGH_PRESSURE,
    PlanKind.SIDE_JETS_PLUG,
    PlanKind.POINTED_BODY,
    PlanKind.THIN_WALLS,
}


def said(gas, bore="diverging", wall="single", more=""):
    """Kinds of cautions on the second of two types; the first is of a form that none is about."""
    head, second = TRIAL_TEXT.split('type = "double"')
    head = head.replace('bore = "cylindrical"', 'bore = "diverging"').replace('gas = "oxygen"', f'gas = "{gas}"')
    second = second.replace('bore = "cylindrical"', f'bore = "{bore}"', 1)
    second = second.replace('wall = "double"', f'wall = "{wall}"\n{more}', 1)
    found = nozzle_cautions(parse(head + 'type = "double"' + second))
    assert {f.about.nozzle for f in found if f.kind in ABOUT_A_TYPE} <= {"double"}
    return {f.kind for f in found if f.kind in ABOUT_A_TYPE}


@pytest.mark.parametrize(
    ("asked", "kinds"),
    [
        (("oxygen",), set()),
        (("nitrogen",), set()),
        (("nitrogen", "cylindrical"), {PlanKind.CYLINDRICAL_HIGH_PRESSURE}),
        (("oxygen", "cylindrical"), set()),
        (("oxygen", "conical"), {PlanKind.CONICAL_OXYGEN}),
        (("nitrogen", "conical"), set()),
        (("nitrogen", "diverging", "double"), {PlanKind.DOUBLE_WALL_HIGH_PRESSURE}),
        (("oxygen", "diverging", "double"), set()),
        (("oxygen", "diverging", "single", "side_jets = true"), {PlanKind.SIDE_JETS_PLUG, PlanKind.THIN_WALLS}),
        (("oxygen", "diverging", "single", "point = true"), {PlanKind.POINTED_BODY}),
    ],
)
def test_a_caution_is_about_the_form_it_names(asked, kinds):
    assert said(*asked) == kinds
