"""Commands that guard what was recorded: check, backup, export, restore."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from trials.cli import panels, show
from trials.cli.planning import FOLDER, JSON
from trials.next_command import Blank

if TYPE_CHECKING:
    from trials.steps.keep import Checked, Kept

OUT = typer.Argument(..., help="Folder to make; it must not be there yet.")


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("check", rich_help_panel=panels.KEEPING)(check)
    app.command("backup", rich_help_panel=panels.KEEPING)(backup)
    app.command("export", rich_help_panel=panels.KEEPING)(export)
    app.command("restore", rich_help_panel=panels.KEEPING)(restore)


def check(folder: Path = FOLDER, json_: bool = JSON) -> None:
    """Check that every record is as it was written.

    The chain of the journal, every row, the counts, and the database itself. Ends with code 2 where something is wrong.

    Example: `trials check my-trial`
    """
    from trials import steps
    from trials.words import proof
    from trials.words.findings import say

    found = steps.check(folder)
    if json_:
        show.as_json(_as_json(found))
    else:
        show.say(found.place)
        if found.head:
            show.say(proof.checked(found.entries, sum(found.rows.values()), found.head))
        show.bullets(map(say, found.findings))
        if found.sound:
            show.say(proof.sound())
        show.bullets(proof.paper_shows(look, head) for look, head in found.papers.items())
        show.next_command(*(("status", folder) if found.sound else ("restore", Blank.FILE, Blank.FOLDER)))
    if not found.sound:
        raise typer.Exit(2)


def _as_json(found: Checked) -> dict[str, object]:
    return {
        "place": found.place,
        "sound": found.sound,
        "findings": list(found.findings),
        "identity": found.identity,
        "head": found.head,
        "entries": found.entries,
        "rows": dict(found.rows),
        "papers": [{"look": look, "head": head} for look, head in found.papers.items()],
    }


def backup(folder: Path = FOLDER, out: Path = OUT) -> None:
    """Back up question and records of this moment to a new folder, while the trial is in use.

    The new folder is a trial folder itself. To go back to it, use it in the place of the old one.

    Example: `trials backup my-trial my-trial-2026-03-05`
    """
    from trials import steps

    _say("backup", steps.backup(folder, out))
    show.next_command("check", out)


def export(folder: Path = FOLDER, out: Path = OUT) -> None:
    """Export everything on record to a new folder: CSV, XLSX and JSON, with a data dictionary.

    Example: `trials export my-trial my-trial-export`
    """
    from trials import steps

    _say("export", steps.export(folder, out))
    show.next_command("restore", out, Blank.FOLDER)


def restore(
    source: Path = typer.Argument(..., metavar="EXPORT", help="An export: its folder, or the records.json in it."),
    folder: Path = OUT,
) -> None:
    """Make a trial again from an export, in a new folder, with the same analysis.

    Example: `trials restore my-trial-export my-trial-again`
    """
    from trials import steps

    _say("restore", steps.restore(source, folder))
    show.next_command("status", folder)


def _say(what: str, kept: Kept) -> None:
    from trials.words import proof
    from trials.words.numbers import in_groups

    show.say(proof.kept(what, place=kept.place, head=in_groups(kept.head)))
