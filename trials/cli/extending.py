"""The command that adds coupons to a trial that was cut: extend."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from trials.cli import panels, show
from trials.cli.planning import FOLDER, JSON
from trials.errors import InputError
from trials.next_command import Command

if TYPE_CHECKING:
    from trials.steps.extend import Extension


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("extend", rich_help_panel=panels.ENGINEER)(extend)


def extend(
    folder: Path = FOLDER,
    repeat_mounts: bool = typer.Option(False, "--repeat-mounts", help="One more mount of every specimen."),
    axial: bool = typer.Option(False, "--axial", help="Ends and middle of each setting, for curvature."),
    confirm: list[str] = typer.Option([], "--confirm", help='Setting: "pressure=0.6; standoff=1.2"; or best.'),
    nozzle: list[str] = typer.Option([], "--nozzle", help="Only these types; give it again for each."),
    who: str = typer.Option("", "--who", help="Your name, kept in the journal."),
    why: str = typer.Option("", "--why", help="The reason, kept in the journal."),
    settle: str = typer.Option("", "--settle", help="The cheapest block that settles with this chance: 80."),
    settle_if: str = typer.Option("both", "--settle-if", help="If types differ: different; if not: same; or both."),
    settle_all: bool = typer.Option(False, "--settle-all", help="Ask it of all comparisons of the trial at once."),
    pieces: list[str] = typer.Option(
        [], "--pieces", help="New pieces of a type that can be had: double=2; repeatable."
    ),
    show_only: bool = typer.Option(False, "--show", help="Show the coupons and the gain without adding them."),
    json_: bool = JSON,
) -> None:
    """Add coupons to a trial that was cut.

    They are a new block on new sheets; the gain is stated before. With --settle the block is the cheapest after which
    the trial settles with the asked chance, new specimens included; these are put into trial.toml. `--confirm best`
    cuts each type at its best; the limits that the means must fall in are kept, and the verdict says if they did.

    Declared where trial.toml left a look at the data for it (plan.looks), else exploratory.

    Example: `trials extend my-trial --settle 80 --show`,
    `trials extend my-trial --repeat-mounts --who "A. Berg" --why "not settled"`, or
    `trials extend my-trial --confirm "pressure=0.6; standoff=1.2" --nozzle double --show`
    """
    from trials.steps.extend import add_extension, check_named

    asked = Asked(tuple(confirm), tuple(nozzle), settle, settle_if, settle_all, tuple(pieces))
    kind = _kind(repeat_mounts, axial, bool(confirm), bool(settle))
    if kind is not ExtensionWay.SETTLE and (settle_all or pieces or settle_if != "both"):
        raise InputError("--settle-if, --settle-all and --pieces belong to --settle", do="Give --settle 80 with them.")
    if not show_only and kind is ExtensionWay.SETTLE:
        check_named(who, why)  # before a long search
    chosen, document = _chosen(folder, kind, asked, added=not show_only)
    if not show_only:
        add_extension(folder, chosen, who, why)
    if json_:
        show.as_json(document)
        return
    _print(folder, chosen, show_only)


@dataclass(frozen=True)
class Asked:
    """What an extension is asked for, as typed."""

    confirm: tuple[str, ...]
    nozzles: tuple[str, ...]
    settle: str
    truth: str
    all_of_them: bool
    pieces: tuple[str, ...]


class ExtensionWay(StrEnum):
    """The ways to extend, each with its option."""

    REPEAT_MOUNTS = "--repeat-mounts"
    AXIAL = "--axial"
    CONFIRM = "--confirm SETTING"
    SETTLE = "--settle CHANCE"


def _chosen(folder: Path, way: ExtensionWay, asked: Asked, added: bool) -> tuple[Extension, dict[str, Any]]:
    """The block, and the same as JSON."""
    from trials.plan.extend import ExtensionKind
    from trials.steps.confirming import BEST, confirm_best
    from trials.steps.extend import extension, extension_json

    if way is ExtensionWay.SETTLE:
        return _settling(folder, asked, added)
    if asked.confirm == (BEST,):
        chosen = confirm_best(folder, asked.nozzles or None)
    else:
        chosen = extension(folder, ExtensionKind[way.name], asked.confirm, asked.nozzles or None)
    return chosen, extension_json(chosen, added)


def _settling(folder: Path, asked: Asked, added: bool) -> tuple[Extension, dict[str, Any]]:
    from trials.cli.progress import progress_bar
    from trials.cli.settle_text import chance_typed, pieces_typed
    from trials.steps.extend_to_settle import settling_extension, settling_extension_json
    from trials.steps.settling import Wanted
    from trials.words.language import text

    pieces = dict(map(pieces_typed, asked.pieces))
    wanted = Wanted(chance_typed(asked.settle), asked.truth, asked.all_of_them, pieces=pieces)
    with progress_bar(text("looking for an extension that settles")) as looking:
        made = settling_extension(folder, wanted, asked.nozzles, looking)
    return made.extension, settling_extension_json(made, added)


def _print(folder: Path, chosen: Extension, show_only: bool) -> None:
    from trials.cli.plan_text import print_counts
    from trials.words.findings import say
    from trials.words.language import text

    print_counts(chosen.plan.coupons)
    show.bullets(say(finding) for finding in chosen.found)
    if show_only:
        show.next_step(text("the same without --show, with --who and --why, adds these coupons"))
    else:
        command = Command("sheet", (str(folder),)).typed()
        show.next_step(text("`{command}` prints the papers of block {block}", command=command, block=chosen.block))


def _kind(repeat_mounts: bool, axial: bool, confirm: bool, settle: bool) -> ExtensionWay:
    asked = [way for way, given in zip(ExtensionWay, (repeat_mounts, axial, confirm, settle), strict=True) if given]
    if len(asked) != 1:
        raise InputError(
            "name one way to extend the trial" if asked else "no way to extend the trial is named",
            allowed=", ".join(ExtensionWay),
            do="Give one of them.",
        )
    return asked[0]
