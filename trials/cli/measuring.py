"""Commands of the bench: measure, instrument, and those of `bench_study`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, get_args

import typer

from trials.cli import bench_study, panels, show
from trials.cli.bench_study import figures
from trials.cli.planning import FOLDER, JSON
from trials.errors import InputError
from trials.next_command import Before, Blank, Command, Next
from trials.words import language
from trials.words import records as words

if TYPE_CHECKING:
    from trials.bench.roughness import Spikes
    from trials.findings import Finding
    from trials.steps.measure import Measured
    from trials.store.intake.traces import Kind
    from trials.store.records.entry import Recorded

SCHEMA = 2
Named = TypeVar("Named")


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("measure", rich_help_panel=panels.INSPECTOR)(measure)
    app.command("instrument", rich_help_panel=panels.INSPECTOR)(instrument)
    bench_study.register(app)


def measure(
    context: typer.Context,
    sources: list[Path] = typer.Argument(..., help="Traces, scans, folders of them; first a trial's folder, if any."),
    kind: str = typer.Option("", "--kind", help="roughness or squareness, where the columns have no names."),
    spacing: str = typer.Option("", "--spacing", help="Distance between heights, such as 0.5um; mm if no unit."),
    along_unit: str = typer.Option("", "--along-unit", help="Unit of distance or depth, where the file names none."),
    across_unit: str = typer.Option("", "--across-unit", help="Unit of height or offset, where the file names none."),
    cutoff: float = typer.Option(
        None, "--cutoff", help="Cut-off in mm; automatic if left out, the trial's in a trial."
    ),
    by: str = typer.Option("ISO 21920-3", "--by", help="Automatic cut-off by ISO 21920-3 or ISO 4288."),
    tip: float = typer.Option(None, "--tip", help="Radius of the stylus tip in um, to be checked."),
    spikes: str = typer.Option("refuse", "--spikes", help="Points far off their neighbours: refuse, bridge or keep."),
    thickness: float = typer.Option(None, "--thickness", help="Thickness in mm, for scans and ranges."),
    angle: float = typer.Option(90.0, "--angle", help="Intended angle of the flank in degrees."),
    delta_a: float = typer.Option(None, "--delta-a", help="Depth left out at both edges of a scan in mm."),
    depth: float = typer.Option(None, "--depth", help="Depth of the roughness trace below the top face in mm, kept."),
    inspector: str = typer.Option("", "--inspector", help="Who measured, kept with each reading."),
    instrument: str = typer.Option("", "--instrument", help="With what, kept with each reading."),
    measured_on: str = typer.Option("", "--measured-on", help="When, such as 2026-03-31, kept with each reading."),
    picture: Path = typer.Option(None, "--picture", help="Picture of one file (.svg, .png, .pdf), or a folder."),
    json_: bool = JSON,
) -> None:
    """Measure traces and scans from an instrument.

    Traces give Rz5, scans give u; alone or into a trial.

    In a trial the file name carries mark and reading: K7T-2.csv, K7T-2-left.csv, measured again K7T-2-again1.csv.

    Example: `trials measure trace.csv --picture trace.png`, `trials measure scan.csv --thickness 12`, or
    `trials measure my-trial traces --inspector "A. Berg"`
    """
    from trials import steps

    settings = steps.Settings(
        _kind(kind),
        _spacing(spacing),
        along_unit,
        across_unit,
        cutoff,
        by,
        tip,
        _spikes(spikes),
        thickness,
        angle,
        delta_a,
    )
    if not (sources[0] / "trial.toml").is_file():
        found = steps.measure_files(sources, settings)
        pictures = steps.keep_pictures(found, picture) if picture else []
        _show_measured(found, pictures, thickness, json_)
        return
    show.in_units_of(sources[0], context)
    folder, *files = sources
    if not files:
        raise InputError("no traces or scans", file=str(folder), do="Name files or a folder after the trial's folder.")
    from trials.store.tables import moment_in

    when = moment_in(measured_on or None, column="--measured-on")
    details = {"inspector": inspector, "instrument": instrument, "depth_mm": depth, "measured_on": when}
    done, found = steps.measure_into(folder, files, settings, details, inspector, picture)
    pictures = steps.keep_pictures(found, picture) if picture else []
    _show_recorded(folder, done, found, pictures, json_)


def _kind(typed: str) -> Kind | None:
    from trials.store.intake.traces import Kind

    known: dict[str, Kind | None] = {kind: kind for kind in get_args(Kind)}
    return _named(typed, {"": None} | known, "--kind", "unknown kind")


def _spikes(typed: str) -> Spikes:
    from trials.bench.roughness import Spikes

    known: dict[str, Spikes] = {way: way for way in get_args(Spikes)}
    return _named(typed, known, "--spikes", "unknown way with spikes")


def _named(typed: str, known: Mapping[str, Named], option: str, problem: str) -> Named:
    if typed not in known:
        allowed = ", ".join(filter(None, known))
        raise InputError(problem, column=option, found=typed, allowed=allowed, do="Name one of these.")
    return known[typed]


def _spacing(text: str) -> float | None:
    from trials.units import factor, parse_amount

    if not text:
        return None
    try:
        value, unit = parse_amount(text)
    except ValueError:
        value, unit = 0.0, ""
    scale = factor(unit or "mm", "mm") if value > 0 else None
    if scale is None:
        raise InputError("not a spacing", column="--spacing", found=text, allowed="0.5um, 0.0005", do="Correct it.")
    return value * scale


def _show_recorded(folder: Path, done: Recorded, found: list[Measured], pictures: list[Path], json_: bool) -> None:
    from trials.words.findings import say

    if json_:
        slips = [say(slip.finding) for slip in done.slips]
        counts = {"schema": SCHEMA, "recorded": done.added, "already_there": done.ignored, "slips": slips}
        show.as_json({**counts, "files": [_facts(one) for one in found], "pictures": [str(path) for path in pictures]})
        return
    from trials.words import traces as words
    from trials.words.language import text

    _table(found)
    show.say(words.recorded(done.added, done.ignored))
    _remarks(found)
    from trials.steps import register as register_of

    show_doubts(register_of(folder).doubts)
    if done.slips:
        show.heading(text("Look at these again: they stand far from their neighbours"))
        show.bullets(say(slip.finding) for slip in done.slips)
    show.next_command("grade", folder)


def show_doubts(doubts: Sequence[Finding]) -> None:
    """Print what the register of instruments leaves open about the readings of a trial, if anything."""
    from trials.words.findings import say

    if doubts:
        show.heading(language.text("Calibration"))
        show.bullets(map(say, doubts))


def _show_measured(found: list[Measured], pictures: list[Path], thickness: float | None, json_: bool) -> None:
    if json_:
        files, paths = [_facts(one) for one in found], [str(path) for path in pictures]
        show.as_json({"schema": SCHEMA, "files": files, "pictures": paths})
        return
    from trials.words.language import text

    if len(found) == 1:
        _show_one(found[0], thickness)
    else:
        _table(found)
    _remarks(found)
    show.say(*(text("Picture: {path}", path=path) for path in pictures))
    value = "--rz5" if found[0].kind == "roughness" else "--u"
    limit = f"{thickness:g}" if thickness else "THICKNESS"
    show.next_command("grade", value, f"{found[0].value:.4g}", "--thickness", limit)


def _show_one(one: Measured, thickness: float | None) -> None:
    from trials.bench.roughness import Roughness
    from trials.words import traces as words
    from trials.words.language import text

    result = one.result
    rows = words.roughness_rows(result) if isinstance(result, Roughness) else words.squareness_rows(result)
    show.say(one.file)
    show.table([text("quantity"), text("value"), text("unit")], rows)
    if thickness:
        show.say(_range(one, thickness))


def _range(one: Measured, thickness: float) -> str:
    from trials.steps import grade_value
    from trials.words.traces import range_sentence

    if one.kind == "roughness":
        return range_sentence("Rz5", grade_value(thickness, None, one.value, None, {}).roughness_range, thickness)
    return range_sentence("u", grade_value(thickness, one.value, None, None, {}).squareness_range, thickness)


def _table(found: list[Measured]) -> None:
    from trials.words import traces as words

    rows = [words.file_cells(Path(one.file).name, one.result, one.value) for one in found]
    show.table(words.file_heads(), rows)


def _remarks(found: list[Measured]) -> None:
    from trials.words.language import text

    _listed(text("Look at"), [(one.file, one.warnings) for one in found])
    _listed(text("Stated corrections and choices"), [(one.file, one.notes) for one in found])


def _listed(title: str, by_file: list[tuple[str, tuple[Finding, ...]]]) -> None:
    """Equal findings once, with the files they are about where there are several."""
    from trials.words.findings import say
    from trials.words.traces import few

    files: list[tuple[Finding, list[str]]] = []
    for file, findings in by_file:
        for finding in findings:
            known = next((names for one, names in files if one == finding), None)
            if known is None:
                files.append((finding, [Path(file).name]))
            else:
                known.append(Path(file).name)
    if files:
        show.heading(title)
        show.bullets(say(one) if len(by_file) == 1 else f"{few(names)}: {say(one)}" for one, names in files)


def _facts(one: Measured) -> dict[str, Any]:
    """Keys of one measured file for JSON; heights of the trace itself are left out."""
    arrays = ("position_mm", "primary_um", "waviness_um", "roughness_um", "depth_mm", "distance_mm")
    left_out = (*arrays, "warnings", "notes")
    kept = {part.name: getattr(one.result, part.name) for part in fields(one.result) if part.name not in left_out}
    return {"file": one.file, "kind": one.kind, **kept, "warnings": one.warnings, "notes": one.notes}


def instrument(
    folder: Path = FOLDER,
    name: str = typer.Argument("", help="The instrument, as written beside readings; leave out to list the register."),
    calibrated: str = typer.Option("", "--calibrated", help="Day of its calibration, such as 2026-03-31."),
    due: str = typer.Option("", "--due", help="Day until which the calibration holds."),
    uncertainty: list[str] = typer.Option([], "--uncertainty", help="U at k = 2 from its certificate: rz5_um=2.0."),
    note: str = typer.Option("", "--note", help="Serial number, certificate or what else matters."),
    who: str = typer.Option("", "--who", help="Your name, kept in the journal."),
    json_: bool = JSON,
) -> None:
    """List instruments, or enter a calibration.

    Nothing entered before is changed.

    Example: `trials instrument my-trial`, or
    `trials instrument my-trial "stylus 4" --calibrated 2026-01-10 --due 2027-01-10 --who "A. Berg"`
    """
    from trials import steps

    if name:
        entry = steps.Instrument(name, calibrated, due, figures(uncertainty, "--uncertainty"), note)
        found = steps.enter_instrument(folder, entry, who)
    elif calibrated or due or uncertainty or note:
        raise InputError("no instrument named", do="Put its name after the folder.")
    else:
        found = steps.register(folder)
    if json_:
        show.as_json({"schema": 2, "instruments": found.instruments, "doubts": found.doubts})
        return
    if found.entered is not None:
        show.say(language.text("Entered.") if found.entered else language.text("The same is on record already."))
    if not found.instruments:
        show.say(language.text("No instrument is entered yet."))
    show.bullets(one.words() for one in found.instruments)
    show_doubts(found.doubts)
    show.next_step(words.next_words(Next(Command("record", (str(folder), Blank.FILE)), before=Before.NAME_INSTRUMENT)))
