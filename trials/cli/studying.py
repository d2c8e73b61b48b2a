"""Commands that turn records into answers: grade, fit, verdict."""

from __future__ import annotations

import sys
from pathlib import Path

import typer

from trials.cli import show
from trials.cli.planning import FOLDER, JSON
from trials.errors import InputError


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("grade")(grade)
    app.command("fit")(fit)
    app.command("verdict")(verdict)


def grade(
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
    json_: bool = JSON,
) -> None:
    """Grade edges by ISO 9013.

    A whole trial, a plain table, or one value. A trial names its own requirement and rule.

    Example: `trials grade my-trial`, `trials grade readings.csv --thickness 6 --class EXC3`, or
    `trials grade --u 0.12 --rz5 31 --thickness 6 --need-squareness 2 --uncertainty u_mm=0.02`
    """
    need = {"squareness_range": squareness_range, "roughness_range": roughness_range, "dross_grade": dross_grade}
    need["execution_class"] = class_
    judging = {"rule": _rule(rule), "uncertainty": _uncertainty(uncertainty)}
    if source is None:
        _grade_one(thickness, u, rz5, dross, need, judging, json_)
        return
    if source.is_dir() or not source.exists():
        _grade_trial(source, need, judging, json_)
        return
    from trials.steps import grade_table

    _show_grades(grade_table(source, thickness or None, need, **judging), json_, "worst", _words(need))
    if not json_:
        show.next_step("trials adopt, if the table tells nozzle types apart and you want to compare them")


def _grade_trial(folder: Path, need: dict, judging: dict, json_: bool) -> None:
    from trials import steps
    from trials.grade.conformity import requirement_words

    records = steps.load(folder)
    if any(value is not None for value in need.values()) or judging != {"rule": "guard band", "uncertainty": {}}:
        raise InputError(
            "a trial names its own requirement, rule and uncertainty",
            file=str(folder),
            do="Leave the options out, or change trial.toml and run `trials amend`.",
        )
    required = requirement_words(records.trial.application.required)
    _show_grades(steps.grade(records), json_, records.trial.bench.judged_by, required)
    if not json_:
        show.next_step(f"trials fit {folder}")


def _rule(text: str) -> str:
    rules = {"guard band": "guard band", "simple acceptance": "simple acceptance", "simple": "simple acceptance"}
    if text not in rules:
        raise InputError(
            "unknown rule", column="--rule", found=text, allowed="guard band, simple", do="Name one of these."
        )
    return rules[text]


def _uncertainty(parts: list[str]) -> dict[str, float]:
    found = {}
    for part in parts:
        name, _, figure = part.partition("=")
        try:
            found[name.strip()] = float(figure)
        except ValueError:
            found[name.strip()] = -1.0
        if name.strip() not in ("u_mm", "rz5_um") or not 0 <= found[name.strip()] < float("inf"):
            raise InputError(
                "not an uncertainty",
                column="--uncertainty",
                found=part,
                allowed="u_mm=0.02, rz5_um=2.0",
                do="Give U at k = 2 by column.",
            )
    return found


def _words(need: dict) -> tuple[str, ...]:
    """The requirement in words, with edition and status where it is an execution class."""
    from trials.grade.conformity import requirement_words
    from trials.steps import requirement

    asked = requirement(need)
    return requirement_words(asked) if asked else ()


def _grade_one(thickness: float, u: float, rz5: float, dross: int, need: dict, judging: dict, json_: bool) -> None:
    if u is None and rz5 is None and dross is None:
        raise InputError("nothing to grade", do="Give a folder, a table, or values such as --u 0.12 --thickness 6.")
    if not thickness:
        raise InputError("the thickness is missing", column="--thickness", allowed="above 0 mm", do="Add --thickness.")
    from dataclasses import asdict

    from trials.steps import grade_value

    found = grade_value(thickness, u, rz5, dross, need, **judging)
    if json_:
        show.as_json(asdict(found))
        return
    show.say(f"u: {_range(found.squareness_range, u)}", f"Rz5: {_range(found.roughness_range, rz5)}")
    if found.dross_grade is not None:
        show.say(f"dross: grade {found.dross_grade}")
    show.say(f"designation: {found.designation}")
    if _words(need):
        show.say(f"required: {'; '.join(_words(need))}", f"meets the requirement: {found.meets}")
    if found.why:
        show.say(f"because: {found.why}")
    show.next_step(f"`trials limits --thickness {thickness:g}` shows every limit; `trials grade FOLDER` a whole trial")


def _range(found: int, value: float | None) -> str:
    if value is None or found < 0:
        return "not graded"
    return f"range {found}" if found else "worse than the last range"


def _show_grades(graded, json_: bool, judged_by: str, required: tuple[str, ...]) -> None:
    if json_:
        show.as_json({"coupons": show.rows_of(graded)})
        return
    names = {"coupon": "coupon", "nozzle": "nozzle", "squareness_range": "u range", "roughness_range": "Rz5 range"}
    names |= {"dross_grade": "dross", "designation": "designation", "meets": "meets", "why": "why"}
    kept = [name for name in names if name in graded]
    why = graded["why"].where(graded["meets"] != "yes", "")
    show.table([names[name] for name in kept], _shown(graded.assign(why=why)[kept]))
    counts = graded["meets"].value_counts()
    show.say(f"Meets: {counts.get('yes', 0)} yes, {counts.get('no', 0)} no, {counts.get('undecided', 0)} undecided.")
    if required:
        show.say(f"Required: {'; '.join(required)}.")
    show.say(f"Judged by the {judged_by} reading of each coupon; dross by this project's own scale of 0 to 4.")
    show.say("A grade is advice to a qualified person, not a release certificate.")


def _shown(graded) -> list[list]:
    """Cells for the screen: what was not graded is empty, what is beyond the last range says so."""
    cells = graded.astype(object).where(graded.notna(), None)
    for name in ("squareness_range", "roughness_range"):
        cells[name] = cells[name].map(lambda found: {-1: "", 0: "worse"}.get(found, found))
    return cells.to_numpy().tolist()


def fit(folder: Path = FOLDER, json_: bool = JSON) -> None:
    """Fit and answer in four words.

    The numbers behind the verdict.

    Example: `trials fit my-trial`, or `trials fit my-trial --json` for a machine.
    """
    from trials import steps

    method = _compared_by_edges(folder)
    with _busy("fitting"):
        found = steps.fit(folder)
    from trials.cli.ladder_text import ladder_facts, print_ladder

    if json_:
        show.as_json(steps.plain(found) | (ladder_facts(folder) if method == "ladder" else {}))
        return
    from trials.cli.study_text import print_study

    print_study(found)
    if method == "ladder":
        print_ladder(folder)
    show.next_step(f"trials verdict {folder}")


def _compared_by_edges(folder: Path) -> str:
    """The planning method of a trial; raises where types are not compared by their edges, and says what to use."""
    from trials.store.records.folder import read_trial

    method = read_trial(folder)[0].plan.method
    other = {
        "life": ("this trial measures lives, where a specimen still good must count as such", "life"),
        "bench": ("this trial checks the bench and compares no nozzle types", "bench"),
    }
    if method in other:
        problem, command = other[method]
        raise InputError(problem, file=str(folder), do=f"Use `trials {command} {folder}`.")
    return method


def verdict(
    folder: Path = FOLDER,
    out: Path = typer.Option(
        None, "--out", help="Where to write; verdict.pdf in the folder if left out, verdict-2.pdf for a second look."
    ),
    json_: bool = JSON,
) -> None:
    """Write the verdict as a PDF to print and sign.

    The same records give the same file, byte for byte.

    Example: `trials verdict my-trial`
    """
    from trials import steps

    _compared_by_edges(folder)
    with _busy("fitting and writing"):
        found = steps.verdict(folder, out)
    if json_:
        show.as_json({"file": str(found.path), "look": found.look, "study": found.study})
        return
    from trials.words.study import answer_sentence

    show.say(answer_sentence(found.study))
    if found.study.exploratory:
        show.say(f"This is look {found.look}, more than the trial declared: exploratory. The first verdict is kept.")
    show.say(f"Verdict: {found.path}")
    show.next_step(f"read it, then sign it; `trials fit {folder}` shows the numbers behind it")


def _busy(text: str):
    from rich.console import Console

    return Console(file=sys.stderr).status(text)
