"""Commands that turn records into answers: fit, verdict."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from trials.cli import show
from trials.cli.planning import FOLDER, JSON
from trials.cli.progress import progress_bar
from trials.commands import Command
from trials.errors import InputError

if TYPE_CHECKING:
    from rich.status import Status


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("fit")(fit)
    app.command("verdict")(verdict)


def fit(folder: Path = FOLDER, json_: bool = JSON) -> None:
    """Fit and answer in four words.

    The numbers behind the verdict.

    Example: `trials fit my-trial`, or `trials fit my-trial --json` for a machine.
    """
    from trials import steps
    from trials.words.language import text

    method = _compared_by_edges(folder)
    with _busy(text("fitting")):
        found = steps.fit(folder)
    from trials.cli.ladder_text import ladder_facts, print_ladder

    if json_:
        show.as_json(steps.plain(found) | (ladder_facts(folder) if method == "ladder" else {}))
        return
    from trials.cli.study_text import print_study

    print_study(found)
    if method == "ladder":
        print_ladder(folder)
    show.next_command("verdict", folder)


def _compared_by_edges(folder: Path) -> str:
    """The planning method of a trial; raises where types are not compared by their edges, and says what to use."""
    from trials.store.records.folder import read_trial

    method = read_trial(folder)[0].plan.method
    other = {
        "life": ("this trial measures lives, where a specimen still good must count as such", "life"),
        "bench": ("this trial checks the bench and compares no nozzle types", "bench"),
    }
    if method in other:
        problem, command = other[method]
        raise InputError(problem, file=str(folder), do=f"Use `trials {command} {folder}`.")
    return method


def verdict(
    folder: Path = FOLDER,
    out: Path = typer.Option(
        None, "--out", help="Where to write; verdict.pdf in the folder if left out, verdict-2.pdf for a second look."
    ),
    json_: bool = JSON,
) -> None:
    """Write the verdict as a PDF to print and sign.

    The same records give the same file, byte for byte.

    Example: `trials verdict my-trial`
    """
    from trials import steps
    from trials.words.language import text

    _compared_by_edges(folder)
    with progress_bar(text("simulating trials like this one")) as progress:
        found = steps.verdict(folder, out, progress=progress)
    if json_:
        show.as_json(
            {"file": str(found.path), "look": found.look, "other_words": found.other_words, "study": found.study}
        )
        return
    from trials.words.findings import say
    from trials.words.study import answer_sentence

    show.say(answer_sentence(found.study))
    if found.study.exploratory:
        template = "This is look {look}, more than the trial declared: exploratory. The first verdict is kept."
        show.say(text(template, look=found.look))
    show.bullets(map(say, found.other_words))
    show.say(text("Verdict: {path}", path=found.path))
    command = Command("fit", (str(folder),)).typed()
    show.next_step(text("read it, then sign it; `{command}` shows the numbers behind it", command=command))


def _busy(doing: str) -> Status:
    from rich.console import Console

    return Console(file=sys.stderr).status(doing)
