"""Commands that take in what happened: cut, record, correct, adopt."""

from __future__ import annotations

from pathlib import Path

import typer

from trials.cli import show
from trials.cli.measuring import show_doubts
from trials.cli.planning import FOLDER, WHO, WHY
from trials.errors import InputError


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("cut")(cut)
    app.command("record")(record)
    app.command("correct")(correct)
    app.command("adopt")(adopt)


def cut(
    folder: Path = FOLDER,
    files: list[Path] = typer.Argument(None, help="The filled run workbook, or CSV files of cuts, mounts, sheets."),
    as_planned: bool = typer.Option(False, "--as-planned", help="Everything not on record yet was cut as planned."),
    who: str = typer.Option("", "--who", help="Who cut."),
) -> None:
    """Record what was really cut.

    Order, mounts, sheets, outcomes, changed settings.

    Example: `trials cut my-trial my-trial/papers/run-workbook.xlsx`, or `trials cut my-trial cuts.csv mounts.csv`
    """
    from trials.store.records import recording

    if as_planned == bool(files):
        raise InputError("give files or --as-planned, one of the two", do=f"See `trials cut {folder} --help`.")
    if as_planned:
        done = recording.record_as_planned(folder, who)
    else:
        tables = _cut_tables(folder, files)
        done = recording.record_cuts(folder, *tables, who=who)
    show.say(f"{done.added} cuts recorded, {done.ignored} were on record already.")
    show.bullets(done.said)
    if done.added + done.ignored:
        show.next_step(f"measure at the bench, then `trials record {folder} FILE`")
    else:
        show.next_step("fill in the column outcome of what was cut, then the same command again")


def _cut_tables(folder: Path, files: list[Path]):
    from trials.steps import load
    from trials.store.intake import typed_tables as intake

    records = load(folder)
    found = {}
    for file in files:
        if file.suffix.lower() == ".xlsx":
            found["cuts"] = intake.read_cuts(file, records)
            found["mounts"] = intake.read_mounts(file, records)
            found["sheets"] = intake.read_sheets(file, records)
            continue
        kind = _kind(list(intake.read_table(file).columns), file)
        found[kind] = getattr(intake, f"read_{kind}")(file, records)
    if "cuts" not in found:
        raise InputError("no table of cuts among the files", do="Add the file whose columns are coupon, outcome, ...")
    return found["cuts"], found.get("mounts"), found.get("sheets")


def _kind(columns: list[str], file: Path) -> str:
    names = {str(name).strip().lower() for name in columns}
    for kind, mark in (("cuts", "coupon"), ("mounts", "mount"), ("sheets", "sheet")):
        if mark in names:
            return kind
    raise InputError(
        "not a table of cuts, mounts or sheets",
        file=str(file),
        found=", ".join(map(str, columns)),
        allowed="a column coupon, mount or sheet",
        do="Correct the header.",
    )


def record(
    folder: Path = FOLDER,
    file: Path = typer.Argument(..., help="CSV or XLSX file of readings; - reads CSV from standard input."),
    who: str = typer.Option("", "--who", help="Who measured."),
) -> None:
    """Record readings from the bench.

    From the bench workbook or a CSV file. Nothing recorded before is changed.

    Example: `trials record my-trial my-trial/papers/bench-workbook.xlsx --who "A. Berg"`
    """
    from trials.steps import load
    from trials.store.intake import typed_tables as intake
    from trials.store.records import recording

    readings = intake.read_readings(file, load(folder))
    done = recording.record_readings(folder, readings, who)
    show.say(f"{done.added} values recorded, {done.ignored} were on record already.")
    show.bullets(done.said)
    show_doubts(folder)
    if done.slips:
        show.heading("Look at these again: they stand far from their neighbours")
        show.bullets(slip.words for slip in done.slips)
    show.next_step(f"trials status {folder}")


def correct(
    folder: Path = FOLDER,
    coupon: str = typer.Argument(..., help="Mark of the coupon (or of the mount or sheet, with --of)."),
    column: str = typer.Argument("", help="Column to correct, such as rz5_um or outcome."),
    value: str = typer.Argument("", help="The right value; empty takes the reading back."),
    reading: int = typer.Option(0, "--reading", help="Number of the reading on the coupon."),
    repeat: int = typer.Option(0, "--repeat", help="Which re-measurement, 0 for the reading itself."),
    of: str = typer.Option("coupon", "--of", help="coupon, mount or sheet."),
    as_read: bool = typer.Option(False, "--as-read", help="The flagged reading is right as it is."),
    who: str = WHO,
    why: str = WHY,
) -> None:
    """Correct a reading or a cut record.

    A new row names the old one, which is kept.

    Example: `trials correct my-trial K7T rz5_um 35.2 --reading 2 --who "A. Berg" --why "decimal point"`
    """
    from trials.store.records import recording

    if as_read:
        done = recording.confirm_slips(folder, who, why, [coupon])
    elif not column:
        raise InputError("the column to correct is missing", do="Name it, or give --as-read for a flagged reading.")
    elif of in ("mount", "sheet"):
        change = recording.correct_mount if of == "mount" else recording.correct_sheet
        done = change(folder, coupon, column, value, who, why)
    elif of != "coupon":
        raise InputError("unknown kind of record", column="--of", found=of, allowed="coupon, mount, sheet")
    elif _is_reading(folder, column):
        done = recording.correct(folder, coupon, reading, column, _number(value, column), who, why, repeat)
    else:
        done = recording.correct_cut(folder, coupon, column, value, who, why)
    show.bullets(done.said or [f"{coupon}: corrected by {who}."])
    show.next_step(f"trials status {folder}")


def _is_reading(folder: Path, column: str) -> bool:
    from trials.responses import VALUE_COLUMNS
    from trials.steps import load

    trial = load(folder).trial
    return column in {*VALUE_COLUMNS, *(trial.quantity(name).column for name in trial.responses)}


def _number(value: str, column: str) -> float | None:
    if not value:
        return None
    try:
        return float(value)
    except ValueError:
        raise InputError(
            "not a number", column=column, found=value, allowed="a number with a decimal point", do="Type it again."
        ) from None


def adopt(
    folder: Path = typer.Argument(..., help="Folder to make for the adopted trial."),
    table: Path = typer.Argument(..., help="CSV or XLSX table, one row per reading."),
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
    from trials.store.intake.adopt import adopt as take_in

    records = take_in(
        folder,
        table,
        nozzle=_keys(nozzle),
        today=today,
        responses=response,
        specimen=_keys(specimen),
        mount=_keys(mount),
        coupon=_keys(coupon),
        block=_keys(block),
        factors={**dict.fromkeys(factor, False), **dict.fromkeys(text_factor, True)},
        title=title,
        question=question or f"How do the nozzle types compare with {today}?",
        material=material,
        thickness=thickness,
        scale=scale,
        worthwhile=worthwhile,
        who=who,
    )
    show.say(f"Adopted {len(records.coupons)} coupons with {len(records.readings)} readings into {folder}.")
    show.say("Nothing is known about the order of cutting; the verdict says so.")
    if not worthwhile:
        show.say("No worthwhile difference was given: 15 % is taken until `trials amend` says otherwise.")
    show.next_step(f"trials fit {folder}")


def _keys(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split("+") if part.strip())
