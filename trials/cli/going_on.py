"""Commands that go on from a trial that was cut: extend."""

from __future__ import annotations

from pathlib import Path

import typer

from trials.cli import show
from trials.cli.planning import FOLDER, JSON
from trials.errors import InputError


def register(app: typer.Typer) -> None:
    """Add these commands to the application."""
    app.command("extend")(extend)


def extend(
    folder: Path = FOLDER,
    repeat_mounts: bool = typer.Option(False, "--repeat-mounts", help="One more mount of every specimen."),
    axial: bool = typer.Option(False, "--axial", help="Ends and middle of each setting, for curvature."),
    confirm: list[str] = typer.Option([], "--confirm", help='Setting to confirm: "pressure=0.6; standoff=1.2".'),
    nozzle: list[str] = typer.Option([], "--nozzle", help="Only these types; give it again for each."),
    who: str = typer.Option("", "--who", help="Your name, kept in the journal."),
    why: str = typer.Option("", "--why", help="The reason, kept in the journal."),
    show_only: bool = typer.Option(False, "--show", help="Show the coupons and the gain without adding them."),
    json_: bool = JSON,
) -> None:
    """Add coupons to a trial that was cut.

    They are a new block on new sheets; the gain is stated before.

    Declared where trial.toml left a look at the data for it (plan.looks), else exploratory.

    Example: `trials extend my-trial --repeat-mounts --who "A. Berg" --why "not settled"`, or
    `trials extend my-trial --confirm "pressure=0.6; standoff=1.2" --nozzle double --show`
    """
    from trials.steps import extending

    kind = _kind(repeat_mounts, axial, confirm)
    chosen = extending.extension(folder, kind, confirm, nozzle or None)
    if not show_only:
        extending.add_extension(folder, chosen, who, why)
    if json_:
        facts = {"added": not show_only, "block": chosen.block, "declared": chosen.declared}
        show.as_json(facts | {"coupons": show.rows_of(chosen.plan.coupons), "said": list(chosen.said)})
        return
    counts = chosen.plan.coupons.groupby("nozzle", sort=False).agg(
        specimens=("specimen", "nunique"), mounts=("mount", "nunique"), coupons=("coupon", "size")
    )
    show.table(["nozzle", "specimens", "mounts", "coupons"], [[name, *row] for name, row in counts.iterrows()])
    show.bullets(chosen.said)
    if show_only:
        show.next_step("the same without --show, with --who and --why, adds these coupons")
    else:
        show.next_step(f"`trials sheet {folder}` prints the papers of block {chosen.block}")


def _kind(repeat_mounts: bool, axial: bool, confirm: list[str]) -> str:
    asked = [
        kind
        for kind, given in (("repeat mounts", repeat_mounts), ("axial", axial), ("confirm", bool(confirm)))
        if given
    ]
    if len(asked) != 1:
        raise InputError(
            "name one way to extend the trial" if asked else "no way to extend the trial is named",
            allowed="--repeat-mounts, --axial, --confirm SETTING",
            do="Give one of them.",
        )
    return asked[0]
