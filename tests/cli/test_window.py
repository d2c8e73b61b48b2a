"""The command `window`: slips are named in one line and nothing is written."""

import pytest


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--out", "maps.txt"), "not a kind of picture"),
        ((), "no readings are recorded yet"),
    ],
)
def test_slips_are_named(trials, at, options, said):
    folder = at("frozen")
    before = sorted(path.name for path in folder.rglob("*"))
    done = trials("window", folder, *options)
    assert done.code == 2 and said in done.err and done.err.count("\n") == 1
    assert sorted(path.name for path in folder.rglob("*")) == before
