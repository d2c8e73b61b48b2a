"""Commands of the bench: measure, limits, bench."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from trials.cli import show
from trials.cli.planning import JSON
from trials.errors import InputError


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("measure")(measure)
    app.command("limits")(limits)
    app.command("bench")(bench)


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
    """Measure traces (Rz5) and scans (u) from an instrument's files, alone or into a trial.

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
    done, found = steps.measure_into(folder, files, settings, details, inspector)
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
        slips = [slip.words for slip in done.slips]
        counts = {"recorded": done.added, "already_there": done.ignored, "slips": slips}
        show.as_json({**counts, "files": [_plain(one) for one in found], "pictures": [str(path) for path in pictures]})
        return
    _table(found)
    show.say(f"{done.added} readings recorded, {done.ignored} were on record already.")
    _remarks(found)
    if done.slips:
        show.heading("Look at these again: they stand far from their neighbours")
        show.bullets(slip.words for slip in done.slips)
    show.next_step(f"trials grade {folder}")


def _show_measured(found: list[Any], pictures: list[Path], thickness: float | None, json_: bool) -> None:
    if json_:
        show.as_json({"files": [_plain(one) for one in found], "pictures": [str(path) for path in pictures]})
        return
    if len(found) == 1:
        show.say(found[0].file)
        rows = (_roughness_rows if found[0].kind == "roughness" else _scan_rows)(found[0].result)
        show.table(["quantity", "value", "unit"], rows)
    else:
        _table(found)
    _remarks(found)
    show.say(*(f"Picture: {path}" for path in pictures))
    value = "--rz5" if found[0].kind == "roughness" else "--u"
    limit = f"{thickness:g}" if thickness else "THICKNESS"
    show.next_step(f"trials grade {value} {found[0].value:.4g} --thickness {limit}")


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
    single = len(found) == 1
    for title, name in (("Look at", "warnings"), ("Stated corrections and choices", "notes")):
        lines = [
            f"{'' if single else Path(one.file).name + ': '}{text}" for one in found for text in getattr(one, name)
        ]
        if lines:
            show.heading(title)
            show.bullets(dict.fromkeys(lines))


def _plain(one: Any) -> dict[str, Any]:
    """Keys of one measured file for JSON; heights of the trace itself are left out."""
    from dataclasses import asdict

    arrays = ("position_mm", "primary_um", "waviness_um", "roughness_um", "depth_mm", "distance_mm")
    kept = {key: value for key, value in asdict(one.result).items() if key not in (*arrays, "warnings", "notes")}
    kept = {key: value.tolist() if hasattr(value, "tolist") else value for key, value in kept.items()}
    return {"file": one.file, "kind": one.kind, **kept, "warnings": one.warnings, "notes": one.notes}


def limits(thickness: float = typer.Option(..., "--thickness", help="Thickness in mm."), json_: bool = JSON) -> None:
    """Print the limits of every range of ISO 9013 at a thickness, with what is known of each figure.

    Example: `trials limits --thickness 6`
    """
    from trials.grade.iso9013 import in_scope, limit_table
    from trials.standards import edition, roughness_ranges, scope, squareness_ranges

    row = limit_table([thickness])[0]
    lines = []
    for name, unit, ranges in (("u", "mm", squareness_ranges()), ("Rz5", "um", roughness_ranges())):
        for known in ranges:
            value = row[f"{name.lower()}_range_{known.range}"]
            kept = {"of": name, "range": known.range, "at_most": value, "unit": unit, "status": known.status}
            lines.append(kept | {"rule": f"{known.base:g} + {known.per_mm:g} a", "source": known.source})
    if json_:
        show.as_json({"standard": edition(), "thickness_mm": thickness, "limits": lines})
        return
    show.say(f"{edition()}, thickness a = {thickness:g} mm; a value on the limit is inside.")
    digits = {"mm": 4, "um": 2}
    show.table(
        ["of", "range", "at most", "unit", "rule", "status"],
        [
            [k["of"], k["range"], f"{k['at_most']:.{digits[k['unit']]}f}", k["unit"], k["rule"], k["status"]]
            for k in lines
        ],
    )
    if not in_scope(thickness):
        covered = scope("laser")
        show.say(f"Laser cuts are covered from {covered.low_mm:g} to {covered.high_mm:g} mm; beyond by the same rules.")
    show.next_step(f"trials grade --u 0.12 --rz5 31 --thickness {thickness:g}")


def bench(
    source: Path = typer.Argument(..., help="Folder of a trial, or a CSV/XLSX table: coupon, inspector, rz5_um, ..."),
    limit: list[str] = typer.Option([], "--limit", help="Limit that readings are graded against: rz5_um=44.8."),
    worthwhile: list[str] = typer.Option([], "--worthwhile", help="Difference to be seen: rz5_um='15 %'."),
    spread: list[str] = typer.Option([], "--spread", help="Standard deviation of a trial's readings: rz5_um=6."),
    other: list[str] = typer.Option([], "--other", help="Further standard uncertainty: u_mm=0.003 for levelling."),
    reference: Path = typer.Option(None, "--reference", help="Table of readings on a reference piece."),
    stated: list[str] = typer.Option([], "--stated", help="Stated value of the reference piece: rz5_um=30.0."),
    stated_u: list[str] = typer.Option([], "--stated-u", help="Its expanded uncertainty: rz5_um=0.4."),
    picture: Path = typer.Option(None, "--picture", help="Picture of the readings: .svg, .png or .pdf."),
    json_: bool = JSON,
) -> None:
    """Study the bench: how far inspectors and repeats lie apart, and the uncertainty U that grading needs.

    A trial is studied by its blind re-measurements, with its own limits and worthwhile differences.

    Example: `trials bench my-trial`, or `trials bench study.csv --worthwhile rz5_um="15 %" --limit rz5_um=44.8`
    """
    from dataclasses import asdict

    from trials.steps import inspecting

    against = inspecting.Against(
        _figures(limit, "--limit"),
        _by_column(worthwhile, "--worthwhile"),
        _figures(spread, "--spread"),
        _figures(other, "--other"),
        _figures(stated, "--stated"),
        _figures(stated_u, "--stated-u"),
        reference,
    )
    found = inspecting.study_bench(source, against)
    if picture:
        inspecting.keep_study_picture(found, picture)
    if json_:
        results = [{key: v for key, v in asdict(one).items() if key != "readings"} for one in found.results]
        agreement = asdict(found.agreement) if found.agreement else None
        if agreement:
            agreement["between"] = [{"inspectors": pair, **kappa} for pair, kappa in agreement["between"].items()]
        show.as_json({"results": results, "agreement": agreement, "left_out": found.left_out, "toml": found.toml()})
        return
    _show_study(found, picture)
    trial = (source / "trial.toml").is_file()
    show.next_step(
        f"put the lines into {source / 'trial.toml'}, then `trials amend {source} --who NAME --why REASON`"
        if trial and found.results
        else "put the lines into trial.toml before `trials plan`, or grade a table with --uncertainty"
    )


def _by_column(parts: list[str], option: str) -> dict[str, str]:
    from trials.responses import VALUE_COLUMNS

    found = {}
    for part in parts:
        name, _, figure = part.partition("=")
        if name.strip() not in VALUE_COLUMNS or not figure.strip():
            raise InputError(
                "not a column and its figure",
                column=option,
                found=part,
                allowed="rz5_um=2.0, u_mm=0.02",
                do="Correct it.",
            )
        found[name.strip()] = figure.strip()
    return found


def _figures(parts: list[str], option: str) -> dict[str, float]:
    found = {}
    for name, text in _by_column(parts, option).items():
        try:
            found[name] = float(text)
        except ValueError:
            found[name] = -1.0
        if not 0 <= found[name] < float("inf") or (found[name] == 0 and option in ("--limit", "--spread")):
            raise InputError("not a figure above zero", column=option, found=f"{name}={text}", do="Correct it.")
    return found


SOURCES = {
    "coupon": "between places",
    "inspector": "between inspectors",
    "coupon x inspector": "inspector on one place",
    "repeat": "same inspector, same place",
    "reproducibility": "between inspectors, both parts",
    "bench": "the bench in all",
}


def _show_study(found: Any, picture: Path | None) -> None:
    from trials.units import shown

    for one in found.results:
        study = one.study
        show.heading(f"{one.label[0].upper()}{one.label[1:]}, {one.column}")
        people = f"{study.inspectors} inspector{'s' if study.inspectors > 1 else ''}"
        show.say(f"{study.readings} readings of {study.coupons} places by {people} ({study.design}).")
        rows = [
            [SOURCES[s.source], f"{s.sd:.3g}", "" if s.low is None else f"{s.low:.3g} to {s.high:.3g}"]
            for s in sorted(study.spreads, key=lambda s: list(SOURCES).index(s.source))
        ]
        show.table(["where readings differ", f"standard deviation, {shown(one.unit)}", "95 % interval"], rows)
        show.bullets([*study.statements, *([one.bias.statement] if one.bias else [])])
    if found.agreement:
        _show_agreement(found.agreement)
    if found.left_out:
        show.heading("Could not be told")
        show.bullets(found.left_out)
    if found.results:
        show.heading("For trial.toml")
        show.say(*found.toml().splitlines())
    if picture:
        show.say(f"Picture: {picture}")


def _show_agreement(found: Any) -> None:
    show.heading("Agreement on dross grades")
    rows = [[" and ".join(pair), *_kappa(kappa)] for pair, kappa in found.between.items()]
    rows += [[f"{who}, graded again", *_kappa(kappa)] for who, kappa in found.within.items()]
    if rows:
        show.table(["who", "weighted kappa", "95 % interval", "coupons"], rows)
    if found.fleiss is not None:
        show.say(f"All inspectors together: Fleiss' kappa {found.fleiss:.2f} (grades as mere names).")
    if found.icc is not None:
        icc = found.icc
        show.say(f"Intraclass correlation of one grade: {icc.value:.2f} ({icc.low:.2f} to {icc.high:.2f}).")
    show.say(f"Grades of one coupon differ by a standard deviation of {found.grade_sd:.2f}.")
    show.bullets(found.statements)


def _kappa(kappa: Any) -> list[str]:
    return [f"{kappa.value:.2f}", f"{kappa.low:.2f} to {min(kappa.high, 1.0):.2f}", str(kappa.coupons)]
