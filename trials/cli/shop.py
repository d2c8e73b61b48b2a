"""Commands for the whole shop and for the machine: chart, card."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from trials.cli import panels, show
from trials.cli.planning import FOLDER, JSON, trial_folder

if TYPE_CHECKING:
    from trials.decide.chart import Chart


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("chart", rich_help_panel=panels.ENGINEER)(chart)
    app.command("card", rich_help_panel=panels.OPERATOR)(card)


def chart(
    folders: list[Path] = typer.Argument(..., help="Folders of the shop's trials."),
    machine: str = typer.Option(
        "", "--machine", help="Machine the chart is for; that of the newest trial if left out."
    ),
    out: Path = typer.Option(None, "--out", help="Write the chart (.pdf) or its table (.csv)."),
    json_: bool = JSON,
) -> None:
    """Show which nozzle type serves which job.

    All trials of a shop on one page, each by its last kept verdict, and the shortest list of types to stock.

    Example: `trials chart steel-12 steel-4 nitrogen-6 --out chart.pdf`
    """
    from datetime import date

    from trials.steps.chart import any_invented, chart_json, write_chart
    from trials.steps.chart import chart as make

    for folder in folders:
        trial_folder(folder)
    found = make(folders, machine)
    if out is not None:
        write_chart(found, out, date.today(), any_invented(folders))
    if json_:
        show.as_json(chart_json(found) | {"file": None if out is None else str(out)})
        return
    _show_chart(found)
    if out is not None:
        from trials.words.language import text

        show.say("", text("Chart: {file}", file=out))
        show.next_step(text("hang {file} up; cut more where a cell is open or blank", file=out))
    else:
        show.next_command("chart", *folders, "--out", "chart.pdf")


def card(
    folder: Path = FOLDER,
    nozzle: str = typer.Option("", "--nozzle", help="Type to fit; the best that was proved if left out."),
    out: Path = typer.Option(None, "--out", help="Name of the page; card.pdf in the folder if left out."),
    json_: bool = JSON,
) -> None:
    """Print the card that hangs at the machine.

    One page: the job, the nozzle and how to tell it from its look-alike, settings, what to watch, when to change it.

    Example: `trials card my-trial`
    """
    from datetime import date

    from trials.cli.studying import busy
    from trials.steps.card import card as make
    from trials.steps.card import card_json, check_card_place, write_card
    from trials.words import card as words
    from trials.words.language import text

    path = out or folder / "card.pdf"
    check_card_place(path)
    with busy("reckoning chances"):
        found = make(folder, nozzle)
    write_card(folder, found, path, date.today())
    if json_:
        show.as_json(card_json(found) | {"file": str(path)})
        return
    show.say(words.title(found), words.proved(found))
    show.table(words.settings_head(), [words.setting_row(one, found.safe) for one in found.settings if not one.held])
    show.bullets([*words.ground_lines(found), words.life_line(found)])
    show.say("", text("Card: {file}", file=path))
    show.next_step(text("print {file} and hang it at the machine", file=path))


def _show_chart(found: Chart) -> None:
    from trials.words import chart as words
    from trials.words.findings import say
    from trials.words.language import text

    show.say(words.lead(found))
    rows = []
    for row in found.rows:
        cells = ["\n".join([words.cell_word(cell), *words.cell_gains(cell)]) for cell in row.cells]
        _, day, _, marks = words.row_head(row)
        rows.append(["\n".join(part for part in (words.job_name(row.seen.job), day, marks) if part), *cells])
    show.table([text("job"), *found.types], rows)
    show.heading(text("What to stock"))
    show.bullets(words.stock_sentences(found))
    if found.said:
        show.heading(text("To know before relying on it"))
        show.bullets(map(say, found.said))
