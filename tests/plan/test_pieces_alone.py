"""Chances of ladders and lives, where each piece gives one figure: against a simulation of the rule."""

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from trials.errors import InputError
from trials.plan.assess.pieces_alone import ladder_settles, lives_settle
from trials.plan.choose import make_plan
from trials.trial import parse

DESIGNS = Path(__file__).parents[2] / "designs"
LADDER = (DESIGNS / "fastest-clean-cut.toml").read_text(encoding="utf-8")
LIVES = (DESIGNS / "nozzle-life.toml").read_text(encoding="utf-8")


def simulated(one, pieces, near, far, draws=40_000):
    """Rates of a right word if two types differ by `near`, and if they do not: variance `one` of a piece."""
    rng, df = np.random.default_rng(8), 2 * (pieces - 1)
    se = math.sqrt(2 * one / pieces)
    s = se * np.sqrt(rng.chisquare(df, draws) / df)
    found = se * rng.standard_normal(draws)

    def same(value):
        half = stats.t.ppf(0.95, df) * s
        return (value + half < near) & (value - half > -far)

    apart = found + near > stats.t.ppf(0.975, df) * s
    return np.mean(apart & ~same(found + near)), np.mean(same(found))


def test_a_ladder_against_a_simulation_of_the_rule():
    trial = parse(LADDER)
    needed = ladder_settles(trial, make_plan(trial))
    # 4 % of pieces, 3 % of mounts, nine steps from 3 to 5 m/min at a level of 3.8 m/min, a step spread evenly
    one = 0.04**2 + 0.03**2 + (0.25 / 3.8) ** 2 / 12
    different, same = simulated(one, 8, math.log(1.1), -math.log(0.9))
    # four standard errors of 40,000 draws
    assert needed.chance_at_worthwhile == pytest.approx(different, abs=0.007)
    assert needed.chance_at_zero == pytest.approx(same, abs=0.007)


def test_a_figure_in_units_is_taken_as_it_is():
    typed = LADDER.replace('worthwhile = "10 %"', 'worthwhile = "0.38 m/min"').replace(
        'specimen = "4 %"', 'specimen = "0.152 m/min"'
    )
    trial = parse(typed)
    needed = ladder_settles(trial, make_plan(trial))
    one = 0.152**2 + (0.03 * 3.8) ** 2 + 0.25**2 / 12
    assert needed.chance_at_zero == pytest.approx(simulated(one, 8, 0.38, 0.38)[1], abs=0.007)


def test_lives_against_a_simulation_of_the_rule():
    needed = lives_settle(parse(LIVES), "life")
    one = (math.log(1.35) * math.sqrt(6) / math.pi) ** 2
    different, same = simulated(one, 15, math.log(1.3), -math.log(0.7))
    assert needed.chance_at_worthwhile == pytest.approx(different, abs=0.007)
    assert needed.chance_at_zero == pytest.approx(same, abs=0.007)


def test_nothing_is_said_where_nothing_is_expected():
    bare = (
        LADDER.split("[responses.clean_speed.expected]")[0] + "[responses.dross]" + LADDER.split("[responses.dross]")[1]
    )
    trial = parse(bare)
    assert ladder_settles(trial, make_plan(trial)) is None
    assert lives_settle(parse(LIVES.replace('specimen = "35 %"\n', "")), "life") is None


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('specimen = "4 %"', 'specimen = "4 bar"', "clean_speed.expected.specimen"),
        ('specimen = "4 %"', 'coupon = "4 %"', "clean_speed.expected.coupon"),
        ("level = 3.8", "level = -3.8", "clean_speed.expected.level"),
    ],
)
def test_an_expectation_that_cannot_be_read_names_its_place(old, new, place):
    assert old in LADDER
    with pytest.raises(InputError, match=place):
        parse(LADDER.replace(old, new))
