"""The command that adds coupons to a trial that was cut: extend."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from trials.cli import panels, show
from trials.cli.planning import FOLDER, JSON
from trials.commands import Command
from trials.errors import InputError

if TYPE_CHECKING:
    from trials.plan.extend import ExtensionKind


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("extend", rich_help_panel=panels.ENGINEER)(extend)


def extend(
    folder: Path = FOLDER,
    repeat_mounts: bool = typer.Option(False, "--repeat-mounts", help="One more mount of every specimen."),
    axial: bool = typer.Option(False, "--axial", help="Ends and middle of each setting, for curvature."),
    confirm: list[str] = typer.Option([], "--confirm", help='Setting to confirm: "pressure=0.6; standoff=1.2".'),
    nozzle: list[str] = typer.Option([], "--nozzle", help="Only these types; give it again for each."),
    who: str = typer.Option("", "--who", help="Your name, kept in the journal."),
    why: str = typer.Option("", "--why", help="The reason, kept in the journal."),
    show_only: bool = typer.Option(False, "--show", help="Show the coupons and the gain without adding them."),
    json_: bool = JSON,
) -> None:
    """Add coupons to a trial that was cut.

    They are a new block on new sheets; the gain is stated before.

    Declared where trial.toml left a look at the data for it (plan.looks), else exploratory.

    Example: `trials extend my-trial --repeat-mounts --who "A. Berg" --why "not settled"`, or
    `trials extend my-trial --confirm "pressure=0.6; standoff=1.2" --nozzle double --show`
    """
    from trials.cli.plan_text import print_counts
    from trials.steps.extend import add_extension, extension, extension_json
    from trials.words.findings import say
    from trials.words.language import text

    kind = _kind(repeat_mounts, axial, bool(confirm))
    chosen = extension(folder, kind, confirm, nozzle or None)
    if not show_only:
        add_extension(folder, chosen, who, why)
    if json_:
        show.as_json(extension_json(chosen, added=not show_only))
        return
    print_counts(chosen.plan.coupons)
    show.bullets(say(finding) for finding in chosen.found)
    if show_only:
        show.next_step(text("the same without --show, with --who and --why, adds these coupons"))
    else:
        command = Command("sheet", (str(folder),)).typed()
        show.next_step(text("`{command}` prints the papers of block {block}", command=command, block=chosen.block))


def _kind(repeat_mounts: bool, axial: bool, confirm: bool) -> ExtensionKind:
    from trials.plan.extend import ExtensionKind

    given = {
        ExtensionKind.REPEAT_MOUNTS: repeat_mounts,
        ExtensionKind.AXIAL: axial,
        ExtensionKind.CONFIRM: confirm,
    }
    asked = [kind for kind, is_given in given.items() if is_given]
    if len(asked) != 1:
        raise InputError(
            "name one way to extend the trial" if asked else "no way to extend the trial is named",
            allowed="--repeat-mounts, --axial, --confirm SETTING",
            do="Give one of them.",
        )
    return asked[0]
