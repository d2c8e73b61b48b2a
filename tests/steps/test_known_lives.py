"""Lives from elsewhere: stated figures, a life trial's records, and what cannot be used."""

import json
import math
from datetime import UTC, datetime

import pytest
from cli.test_life_records import DESIGN, HEAD, ROWS
from tests_support import TRIAL_TEXT

from trials import steps
from trials.decide.known_lives import KnownLife, KnownLives, known_from
from trials.decide.lives import answer_lives, typical_lives
from trials.endings import Ended
from trials.errors import InputError
from trials.infer.life import study_lives
from trials.steps.known_lives import known_lives, lives_kept
from trials.steps.lives import lives_json, record_lives, recorded_lives, study_table
from trials.store import records as store
from trials.store.records.folder import read_trial

AT = datetime(2026, 1, 12, 8, tzinfo=UTC)
STATED = '[lives]\nfigures = { cylindrical = 40, double = 55.0 }\nunit = "hours"\nsource = "log of 2025"\n'


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("edges")
    (folder / "trial.toml").write_text(TRIAL_TEXT, encoding="utf-8")
    steps.freeze(folder, steps.propose(read_trial(folder)[0]), AT)
    return folder


def with_lives(folder, lives: str):
    (folder / "trial.toml").write_text(lives + TRIAL_TEXT if "=" in lives[:8] else TRIAL_TEXT + lives, encoding="utf-8")
    return steps.load(folder)


def test_stated_figures_have_no_spread(folder):
    records = with_lives(folder, STATED)
    found = known_lives(records)
    assert (found.unit, found.source) == ("hours", "log of 2025")
    assert found.types == {"cylindrical": KnownLife(40.0), "double": KnownLife(55.0)}
    assert lives_kept(records.trial, found)["figures"] == {"cylindrical": 40.0, "double": 55.0}


def test_no_lives_are_none(folder):
    records = with_lives(folder, "")
    assert known_lives(records) is None and lives_kept(records.trial, None) is None


def test_a_folder_that_is_no_life_trial_is_refused_with_the_key(folder):
    with pytest.raises(InputError, match="lives that the trial names cannot be used") as refused:
        known_lives(with_lives(folder, 'lives = "nowhere"\n'))
    assert "lives" in str(refused.value) and "'nowhere'" in str(refused.value)


def typical(failed, unit="h"):
    time, types = [100.0, 200.0, 400.0, 150.0, 300.0, 600.0], ["a"] * 3 + ["b"] * 3
    found = study_lives(time, failed, types, "a", (0.1, 0.5))
    ended = [Ended.WORN if each else Ended.TAKEN_OFF_GOOD for each in failed]
    return found, typical_lives(answer_lives(found, unit, None, types, ended), "../lives")


def test_the_mean_of_a_weibull_life():
    found, lives = typical([True] * 6)
    known, first = known_from(lives), found.types[0].at[0]
    assert (known.unit, known.source) == ("hours", "../lives")
    assert known.types["a"].life == pytest.approx(first.life * math.gamma(1 + 1 / found.shape), rel=1e-12)
    assert known.types["a"].log_sd == pytest.approx(math.log(first.high / first.low) / 2 / 1.959964, rel=1e-6)


def test_a_type_that_never_failed_has_a_life_of_at_least():
    found, lives = typical([True, True, True, False, False, False])
    least = found.types[1].at[0].low * math.gamma(1 + 1 / found.shape)
    assert known_from(lives).types["b"] == KnownLife(pytest.approx(least, rel=1e-12), 0.0, True)


def test_a_unit_that_no_cost_can_use():
    assert known_from(typical([True] * 6, "shifts")[1]) is None and known_from(()) is None


def test_figures_read_from_a_life_trial_are_kept_with_the_look(folder):
    trial = with_lives(folder, 'lives = "../lives"\n').trial
    read = KnownLives("hours", "../lives", {"double": KnownLife(55.0, 0.2)})
    kept = lives_kept(trial, read)
    assert kept["read"] == {"unit": "hours", "types": {"double": [55.0, 0.2, False]}, "lens": {}}
    assert json.loads(json.dumps(kept)) == kept  # as it comes back from the store


@pytest.fixture(scope="module")
def beside_lives(tmp_path_factory):
    """An edge trial of cylindrical and plated beside a life trial of the same types with lives on record."""
    home = tmp_path_factory.mktemp("shop")
    for name, text in (("lives", DESIGN.read_text(encoding="utf-8")), ("edges", 'lives = "../lives"\n' + TRIAL_TEXT)):
        (home / name).mkdir()
        (home / name / "trial.toml").write_text(text.replace('"double"\nbore', '"plated"\nbore'), encoding="utf-8")
        steps.freeze(home / name, steps.propose(read_trial(home / name)[0]), AT)
    store.record_as_planned(home / "lives")
    (home / "lives.csv").write_text(HEAD + "\n".join(ROWS) + "\n", encoding="utf-8")
    record_lives(home / "lives", home / "lives.csv")
    return home


def test_the_records_of_a_life_trial_are_read_and_not_touched(beside_lives):
    before = (beside_lives / "lives" / "trial.db").read_bytes()
    found = known_lives(steps.load(beside_lives / "edges"))
    assert (found.unit, found.source, set(found.types)) == ("pierces", "../lives", {"cylindrical", "plated"})
    assert 2100 < found.types["cylindrical"].life < 4600 < found.types["plated"].life  # as the lives that were read
    assert all(life.log_sd > 0 for life in found.types.values()) and set(found.lens) == {"cylindrical", "plated"}
    assert (beside_lives / "lives" / "trial.db").read_bytes() == before


def test_a_life_trial_ends_in_a_decision(beside_lives):
    found = lives_json(study_table(recorded_lives(beside_lives / "lives")))["decision"]
    assert (found["question"], found["action"], found["nozzle"], found["against"]) == (
        "life",
        "change",
        "plated",
        "cylindrical",
    )
    assert found["price"] is not None and found["gains"][0]["response"] == "life"
    assert found["sentence"].startswith("Change to Plated: it lasts ") and "it pays from" in found["sentence"]
