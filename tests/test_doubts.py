"""Settings that may not be what was meant: what is asked about, as what it is understood, and what is left alone."""

from pathlib import Path

import pytest
from tests_support import told

from trials.doubts import DoubtKind, doubt_error, ten_times, trial_doubts
from trials.errors import InputError
from trials.trial import parse

HOME = Path(__file__).parent.parent
LEVELS = "levels = [0.5, 0.7, 0.9]\n"
ASKED = [
    ((LEVELS, "levels = [12,5, 14]\n"), "decimal_comma", "[12, 5, 14]", "[12.5, 14]"),
    ((LEVELS, "levels = [1,2,3, 4]\n"), "decimal_comma", "[1, 2, 3, 4]", ""),
    ((LEVELS, "levels = [12,5]\n"), "decimal_comma", "[12, 5]", "[12.5]"),
    (('worthwhile = "15 %"', "worthwhile = 15"), "no_unit", "15 µm", "15 %"),
    (('worthwhile = "15 %"', 'worthwhile = "15"'), "no_unit", "15 µm", "15 %"),
    (('worthwhile = "0.03 mm"', 'worthwhile = "0.03"'), "no_unit", "0.03 mm", "0.03 %"),
    (('specimen = "8 %"', "specimen = 8"), "no_unit", "8 µm", "8 %"),
    ((LEVELS, "levels = [0.5, 0.7, 1400]\n"), "pressure", "1400 bar", "14 bar"),
    (("speed_m_min = 1.1", "pressure_bar = 1400"), "pressure", "1400 bar", "14 bar"),
    (('unit = "bar"', 'unit = "MPa"'), None, None, None),  # 5 to 9 bar with oxygen: high, not impossible
    (("speed_m_min = 1.1", "gas_mpa = 14"), "pressure", "14 mpa (140 bar)", "14 bar"),
    (("orifice_mm = 1.4", "orifice_mm = 20"), "orifice", "20 mm", "2 mm"),
    (("orifice_mm = 1.4", "orifice_mm = 6"), None, None, None),
    ((LEVELS, "levels = [0.5,0.7,0.9]\n"), None, None, None),  # rising, and no space anywhere: a row of numbers
    ((LEVELS, "levels = [0.5, 0.7, 0.9] # 12,5 bar is too much\n"), None, None, None),
]


@pytest.mark.parametrize(("change", "kind", "understood", "meant"), ASKED)
def test_what_is_asked_about(trial_text, change, kind, understood, meant):
    assert change[0] in trial_text
    text = trial_text.replace(*change, 1)
    found = list(trial_doubts(parse(text), text))
    if kind is None:
        assert found == []
        return
    one = next(each for each in found if each.kind == f"doubt_{kind}")
    assert (one.facts["understood"], one.facts["meant"]) == (understood, meant)


def test_nitrogen_at_one_bar_may_be_megapascal(trial_text):
    text = trial_text.replace('gas = "oxygen"\ncut = "flame"', 'gas = "nitrogen"\ncut = "fusion"')
    found = trial_doubts(parse(text), text)
    assert [one.facts["meant"] for one in found] == ["0.5 MPa (5 bar)", "0.7 MPa (7 bar)", "0.9 MPa (9 bar)"]


def test_one_type_is_asked_about_where_types_are_to_be_compared(trial_text):
    start, end = trial_text.index('[[nozzles]]\ntype = "double"'), trial_text.index("[factors.pressure]")
    text = trial_text[:start] + trial_text[end:]
    (one,) = trial_doubts(parse(text), text)
    assert one.kind == DoubtKind.ONE_TYPE and "only nozzle type" in told([one])[0]
    text = text.replace('method = "full"', 'method = "full"\naim = "prediction"')
    assert trial_doubts(parse(text), text) == ()


@pytest.mark.parametrize(
    "file",
    [*HOME.glob("designs/*.toml"), *HOME.glob("example_data/*/trial.toml")],
    ids=lambda p: f"{p.parent.name}/{p.stem}",
)
def test_no_ready_made_trial_is_doubted(file):
    text = file.read_text(encoding="utf-8")
    assert trial_doubts(parse(text), text) == ()


CHANGED = [
    ({"pressure_bar": 7.0}, "pressure_bar=0.7"),
    ({"pressure_bar": 70.0}, ""),
    ({"pressure_bar": 0.07}, "pressure_bar=0.7"),
    ({"pressure_bar": 6.9}, None),
    ({"pressure_bar": 0.9}, None),
    ({"speed_m_min": 11.0}, "speed_m_min=1.1"),
    ({"surface": "rusty"}, None),
]


@pytest.mark.parametrize(("changed", "meant"), CHANGED)
def test_a_changed_setting_ten_times_the_plan(changed, meant):
    planned = {"pressure_bar": 0.7, "speed_m_min": 1.1, "surface": "clean", "coupon": "K7T"}
    found = ten_times("K7T", planned, changed)
    assert [one.facts["meant"] for one in found] == ([] if meant is None else [meant])
    if found:
        assert told(found)[0].startswith("Coupon K7T: ") and "is planned" in told(found)[0]


def test_the_error_says_what_is_understood_what_may_be_meant_and_what_to_do(trial_text):
    text = trial_text.replace('worthwhile = "15 %"', "worthwhile = 15")
    line = str(doubt_error(trial_doubts(parse(text), text)[0], "trial.toml"))
    assert line == (
        "trial.toml, column responses.roughness.worthwhile: has no unit: understood as 15 µm (did you mean 15 %?). "
        "Write the unit, or '%', behind the figure."
    )


def test_a_decimal_comma_that_is_no_toml_gets_its_remedy(trial_text):
    with pytest.raises(InputError, match=r"Write a decimal point: 0\.7\."):
        parse(trial_text.replace("today = 0.7", "today = 0,7"))
