"""How `status` is shown: a table of steps, what is open, the next command; or the same as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from trials.cli import show
from trials.words import language
from trials.words import records as words

if TYPE_CHECKING:
    from trials.next_command import Command, Next
    from trials.steps.status import Status


def show_status(found: Status) -> None:
    """Print where a trial stands."""
    from trials.words.findings import say

    show.say(found.title)
    head = [language.text("step"), language.text("done"), language.text("of"), language.text("note")]
    show.table(head, [_row(found, place) for place in range(len(found.steps))])
    if found.open:
        show.heading(language.text("Missing"))
        show.bullets(map(say, found.open))
    if found.retired:
        show.heading(language.text("Retired"))
        show.bullets(map(say, found.retired))
    show.next_step(words.next_words(found.next))


def _row(found: Status, place: int) -> list[Any]:
    state = found.steps[place]
    notes = [words.step_note(state.step, state.facts)]
    if place == 0:
        later = (block for block in found.blocks if block.declared is not None)
        notes += [words.later_block(b.block, b.added_on, b.cut, b.coupons, bool(b.declared)) for b in later]
    return [words.step_name(state.step), state.done, "" if state.of is None else state.of, "; ".join(notes)]


def status_json(found: Status) -> dict[str, Any]:
    """Keys of `status --json`; words are made here, beside the values they say."""
    from dataclasses import asdict

    from trials.steps.files import plain

    steps = [
        {"step": s.step.value, "done": s.done, "of": s.of}
        | {"note": words.step_note(s.step, s.facts), "facts": dict(s.facts)}
        for s in found.steps
    ]
    return {
        "schema": 2,
        "title": found.title,
        "steps": steps,
        "missing": [plain(finding) for finding in found.open],
        "retired": [plain(finding) for finding in found.retired],
        "blocks": [asdict(block) for block in found.blocks],
        "next": _next_json(found.next),
    }


def _next_json(following: Next) -> dict[str, Any]:
    return {
        "command": _command_json(following.command),
        "before": following.before.value if following.before else None,
        "coupon": following.coupon or None,
        "instead": _command_json(following.instead) if following.instead else None,
        "open": following.open or None,
        "words": words.next_words(following),
    }


def _command_json(command: Command) -> dict[str, Any]:
    return {"name": command.name, "arguments": [str(part) for part in command.arguments]}
