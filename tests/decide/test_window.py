"""The operating window on invented readings with two planted optima: where it is safe, where it is best."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from trials.decide.response import fit_response
from trials.decide.window import study_window
from trials.errors import InputError
from trials.steps.window import held_settings
from trials.trial import parse
from trials.words import window as words
from trials.words.language import Language, speaking

FILE = """
trial = {title = "t", question = "q"}
application = {material = "S355", thickness_mm = 12.0, required = {rz5_um = 45.0}}
nozzles = [
    {type = "plain", specimens = ["A1", "A2", "A3", "A4"], today = true},
    {type = "double", specimens = ["B1", "B2", "B3", "B4"]},
]
factors.pressure = {unit = "bar", levels = [0.5, 0.7, 0.9], today = 0.7}
factors.standoff = {unit = "mm", levels = [0.6, 1.0, 1.4], today = 1.0}
responses.roughness = {primary = true, readings = 2, worthwhile = "15 %"}
"""
BEST = {"plain": (0.6, 1.2), "double": (0.8, 0.8)}
LEVEL = {"plain": 30.0, "double": 26.0}


def typical(kind, pressure, standoff):
    """Rz5 in um: lowest at the planted best, 60 % up 0.2 bar beside it and 30 % up 0.4 mm beside it."""
    p, s = BEST[kind]
    return LEVEL[kind] * math.exp(0.47 * ((pressure - p) / 0.2) ** 2 + 0.26 * ((standoff - s) / 0.4) ** 2)


def cut(seed=3, spread=(0.03, 0.03, 0.02), left_out=()):
    rng = np.random.default_rng(seed)
    rows = []
    for kind, letter in (("plain", "A"), ("double", "B")):
        for i in range(4):
            own = rng.normal(0, spread[0])
            for p in (0.5, 0.7, 0.9):
                for s in (0.6, 1.0, 1.4):
                    edge = math.log(typical(kind, p, s)) + own + rng.normal(0, spread[1])
                    mark = f"{letter}{i}-{p}-{s}"
                    for r in (1, 2):
                        value = math.exp(edge + rng.normal(0, spread[2]))
                        rows.append((mark, "S1", f"{letter}M{i}", kind, f"{letter}{i + 1}", p, s, r, value))
    names = ["coupon", "sheet", "mount", "nozzle", "specimen", "pressure_bar", "standoff_mm", "reading", "value"]
    table = pd.DataFrame(rows, columns=names)
    return table[[(n, p, s) not in left_out for n, p, s in table[["nozzle", "pressure_bar", "standoff_mm"]].values]]


def studied(table, text=FILE, **options):
    trial = parse(text)
    coupons = table.drop_duplicates("coupon").assign(outcome="cut")
    fits = {"roughness": fit_response(trial, "roughness", table)}
    return study_window(trial, fits, coupons, **{"points": 9} | options)


@pytest.fixture(scope="module")
def found():
    return studied(cut())


def test_planted_optima_are_found(found):
    assert (found.across, found.wanted, found.response) == (("pressure", "standoff"), 0.9, "roughness")
    for each in found.types:
        best, (p, s) = each.best, BEST[each.nozzle]
        # the grid has steps of 0.05 bar and 0.1 mm; two of them is what these spreads leave open
        assert abs(best.settings["pressure"] - p) < 0.101 and abs(best.settings["standoff"] - s) < 0.201
        true = typical(each.nozzle, best.settings["pressure"], best.settings["standoff"])
        assert best.edge_low < true < best.edge_high
        assert best.edge_low < best.alone_low < best.edge < best.alone_high < best.edge_high


def test_shares_count_the_places_of_the_grid(found):
    for each in found.types:
        chances, lows = np.array(each.chance), np.array(each.low)
        assert len(each.settings) == len(chances) == len(found.x) * len(found.y) and np.all(lows <= chances)
        assert each.share_estimate == pytest.approx(np.mean(chances >= 0.9))
        assert each.share_bound == pytest.approx(np.mean(lows >= 0.9))
        # the true surface is under 45 um over a part of the region only, and next to it nothing is safe
        assert 0 < each.share_bound < each.share_estimate < 0.8
        limit = np.array([typical(each.nozzle, p["pressure"], p["standoff"]) for p in each.settings])
        assert np.all(lows[limit > 50.0] < 0.5) and each.best.chance > 0.99


def test_todays_setting_and_its_border(found):
    plain = found.types[0]
    place = next(i for i, p in enumerate(plain.settings) if p == {"pressure": 0.7, "standoff": 1.0})
    assert plain.today_chance == pytest.approx(plain.chance[place], abs=1e-6)
    assert plain.today_low >= plain.low[place]  # the bound of the map holds at all places together
    nearest = plain.settings.index(plain.border)
    assert (plain.low[nearest] >= 0.9) != (plain.low[place] >= 0.9)


def test_outside_what_was_cut_is_left_out():
    corner = [("plain", 0.9, 0.6), ("plain", 0.9, 1.0), ("plain", 0.7, 0.6)]
    plain, double = studied(cut(left_out=corner)).types
    assert len(plain.settings) < len(double.settings) == 81
    # a triangle is left: what lies below the line from (0.5, 0.6) to (0.9, 1.4) is blank
    assert all(p["standoff"] >= 0.6 + 2.0 * (p["pressure"] - 0.5) - 1e-6 for p in plain.settings)


def test_a_window_that_is_nowhere_says_what_would_show_it(monkeypatch):
    monkeypatch.setattr("trials.decide.window.POINTS", 5)
    low = studied(cut(), FILE.replace("45.0", "20.0"))
    assert all(each.share_estimate == 0 and each.reach is not None for each in low.types)
    assert "No setting of any type meets" in words.answer(low)
    assert any("other settings or another type" in line for line in words.sentences(low))
    noisy = studied(cut(spread=(0.20, 0.05, 0.03)))
    plain = next(each for each in noisy.types if each.nozzle == "plain")
    assert plain.share_bound == 0 and plain.reach is not None


def test_the_stated_chance_moves_the_border(found):
    strict = studied(cut(), FILE.replace("required =", "window_chance = 0.99, required ="))
    assert strict.wanted == 0.99
    assert all(a.share_bound <= b.share_bound for a, b in zip(strict.types, found.types, strict=True))
    assert strict.types[0].share_estimate < found.types[0].share_estimate


@pytest.mark.parametrize(
    "options", [{"across": ["pressure"]}, {"across": ["pressure", "speed"]}, {"held": {"speed": 1}}]
)
def test_factors_that_are_none_are_named(options):
    with pytest.raises(InputError):
        studied(cut(), **options)


@pytest.mark.parametrize(
    ("typed", "said"), [("speed=1", "no such setting"), ("pressure", "NAME=VALUE"), ("pressure=a", "not a number")]
)
def test_held_settings_are_read_or_refused(typed, said):
    assert held_settings(parse(FILE), ["pressure=0.8"]) == {"pressure": 0.8}
    with pytest.raises(InputError, match=said):
        held_settings(parse(FILE), [typed])


def test_words_say_the_numbers_and_go_through_the_language(found):
    said = " ".join(words.sentences(found))
    double = found.types[1]
    assert "with a chance of 90 %" in said and f"{round(100 * double.share_bound)} % with 95 % confidence" in said
    assert "though the best was picked" in said and "µm" in said
    with speaking(Language("xx", lambda template: "zz", lambda one, many, n: "zz")):
        assert set(" ".join(words.sentences(found)).split()) == {"zz"}


def test_a_best_elsewhere_is_told_beside_todays_setting(found):
    # both optima were planted half a step away: 0.47 / 4 + 0.26 / 4 = 17 % rougher today, with spreads of 3 %
    gains = [each.best.gain for each in found.types]
    assert all(gain.high < 1.0 for gain in gains)
    assert "shown for plain and double." in words.beside_today(found)
    open_ = replace(gains[0], low=0.9, high=1.1)
    first, second = found.types
    unproved = replace(first, best=replace(first.best, gain=open_))
    said = words.beside_today(replace(found, types=(unproved, second)))
    assert "best of plain and double lies elsewhere" in said and "shown for double." in said
    today = replace(second, best=replace(second.best, gain=None))
    said = words.beside_today(replace(found, types=(unproved, today)))
    assert "best of plain lies elsewhere, but is not shown to be better" in said and "0.7 bar" in said
    assert words.beside_today(replace(found, types=(today, today))) == ""
    assert words.beside_today(replace(found, asked=True)) == ""


def test_the_maps_are_drawn_the_same_each_time(found):
    from trials.report.figures.window import window_figure

    svg = window_figure(found)
    assert svg == window_figure(found) and svg.count("<path") > 100
