"""Lives of nozzles (command life), and the fastest clean cut of a ladder trial, as text on the screen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from trials.cli import show
from trials.cli.planning import JSON
from trials.errors import TrialError


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("life")(life)


def life(
    table: Path = typer.Argument(..., help="Table of lives, one row per specimen; or a life trial's folder."),
    today: str = typer.Option("", "--today", help="Type in use today; the first in the table if left out."),
    quantile: list[float] = typer.Option([0.1, 0.5], "--quantile", help="Share failed at which lives are stated."),
    shape: float = typer.Option(None, "--shape", help="Weibull shape to assume where nothing failed at all."),
    nozzle_column: str = typer.Option("nozzle", "--nozzle-column", help="Column of the type."),
    specimen_column: str = typer.Option("specimen", "--specimen-column", help="Column of the specimen."),
    life_column: str = typer.Option("", "--life-column", help="Column of the life: hours, metres or pierces."),
    failed_column: str = typer.Option("failed", "--failed-column", help="Column that says yes (failed) or no."),
    out: Path = typer.Option(None, "--out", help="Write a paper (.pdf) or the picture (.svg)."),
    json_: bool = JSON,
) -> None:
    """Compare how long nozzle types last.

    Specimens still good when taken off count as such.

    The table needs the columns nozzle, specimen, hours (or metres, or pierces) and failed (yes or no).

    Example: `trials life lives.csv --today plain --out life.pdf`
    """
    from dataclasses import asdict
    from datetime import date

    from trials.steps import lives

    if table.is_dir():
        rows = lives.recorded_lives(table)
    else:
        rows = lives.read_lives(table, lives.LifeColumns(nozzle_column, specimen_column, life_column, failed_column))
    found = lives.study_table(rows, today, tuple(quantile), shape)
    if out is not None:
        lives.write_lives(rows, found, out, date.today())
    if json_:
        show.as_json(asdict(found) | {"file": None if out is None else str(out)})
        return
    _show_lives(found)
    if out is not None:
        show.say("", f"Paper: {out}")
        show.next_step(f"read {out}; weigh the ratio of lives against the prices")
    else:
        show.next_step(f"trials life {table} --out life.pdf")


def _show_lives(found) -> None:
    from trials.report.life_paper import life_words, ratio_row, share_words

    show.say(*found.sentences)
    show.heading(f"Lives, {found.unit} (95 % limits)")
    head = ["nozzle", "specimens", "failed", *(share_words(at.quantile) for at in found.types[0].at)]
    show.table(
        head,
        [
            [each.nozzle, each.n, each.failures, *(life_words((at.life, at.low, at.high)) for at in each.at)]
            for each in found.types
        ],
    )
    if found.ratios:
        show.heading(f"Ratio of lives to today's {found.today} ({100 * found.confidence:.3g} % limits)")
        rows = [ratio_row(ratio) for ratio in (*found.ratios, *found.own_shapes)]
        show.table(["nozzle", "against", "at", "shape", "ratio", "p"], rows)
    show.heading("Kaplan-Meier: share still good")
    rows = [
        [each.nozzle, f"{t:g}", int(risk), int(gone), f"{share:.0%} ({low:.0%} to {high:.0%})"]
        for each in found.types
        for t, risk, gone, share, low, high in zip(
            *(getattr(each.survival, k) for k in ("time", "at_risk", "failed", "share", "low", "high")), strict=True
        )
    ]
    show.table(["nozzle", found.unit, "at risk", "failed", "still good"], rows)
    show.heading("What these lives cannot say")
    show.bullets(found.cautions)


def ladder_facts(folder: Path) -> dict[str, Any]:
    """The fastest clean cut of a ladder trial under the key `ladder` (null where it cannot be studied), as JSON."""
    from dataclasses import asdict

    found, problem = _ladder(folder)
    if found is None:
        return {"ladder": None, "ladder_why_not": problem}
    return {"ladder": asdict(found) | {"ladders": show.rows_of(found.ladders)}}


def print_ladder(folder: Path) -> None:
    """The fastest clean cut of each mount, and whether types differ in it."""
    found, problem = _ladder(folder)
    show.heading("Fastest clean cut")
    if found is None:
        show.say(problem)
        return
    head = ["mount", "nozzle", "specimen", f"fastest clean, {found.unit}", "remark"]
    show.table(head, found.ladders.to_numpy(object).tolist())
    show.bullets(found.sentences)


def _ladder(folder: Path) -> tuple[Any, str]:
    from trials.steps import load
    from trials.steps.ladders import ladder_study

    try:
        return ladder_study(load(folder)), ""
    except TrialError as error:
        return None, str(error)
