"""A plan that settles, and two plans beside each other, on the screen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from trials.cli import show
from trials.errors import InputError

if TYPE_CHECKING:
    from trials.steps.settling import Settled, Side, Wanted


@dataclass(frozen=True)
class Asked:
    """The options of `trials plan` that ask for a plan that settles, as typed."""

    settle: str
    truth: str
    all_of_them: bool
    pieces: tuple[str, ...]
    bare: bool
    budget: str
    spreads_from: Path | None
    write: bool
    picture: Path | None
    json: bool


def is_asked(folder: Path, asked: Asked, freezing: bool) -> bool:
    """True where an option asks for a plan that settles, or a plan is to be frozen short of what its file asks for."""
    from trials.steps.settling import falls_short

    typed = asked.settle or asked.budget or asked.pieces or asked.bare or asked.write or asked.all_of_them
    return bool(typed or asked.spreads_from or asked.picture or asked.truth != "both") or (
        freezing and falls_short(folder)
    )


def progress_words() -> str:
    """What stands before the bar."""
    from trials.words.language import text

    return text("looking for a plan that settles")


def look(folder: Path, asked: Asked, progress: Callable[[int, int], None]) -> Settled:
    """Look for the plan, and write what was asked to be written."""
    from trials.steps.settling import settle_folder

    return settle_folder(folder, _wanted(asked), asked.write, progress)


def _wanted(asked: Asked) -> Wanted:
    from trials.steps.settling import Wanted

    hours, money = _budget(asked.budget)
    return Wanted(
        chance=chance_typed(asked.settle),
        truth=asked.truth,
        all_of_them=asked.all_of_them,
        bare=asked.bare,
        pieces=dict(map(pieces_typed, asked.pieces)),
        hours=hours,
        money=money,
        spreads_from=asked.spreads_from,
    )


def _number(text: str) -> float | None:
    try:
        value = float(text.strip())
    except ValueError:
        return None
    return value if 0 < value < float("inf") else None


def chance_typed(typed: str) -> float | None:
    """A chance as typed: `80`, `80 %` or `0.8`; None where nothing is."""
    if not typed:
        return None
    value = _number(typed.strip().removesuffix("%"))
    if value is None or value >= 100:
        raise InputError(
            "is no chance", column="--settle", found=typed, allowed="above 0 and below 100, such as 80", do="Change it."
        )
    return value / 100.0 if value > 1 or "%" in typed else value


def _budget(typed: str) -> tuple[float | None, float | None]:
    """Hours (`12h`) or money (`500`)."""
    if not typed:
        return None, None
    bare = typed.strip().lower()
    value = _number(bare.removesuffix("h"))
    if value is None:
        raise InputError(
            "is no budget", column="--budget", found=typed, allowed="hours as 12h, money as 500", do="Change it."
        )
    return (value, None) if bare.endswith("h") else (None, value)


def pieces_typed(typed: str) -> tuple[str, int]:
    """`double=6` as type and number."""
    kind, sign, count = typed.rpartition("=")
    if not sign or not kind.strip() or not count.strip().isdigit():
        raise InputError(
            "is no number of pieces",
            column="--pieces",
            found=typed,
            allowed="TYPE=NUMBER, such as double=6",
            do="Change it.",
        )
    return kind.strip(), int(count)


def show_settled(folder: Path, asked: Asked, made: Settled) -> None:
    """The plan, what it costs, the lines for the trial file, chance against money, and what it rests on."""
    from trials.steps.settling import settled_json

    if asked.picture is not None:
        _draw(asked.picture, made)
    if asked.json:
        show.as_json(settled_json(made))
        return
    _print_plan(made)
    _print_frontier(made)
    _print_lines(made)
    _print_next(folder, made)


def _draw(path: Path, made: Settled) -> None:
    from trials.report.figures import frontier_figure
    from trials.steps.files import write_bytes

    figure = frontier_figure(made.found.frontier, made.trial.trial.currency, made.goal)
    write_bytes(path, figure.encode("utf-8"))


def _print_plan(made: Settled) -> None:
    from trials.words.findings import say
    from trials.words.language import text
    from trials.words.settling import bill_words, chance_words, goal_words, pieces_words, plan_words

    trial, best, currency = made.trial, made.found.best, made.trial.trial.currency
    show.say(trial.trial.title, trial.trial.question)
    show.heading(text("A plan that settles"))
    show.say(text("Asked: {goal}.", goal=goal_words(made.goal, currency)))
    show.bullets(
        [
            text("Plan: {plan}.", plan=plan_words(best.candidate)),
            text("Pieces: {pieces}.", pieces=pieces_words(trial.types, best.candidate)),
            text("Work and money: {bill}.", bill=bill_words(best, currency)),
            chance_words(best.chances),
            *map(say, made.said),
        ]
    )


def _print_frontier(made: Settled) -> None:
    from trials.words.language import text
    from trials.words.settling import frontier_heads, frontier_row

    show.heading(text("What less money buys"))
    show.table(frontier_heads(made.trial.trial.currency), [frontier_row(option) for option in made.found.frontier])


def _print_lines(made: Settled) -> None:
    from trials.plan.settling.lines import as_text
    from trials.words.language import text

    show.heading(text("Lines in trial.toml") if made.written else text("Lines for trial.toml"))
    lines = as_text(made.lines).rstrip("\n")
    if lines:
        show.verbatim(lines)
    else:
        show.say(text("The file asks for this plan already."))


def _print_next(folder: Path, made: Settled) -> None:
    from trials.words.language import text

    if made.written or not made.lines:
        command = f"trials plan {folder}"
        show.next_step(text("`{command}` freezes the plan; nothing is frozen yet", command=command))
        return
    show.next_step(text("the same command with --write puts the lines in; nothing was changed or frozen"))


def beside(folder: Path, other: Path, json_: bool) -> None:
    """Two plans beside each other."""
    from trials.steps.settling import side_by_side, sides_json
    from trials.words.language import text

    sides = side_by_side(folder, other)
    if json_:
        show.as_json(sides_json(sides))
        return
    show.heading(text("Two plans beside each other"))
    columns = [_column(side) for side in sides]
    rows = [[name, *(column.get(name, "") for column in columns)] for name in dict.fromkeys([*columns[0], *columns[1]])]
    show.table(["", *(str(side.name) for side in sides)], rows)
    show.next_step(text("`{command}` looks for a cheaper one", command=f"trials plan {folder} --settle 80"))


def _column(side: Side) -> dict[str, str]:
    from trials.words.language import text
    from trials.words.numbers import fixed, percent
    from trials.words.plan_chances import difference_words
    from trials.words.settling import money_words

    chances, bill, spent = side.judged.chances, side.judged.bill, side.judged.effort
    unknown = text("not to be had")
    smallest = {
        text("smallest difference, {response}", response=name): difference_words(side.trial.quantity(name), size)
        for name, size in side.smallest.items()
    }
    return {
        text("hours"): fixed(bill.hours, 1),
        text("of them at the machine"): fixed(bill.machine_hours, 1),
        text("money"): money_words(bill.money, side.trial.trial.currency),
        text("coupons"): str(spent.coupons),
        text("mounts"): str(spent.mounts),
        text("sheets"): str(spent.sheets),
        text("pieces"): ", ".join(f"{n} {kind}" for kind, n in side.judged.specimens.items()),
        text("chance if different"): unknown if chances is None else percent(chances.different),
        text("chance if the same"): unknown if chances is None else percent(chances.same),
        text("all comparisons, if different"): unknown if chances is None else percent(chances.all_different),
        text("all comparisons, if the same"): unknown if chances is None else percent(chances.all_same),
        **smallest,
    }
