"""Commands before the first cut, and changes to what was frozen: plan, sheet, amend."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import typer

from trials.cli import show

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
    from trials import steps
    from trials.errors import InputError
    from trials.steps import assessing
    from trials.store.records.folder import database_path, read_trial

    trial, _ = read_trial(folder)
    if not show_only and database_path(folder).is_file():
        raise InputError(
            "the plan is frozen already",
            file=str(folder),
            do="Change it with `trials amend`, add coupons with `trials extend`, or start another with `trials new`.",
        )
    with _progress("choosing coupons") as tell:
        made = steps.propose(trial, tell)
    with _progress("simulating trials") as tell:
        found = assessing.judge(trial, made, progress=tell)
    if not show_only:
        steps.freeze(folder, made)
    if json_:
        facts = {"frozen": not show_only, "coupons": show.rows_of(made.coupons), "said": list(made.said)}
        show.as_json(facts | {"assessment": assessing.assessment_json(trial, found)})
        return
    _show_plan(trial, made)
    from trials.cli.plan_text import print_assessment

    print_assessment(trial, found, made.said)
    if show_only:
        show.next_step(f"`trials plan {folder}` freezes this plan; until then change trial.toml as you like")
    else:
        show.next_step(f"trials sheet {folder}")


@contextmanager
def _progress(words: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error, drawn from the first report on."""
    from rich.console import Console
    from rich.progress import Progress

    console = Console(file=sys.stderr)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(words, total=None, visible=False)
        yield lambda done, of: bar.update(task, completed=done, total=of, visible=True)


def _show_plan(trial, made) -> None:
    show.say(trial.trial.title, trial.trial.question)
    counts = made.coupons.groupby("nozzle", sort=False).agg(
        specimens=("specimen", "nunique"), mounts=("mount", "nunique"), coupons=("coupon", "size")
    )
    rows = [[name, *counts.loc[name]] for name in trial.types if name in counts.index]
    show.table(["nozzle", "specimens", "mounts", "coupons"], rows)
    show.heading("What this plan says")
    show.bullets(made.said)


def sheet(folder: Path = FOLDER) -> None:
    """Print the papers of the cutting day.

    Run sheet, plan, workbooks, bench card, labels, drawings of the sheets. Of a trial that was extended: those of the
    newest block, in a folder of their own.

    Example: `trials sheet my-trial` writes them to my-trial/papers.
    """
    from trials import steps

    paths = steps.run_sheet(folder)
    show.say(*map(str, paths))
    book = next(path for path in paths if path.name == "run-workbook.xlsx")
    show.next_step(f"cut by the run sheet, fill in {book.name}, then `trials cut {folder} {book}`")


def amend(folder: Path = FOLDER, who: str = WHO, why: str = WHY) -> None:
    """Accept a change to a frozen trial.toml.

    It is kept in the journal and printed on the first page of the verdict.

    Example: `trials amend my-trial --who "A. Berg" --why "third sheet never came"`
    """
    from trials import steps
    from trials.commands import Command, Next
    from trials.words import language
    from trials.words.records import next_words

    done = steps.amend(folder, who, why)
    show.say(language.text("Amended by {who}: {why}", who=done.who, why=done.why))
    head = [language.text("key"), language.text("was"), language.text("is now")]
    show.table(head, [[change.key, change.old, change.new] for change in done.changes])
    show.next_step(next_words(Next(Command("status", (str(folder),)))))
