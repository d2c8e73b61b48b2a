"""The keys of JSON that DEVELOPERS.md promises stand in real documents, and no others."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).parents[2]


def listed(row):
    """Outermost keys in the code spans of one row of the table of keys, those in brackets behind a key left out."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## JSON keys")[1].split("\n## ")[0]
    (cell,) = (line.split("|")[2] for line in page.splitlines() if line.startswith(f"| {row} |"))
    text = ", ".join(re.findall("`([^`]*)`", cell))
    while re.search(r"[({][^(){}]*[)}]", text):
        text = re.sub(r"[({][^(){}]*[)}]", "", text)
    return {name.strip().removesuffix("[]") for name in text.split(",")}


@pytest.fixture
def document(trials, small, monkeypatch):
    """What a command prints as JSON, of the small trial in a state or of what it takes."""
    monkeypatch.setattr("trials.decide.window.POINTS", 2)

    def made(*words, state=""):
        place = [small(state)] if state else []
        done = trials(words[0], *place, *words[1:], "--json")
        assert done.code == 0, done.err
        return json.loads(done.out)

    return made


@pytest.mark.parametrize(
    ("row", "words", "state"),
    [
        ("`grade --json`", ("grade",), "measured"),
        ("`grade --json` of one edge", ("grade", "--u", 0.1, "--rz5", 30, "--thickness", 6), ""),
        ("`plan --settle --json`", ("plan", "--settle", "80"), "new"),
        ("`extend --json`", ("extend", "--repeat-mounts", "--show"), "measured"),
        ("`status --json`", ("status",), "measured"),
        ("`verdict --json`", ("verdict",), "measured"),
        ("`instrument --json`", ("instrument",), "measured"),
        ("`limits --json`", ("limits", "--thickness", 6), ""),
        ("`life --json`", ("life", ROOT / "example_data" / "nozzle_life" / "lives.csv"), ""),
    ],
)
def test_the_keys_of_a_document(document, row, words, state):
    assert set(document(*words, state=state)) == listed(row)


def test_the_keys_of_a_plan_and_of_what_it_can_show(document):
    found = document("plan", "--show", state="new")
    assert set(found) == listed("`plan --json`") and set(found["assessment"]) == listed("`assessment`")


def test_the_keys_of_a_study(document):
    found = document("fit", state="measured")
    (result,) = found["results"]
    parts = {
        "`fit --json`": found,
        "`results[]`": result,
        "`terms[]`": result["terms"][0],
        "`spread[]`": result["spread"][0],
        "`means[], other_means[]`": result["means"][0],
        "`comparisons[], pairs[]`": result["comparisons"][0],
        "`nozzles[]`": found["nozzles"][0],
        "`chances[]`": found["chances"][0],
        "a finding (`checks[], more[], said[], departures[], cannot_say[]`)": result["checks"][0],
    }
    assert {row: set(part) ^ listed(row) for row, part in parts.items() if set(part) != listed(row)} == {}


def test_the_keys_of_what_was_measured(document, small, trials, tmp_path):
    depth = np.linspace(0, 12, 121)
    rows = "\n".join(f"{z:.3f},{0.01 * z:.5f}" for z in depth)
    mark = json.loads(trials("grade", small("cut"), "--json").out)["coupons"][0]["coupon"]
    file = tmp_path / f"{mark}-1.csv"
    file.write_text(f"depth_mm,offset_mm\n{rows}\n", encoding="utf-8")
    alone = document("measure", file, "--thickness", 12)
    within = json.loads(trials("measure", tmp_path / "cut", file, "--json").out)
    assert set(within) == listed("`measure --json`")
    assert set(alone) == listed("`measure --json`") - {"recorded", "already_there", "slips"}
