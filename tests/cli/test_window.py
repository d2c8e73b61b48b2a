"""The command `window`: slips are named in one line and nothing is written."""

from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "example_data" / "oxygen_12mm"


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--out", "maps.txt"), "not a kind of picture"),
        ((), "no readings are recorded yet"),
    ],
)
def test_slips_are_named(trials, tmp_path, options, said):
    (tmp_path / "trial.toml").write_bytes((DEMO / "trial.toml").read_bytes())
    assert trials("plan", tmp_path).code == 0
    before = sorted(path.name for path in tmp_path.rglob("*"))
    done = trials("window", tmp_path, *options)
    assert done.code == 2 and said in done.err and done.err.count("\n") == 1
    assert sorted(path.name for path in tmp_path.rglob("*")) == before
