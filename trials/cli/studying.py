"""Commands that turn records into answers: fit, verdict."""

from __future__ import annotations

import sys
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

import typer

from trials.cli import panels, show
from trials.cli.planning import FOLDER, JSON, WORKERS
from trials.cli.progress import progress_bar
from trials.errors import InputError
from trials.next_command import Command


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("fit", rich_help_panel=panels.ENGINEER)(fit)
    app.command("verdict", rich_help_panel=panels.ENGINEER)(verdict)
    app.command("picture", rich_help_panel=panels.ENGINEER)(picture)


def fit(
    folder: Path = FOLDER,
    full: bool = typer.Option(False, "--full", help="Everything: tests, spreads, every check, chances."),
    json_: bool = JSON,
) -> None:
    """Fit and answer on one screen.

    The answer, a line per nozzle type, what could change it, and what to do next; `--full` for the numbers behind it.

    Example: `trials fit my-trial`, or `trials fit my-trial --json` for a machine.
    """
    from trials import steps
    from trials.words.language import text

    _compared_by_edges(folder)
    with busy(text("fitting")):
        found = steps.fit(folder)
    if json_:
        show.as_json(steps.plain(found))
        return
    from trials.cli.study_text import print_answer, print_study

    if full:
        print_study(found)
    else:
        print_answer(found, Command("fit", (str(folder), "--full")).typed())
    show.next_command("verdict", folder)


def _compared_by_edges(folder: Path) -> None:
    """Raises where a trial does not compare types by their edges, and says what to use."""
    from trials.store.records.folder import read_trial

    method = read_trial(folder)[0].plan.method
    other = {
        "life": ("this trial measures lives, where a specimen still good must count as such", "life"),
        "bench": ("this trial checks the bench and compares no nozzle types", "bench"),
    }
    if method in other:
        problem, command = other[method]
        raise InputError(problem, file=str(folder), do=f"Use `trials {command} {folder}`.")


def verdict(
    folder: Path = FOLDER,
    out: Path = typer.Option(
        None, "--out", help="Where to write; verdict.pdf in the folder if left out, verdict-2.pdf for a second look."
    ),
    workers: str = WORKERS,
    json_: bool = JSON,
) -> None:
    """Write the verdict as a PDF to print and sign.

    The same records give the same file, byte for byte.

    Example: `trials verdict my-trial`
    """
    from trials import steps
    from trials.steps.workers import working
    from trials.words.language import text

    _compared_by_edges(folder)
    with working(workers), progress_bar(text("simulating trials like this one")) as progress:
        found = steps.verdict(folder, out, progress=progress)
    if json_:
        show.as_json(
            {"file": str(found.path), "look": found.look, "other_words": found.other_words, "study": found.study}
        )
        return
    from trials.words.findings import say
    from trials.words.first_page import provisional_words
    from trials.words.study import answer_sentence

    show.say(*filter(None, [provisional_words(found.study)]), answer_sentence(found.study))
    if found.study.exploratory:
        template = "This is look {look}, more than the trial declared: exploratory. The first verdict is kept."
        show.say(text(template, look=found.look))
    show.bullets(map(say, found.other_words))
    show.say(text("Verdict: {path}", path=found.path))
    command = Command("fit", (str(folder),)).typed()
    show.next_step(text("read it, then sign it; `{command}` shows the numbers behind it", command=command))


def picture(
    folder: Path = FOLDER,
    name: str = typer.Argument(
        ...,
        help="edges-RESPONSE, settings-RESPONSE, order-RESPONSE, sides-RESPONSE, shares-dross, spread, ladder or "
        "sheet-NAME; a name that the trial lacks is answered with those it has.",
    ),
    out: Path = typer.Option(None, "--out", help="File to write (.svg, .png or .pdf); NAME.png if left out."),
) -> None:
    """Write one figure of a trial for a slide.

    Example: `trials picture my-trial edges-roughness --out edges.png`
    """
    from trials import steps
    from trials.words.language import text

    path = out or Path(f"{name}.png")
    with busy(text("drawing")):
        steps.picture(folder, name, path)
    show.say(text("Picture: {path}", path=path))
    show.next_step(text("put {path} on your slide", path=path))


def busy(doing: str) -> AbstractContextManager[object]:
    """A sign of life on standard error while a command works; none where nobody looks, since drawing it takes time."""
    if not sys.stderr.isatty():
        return nullcontext()
    from rich.console import Console

    return Console(file=sys.stderr).status(doing)
