"""Commands about the bench itself: the limits it grades against, and the study of what it adds to a reading."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import typer

from trials.cli import show
from trials.cli.planning import JSON
from trials.errors import InputError


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("limits")(limits)
    app.command("bench")(bench)


def limits(thickness: float = typer.Option(..., "--thickness", help="Thickness in mm."), json_: bool = JSON) -> None:
    """Print the limits of ISO 9013 at a thickness.

    With what is known of each figure.

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
    """Study the bench: inspectors, repeats, uncertainty.

    How far inspectors and repeats lie apart, and the uncertainty U that grading needs.

    A trial is studied by its blind re-measurements, with its own limits and worthwhile differences.

    Example: `trials bench my-trial`, or `trials bench study.csv --worthwhile rz5_um="15 %" --limit rz5_um=44.8`
    """
    from dataclasses import asdict

    from trials.steps import inspecting

    against = inspecting.Against(
        figures(limit, "--limit"),
        _by_column(worthwhile, "--worthwhile"),
        figures(spread, "--spread"),
        figures(other, "--other"),
        figures(stated, "--stated"),
        figures(stated_u, "--stated-u"),
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


def figures(parts: list[str], option: str) -> dict[str, float]:
    """`rz5_um=2.0` as column and figure; raises InputError where it is neither."""
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
