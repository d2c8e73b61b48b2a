"""Commands that take in what happened: cut, record, correct, retire, adopt."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from trials.cli import panels, show
from trials.cli.doubts import AS_WRITTEN, confirmed
from trials.cli.measuring import show_doubts
from trials.cli.planning import FOLDER, JSON, WHO, WHY, are_there, is_there
from trials.errors import InputError
from trials.next_command import Before, Blank, Command, Next
from trials.words import language
from trials.words import records as words

DRY_RUN = typer.Option(False, "--dry-run", help="Check and count everything; keep nothing.")


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("cut", rich_help_panel=panels.OPERATOR)(cut)
    app.command("record", rich_help_panel=panels.INSPECTOR)(record)
    app.command("correct", rich_help_panel=panels.INSPECTOR)(correct)
    app.command("retire", rich_help_panel=panels.OPERATOR)(retire)
    app.command("adopt", rich_help_panel=panels.ENGINEER)(adopt)


def cut(
    folder: Path = FOLDER,
    files: list[Path] = typer.Argument(
        None, help="The filled run workbook, or CSV files of cuts, mounts, sheets.", callback=are_there
    ),
    as_planned: bool = typer.Option(False, "--as-planned", help="Everything not on record yet was cut as planned."),
    who: str = typer.Option("", "--who", help="Who cut."),
    dry_run: bool = DRY_RUN,
    as_written: bool = AS_WRITTEN,
) -> None:
    """Record what was really cut.

    Order, mounts, sheets, outcomes, changed settings.

    Example: `trials cut my-trial my-trial/papers/run-workbook.xlsx`, or `trials cut my-trial cuts.csv mounts.csv`
    """
    from trials import steps
    from trials.steps.cut import doubts as cut_doubts
    from trials.words.findings import say

    if as_planned and dry_run:
        raise InputError("--dry-run checks files", do="Leave out --as-planned, or --dry-run.")
    if as_planned == bool(files):
        raise InputError("give files or --as-planned, one of the two", do=f"See `trials cut {folder} --help`.")
    if as_planned:
        done = steps.cut_as_planned(folder, who)
    else:
        sure = as_written or confirmed(cut_doubts(folder, files))
        done = steps.cut(folder, files, who, dry_run=dry_run, as_written=sure)
    if dry_run:
        show.say(language.text("A dry run: nothing is kept. It would say:"))
    show.say(
        language.plural(
            "{n} cut recorded, {known} on record already.",
            "{n} cuts recorded, {known} on record already.",
            done.added,
            known=done.known,
        )
    )
    show.bullets(map(say, done.remarks))
    if done.added + done.known:
        following = Next(Command("record", (str(folder), Blank.FILE)), before=Before.MEASURE)
    else:
        following = Next(Command("cut", (str(folder), *map(str, files or ()))), before=Before.FILL_IN)
    show.next_step(words.next_words(following))


def record(
    folder: Path = FOLDER,
    file: Path = typer.Argument(
        ..., help="CSV or XLSX file of readings; - reads CSV from standard input.", callback=is_there
    ),
    who: str = typer.Option("", "--who", help="Who measured."),
    dry_run: bool = DRY_RUN,
) -> None:
    """Record readings from the bench.

    From the bench workbook, the workbook of the repeats or a CSV file. What was measured again with a reason corrects
    the first reading; nothing else that was recorded before is changed.

    Example: `trials record my-trial my-trial/papers/bench/bench-workbook.xlsx --who "A. Berg"`
    """
    from trials import steps
    from trials.words.findings import say

    done = steps.record(folder, file, who, dry_run=dry_run)
    if dry_run:
        show.say(language.text("A dry run: nothing is kept. It would say:"))
    show.say(
        language.plural(
            "{n} value recorded, {known} on record already.",
            "{n} values recorded, {known} on record already.",
            done.added,
            known=done.known,
        )
    )
    show.bullets(map(say, done.remarks))
    show_doubts(done.doubts)
    if done.slips:
        show.heading(language.text("Look at these again: they stand far from their neighbours"))
        show.bullets(map(say, done.slips))
    show.next_step(_status(folder))


def _status(folder: Path) -> str:
    return words.next_words(Next(Command("status", (str(folder),))))


def correct(
    folder: Path = FOLDER,
    coupon: str = typer.Argument(..., help="Mark of the coupon (or of the mount or sheet, with --of)."),
    column: str = typer.Argument("", help="Column to correct, such as rz5_um or outcome."),
    value: str = typer.Argument("", help="The right value, with a decimal point or comma; >100; not measurable."),
    reading: int = typer.Option(0, "--reading", help="Number of the reading on the coupon."),
    repeat: int = typer.Option(0, "--repeat", help="Which re-measurement, 0 for the reading itself."),
    of: str = typer.Option("coupon", "--of", help="coupon, mount or sheet."),
    withdraw: bool = typer.Option(False, "--withdraw", help="Take the reading back: it was not measured there."),
    restore: bool = typer.Option(False, "--restore", help="Bring back a reading that was withdrawn."),
    as_read: bool = typer.Option(False, "--as-read", help="The flagged reading is right as it is."),
    who: str = WHO,
    why: str = WHY,
) -> None:
    """Correct a reading or a cut record.

    A new row names the old one, which is kept.

    Example: `trials correct my-trial K7T rz5_um 35.2 --reading 2 --who "A. Berg" --why "decimal point"`
    """
    from trials import steps

    if as_read:
        done = steps.confirm(folder, coupon, who, why)
    else:
        asked = steps.Correction(coupon, column, value, reading, repeat, of, withdraw, restore)
        seen = steps.change(folder, asked)
        show.say(words.change(vars(seen)))
        if sys.stdin.isatty() and sys.stdout.isatty():
            typer.confirm(language.text("Write it?"), default=True, abort=True)
        done = steps.correct(folder, asked, who, why, seen)
    show.bullets([language.text("{mark}: corrected by {who}.", mark=done.mark, who=done.who)])
    show.next_step(_status(folder))


def retire(
    folder: Path = FOLDER,
    specimen: str = typer.Argument(..., help="Mark of the specimen that is no longer there."),
    who: str = WHO,
    why: str = WHY,
    json_: bool = JSON,
) -> None:
    """Retire a specimen that is destroyed or lost.

    It is never planned again; what was cut with it stays, and the verdict lists it.

    Example: `trials retire my-trial D2 --who "A. Berg" --why "hit the sheet, bore bent"`
    """
    from trials import steps

    done = steps.retire(folder, specimen, who, why)
    if json_:
        show.as_json(steps.retirement_json(done))
        return
    show.bullets(words.retired(done.specimen, done.nozzle, done.who, done.left, done.open))
    show.next_step(_status(folder))


def adopt(
    folder: Path = typer.Argument(..., help="Folder to make for the adopted trial."),
    table: Path = typer.Argument(..., help="CSV or XLSX table, one row per reading.", callback=is_there),
    nozzle: str = typer.Option(..., "--nozzle", help="Column with the nozzle type."),
    today: str = typer.Option(..., "--today", help="The nozzle type in use, as written in that column."),
    response: list[str] = typer.Option(
        ...,
        "--response",
        help="A response: COLUMN, COLUMN:UNIT or roughness=COLUMN:UNIT. Repeatable; the first decides.",
    ),
    factor: list[str] = typer.Option([], "--factor", help="Column of a setting in numbers. Repeatable."),
    text_factor: list[str] = typer.Option([], "--text-factor", help="Column of a setting in words. Repeatable."),
    specimen: str = typer.Option("", "--specimen", help="Column or columns (a+b) that name the single nozzle."),
    mount: str = typer.Option("", "--mount", help="Column or columns that name one fitting of a nozzle."),
    coupon: str = typer.Option("", "--coupon", help="Column or columns that name one coupon, such as run+VB+P."),
    block: str = typer.Option("", "--block", help="Column or columns that name a sheet, day or other block."),
    worthwhile: str = typer.Option("", "--worthwhile", help="Worthwhile difference of the first response, as 15 %."),
    scale: str = typer.Option("", "--scale", help="log or measured; log for roughness, else measured, if left out."),
    thickness: float = typer.Option(None, "--thickness", help="Thickness in mm, if edges are to be graded."),
    material: str = typer.Option("not given", "--material", help="Material, as printed."),
    title: str = typer.Option("", "--title", help="Title, as printed."),
    question: str = typer.Option("", "--question", help="Question, as printed."),
    who: str = typer.Option("", "--who", help="Your name, kept in the journal."),
) -> None:
    """Adopt a table that was cut without this tool.

    It is then graded, fitted and printed like a trial.

    Example: `trials adopt turned table.csv --nozzle VB --today New --text-factor P --block run --coupon run+VB+P
    --response Rz:um --worthwhile "15 %"`
    """
    from trials import steps
    from trials.words.findings import say

    keys = steps.Keys(_keys(nozzle), _keys(specimen), _keys(mount), _keys(coupon), _keys(block))
    said = steps.Adoption(
        keys,
        today,
        tuple(response),
        {**dict.fromkeys(factor, False), **dict.fromkeys(text_factor, True)},
        scale=scale,
        worthwhile=worthwhile,
        title=title,
        question=question or f"How do the nozzle types compare with {today}?",
        material=material,
        thickness=thickness,
    )
    found = steps.adopt(folder, table, said, who)
    counts = {"coupons": found.coupons, "readings": found.readings, "folder": folder}
    show.say(language.text("Adopted {coupons} coupons with {readings} readings into {folder}.", **counts))
    show.say(*map(say, found.remarks))
    show.next_step(words.next_words(Next(Command("fit", (str(folder),)))))


def _keys(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split("+") if part.strip())
