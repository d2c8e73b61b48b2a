"""The card on the command line: from a kept verdict, with lives, never more than was shown."""

import json
import shutil

import pytest
from shop import BETTER, OPEN, STEEL_12, make_trial
from words.nonsense import NONSENSE

from trials.steps.card import card, card_json


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    home = tmp_path_factory.mktemp("cards")
    return make_trial(home, "trial", STEEL_12, {"double": (BETTER, 0.67), "conical": (OPEN, 0.95)})


@pytest.fixture
def folder(kept, tmp_path):
    return shutil.copytree(kept, tmp_path / "trial")


def test_a_card_names_the_type_its_look_alikes_and_its_settings(trials, folder):
    found = json.loads(trials("card", folder, "--json").out)
    assert (found["nozzle"]["type"], found["today"], found["look"]) == ("double", "plain", 1)
    assert [(one["nozzle"], one["differs"], one["same_orifice"]) for one in found["look_alikes"]] == [
        ("plain", ["wall"], True),
        ("conical", ["bore", "wall"], True),
    ]
    assert [(one["name"], one["value"], one["unit"]) for one in found["settings"][:2]] == [
        ("pressure", 10.0, "bar"),
        ("standoff", 0.8, "mm"),
    ]
    # nothing was measured, so no window: only the settings that were compared
    assert found["safe"] is None
    assert [one["kind"] for one in found["grounds"]] == ["card_only_today_compared", "card_no_lives"]
    assert (folder / "card.pdf").read_bytes().startswith(b"%PDF") and found["file"].endswith("card.pdf")


def test_the_screen_says_what_was_shown_and_what_not(trials, folder, tmp_path):
    done = trials("card", folder, "--out", tmp_path / "machine.pdf")
    out = " ".join(done.out.split())
    assert done.code == 0 and "Fit: double Against plain: Rz5 33 % lower" in out and "only this was compared" in out
    assert "No lives of double are on record" in out and "Next:" in out and (tmp_path / "machine.pdf").exists()


def test_when_to_change_comes_from_lives(folder):
    toml = folder / "trial.toml"
    lives = 'lives = { figures = { double = 300.0 }, unit = "hours", source = "store room book" }\n'
    toml.write_text(lives + toml.read_text(encoding="utf-8"), encoding="utf-8")
    found = card(folder)
    assert (found.life.median, found.life.source) == (300.0, "store room book")
    assert "Typical life 300 hours (store room book)" in card_json(found)["grounds"][-1]["words"]


def test_a_card_of_the_type_in_use(trials, folder):
    found = json.loads(trials("card", folder, "--nozzle", "plain", "--json").out)
    assert found["nozzle"]["type"] == "plain" and found["said"] == []


def test_nonsense_in_place_of_every_sentence_changes_no_value(folder):
    from trials.words.language import speaking

    plain = card_json(card(folder))
    with speaking(NONSENSE):
        other = card_json(card(folder))
    for facts in (plain, other):
        facts["watch"] = [one["kind"] for one in facts["watch"]]
        facts["grounds"] = [one["kind"] for one in facts["grounds"]]
    assert plain == other


BAD = [
    (("--nozzle", "conical"), "was not shown to be as good as plain"),
    (("--nozzle", "none"), "no such nozzle type"),
    (("--out", "card.doc"), "not a name for this output"),
    (("--out", "trial.db"), "is the name of a trial's own file"),
]


@pytest.mark.parametrize(("words", "line"), BAD, ids=[line for _, line in BAD])
def test_a_bad_card_is_one_line(trials, folder, monkeypatch, words, line):
    monkeypatch.chdir(folder)
    before = sorted(path.name for path in folder.iterdir())
    done = trials("card", folder, *words)
    assert done.code == 2 and line in done.err and done.err.count("\n") == 1 and done.out == ""
    assert sorted(path.name for path in folder.iterdir()) == before


def test_without_a_kept_verdict_there_is_no_card(trials, at):
    done = trials("card", at("cut"))
    assert done.code == 2 and "no verdict is kept" in done.err and "trials verdict" in done.err
