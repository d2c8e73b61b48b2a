"""Commands before the first cut, and changes to what was frozen: plan, sheet, amend."""

from __future__ import annotations

from pathlib import Path

import typer

from trials.cli import panels, show
from trials.cli.doubts import AS_WRITTEN
from trials.cli.progress import progress_bar
from trials.errors import no_trial_folder
from trials.next_command import Command


def trial_folder(folder: Path) -> Path:
    """The folder, if it may hold a trial with a question that can be used; else refused before a library is loaded."""
    from trials.store.question import read_question

    file = folder / "trial.toml"
    if not file.exists() and not (folder / "trial.db").exists():
        raise no_trial_folder(folder)
    if file.is_file():
        read_question(file)
    return folder


def _folder(context: typer.Context, folder: Path) -> Path:
    """The same; what the command prints comes out in the units of that trial, JSON as kept."""
    show.in_units_of(trial_folder(folder), context)
    return folder


def is_there(file: Path) -> Path:
    """The same, if there is such a file, or standard input; else refused before a library is loaded."""
    from trials.store.guard import check_there

    if str(file) != "-":
        check_there(file, str(file))
    return file


def are_there(files: list[Path] | None) -> list[Path]:
    """The same, if there are such files."""
    return [is_there(file) for file in files or ()]


def _as_kept(context: typer.Context, asked: bool) -> bool:
    if asked:
        context.meta[show.AS_KEPT] = True
    return asked


FOLDER = typer.Argument(..., help="Folder of the trial.", callback=_folder)
JSON = typer.Option(False, "--json", help="Print the same as JSON.", is_eager=True, callback=_as_kept)
WORKERS = typer.Option(
    "",
    "--workers",
    envvar="TRIALS_WORKERS",
    help="Processes for simulations, or the address of a Dask cluster. Left out: all cores for long work.",
)
WHO = typer.Option(..., "--who", help="Your name, kept in the journal.")
WHY = typer.Option(..., "--why", help="The reason, kept in the journal.")


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("plan", rich_help_panel=panels.ENGINEER)(plan)
    app.command("sheet", rich_help_panel=panels.ENGINEER)(sheet)
    app.command("amend", rich_help_panel=panels.ENGINEER)(amend)


def plan(
    folder: Path = FOLDER,
    show_only: bool = typer.Option(False, "--show", help="Show the plan without freezing it."),
    settle: str = typer.Option("", "--settle", help="Look for the cheapest plan that settles with this chance: 80."),
    settle_if: str = typer.Option("both", "--settle-if", help="If types differ: different; if not: same; or both."),
    settle_all: bool = typer.Option(False, "--settle-all", help="Ask it of all comparisons of the trial at once."),
    pieces: list[str] = typer.Option([], "--pieces", help="Pieces of a type that can be had: double=6; repeatable."),
    bare: bool = typer.Option(False, "--bare", help="Go below two coupons a mount and two readings a coupon."),
    budget: str = typer.Option("", "--budget", help="The best chance for 12h, or for 500 in the trial's currency."),
    spreads_from: Path | None = typer.Option(None, "--spreads-from", help="Folder of a pilot or an earlier trial."),
    write: bool = typer.Option(False, "--write", help="Put the plan that settles into trial.toml."),
    picture: Path | None = typer.Option(None, "--picture", help="Write chance against money as SVG to this file."),
    against: Path | None = typer.Option(None, "--against", help="Folder of another plan, to set beside this one."),
    as_written: bool = AS_WRITTEN,
    workers: str = WORKERS,
    json_: bool = JSON,
) -> None:
    """Choose the coupons and freeze the plan.

    Says first what the plan can and cannot show. Differences are those seen with a chance of 80 %, at the spreads
    expected in trial.toml. With --settle, --budget or --against nothing is frozen.

    Example: `trials plan my-trial --settle 80` to look for a plan, `trials plan my-trial` to freeze.
    """
    from trials.cli import settle_text
    from trials.steps.workers import working

    if against is not None:
        settle_text.beside(folder, against, json_)
        return
    asked = settle_text.Asked(
        settle, settle_if, settle_all, tuple(pieces), bare, budget, spreads_from, write, picture, json_
    )
    if settle_text.is_asked(folder, asked, not show_only):
        with working(workers), progress_bar(settle_text.progress_words()) as looking:
            made = settle_text.look(folder, asked, looking)
        settle_text.show_settled(folder, asked, made)
        return
    with working(workers):
        _freeze_or_show(folder, show_only, json_, as_written)


def _freeze_or_show(folder: Path, show_only: bool, json_: bool, as_written: bool) -> None:
    from trials.cli.doubts import confirmed
    from trials.cli.plan_text import print_plan
    from trials.steps.doubts import plan_doubts
    from trials.steps.plan import plan_folder, plan_json
    from trials.words.language import text

    sure = as_written or confirmed(plan_doubts(folder))
    with progress_bar(text("choosing coupons")) as choosing, progress_bar(text("simulating trials")) as simulating:
        made = plan_folder(folder, not show_only, choosing, simulating, sure)
    if json_:
        show.as_json(plan_json(made))
        return
    print_plan(made)
    if show_only:
        command = Command("plan", (str(folder),)).typed()
        show.next_step(text("`{command}` freezes this plan; until then change trial.toml as you like", command=command))
    else:
        show.next_command("sheet", folder)


def sheet(folder: Path = FOLDER) -> None:
    """Print the papers of the cutting day.

    Run sheet, plan, run workbook, drawings of the sheets; in the folder `bench` of their own what goes to the bench:
    card, labels, workbooks. Nothing in that folder names a nozzle type, so hand it over whole and keep the rest. Of a
    trial that was extended: those of the newest block, in a folder of their own.

    Example: `trials sheet my-trial` writes them to my-trial/papers and my-trial/papers/bench.
    """
    from trials import steps
    from trials.steps.sheet import BENCH
    from trials.words.language import text

    paths = steps.run_sheet(folder)
    show.say(*map(str, paths))
    bench = next(path.parent for path in paths if path.parent.name == BENCH)
    show.say(text("For the bench: {folder}. Nothing in it names a nozzle; the other papers do.", folder=bench))
    book = next(path for path in paths if path.stem.startswith("run-workbook"))
    command = Command("cut", (str(folder), str(book))).typed()
    show.next_step(text("cut by the run sheet, fill in {file}, then `{command}`", file=book.name, command=command))


def amend(folder: Path = FOLDER, who: str = WHO, why: str = WHY, as_written: bool = AS_WRITTEN) -> None:
    """Accept a change to a frozen trial.toml.

    It is kept in the journal and printed on the first page of the verdict.

    Example: `trials amend my-trial --who "A. Berg" --why "third sheet never came"`
    """
    from trials import steps
    from trials.cli.doubts import confirmed
    from trials.steps.doubts import amend_doubts
    from trials.words import language

    sure = as_written or confirmed(amend_doubts(folder))
    done = steps.amend(folder, who, why, sure)
    show.say(language.text("Amended by {who}: {why}", who=done.who, why=done.why))
    head = [language.text("key"), language.text("was"), language.text("is now")]
    show.table(head, [[change.key, change.old, change.new] for change in done.changes])
    show.next_command("status", folder)
