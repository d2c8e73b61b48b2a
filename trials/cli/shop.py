"""Commands for the whole shop and for the machine: chart, card."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from trials.cli import show
from trials.cli.planning import JSON, trial_folder

if TYPE_CHECKING:
    from trials.decide.chart import Chart


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("chart")(chart)


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
