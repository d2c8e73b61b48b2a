"""`trials extend --settle` and `trials retire`: what is shown, what is written, what is refused."""

import json
import tomllib

import pytest

from trials.record_kinds import JournalKind
from trials.steps import load
from trials.store.records import entries, retired

BY = ("--who", "AB", "--why", "not settled")
SETTLING = {"asked", "truth", "all_of_them", "reached", "chance_different", "chance_same", "chance_all_different"} | {
    *("chance_all_same", "now_different", "now_same", "hours", "machine_hours", "bench_hours", "money", "currency"),
    *("new", "again", "mounts", "coupons", "coupons_per_mount", "repeats", "sheets"),
}


def files(folder):
    """Every file of a folder with its bytes."""
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_show_proposes_and_writes_nothing(trials, at):
    folder = at("measured")
    before = files(folder)
    done = trials("extend", folder, "--settle", "80", "--show")
    said = " ".join(done.out.split())
    assert done.code == 0 and "new double (D4" in said and "Declared" in said and "--show" in said
    assert files(folder) == before


def test_the_block_brings_its_new_specimens_into_file_plan_and_journal(trials, at):
    folder = at("measured")
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    found = json.loads(trials("extend", folder, "--settle", "80", *BY, "--json").out)
    assert set(found) == {"schema", "added", "block", "declared", "coupons", "said", "settling"} and found["added"]
    settling = found["settling"]
    assert set(settling) == SETTLING
    assert settling["reached"] and min(settling["chance_different"], settling["chance_same"]) >= 0.8
    assert min(settling["now_different"], settling["now_same"]) < 0.8
    new = settling["new"]
    planned = {row["specimen"] for row in found["coupons"]}
    assert new["double"][0] == "D4" and {mark for marks in new.values() for mark in marks} <= planned
    assert len(found["coupons"]) == settling["coupons"] == settling["mounts"] * settling["coupons_per_mount"]
    # the file has them, and nothing else changed
    nozzles = tomllib.loads((folder / "trial.toml").read_text(encoding="utf-8"))["nozzles"]
    assert {n["type"]: n["specimens"][3:] for n in nozzles} == {t: new.get(t, []) for t in ("cylindrical", "double")}
    lines = (folder / "trial.toml").read_text(encoding="utf-8").splitlines()
    changed = [(a, b) for a, b in zip(text.splitlines(), lines, strict=True) if a != b]
    assert all(a.startswith("specimens") and b.startswith("specimens") for a, b in changed) and changed
    records = load(folder)
    assert {e.payload["key"] for e in entries(records.journal, JournalKind.AMENDED)} >= {"nozzles.2.specimens"}
    assert set(records.coupons.loc[records.coupons["block"] == 2, "specimen"]) == planned


def test_after_the_looks_are_taken_it_is_exploratory_and_says_so(trials, small):
    folder = small("measured")
    assert trials("verdict", folder).code == 0
    found = json.loads(trials("extend", folder, "--settle", "80", "--show", "--json").out)
    assert found["declared"] is False and "block_exploratory" in [line["kind"] for line in found["said"]]


def test_where_nothing_is_measured_the_expected_spreads_count(trials, at):
    found = json.loads(trials("extend", at("cut"), "--settle", "50", "--show", "--json").out)
    kinds = [line["kind"] for line in found["said"]]
    assert "further_by_expected_spreads" in kinds and "further_by_own_spreads" not in kinds


BAD = [
    (("--settle", "much", "--show"), "--settle"),
    (("--settle", "80", "--axial"), "name one way"),
    (("--settle", "80", "--settle-if", "maybe", "--show"), "--settle-if"),
    (("--settle", "80", "--pieces", "none=2", "--show"), "no nozzle type"),
    (("--settle", "80", "--nozzle", "none", "--show"), "no nozzle type"),
    (("--settle", "1 %", "--show"), "already"),
    (("--axial", "--pieces", "double=2"), "belong to --settle"),
    (("--settle", "80"), "a name and a reason"),
]


@pytest.mark.parametrize(("words", "line"), BAD, ids=[line for _, line in BAD])
def test_a_bad_request_is_one_line_and_writes_nothing(trials, at, words, line):
    folder = at("measured")
    before = files(folder)
    done = trials("extend", folder, *words)
    assert done.code == 2 and line in done.err and done.err.count("\n") == 1 and done.out == "", done.err
    assert files(folder) == before


def test_a_retired_specimen_is_listed_and_never_planned_again(trials, at):
    folder = at("measured")
    found = json.loads(trials("retire", folder, "D2", "--who", "AB", "--why", "hit the sheet", "--json").out)
    assert found == {"schema": 2, "specimen": "D2", "nozzle": "double", "who": "AB", "why": "hit the sheet"} | {
        "left": 2,
        "open_coupons": [],
    }
    assert [(one.specimen, one.nozzle, one.who, one.why) for one in retired(load(folder))] == [
        ("D2", "double", "AB", "hit the sheet")
    ]
    status = json.loads(trials("status", folder, "--json").out)
    assert [line["facts"]["specimen"] for line in status["retired"]] == ["D2"] and status["missing"] == []
    assert "D2 (double) retired" in trials("status", folder).out
    for words in (("--repeat-mounts",), ("--axial",), ("--confirm", "pressure=0.6")):
        block = json.loads(trials("extend", folder, *words, "--show", "--json").out)["coupons"]
        assert {row["specimen"] for row in block} == {"C1", "C2", "C3", "D1", "D3"}


def test_the_verdict_lists_what_was_retired_before_it(trials, small):
    from trials.steps.journal import changes_after_freezing

    folder = small("measured")
    trials("retire", folder, "C1", "--who", "AB", "--why", "lost")
    assert [change.facts["specimen"] for change in changes_after_freezing(load(folder))] == ["C1"]
    assert trials("verdict", folder).code == 0
    kept = (folder / "verdict.pdf").read_bytes()
    # a piece that is retired afterwards changes nothing that was found: the paper stays
    trials("retire", folder, "C2", "--who", "AB", "--why", "lost")
    assert trials("verdict", folder).code == 0 and (folder / "verdict.pdf").read_bytes() == kept


def test_open_coupons_of_a_retired_specimen_are_named(trials, at):
    done = trials("retire", at("frozen"), "D2", "--who", "AB", "--why", "fell")
    assert done.code == 0 and "9 coupons planned with it have no cut record" in done.out and "not_cut" in done.out


@pytest.mark.parametrize(
    ("state", "words", "line"),
    [
        ("measured", ("D9", "--who", "AB", "--why", "x"), "no such specimen"),
        ("measured", ("D2", "--who", " ", "--why", "x"), "a name and a reason"),
        ("measured", ("D2", "--who", "AB"), "--why"),
        ("new", ("D2", "--who", "AB", "--why", "x"), "no plan is frozen"),
    ],
)
def test_a_bad_retirement_is_one_line_and_writes_nothing(trials, at, state, words, line):
    folder = at(state)
    before = files(folder)
    done = trials("retire", folder, *words)
    assert done.code == 2 and line in done.err and done.err.count("\n") == 1, done.err
    assert files(folder) == before


def test_a_specimen_is_retired_once_and_a_type_that_is_gone_is_said(trials, at):
    folder = at("measured")
    for mark in ("D1", "D2", "D3"):
        assert trials("retire", folder, mark, "--who", "AB", "--why", "bent").code == 0
    again = trials("retire", folder, "D1", "--who", "AB", "--why", "bent")
    assert again.code == 2 and "was retired on" in again.err
    repeat = trials("extend", folder, "--repeat-mounts", "--show")
    assert repeat.code == 2 and "Every specimen of 'double' is retired" in repeat.err
    # new pieces are planned in their stead
    found = json.loads(trials("extend", folder, "--settle", "80", "--show", "--json").out)["settling"]
    assert found["reached"] and found["new"]["double"][0] == "D4" and not found["again"].get("double")
