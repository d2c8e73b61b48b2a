"""The command `window`: where each nozzle type meets the requirement."""

from __future__ import annotations

from pathlib import Path

import typer

from trials.cli import panels, show
from trials.cli.planning import FOLDER, JSON


def register(app: typer.Typer) -> None:
    """Add this command to the application."""
    app.command("window", rich_help_panel=panels.ENGINEER)(window)


def window(
    folder: Path = FOLDER,
    across: list[str] = typer.Option([], "--across", help="Factor on an axis; name two, the first goes across."),
    at: list[str] = typer.Option([], "--at", help="Setting of another factor, NAME=VALUE; today's if left out."),
    out: Path = typer.Option(None, "--out", help="Write the maps (.svg, .png or .pdf)."),
    json_: bool = JSON,
) -> None:
    """Show over which settings each nozzle type meets the requirement.

    The chance that the next edge meets everything the drawing asks, over two factors, inside what was cut.

    Example: `trials window my-trial --out window.pdf`
    """
    from trials import steps
    from trials.cli.studying import busy

    if out is not None:
        from trials.report.pictures import check_suffix

        check_suffix(out.suffix)
    with busy("reckoning chances"):
        found = steps.window(folder, across, at)
    if out is not None:
        steps.keep_window_picture(found, out)
    if json_:
        show.as_json(steps.window_json(found) | {"file": None if out is None else str(out)})
        return
    from trials.words import window as words
    from trials.words.in_use import window_in_use
    from trials.words.language import text

    found = window_in_use(found)
    first, *rest = words.sentences(found)
    show.say(first)
    if found.others:
        show.say(text("All at {settings}.", settings=words.others_words(found)))
    show.heading(text("Operating window"))
    show.table(words.table_head(found), [words.table_cells(each, found) for each in found.types])
    show.bullets(rest)
    if out is not None:
        show.say("", text("Maps: {file}", file=out))
        show.next_step(f"look at {out}; confirm the best setting with a few parts")
    else:
        show.next_step(f"trials window {folder} --out window.pdf")
