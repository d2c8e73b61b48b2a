"""What an operating window may rest on, and which factors it may be drawn over."""

import pytest
from tests_support import TRIAL_TEXT

from trials.decide.response import fit_response
from trials.decide.window import asks_window, study_window
from trials.errors import InputError
from trials.trial import Method, parse

REQUIRED = "required = { squareness_range = 2, roughness_range = 2, dross_grade = 1 }"
NOTHING = "nothing that the requirement names was measured"


@pytest.fixture(autouse=True)
def coarse(monkeypatch):
    """A grid of two by two: what is asked here does not depend on it."""
    monkeypatch.setattr("trials.decide.window.POINTS", 2)


@pytest.fixture
def window(make_table):
    """Study the window of a trial file on one table of roughness, with grades of its coupons if asked for."""

    def study(text, graded=False, settings=None):
        trial, table = parse(text), make_table(settings=settings, readings=2)
        coupons = table.drop_duplicates("coupon").reset_index(drop=True).assign(outcome="cut")
        grades = coupons.assign(value=coupons.index % 3) if graded else None
        return study_window(trial, {"roughness": fit_response(trial, "roughness", table)}, coupons, grades)

    return study


def test_a_window_may_rest_on_the_dross_grade_alone(window):
    dross_only = TRIAL_TEXT.replace(REQUIRED, "required = { dross_grade = 1 }")
    assert {each.nozzle for each in window(dross_only, graded=True).types} == {"cylindrical", "double"}
    with pytest.raises(InputError, match=NOTHING):
        window(dross_only)


def test_a_grade_that_nobody_requires_is_no_ground(window):
    with pytest.raises(InputError, match=NOTHING):
        window(TRIAL_TEXT.replace(REQUIRED, "required = { squareness_range = 2 }"), graded=True)


def test_two_levels_make_a_map_and_one_does_not(window):
    text = TRIAL_TEXT.replace(REQUIRED, "required = { roughness_range = 2 }")
    corners = [(p, s) for p in (0.7, 0.9) for s in (0.6, 1.0, 1.4)]
    found = window(text.replace("[0.5, 0.7, 0.9]", "[0.7, 0.9]"), settings=corners)
    assert found.across == ("pressure", "standoff") and found.x == (0.7, 0.9) and found.y == (0.6, 1.4)
    with pytest.raises(InputError, match="two factors with several numbers"):
        window(text.replace("[0.5, 0.7, 0.9]", "[0.7]"), settings=[(0.7, s) for s in (0.6, 1.0, 1.4)])


@pytest.mark.parametrize(
    ("method", "aim", "asked"),
    [("surface", "effects", True), ("full", "prediction", True), ("full", "effects", False)],
)
def test_a_surface_or_a_plan_for_prediction_asks_for_the_window(trial, method, aim, asked):
    plan = trial.plan.model_copy(update={"method": Method(method), "aim": aim})
    assert asks_window(trial.model_copy(update={"plan": plan})) is asked
