"""What the README shows is what the tool prints, and its pictures are there and small."""

import re
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

README = (ROOT / "README.md").read_text(encoding="utf-8")
SHOWN = dict(re.findall(r"<!-- output: (\w+) -->\n```\n(.*?)```", README, flags=re.S))
MOST_BYTES = 200_000  # a page for a screen; the repository is cloned by shops


def printed(capsys, monkeypatch, words) -> str:
    """Everything that a command prints, run in this process."""
    from trials.cli.main import run

    monkeypatch.setattr(sys, "argv", ["trials", *words])
    capsys.readouterr()
    with pytest.raises(SystemExit):
        run()
    got = capsys.readouterr()
    return got.out + got.err


@pytest.mark.parametrize("name", ["grade", "status", "fit"])
def test_the_readme_shows_what_the_tool_prints(name, example, capsys, monkeypatch):
    command, _, shown = SHOWN[name].partition("\n")
    folder = str(example("oxygen_12mm"))
    words = [folder if word == "my-demo" else word for word in command.split()[2:]]
    said = printed(capsys, monkeypatch, words).replace(folder, "my-demo")
    assert said.split() == shown.split()  # lines fold elsewhere with another folder


def test_every_picture_of_the_readme_is_there_and_small():
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    assert {"example_data/pictures/page-1.png", "example_data/pictures/window.png"} <= set(pictures)
    for name in pictures:
        data = (ROOT / name).read_bytes()
        assert data.startswith(b"\x89PNG") and len(data) < MOST_BYTES, name
