"""Commands that begin a trial or say where it stands: new, demo, status."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from trials.cli import panels, show
from trials.errors import InputError
from trials.next_command import Blank, Command


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("new", rich_help_panel=panels.EVERYBODY)(new)
    app.command("demo", rich_help_panel=panels.EVERYBODY)(demo)
    app.command("status", rich_help_panel=panels.EVERYBODY)(status)


def packaged(folder: str) -> Path:
    """A folder that ships with the package: inside the wheel, or beside the package in a checkout."""
    import trials

    home = Path(trials.__file__).parent
    for place in (home / folder, home.parent / folder):
        if place.is_dir():
            return place
    raise InputError(f"the folder {folder} is missing from this installation", do="Install the package again.")


def new(
    design: str = typer.Argument("", help="Name of a ready-made trial; without it the names are listed."),
    folder: Path = typer.Argument(Path(), help="Folder to make; it must not hold a trial yet."),
    ask: str = typer.Option("", "--ask", metavar="FOLDER", help="Ask for everything one by one and write the file."),
) -> None:
    """Start a trial from a ready-made file, or from answers.

    Example: `trials new` lists the files; `trials new compare-nozzles my-trial` makes my-trial/trial.toml;
    `trials new --ask my-trial` asks for job, nozzles, settings and requirement.
    """
    from trials.words.language import text

    if ask:
        _from_answers(Path(ask))
        return
    designs = {path.stem: path for path in sorted(packaged("designs").glob("*.toml"))}
    if not design:
        show.say(text("Ready-made trials:"))
        show.table([text("name"), text("what for")], [[name, _first_comment(path)] for name, path in designs.items()])
        show.next_command("new", Blank.NAME, Blank.FOLDER)
        return
    if design not in designs:
        raise InputError(
            "no such ready-made trial", found=design, allowed=", ".join(designs), do="Run `trials new` for the list."
        )
    if folder == Path():
        raise InputError("a folder for the new trial is missing", do=f"Run `trials new {design} FOLDER`.")
    target = folder / "trial.toml"
    if target.exists():
        raise InputError("a trial is already here", file=str(target), do="Choose another folder.")
    from trials.steps import write_new

    write_new(target, designs[design].read_bytes())
    show.say(text("Made {path}.", path=target))
    command = Command("plan", (str(folder),)).typed()
    show.next_step(
        text(
            "open {path}, put in your nozzles, settings and requirement, then `{command}`", path=target, command=command
        )
    )


def _from_answers(folder: Path) -> None:
    """Ask, write the file, name the next step."""
    from trials.cli.questions import answers
    from trials.steps import write_new
    from trials.steps.asking import trial_text
    from trials.words.language import text

    target = folder / "trial.toml"
    if target.exists():
        raise InputError("a trial is already here", file=str(target), do="Choose another folder.")
    write_new(target, trial_text(answers()).encode())
    show.say("", text("Made {path}; it can be changed until the plan is frozen.", path=target))
    show.next_command("plan", folder, "--show")


def _first_comment(path: Path) -> str:
    first = path.read_text(encoding="utf-8").splitlines()[0]
    return first.lstrip("# ").strip()


def demo(
    folder: Path = typer.Argument(..., help="Folder to make for the demo."),
    which: str = typer.Option("oxygen_12mm", "--trial", help="oxygen_12mm or nitrogen_6mm."),
) -> None:
    """Run the whole way on an invented example trial.

    Example: `trials demo my-demo` leaves my-demo/verdict.pdf and the papers of the cutting day.
    """
    source = packaged("example_data") / which
    if not (source / "trial.toml").is_file():
        names = sorted(p.parent.name for p in packaged("example_data").glob("*/trial.toml"))
        raise InputError("no such example trial", found=which, allowed=", ".join(names), do="Choose one of these.")
    if folder.exists() and any(folder.iterdir() if folder.is_dir() else [folder]):
        raise InputError("the folder is not empty", file=str(folder), do="Choose a new folder for the demo.")
    from rich.console import Console

    from trials.steps.demo import Stage, demo_trial
    from trials.words.first_page import provisional_words
    from trials.words.language import text
    from trials.words.study import answer_sentence

    stages = {
        Stage.PLANNING: text("choosing and freezing coupons"),
        Stage.PAPERS: text("printing the papers of the cutting day"),
        Stage.CUTS: text("recording what was cut"),
        Stage.READINGS: text("recording readings"),
        Stage.VERDICT: text("grading, fitting, writing the verdict"),
    }
    console = Console(file=sys.stderr)
    with console.status(text("starting")) as busy:
        found = demo_trial(source, folder, lambda stage: busy.update(stages[stage]))
    show.say(
        text("The data of this demo are invented."),
        text("Question: {question}", question=found.study.question),
        *filter(None, [provisional_words(found.study)]),
        text("Answer: {answer}", answer=answer_sentence(found.study)),
    )
    show.say(
        text("Verdict: {path}", path=found.path), text("Papers of the cutting day: {path}", path=folder / "papers")
    )
    command = Command("status", (str(folder),)).typed()
    show.next_step(text("open {path}; `{command}` shows where the trial stands", path=found.path, command=command))


def status(
    folder: Path = typer.Argument(..., help="Folder of the trial."),
    json_: bool = typer.Option(False, "--json", help="Print the same as JSON."),
) -> None:
    """Say where a trial stands and what comes next.

    Example: `trials status my-trial`
    """
    from trials import steps
    from trials.cli.standing import show_status, status_json

    found = steps.status(folder)
    if json_:
        show.as_json(status_json(found))
    else:
        show_status(found)
