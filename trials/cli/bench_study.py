"""Commands about the bench itself: the limits it grades against, and the study of what it adds to a reading."""

from __future__ import annotations

from dataclasses import asdict, fields, is_dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from trials.cli import panels, show
from trials.cli.planning import JSON
from trials.errors import InputError
from trials.findings import Finding
from trials.next_command import Blank, Command

if TYPE_CHECKING:
    from trials.bench.agreement import Agreement, Kappa
    from trials.steps.bench_study import BenchResult, BenchStudy

SCHEMA = 2


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("limits", rich_help_panel=panels.INSPECTOR)(limits)
    app.command("bench", rich_help_panel=panels.INSPECTOR)(bench)


def limits(thickness: float = typer.Option(..., "--thickness", help="Thickness in mm."), json_: bool = JSON) -> None:
    """Print the limits of ISO 9013 at a thickness.

    With what is known of each figure.

    Example: `trials limits --thickness 6`
    """
    from trials.standards import edition
    from trials.words import limits as words

    rows = _limit_rows(thickness)
    if json_:
        show.as_json({"schema": SCHEMA, "standard": edition(), "thickness_mm": thickness, "limits": rows})
        return
    show.say(words.heading(edition(), thickness))
    show.table(words.column_heads(), words.table_cells(rows))
    show.say(*words.scope_sentence(thickness))
    show.next_command("grade", "--u", "0.12", "--rz5", "31", "--thickness", f"{thickness:g}")


def _limit_rows(thickness: float) -> list[dict[str, Any]]:
    """Each limit at a thickness, with its rule and what is known of it."""
    from trials.grade.iso9013 import limit_table
    from trials.standards import roughness_ranges, squareness_ranges

    row = limit_table([thickness])[0]
    return [
        {
            "of": name,
            "range": known.range,
            "at_most": row[f"{name.lower()}_range_{known.range}"],
            "unit": unit,
            "status": known.status,
            "rule": f"{known.base:g} + {known.per_mm:g} a",
            "source": known.source,
        }
        for name, unit, ranges in (("u", "mm", squareness_ranges()), ("Rz5", "um", roughness_ranges()))
        for known in ranges
    ]


def bench(
    context: typer.Context,
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
    from trials import steps

    show.in_units_of(source, context)
    against = steps.Against(
        figures(limit, "--limit"),
        _by_column(worthwhile, "--worthwhile"),
        figures(spread, "--spread"),
        figures(other, "--other"),
        figures(stated, "--stated"),
        figures(stated_u, "--stated-u"),
        reference,
    )
    found = steps.study_bench(source, against)
    if picture:
        steps.keep_study_picture(found, picture)
    if json_:
        show.as_json(_study_facts(found))
        return
    from trials.words import bench as words

    _show_study(found, picture)
    amend = Command("amend", (str(source), "--who", Blank.NAME, "--why", Blank.REASON))
    trial = (source / "trial.toml").is_file()
    show.next_step(
        words.put_into_trial(source, amend.typed()) if trial and found.results else words.put_before_planning()
    )


def _study_facts(found: BenchStudy) -> dict[str, Any]:
    """Keys of a study for JSON; the readings themselves are left out."""
    agreement = _plain_fields(found.agreement) if found.agreement else None
    if agreement:
        agreement["between"] = [{"inspectors": pair, **asdict(k)} for pair, k in agreement["between"].items()]
        agreement["within"] = {who: asdict(kappa) for who, kappa in agreement["within"].items()}
        agreement["icc"] = asdict(agreement["icc"]) if agreement["icc"] else None
    return {
        "schema": SCHEMA,
        "results": [_result_facts(one) for one in found.results],
        "agreement": agreement,
        "left_out": [str(one) for one in found.left_out],
        "toml": found.toml(),
    }


def _result_facts(one: BenchResult) -> dict[str, Any]:
    rest = {name: value for name, value in _plain_fields(one).items() if name not in ("readings", "study", "bias")}
    study = {name: _nested(value) for name, value in _plain_fields(one.study).items()}
    bias = {**asdict(one.bias), "finding": one.bias.finding} if one.bias else None
    return {**rest, "study": study, "bias": bias}


def _plain_fields(result: Any) -> dict[str, Any]:
    """Fields of a result by name, one level deep: findings stay findings."""
    return {part.name: getattr(result, part.name) for part in fields(result)}


def _nested(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_nested(part) for part in value]
    return asdict(value) if is_dataclass(value) and not isinstance(value, type | Finding) else value


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


def _show_study(found: BenchStudy, picture: Path | None) -> None:
    from trials.words import bench as words
    from trials.words.findings import say
    from trials.words.language import text

    for one in found.results:
        study = one.study
        show.heading(words.study_heading(one.label, one.column))
        show.say(words.extent(study))
        rows = [words.spread_cells(spread, one.unit) for spread in words.in_order(study.spreads)]
        show.table(words.spread_heads(one.unit), rows)
        show.bullets(say(finding) for finding in (*study.findings, *([one.bias.finding] if one.bias else [])))
    if found.agreement:
        _show_agreement(found.agreement)
    if found.left_out:
        show.heading(text("Could not be told"))
        show.bullets(str(one) for one in found.left_out)
    if found.results:
        show.heading(text("For trial.toml"))
        show.say(*found.toml().splitlines())
    if picture:
        show.say(text("Picture: {path}", path=picture))


def _show_agreement(found: Agreement) -> None:
    from trials.words import bench as words
    from trials.words.findings import say
    from trials.words.language import text

    show.heading(text("Agreement on dross grades"))
    rows = [[words.pair(*names), *_kappa(kappa)] for names, kappa in found.between.items()]
    rows += [[text("{who}, graded again", who=who), *_kappa(kappa)] for who, kappa in found.within.items()]
    if rows:
        show.table(words.agreement_heads(), rows)
    show.say(*words.agreement_sentences(found))
    show.bullets(say(finding) for finding in found.findings)


def _kappa(kappa: Kappa) -> list[str]:
    from trials.words.language import text
    from trials.words.numbers import fixed

    interval = text("{low} to {high}", low=fixed(kappa.low, 2), high=fixed(min(kappa.high, 1.0), 2))
    return [fixed(kappa.value, 2), interval, str(kappa.coupons)]
