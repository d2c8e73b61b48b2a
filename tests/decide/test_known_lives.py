"""Lives from elsewhere as a cost takes them: units, stated figures, limits turned into an error, lower limits."""

import math

import numpy as np
import pytest

from trials.decide.known_lives import KnownLife, KnownLives, known_from
from trials.decide.typical_life import TypicalLife
from trials.endings import Part

EXACT = 1e-12  # a few operations on doubles
QUANTILE = 1.959963984540054  # normal, 0.975


def life(nozzle, mean, low=math.nan, high=math.nan, failures=5, unit="h", part=Part.NOZZLE):
    median, tenth = (30.0, 15.0, 60.0), (9.0, 4.0)  # not what a cost goes by
    return TypicalLife(nozzle, part, unit, *median, mean, low, high, *tenth, 6, failures, "log book")


def one(**figures):
    return known_from([life("a", **figures)]).types.get("a")


def test_limits_become_an_error_of_the_logarithm():
    both = one(mean=40.0, low=20.0, high=80.0)
    assert (both.life, both.at_least) == (40.0, False)
    assert both.log_sd == pytest.approx(math.log(4.0) / 2.0 / QUANTILE, rel=EXACT)
    above = one(mean=40.0, low=20.0, high=math.inf)
    assert above.log_sd == pytest.approx(math.log(2.0) / QUANTILE, rel=EXACT)


def test_a_stated_figure_has_no_error_and_one_without_failures_is_a_lower_limit():
    assert one(mean=40.0, failures=0) == KnownLife(40.0)
    assert one(mean=math.inf, low=25.0, high=math.inf, failures=0) == KnownLife(25.0, at_least=True)


@pytest.mark.parametrize("figures", [{"mean": 40.0}, {"mean": 40.0, "low": 0.0}, {"mean": 40.0, "low": math.inf}])
def test_a_life_without_a_lower_limit_is_not_known(figures):
    assert one(**figures) is None


NAMES = {"h": "hours", "hour": "hours", "hours": "hours", "m": "metres", "metres": "metres", "pierces": "pierces"}


@pytest.mark.parametrize(("unit", "known"), NAMES.items())
def test_units_that_a_cost_can_use(unit, known):
    found = known_from([life("a", 40.0, failures=0, unit=unit)])
    assert (found.unit, found.source) == (known, "log book")


def test_no_lives_or_mixed_or_strange_units_are_none():
    assert known_from([]) is None and known_from([life("a", 40.0, failures=0, unit="shifts")]) is None
    assert known_from([life("a", 40.0, failures=0), life("b", 40.0, failures=0, unit="m")]) is None


def test_the_window_goes_before_the_lens():
    nozzle, lens = life("a", 40.0, failures=0), life("a", 90.0, failures=0, part=Part.LENS)
    glass = life("a", 70.0, failures=0, part=Part.WINDOW)
    assert known_from([nozzle, lens]) == KnownLives("hours", "log book", {"a": KnownLife(40.0)}, {"a": KnownLife(90.0)})
    assert known_from([nozzle, lens, glass]).lens == {"a": KnownLife(70.0)}
    assert known_from([nozzle]).lens == {}


def test_draws_are_log_normal_around_the_life():
    rng, again = np.random.default_rng(1), np.random.default_rng(1)
    drawn = KnownLife(40.0, 0.25).draws(6, rng)
    assert np.log(drawn / 40.0) / 0.25 == pytest.approx(again.standard_normal(6), rel=1e-9)
    assert KnownLife(40.0).draws(3, rng).tolist() == [40.0] * 3
