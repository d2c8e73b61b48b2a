"""Trial files: what is read, what is refused and in which words, what the freeze covers."""

import math

import pytest

from trials.errors import InputError
from trials.frozen import changes, freeze_hash
from trials.trial import Curves, parse, worthwhile_margins, worthwhile_on_scale
from trials.worthwhile import Margins


def test_a_complete_file_is_read(trial_text):
    trial = parse(trial_text)
    assert trial.types == ("cylindrical", "double")
    assert trial.today.type == "cylindrical"
    assert trial.today_settings == {"pressure": 0.7, "standoff": 1.0}
    assert trial.factor_column("pressure") == "pressure_bar"
    assert trial.primaries == ("roughness",)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("seed = 20417", "sed = 20417", "plan.sed: unknown key"),
        ('question = "Does', '# question = "Does', "trial.question: missing key"),
        ("today = true", "today = false", "exactly one type needs today = true"),
        ('specimens = ["D1", "D2", "D3"]', 'specimens = ["C1"]', "specimen 'C1' is listed twice"),
        ('specimens = ["D1", "D2", "D3"]', "", "type 'double' has no specimens"),
        ('type = "double"', 'type = "cylindrical"', "two entries share one type"),
        ("levels = [0.5, 0.7, 0.9]", 'levels = [0.5, "high"]', "levels mix numbers and text"),
        ("levels = [0.5, 0.7, 0.9]", "levels = [0.5, 0.5]", "listed twice"),
        ("levels = [0.5, 0.7, 0.9]", "levels = [0.5, nan]", "not a finite number"),
        ('worthwhile = "15 %"', "", "needs a worthwhile difference"),
        ('worthwhile = "15 %"', 'worthwhile = "-3 %"', "not above zero"),
        ('worthwhile = "0.03 mm"', 'worthwhile = "3 bar"', "does not fit a response in 'mm'"),
        ("primary = true", "primary = false", "no response is primary"),
        ("[responses.dross]", "[responses.shine]", "not a known response"),
        ("thickness_mm = 12.0", "thickness_mm = -1", "greater than 0"),
        ("sheets = 3", 'limits = [{ nozzle = "duble", factor = "pressure", at_most = 1 }]', "'duble' is not among"),
        ("sheets = 3", 'limits = [{ factor = "speed", at_most = 1 }]', "'speed' is not among"),
        ("[trial]", "[trial", "not valid TOML"),
    ],
)
def test_a_slip_in_the_file_is_named(trial_text, old, new, words):
    assert old in trial_text
    with pytest.raises(InputError) as caught:
        parse(trial_text.replace(old, new, 1))
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_worthwhile_difference_on_the_scale_of_the_model(trial_text):
    trial = parse(trial_text)
    assert worthwhile_on_scale(trial, "roughness") == pytest.approx(math.log(1.15), abs=1e-15)
    assert worthwhile_on_scale(trial, "squareness") == 0.03
    assert worthwhile_on_scale(trial, "dross") is None
    both = worthwhile_margins(trial, "roughness")
    # 15 % lower leaves 0.85 of the edge, 15 % higher makes it 1.15
    assert (both.better, both.worse) == pytest.approx((0.16251892949777494, 0.13976194237515868), abs=1e-15)
    assert worthwhile_margins(trial, "squareness") == Margins(0.03, 0.03)
    assert worthwhile_margins(trial, "dross") is None
    in_units = parse(trial_text.replace('"15 %"', '"200 uin"'))
    # 200 uin = 5.08 um at an expected level of 35 um
    assert worthwhile_on_scale(in_units, "roughness") == pytest.approx(math.log(1 + 5.08 / 35), rel=1e-12)
    assert worthwhile_margins(in_units, "roughness").better == pytest.approx(-math.log(1 - 5.08 / 35), rel=1e-12)
    mirrored = parse(trial_text.replace("[responses.roughness]", "[responses.roughness]\nhigher_is_better = true", 1))
    other = worthwhile_margins(mirrored, "roughness")
    assert (other.better, other.worse) == (both.worse, both.better)


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        ("100 %", "'100 %' lower leaves nothing; write a figure in units"),
        ("40 um", "'40 um' is not below the expected level 35; write a smaller figure"),
    ],
)
def test_nothing_can_be_a_whole_edge_better(trial_text, amount, words):
    with pytest.raises(InputError) as caught:
        parse(trial_text.replace('"15 %"', f'"{amount}"'))
    assert words in str(caught.value)


def test_freeze_covers_the_question_but_not_title_prices_and_notes(trial_text):
    trial = parse(trial_text)
    free = trial_text.replace("price = 31.0", "price = 5.0").replace("Invented trial", "Renamed trial")
    assert freeze_hash(parse(free)) == freeze_hash(trial)
    held = parse(trial_text.replace("seed = 20417", "seed = 1").replace("levels = [0.5, ", "levels = [0.6, "))
    assert freeze_hash(held) != freeze_hash(trial)
    assert changes(trial, held) == [
        ("factors.pressure.levels", "[0.5, 0.7, 0.9]", "[0.6, 0.7, 0.9]"),
        ("plan.seed", "20417", "1"),
    ]


def test_curves_common_to_all_types_are_declared_and_frozen(trial_text):
    trial = parse(trial_text)
    assert trial.plan.curves is Curves.BY_TYPE
    # by type is what trials asked before the key was known: the hash stays
    assert freeze_hash(parse(trial_text.replace("sheets = 3", 'sheets = 3\ncurves = "by type"'))) == freeze_hash(trial)
    common = parse(trial_text.replace("sheets = 3", 'sheets = 3\ncurves = "common"'))
    assert common.plan.curves is Curves.COMMON and freeze_hash(common) != freeze_hash(trial)
    with pytest.raises(InputError, match="plan.curves"):
        parse(trial_text.replace("sheets = 3", 'sheets = 3\ncurves = "mine"'))
