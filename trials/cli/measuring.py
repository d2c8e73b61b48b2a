"""Commands of the bench: measure, instrument, and those of `inspecting`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import typer

from trials.cli import inspecting, show
from trials.cli.inspecting import figures
from trials.cli.planning import FOLDER, JSON
from trials.commands import Before, Blank, Command, Next
from trials.errors import InputError
from trials.findings import Finding
from trials.words import language
from trials.words import records as words
from trials.words.findings import say


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("measure")(measure)
    app.command("instrument")(instrument)
    inspecting.register(app)


def measure(
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
        _kind(kind), _spacing(spacing), along_unit, across_unit, cutoff, by, tip, spikes, thickness, angle, delta_a
    )
    if not (sources[0] / "trial.toml").is_file():
        found = steps.measure_files(sources, settings)
        pictures = steps.keep_pictures(found, picture) if picture else []
        _show_measured(found, pictures, thickness, json_)
        return
    folder, *files = sources
    if not files:
        raise InputError("no traces or scans", file=str(folder), do="Name files or a folder after the trial's folder.")
    from trials.store.tables import moment_in

    when = moment_in(measured_on or None, column="--measured-on")
    details = {"inspector": inspector, "instrument": instrument, "depth_mm": depth, "measured_on": when}
    done, found = steps.measure_into(folder, files, settings, details, inspector, picture)
    pictures = steps.keep_pictures(found, picture) if picture else []
    _show_recorded(folder, done, found, pictures, json_)


def _kind(text: str) -> Any:
    if text not in ("", "roughness", "squareness"):
        raise InputError(
            "unknown kind", column="--kind", found=text, allowed="roughness, squareness", do="Name one of these."
        )
    return text or None


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


def _show_recorded(folder: Path, done: Any, found: list[Any], pictures: list[Path], json_: bool) -> None:
    if json_:
        slips = [say(slip.finding) for slip in done.slips]
        counts = {"recorded": done.added, "already_there": done.ignored, "slips": slips}
        show.as_json({**counts, "files": [_plain(one) for one in found], "pictures": [str(path) for path in pictures]})
        return
    from trials.steps import register as register_of

    _table(found)
    show.say(f"{done.added} readings recorded, {done.ignored} were on record already.")
    _remarks(found)
    show_doubts(register_of(folder).doubts)
    if done.slips:
        show.heading("Look at these again: they stand far from their neighbours")
        show.bullets(say(slip.finding) for slip in done.slips)
    show.next_step(f"trials grade {folder}")


def show_doubts(doubts: Sequence[Finding]) -> None:
    """Print what the register of instruments leaves open about the readings of a trial, if anything."""
    if doubts:
        show.heading(language.text("Calibration"))
        show.bullets(map(say, doubts))


def _show_measured(found: list[Any], pictures: list[Path], thickness: float | None, json_: bool) -> None:
    if json_:
        show.as_json({"files": [_plain(one) for one in found], "pictures": [str(path) for path in pictures]})
        return
    if len(found) == 1:
        show.say(found[0].file)
        rows = (_roughness_rows if found[0].kind == "roughness" else _scan_rows)(found[0].result)
        show.table(["quantity", "value", "unit"], rows)
        if thickness:
            show.say(_ranges(found[0], thickness))
    else:
        _table(found)
    _remarks(found)
    show.say(*(f"Picture: {path}" for path in pictures))
    value = "--rz5" if found[0].kind == "roughness" else "--u"
    limit = f"{thickness:g}" if thickness else "THICKNESS"
    show.next_step(f"trials grade {value} {found[0].value:.4g} --thickness {limit}")


def _ranges(one: Any, thickness: float) -> str:
    from trials.steps import grade_value

    rough = one.kind == "roughness"
    found = grade_value(thickness, None if rough else one.value, one.value if rough else None, None, {})
    number = found.roughness_range if rough else found.squareness_range
    name = "Rz5" if rough else "u"
    return f"{name} is {f'in range {number}' if number else 'worse than the last range'} at {thickness:g} mm."


def _roughness_rows(r: Any) -> list[list[str]]:
    rows = [["Rz5", f"{r.rz5:.2f}", "µm"]]
    rows += [[f"  length {k}", f"{height:.2f}", "µm"] for k, height in enumerate(r.rz_each, 1)]
    rows += [[name, f"{value:.2f}", "µm"] for name, value in (("Ra", r.ra), ("Rq", r.rq), ("Rt", r.rt))]
    width = "" if r.rsm_mm != r.rsm_mm else f"{r.rsm_mm:.4f}"
    rows += [["RSm", width, "mm" if width else "fewer than two profile elements"]]
    rows += [["cut-off", f"{r.cutoff_mm:g}", "mm"], ["evaluated", f"{r.evaluation_mm:g}", "mm"]]
    return [*rows, ["spacing", f"{1000 * r.spacing_mm:.4g}", "µm"]]


def _scan_rows(s: Any) -> list[list[str]]:
    rows = [["u", f"{s.u_mm:.4f}", "mm"], ["taken from", f"{s.from_mm:.3f}", "mm depth"]]
    rows += [["to", f"{s.to_mm:.3f}", "mm depth"], ["intended angle", f"{s.angle_deg:g}", "°"]]
    rows += [["leans by", f"{s.lean_deg:.3f}", "° out of the part with depth" if s.lean_deg > 0 else "° into the part"]]
    melting = ["", "the scan starts below the top edge"] if s.melting_mm is None else [f"{s.melting_mm:.3f}", "mm"]
    return [*rows, ["top edge melted r", *melting]]


def _table(found: list[Any]) -> None:
    rows = []
    for one in found:
        rough = one.kind == "roughness"
        detail = (
            f"cut-off {one.result.cutoff_mm:g} mm"
            if rough
            else f"{one.result.from_mm:.3g} to {one.result.to_mm:.3g} mm"
        )
        value = f"{one.value:.2f} µm" if rough else f"{one.value:.4f} mm"
        rows.append([Path(one.file).name, "Rz5" if rough else "u", value, detail])
    show.table(["file", "", "value", "taken"], rows)


def _remarks(found: list[Any]) -> None:
    for title, name in (("Look at", "warnings"), ("Stated corrections and choices", "notes")):
        files: dict[str, list[str]] = {}
        for one in found:
            for text in getattr(one, name):
                files.setdefault(text, []).append(Path(one.file).name)
        if files:
            show.heading(title)
            show.bullets(text if len(found) == 1 else f"{_few(names)}: {text}" for text, names in files.items())


def _few(names: list[str]) -> str:
    return ", ".join(names) if len(names) <= 3 else f"{len(names)} files, the first {names[0]}"


def _plain(one: Any) -> dict[str, Any]:
    """Keys of one measured file for JSON; heights of the trace itself are left out."""
    from dataclasses import asdict

    arrays = ("position_mm", "primary_um", "waviness_um", "roughness_um", "depth_mm", "distance_mm")
    kept = {key: value for key, value in asdict(one.result).items() if key not in (*arrays, "warnings", "notes")}
    kept = {key: value.tolist() if hasattr(value, "tolist") else value for key, value in kept.items()}
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
