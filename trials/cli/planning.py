"""Commands before the first cut, and changes to what was frozen: plan, sheet, amend."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import typer

from trials.cli import show
from trials.commands import Command

FOLDER = typer.Argument(..., help="Folder of the trial.")
JSON = typer.Option(False, "--json", help="Print the same as JSON.")
WHO = typer.Option(..., "--who", help="Your name, kept in the journal.")
WHY = typer.Option(..., "--why", help="The reason, kept in the journal.")


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("plan")(plan)
    app.command("sheet")(sheet)
    app.command("amend")(amend)


def plan(
    folder: Path = FOLDER,
    show_only: bool = typer.Option(False, "--show", help="Show the plan without freezing it."),
    json_: bool = JSON,
) -> None:
    """Choose the coupons and freeze the plan.

    Says first what the plan can and cannot show.

    Differences are those seen with a chance of 80 %, at the spreads expected in trial.toml.

    Example: `trials plan my-trial --show` to look, `trials plan my-trial` to freeze.
    """
    from trials.cli.plan_text import print_plan
    from trials.steps.plan import plan_folder, plan_json
    from trials.words.language import text

    with _progress(text("choosing coupons")) as choosing, _progress(text("simulating trials")) as simulating:
        made = plan_folder(folder, not show_only, choosing, simulating)
    if json_:
        show.as_json(plan_json(made))
        return
    print_plan(made)
    if show_only:
        command = Command("plan", (str(folder),)).typed()
        show.next_step(text("`{command}` freezes this plan; until then change trial.toml as you like", command=command))
    else:
        show.next_command("sheet", folder)


@contextmanager
def _progress(words: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error, drawn from the first report on."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(file=sys.stderr)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(words, total=None, visible=False)
        yield lambda done, of: bar.update(task, completed=done, total=of, visible=True)


def sheet(folder: Path = FOLDER) -> None:
    """Print the papers of the cutting day.

    Run sheet, plan, workbooks, bench card, labels, drawings of the sheets. Of a trial that was extended: those of the
    newest block, in a folder of their own.

    Example: `trials sheet my-trial` writes them to my-trial/papers.
    """
    from trials import steps
    from trials.words.language import text

    paths = steps.run_sheet(folder)
    show.say(*map(str, paths))
    book = next(path for path in paths if path.name == "run-workbook.xlsx")
    command = Command("cut", (str(folder), str(book))).typed()
    show.next_step(text("cut by the run sheet, fill in {file}, then `{command}`", file=book.name, command=command))


def amend(folder: Path = FOLDER, who: str = WHO, why: str = WHY) -> None:
    """Accept a change to a frozen trial.toml.

    It is kept in the journal and printed on the first page of the verdict.

    Example: `trials amend my-trial --who "A. Berg" --why "third sheet never came"`
    """
    from trials import steps
    from trials.words import language

    done = steps.amend(folder, who, why)
    show.say(language.text("Amended by {who}: {why}", who=done.who, why=done.why))
    head = [language.text("key"), language.text("was"), language.text("is now")]
    show.table(head, [[change.key, change.old, change.new] for change in done.changes])
    show.next_command("status", folder)
