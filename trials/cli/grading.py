"""The command `grade`: a trial, a plain table, or one edge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import typer

from trials.cli import panels, show
from trials.cli.bench_study import figures
from trials.cli.planning import JSON
from trials.errors import InputError
from trials.next_command import Command

if TYPE_CHECKING:
    import pandas as pd

    from trials.grade.conformity import Rule, Zone
    from trials.grade.coupons import Graded

SCHEMA = 2
SAMPLE_COLUMNS = ("u_mm", "rz5_um")


@dataclass(frozen=True)
class Asked:
    """What the caller states: the requirement by key, the rule, and U by column."""

    need: Mapping[str, Any]
    rule: Rule = "guard band"
    uncertainty: Mapping[str, float] = field(default_factory=dict)

    @property
    def is_stated(self) -> bool:
        """Whether anything differs from what is taken without a word."""
        return any(value is not None for value in self.need.values()) or (self.rule, self.uncertainty) != (
            "guard band",
            {},
        )


def register(app: typer.Typer) -> None:
    """Add this command to the application."""
    app.command("grade", rich_help_panel=panels.INSPECTOR)(grade)


def grade(
    context: typer.Context,
    source: Path = typer.Argument(None, help="Folder of a trial, or a CSV/XLSX table of readings."),
    thickness: float = typer.Option(0.0, "--thickness", help="Thickness in mm, for a plain table or single values."),
    u: float = typer.Option(None, "--u", help="One perpendicularity u in mm."),
    rz5: float = typer.Option(None, "--rz5", help="One mean height of profile Rz5 in um."),
    dross: int = typer.Option(None, "--dross", help="One dross grade, 0 to 4."),
    squareness_range: int = typer.Option(None, "--need-squareness", help="Required range of u, 1 to 5."),
    roughness_range: int = typer.Option(None, "--need-roughness", help="Required range of Rz5, 1 to 4."),
    dross_grade: int = typer.Option(None, "--need-dross", help="Worst dross grade allowed, 0 to 4."),
    class_: str = typer.Option(None, "--class", help="Execution class of EN 1090-2: EXC3, or EXC3 2008."),
    rule: str = typer.Option("guard band", "--rule", help="guard band (ISO 14253-1), or simple acceptance."),
    uncertainty: list[str] = typer.Option([], "--uncertainty", help="U at k = 2 by column: rz5_um=2.0; may repeat."),
    nozzles: bool = typer.Option(False, "--nozzles", help="Name the nozzle of each coupon; the bench stays blind."),
    json_: bool = JSON,
) -> None:
    """Grade edges by ISO 9013.

    A whole trial, a plain table, or one value. A trial names its own requirement and rule. The table of a trial names
    no nozzle unless it is asked for.

    Example: `trials grade my-trial`, `trials grade readings.csv --thickness 6 --class EXC3`, or
    `trials grade --u 0.12 --rz5 31 --thickness 6 --need-squareness 2 --uncertainty u_mm=0.02`
    """
    need = {"squareness_range": squareness_range, "roughness_range": roughness_range, "dross_grade": dross_grade}
    asked = Asked(need | {"execution_class": class_}, _rule(rule), _uncertainty(uncertainty))
    if source is None:
        _grade_one(thickness, u, rz5, dross, asked, json_)
    elif source.is_dir() or not source.exists():
        show.in_units_of(source, context)
        _grade_trial(source, asked, json_, nozzles)
    else:
        _grade_table(source, thickness, asked, json_)


def _grade_table(path: Path, thickness: float, asked: Asked, json_: bool) -> None:
    from trials.steps import grade_table

    graded = grade_table(path, thickness or None, asked.need, asked.rule, asked.uncertainty)
    from trials.steps import zones_at

    zones = zones_at(asked.need, thickness or None, asked.rule, asked.uncertainty)
    _show_grades(graded, json_, "worst", _required(asked), zones)
    if not json_:
        from trials.words.language import text

        show.next_step(text("trials adopt, if the table tells nozzle types apart and you want to compare them"))


def _grade_trial(folder: Path, asked: Asked, json_: bool, nozzles: bool) -> None:
    from trials import steps
    from trials.words.requirement import required

    records = steps.load(folder)
    if asked.is_stated:
        raise InputError(
            "a trial names its own requirement, rule and uncertainty",
            file=str(folder),
            do="Leave the options out, or change trial.toml and run `trials amend`.",
        )
    judged_by = records.trial.bench.judged_by
    needed, zones = required(records.trial.application.required), steps.zones_of(records.trial)
    graded = steps.grade_trial(records)
    _show_grades(graded if nozzles or json_ else graded.drop(columns="nozzle"), json_, judged_by, needed, zones)
    if not json_:
        show.next_command("fit", folder)


def _rule(typed: str) -> Rule:
    from trials.grade.conformity import Rule

    rules: dict[str, Rule] = {rule: rule for rule in get_args(Rule)} | {"simple": "simple acceptance"}
    if typed not in rules:
        raise InputError(
            "unknown rule", column="--rule", found=typed, allowed="guard band, simple", do="Name one of these."
        )
    return rules[typed]


def _uncertainty(parts: list[str]) -> dict[str, float]:
    found = figures(parts, "--uncertainty")
    for name in found:
        if name not in SAMPLE_COLUMNS:
            raise InputError(
                "not an uncertainty",
                column="--uncertainty",
                found=name,
                allowed="u_mm=0.02, rz5_um=2.0",
                do="Give U at k = 2 by column.",
            )
    return found


def _required(asked: Asked) -> tuple[str, ...]:
    """The requirement in words, with edition and status where it is an execution class."""
    from trials.steps import requirement
    from trials.words.requirement import required

    known = requirement(asked.need)
    return required(known) if known else ()


def _grade_one(
    thickness: float, u: float | None, rz5: float | None, dross: int | None, asked: Asked, json_: bool
) -> None:
    if u is None and rz5 is None and dross is None:
        raise InputError("nothing to grade", do="Give a folder, a table, or values such as --u 0.12 --thickness 6.")
    if not thickness:
        raise InputError("the thickness is missing", column="--thickness", allowed="above 0 mm", do="Add --thickness.")
    from trials import steps

    found = steps.grade_value(thickness, u, rz5, dross, asked.need, asked.rule, asked.uncertainty)
    if json_:
        show.as_json({"schema": SCHEMA, **steps.graded_facts(found)})
        return
    _show_edge(found, _required(asked))
    _show_zones(steps.zones_at(asked.need, thickness, asked.rule, asked.uncertainty))
    from trials.words.language import text

    command = Command("limits", ("--thickness", f"{thickness:g}")).typed()
    show.next_step(text("`{command}` shows every limit; `trials grade FOLDER` a whole trial", command=command))


def _show_edge(found: Graded, required: tuple[str, ...]) -> None:
    from trials.words import grade as words
    from trials.words.language import text

    show.say(
        text("u: {grade}", grade=words.range_words(found.squareness_range)),
        text("Rz5: {grade}", grade=words.range_words(found.roughness_range)),
    )
    if found.dross_grade is not None:
        show.say(text("dross: grade {grade}", grade=found.dross_grade))
    show.say(text("designation: {code}", code=words.designation(found.designation)))
    if required:
        show.say(text("required: {parts}", parts="; ".join(required)))
        show.say(text("meets the requirement: {answer}", answer=words.meets(found.meets)))
    if found.reasons:
        show.say(text("because: {reasons}", reasons=words.why(found.reasons)))


def _show_zones(zones: tuple[Zone, ...]) -> None:
    """Limit, uncertainty and zone of each required item; nothing where none is known."""
    from trials.words import grade as words

    if zones:
        show.table(words.zone_heads(), [words.zone_cells(zone) for zone in zones])


def _show_grades(
    graded: pd.DataFrame, json_: bool, judged_by: str, required: tuple[str, ...], zones: tuple[Zone, ...]
) -> None:
    from trials.grade.kinds import Meets
    from trials.store.records.as_cut import NOT_CUT
    from trials.words import grade as words
    from trials.words.language import text

    if json_:
        from trials.steps import grade_rows

        show.as_json({"schema": SCHEMA, "coupons": grade_rows(graded)})
        return
    heads = words.column_heads()
    kept = [name for name in heads if name in graded]
    done = graded[~graded["outcome"].isin(["", NOT_CUT])]
    show.table([heads[name] for name in kept], words.table_cells(done, kept))
    if len(done) < len(graded):
        show.say(words.not_listed(len(graded) - len(done)))
    counts = {answer: int((graded["meets"] == answer).sum()) for answer in Meets}
    show.say(words.tally(counts))
    if required:
        show.say(text("Required: {parts}.", parts="; ".join(required)))
    _show_zones(zones)
    show.say(words.judged_sentence(judged_by))
    show.say(text("A grade is advice to a qualified person, not a release certificate."))
