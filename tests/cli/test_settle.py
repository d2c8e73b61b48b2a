"""`trials plan --settle` and its company: what is shown, what is written, what is refused; nothing is frozen."""

import hashlib
import json
import tomllib

import pytest
from tests_support import TRIAL_TEXT

EXPECTED = (
    '[responses.roughness.expected]\nlevel = 35.0\nspecimen = "3 %"\nmount = "2 %"\ncoupon = "6 %"\nreading = "5 %"\n'
)


FEW = ("--pieces", "double=2", "--pieces", "cylindrical=3")
"""So few that no plan reaches a high chance; with many of one type the search for it is long."""


def state_of(folder):
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture
def folder(tmp_path):
    """A trial of two types and one factor, cheap to plan."""
    text = TRIAL_TEXT.split("[factors.standoff]")[0] + "[plan]\nsheets = 1\nseed = 3\n[responses.roughness]\n"
    text += 'primary = true\nreadings = 3\nworthwhile = "15 %"\n' + EXPECTED
    place = tmp_path / "trial"
    place.mkdir()
    (place / "trial.toml").write_text(text, encoding="utf-8")
    return place


@pytest.mark.usefixtures("drawn_pictures")
def test_the_plan_is_shown_and_drawn_and_nothing_changes(trials, folder, tmp_path):
    before, picture = state_of(folder), tmp_path / "chance.svg"
    done = trials("plan", folder, "--settle", "80", "--picture", picture)
    assert done.code == 0 and state_of(folder) == before
    assert picture.read_text(encoding="utf-8").lstrip().startswith("<?xml")
    assert "coupons_per_mount = " in done.out and "--write" in done.out.partition("Next: ")[2]


@pytest.fixture(scope="module")
def kept():
    """What one test has found and another may use."""
    return {}


@pytest.fixture
def settled(trials, folder, kept):
    """What `trials plan --settle 80 --json` prints of the trial as it was made; searched once for all tests."""
    if not kept:
        kept.update(json.loads(trials("plan", folder, "--settle", "80", "--json").out))
    return kept


def test_json_has_the_promised_keys(settled):
    found, best = settled, settled["settling"]
    promised = ("chance_different", "chance_same", "chance_all_different", "chance_all_same", "hours", "money")
    assert all(isinstance(best[key], float) for key in promised)
    assert set(best["specimens"]) == {"cylindrical", "double"} and all(n >= 2 for n in best["specimens"].values())
    assert (
        best["coupons"] == best["mounts"] * best["coupons_per_mount"] and best["sheets"] == 1 and best["readings"] >= 2
    )
    assert min(best["chance_different"], best["chance_same"]) >= 0.8 and found["schema"] == 2
    money = [option["money"] for option in found["frontier"]]
    assert len(money) > 1 and money == sorted(money) and money[-1] == best["money"]
    assert {said["kind"] for said in found["said"]} >= {"costs_assumed", "settling_floors", "settling_two_places"}
    assert tomllib.loads(best["toml"])["plan"]["coupons_per_mount"] == best["coupons_per_mount"]


def test_what_is_written_makes_that_plan_and_freezes_it_on_request(trials, folder, settled):
    promised = settled["settling"]
    assert trials("plan", folder, "--settle", "80", "--write").code == 0
    assert not (folder / "trial.db").exists()
    again = json.loads(trials("plan", folder, "--settle", "80", "--json").out)["settling"]
    assert again["toml"] == "" and again["money"] == promised["money"]
    made = json.loads(trials("plan", folder, "--json").out)
    assert len(made["coupons"]) == promised["coupons"] and made["frozen"]
    before = state_of(folder)
    done = trials("plan", folder, "--settle", "90", "--write")
    assert done.code == 2 and "frozen already" in done.err and state_of(folder) == before


def test_a_file_that_asks_for_a_chance_is_not_frozen_short_of_it(trials, folder):
    file = folder / "trial.toml"
    asked = file.read_text(encoding="utf-8").replace("[plan]\n", '[plan]\nsettle = "90 %"\n')
    file.write_text(asked, encoding="utf-8")
    done = trials("plan", folder)
    assert done.code == 0 and "90 %" in done.out and not (folder / "trial.db").exists()
    assert trials("plan", folder, "--write").code == 0
    assert trials("plan", folder).code == 0 and (folder / "trial.db").exists()


def test_budget_bare_and_pieces(trials, folder):
    hours = json.loads(trials("plan", folder, "--budget", "10h", "--json").out)["settling"]
    assert hours["hours"] <= 10 and hours["budget_hours"] == 10
    few = json.loads(trials("plan", folder, "--settle", "97", *FEW, "--json").out)
    assert few["settling"]["specimens"]["double"] == 2 and not few["settling"]["reached"]
    assert few["said"][0]["kind"] == "settling_out_of_reach"
    bare = json.loads(trials("plan", folder, "--settle", "80", "--bare", "--json").out)
    assert "settling_pages_lost" in {said["kind"] for said in bare["said"]}


def test_two_plans_beside_each_other(trials, folder, tmp_path):
    other = tmp_path / "other"
    other.mkdir()
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    (other / "trial.toml").write_text(text.replace("sheets = 1", "sheets = 1\nrepeats = 6"), encoding="utf-8")
    first, second = json.loads(trials("plan", folder, "--against", other, "--json").out)["plans"]
    assert second["coupons"] == first["coupons"] + 36 and second["money"] > first["money"]
    assert second["chance_different"] > first["chance_different"]
    assert second["smallest"]["roughness"] < first["smallest"]["roughness"]
    shown = trials("plan", folder, "--against", other)
    assert shown.code == 0 and str(first["coupons"]) in shown.out and str(second["coupons"]) in shown.out


def test_spreads_of_an_earlier_trial_and_their_range(trials, folder, at):
    found = json.loads(trials("plan", folder, "--settle", "80", "--spreads-from", at("measured"), "--json").out)
    said = {finding["kind"]: finding for finding in found["said"]}["settling_spreads_open"]["facts"]
    assert said["df"] == pytest.approx(2.0)  # 2 types x 3 specimens, less 2 means and 2 sheets
    assert said["low"] < said["mean"] < said["high"] and said["fewest"] < (said["most"] or 61)


@pytest.mark.parametrize(
    ("words", "place"),
    [
        (("--settle", "101"), "--settle"),
        (("--settle", "much"), "--settle"),
        (("--settle", "80", "--settle-if", "maybe"), "--settle-if"),
        (("--pieces", "double"), "--pieces"),
        (("--pieces", "none=3"), "no nozzle type"),
        (("--pieces", "double=1"), "cannot speak for its type"),
        (("--budget", "lots"), "--budget"),
        (("--budget", "0.2h"), "budget buys no plan"),
        (("--settle", "80", "--spreads-from", "."), "trial folder"),
        (("--against", "nowhere"), "nowhere"),
    ],
)
def test_slips(trials, folder, monkeypatch, tmp_path, words, place):
    monkeypatch.chdir(tmp_path)
    before = state_of(folder)
    done = trials("plan", folder, *words)
    assert done.code == 2 and done.err.count("\n") == 1 and place in done.err, done.err
    assert state_of(folder) == before


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        (EXPECTED, "", "expected"),
        ('specimen = "3 %"', 'specimen = "a lot"', "expected.specimen"),
        ("[plan]\n", "[plan]\nsettle = 3\n", "settle"),
        ("[plan]\n", '[plan]\nmethod = "life"\n', "another question"),
        ("[plan]\n", '[costs]\nmachine_hour = "dear"\n[plan]\n', "machine_hour"),
    ],
)
def test_trial_files_that_cannot_be_planned(trials, folder, old, new, place):
    file = folder / "trial.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")
    done = trials("plan", folder, "--settle", "80")
    assert done.code == 2 and done.err.count("\n") == 1 and place in done.err, done.err
