"""The card: which type, how far its settings may go, what it can be taken for, what to watch."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from trials.asked import BestBy
from trials.decide.card import Watch, choose, look_alikes, safe_around, settings_of, watch
from trials.decide.chart import Said
from trials.decide.window_result import Best, TypeWindow, WindowStudy
from trials.errors import InputError
from trials.infer.answer import Answer
from trials.nozzles import Nozzle
from trials.trial import parse

B, S, W = Answer.BETTER, Answer.SAME, Answer.WORSE


@pytest.fixture
def trial(trial_text):
    return parse(trial_text)


def said(*answers, size=2.0):
    return tuple(Said("roughness", "Rz5", "um", one, times_worthwhile=size) for one in answers)


def test_the_best_that_was_proved_gets_the_card_else_the_one_in_use(trial):
    assert choose(trial, {"double": said(B)}).type == "double"
    assert choose(trial, {"double": said(S)}).type == "cylindrical"
    assert choose(trial, {"double": said(B, W)}).type == "cylindrical"
    assert choose(trial, {}).type == "cylindrical"


def test_a_named_type_must_have_been_shown_to_be_as_good(trial):
    assert choose(trial, {"double": said(S)}, "double").type == "double"
    with pytest.raises(InputError, match="was not shown to be as good as cylindrical"):
        choose(trial, {"double": said(Answer.NOT_SETTLED)}, "double")
    with pytest.raises(InputError, match="no such nozzle type"):
        choose(trial, {}, "conical")


def test_of_several_the_largest_proved_gain_in_any_response_decides(trial_text):
    third = '[[nozzles]]\ntype = "pointed"\norifice_mm = 1.4\nprice = 12.0\nspecimens = ["P1", "P2", "P3"]\n\n'
    trial = parse(trial_text.replace("[factors.pressure]", third + "[factors.pressure]"))
    small, large = said(B, S, size=1.5), said(S, B, size=2.5)
    assert choose(trial, {"double": small, "pointed": large}).type == "pointed"
    assert choose(trial, {"double": large, "pointed": small}).type == "double"
    # a size that was not kept counts as one worthwhile difference
    assert choose(trial, {"double": said(B, size=0.9), "pointed": said(B, size=None)}).type == "pointed"
    assert choose(trial, {"double": said(B, size=1.1), "pointed": said(B, size=None)}).type == "double"
    assert choose(trial, {"double": (), "pointed": said(S)}).type == "cylindrical"
    with pytest.raises(InputError, match="was not shown"):
        choose(trial, {"double": ()}, "double")
    assert choose(trial, {}, "cylindrical").type == "cylindrical"


def window(low):
    """Three by three settings; low: bound of the chance by (pressure, standoff)."""
    grid = [(p, s) for s in (0.6, 1.0, 1.4) for p in (0.5, 0.7, 0.9)]
    own = TypeWindow(
        "double", tuple({"pressure": p, "standoff": s} for p, s in grid), tuple(0.99 for _ in grid),
        tuple(low.get(at, 0.5) for at in grid), 1.0, 1.0, Best({}, 0.99, 0.9), 0.97, 0.93, None, None, (),
    )  # fmt: skip
    units = {"pressure": "bar", "standoff": "mm"}
    today = {"pressure": 0.72, "standoff": 1.0}
    return WindowStudy(
        ("pressure", "standoff"),
        units,
        {},
        0.9,
        (0.5, 0.7, 0.9),
        (0.6, 1.0, 1.4),
        today,
        "roughness",
        "um",
        BestBy.CHANCE,
        (own,),
    )


def test_a_span_runs_over_steps_next_to_each_other_from_todays():
    safe = safe_around(window({(0.7, 1.0): 0.93, (0.9, 1.0): 0.91, (0.7, 0.6): 0.95, (0.5, 0.6): 0.95}), "double")
    spans = {span.name: (span.low, span.high, span.unit) for span in safe.spans}
    assert spans == {"pressure": (0.7, 0.9, "bar"), "standoff": (0.6, 1.0, "mm")}
    assert (safe.wanted, safe.chance, safe.low) == (0.9, 0.97, 0.93)


def test_good_settings_beyond_a_gap_are_no_span():
    # today's own step is not shown, so what lies beyond it is not offered
    assert safe_around(window({(0.5, 1.0): 0.95, (0.9, 1.0): 0.95}), "double").spans == ()
    assert safe_around(window({}), "conical") is None


def test_a_span_ends_at_the_edge_of_the_map_and_at_a_gap():
    every = {(p, 1.0): 0.9 for p in (0.5, 0.7, 0.9)} | {(0.7, s): 0.95 for s in (0.6, 1.4)}
    spans = {span.name: (span.low, span.high) for span in safe_around(window(every), "double").spans}
    assert spans == {"pressure": (0.5, 0.9), "standoff": (0.6, 1.4)}  # the stated chance itself is enough
    alone = safe_around(window({(0.7, 1.0): 0.91, (0.7, 1.4): 0.95}), "double").spans
    assert [(span.name, span.low, span.high) for span in alone] == [("pressure", 0.7, 0.7), ("standoff", 1.0, 1.4)]


def test_a_step_that_was_not_cut_is_no_part_of_a_span():
    found = window({(0.5, 1.0): 0.95})
    (own,) = found.types
    at = [place != {"pressure": 0.7, "standoff": 1.0} for place in own.settings]
    keep = {name: tuple(v for v, k in zip(getattr(own, name), at, strict=True) if k) for name in ("settings", "low")}
    assert safe_around(replace(found, types=(replace(own, **keep),)), "double").spans == ()


def test_look_alikes_differ_in_what_is_stated(trial):
    (one,) = look_alikes(trial, trial.nozzles[1])
    assert (one.nozzle.type, one.differs, one.same_orifice) == ("cylindrical", ("wall",), True)
    plain = Nozzle(type="plain", wall="single", orifice_mm=1.4)
    others = [
        Nozzle(type="a", wall="double", orifice_mm=1.4, point=True),
        Nozzle(type="b", wall="double", orifice_mm=1.6),
        Nozzle(type="c", wall="single"),
        Nozzle(type="d", wall="single", orifice_mm=1.4),
        Nozzle(type="e", wall="double", orifice_mm=1.4),
    ]
    made = SimpleNamespace(nozzles=(plain, *others))
    found = [(one.nozzle.type, one.differs, one.same_orifice) for one in look_alikes(made, plain)]
    # what is not stated is no difference; of as many details the same orifice first
    assert found[:2] == [("d", (), True), ("c", (), False)]
    assert [each for each in found if each[0] in "eb"] == [("e", ("wall",), True), ("b", ("wall", "orifice_mm"), False)]
    assert (
        look_alikes(SimpleNamespace(nozzles=(others[2], others[2].model_copy(update={"type": "f"}))), others[2])[
            0
        ].same_orifice
        is False
    )


def test_what_to_watch_follows_from_the_form():
    plain = Nozzle(type="a")
    assert watch(plain) == (Watch.CENTRE, Watch.SPATTER, Watch.TIP_UP, Watch.EDGE)
    full = Nozzle(type="b", side_jets=True, wall="double", point=True, plated=True)
    assert set(watch(full)) == set(Watch)


def test_settings_are_those_compared_and_those_held(trial):
    assert [(one.name, one.value, one.unit, one.held) for one in settings_of(trial)] == [
        ("pressure", 0.7, "bar", False),
        ("standoff", 1.0, "mm", False),
        ("speed_m_min", 1.1, "", True),
    ]


def test_a_held_yes_or_no_is_said_in_words(trial):
    held = trial.model_copy(update={"held": {"preheat": True, "film": False, "speed_m_min": 1.1}})
    found = [(one.name, one.value, one.held) for one in settings_of(held, {"pressure": 0.5})]
    assert found == [
        ("pressure", 0.5, False),
        ("preheat", "yes", True),
        ("film", "no", True),
        ("speed_m_min", 1.1, True),
    ]
