"""A kept look: its paper byte for byte, its words beside those of a later rule, costs and lives as they stood."""

import pytest

from trials.errors import InputError
from trials.store import records
from trials.store.records import KeptWord, NewLook
from trials.store.records.fingerprint import fingerprint

WORDS = (KeptWord("roughness", "double", "cylindrical", "better", "how much is open"),)


def kept(folder, at, paper=b"%PDF first", words=WORDS, look=1, rule="2", lives=None):
    new = NewLook(look, True, fingerprint(records.load(folder)), rule, words, paper, lives, {"study": {"title": "T"}})
    return records.keep_look(folder, new, at)


def test_a_look_keeps_its_paper_words_and_rule(cut, at):
    made = kept(cut, at)
    assert made == records.kept_look(cut, 1)
    assert (made.paper, made.words, made.rule_version, made.at) == (b"%PDF first", WORDS, "2", at)
    assert made.summary["study"] == {"title": "T"}
    assert records.kept_looks(cut) == (made,)


def test_the_first_of_a_number_stays(cut, at):
    first = kept(cut, at)
    assert kept(cut, at, paper=b"%PDF second", words=()) == first
    assert len(records.load(cut).looks) == 1


def test_costs_and_lives_are_copied_into_the_look(cut, at):
    path = cut / "trial.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text('lives = "../lives"\n' + text + "[costs]\nmachine_hour = 120.0\n", encoding="utf-8")
    lives = {"folder": "../lives", "read": {"unit": "hours", "types": {"double": [40.0, 0.1, False]}}}
    made = kept(cut, at, lives=lives)
    path.write_text(text, encoding="utf-8")
    assert made.costs == records.kept_look(cut, 1).costs
    assert made.costs["machine_hour"] == 120.0 and set(made.costs["nozzle_prices"]) == {"cylindrical", "double"}
    assert made.lives == records.kept_look(cut, 1).lives == lives


def test_other_costs_are_no_other_look_but_another_paper(cut, at):
    made = kept(cut, at)
    path = cut / "trial.toml"
    path.write_text(path.read_text(encoding="utf-8") + "[costs]\nmachine_hour = 120.0\n", encoding="utf-8")
    now = records.load(cut)
    assert records.look_of(now) == 1
    assert made.paper_stands("2", {}, None)
    assert not made.paper_stands("2", records.costs_of(now.trial), None)
    assert not made.paper_stands("2", {}, {"folder": "../lives"})
    assert not made.paper_stands("3", {}, None)


def test_a_look_without_paper_has_none_that_stands(cut, at):
    assert not kept(cut, at, paper=None).paper_stands("2", {}, None)


def test_words_of_a_later_rule_stand_beside_the_kept_ones(cut, at):
    made = kept(cut, at)
    assert made.other_words(WORDS) == ()
    later = KeptWord("roughness", "double", "cylindrical", "not settled")
    assert made.other_words([later]) == ((WORDS[0], later),)
    assert made.other_words([]) == ((WORDS[0], None),)


def test_no_look_before_the_plan_is_frozen(folder):
    assert records.kept_looks(folder) == ()


def test_no_look_before_the_first_verdict(cut):
    assert records.kept_looks(cut) == ()
    with pytest.raises(InputError, match="no such verdict is kept; found 2"):
        records.kept_look(cut, 2)
