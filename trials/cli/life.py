"""The command `life`: how long nozzle types last."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from trials.cli import panels, show
from trials.cli.planning import JSON, trial_folder
from trials.cli.recording import DRY_RUN

if TYPE_CHECKING:
    from trials.decide.lives import LivesAnswer
    from trials.steps.life_tables import LifeColumns


def register(app: typer.Typer) -> None:
    """Add this command to the application."""
    app.command("life", rich_help_panel=panels.ENGINEER)(life)


def life(
    table: Path = typer.Argument(..., help="Table of lives, one row per specimen; or a life trial's folder."),
    file: Path = typer.Argument(None, help="Table of lives to keep in that life trial; nothing is studied then."),
    today: str = typer.Option("", "--today", help="Type in use today; the first in the table if left out."),
    worthwhile: str = typer.Option("", "--worthwhile", help='How much longer matters, for a table: "25 %".'),
    quantile: list[float] = typer.Option([0.1, 0.5], "--quantile", help="Share failed at which lives are stated."),
    shape: float = typer.Option(None, "--shape", help="Weibull shape to assume where nothing failed at all."),
    nozzle_column: str = typer.Option("nozzle", "--nozzle-column", help="Column of the type."),
    specimen_column: str = typer.Option("specimen", "--specimen-column", help="Column of the specimen."),
    life_column: str = typer.Option("", "--life-column", help="Column of the life: hours, metres or pierces."),
    failed_column: str = typer.Option("failed", "--failed-column", help="Column that says yes (failed) or no."),
    ended_column: str = typer.Option("ended", "--ended-column", help="Column of how it ended: worn, plugged, ..."),
    out: Path = typer.Option(None, "--out", help="Write a paper (.pdf) or the picture (.svg)."),
    who: str = typer.Option("", "--who", help="Who wrote the lives down, where they are kept."),
    dry_run: bool = DRY_RUN,
    json_: bool = JSON,
) -> None:
    """Compare how long nozzle types last.

    Specimens still good when taken off count as such.

    The table needs the columns nozzle, specimen, hours (or metres, or pierces) and ended (worn, plugged, damaged,
    out_of_centre, window_burnt, lens_burnt, not_said, taken_off_good), or failed (yes or no). It may have part (nozzle,
    lens, window), and how often a piece was cleaned and refitted.

    Example: `trials life lives.csv --today plain --worthwhile "25 %" --out life.pdf`; to keep lives in a life trial:
    `trials life my-life-trial lives.csv --who "A. Berg"`
    """
    from datetime import date

    from trials.errors import InputError
    from trials.steps import lives
    from trials.words.language import text

    columns = lives.LifeColumns(nozzle_column, specimen_column, life_column, failed_column, ended_column)
    if file is not None:
        _keep(trial_folder(table), file, columns, who, dry_run)
        return
    if dry_run or who:
        raise InputError(
            "only lives that are kept have a name or a dry run", do="Give a life trial's folder and a file."
        )
    if table.is_dir():
        if worthwhile:
            raise InputError(
                "a life trial names its own worthwhile difference",
                column="--worthwhile",
                do="Leave the option out; it stands in trial.toml.",
            )
        rows = lives.recorded_lives(table)
    else:
        rows = lives.read_lives(table, columns, worthwhile)
    found = lives.study_table(rows, today, tuple(quantile), shape)
    if out is not None:
        lives.write_lives(rows, found, out, date.today())
    if json_:
        show.as_json(lives.lives_json(found, out, str(table)))
        return
    _show_lives(found)
    if out is not None:
        show.say("", text("Paper: {path}", path=out))
    if found.provisional:
        show.next_command("status", table)
    elif out is not None:
        show.next_step(text("read {path}; weigh the ratio of lives against the prices", path=out))
    else:
        show.next_command("life", table, "--out", "life.pdf")


def _keep(folder: Path, file: Path, columns: LifeColumns, who: str, dry_run: bool) -> None:
    """Lives go on record like readings."""
    from trials.steps import lives
    from trials.words import lives as words
    from trials.words.findings import say
    from trials.words.language import text

    done = lives.record_lives(folder, file, columns, who, dry_run=dry_run)
    if dry_run:
        show.say(text("A dry run: nothing is kept. It would say:"))
    show.say(words.kept_words(done.added, done.known))
    show.bullets(map(say, (*done.remarks, *done.slips)))
    if dry_run:
        show.next_command("life", folder, file)
    else:
        show.next_command("status" if done.slips else "life", folder)


def _show_lives(found: LivesAnswer) -> None:
    from trials.words import lives as words
    from trials.words.decision import lives_decided
    from trials.words.first_page import provisional_words
    from trials.words.language import text

    study = found.study
    decided = lives_decided(found)
    show.say(*filter(None, [provisional_words(found)]), *words.sentences(found), *([decided] if decided else []))
    _show_types(found)
    for part in found.beside:
        show.heading(words.part_title(part.part))
        _show_types(part, titled=False)
    if study.ratios:
        level = words.percent_of(study.confidence)
        show.heading(text("Ratio of lives to today's {today} ({level} limits)", today=study.today, level=level))
        show.table(words.ratio_head(), [words.ratio_cells(ratio) for ratio in (*study.ratios, *study.own_shapes)])
    if found.causes:
        show.heading(text("Each cause by itself"))
        show.table(words.cause_head(found), words.cause_rows(found))
        show.say(words.cause_note(found))
    if found.care:
        show.heading(text("Cleaned and put back"))
        show.bullets(words.care_sentences(found))
    _show_still_good(found)
    show.heading(text("What these lives cannot say"))
    show.bullets(words.cautions(found))


def _show_types(found: LivesAnswer, titled: bool = True) -> None:
    """Lives by type with limits."""
    from trials.words import lives as words
    from trials.words.language import text

    study, level = found.study, words.percent_of(0.95)
    if titled:
        show.heading(text("Lives, {unit} ({level} limits)", unit=words.unit_words(found.unit), level=level))
    heads = [words.share_words(at.quantile) for at in study.types[0].at]
    rows = [
        [each.nozzle, each.n, each.failures, *(words.life_words(at.life, at.low, at.high) for at in each.at)]
        for each in study.types
    ]
    show.table([text("nozzle type"), text("specimens"), text("failed"), *heads], rows)


def _show_still_good(found: LivesAnswer) -> None:
    """Product-limit shares at each time of failure."""
    from trials.words.language import text
    from trials.words.lives import unit_words
    from trials.words.numbers import percent, plain

    rows = []
    for each in found.study.types:
        s = each.survival
        for at, risk, gone, share, low, high in zip(s.time, s.at_risk, s.failed, s.share, s.low, s.high, strict=True):
            good = text("{share} ({low} to {high})", share=percent(share), low=percent(low), high=percent(high))
            rows.append([each.nozzle, plain(float(at)), int(risk), int(gone), good])
    show.heading(text("Kaplan-Meier: share still good"))
    head = [text("nozzle type"), unit_words(found.unit), text("at risk"), text("failed"), text("still good")]
    show.table(head, rows)
