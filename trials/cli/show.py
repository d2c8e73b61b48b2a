"""How commands talk: plain lines, plain tables, JSON on request, and always a next step."""

from __future__ import annotations

import json
import re
import shutil
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from trials.next_command import Blank, Command, Next

WIDE, NARROW = 100, 40
SCHEMA = 2  # of every JSON document; it changes where a key changes its meaning


_HIDDEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")
"""Characters that steer a terminal or turn text around."""


AS_KEPT = "trials.as_kept"
"""Set in the context of a command whose figures come out as they are kept, in metric units."""


def in_units_of(folder: Path, context: Any) -> None:
    """What the command prints from here on comes out in the units that the trial file asks for."""
    import tomllib

    from trials.words.system import System, showing

    file = folder / "trial.toml"
    if context.meta.get(AS_KEPT) or not file.is_file():
        return
    try:
        heading = tomllib.loads(file.read_text(encoding="utf-8")).get("trial")
    except (OSError, ValueError):  # said, with its place, by whoever reads the whole file
        return
    if isinstance(heading, dict) and heading.get("units") == System.INCH:
        context.with_resource(showing(System.INCH))


def printable(text: str) -> str:
    """Text for the screen: what would steer the terminal stands there as its code, as `\\x1b`."""
    return _HIDDEN.sub(lambda found: ascii(found.group())[1:-1], text)


def say(*lines: str) -> None:
    """Print lines as they are, wrapped to the width of the screen where they are sentences."""
    for line in lines:
        sys.stdout.write(f"{_wrapped(printable(line))}\n")


def verbatim(text: str) -> None:
    """Print a text to be copied, without wrapping it."""
    sys.stdout.write(f"{text}\n")


def heading(text: str) -> None:
    """A heading with an empty line before it."""
    text = printable(text)
    sys.stdout.write(f"\n{text}\n{'-' * len(text)}\n")


def bullets(lines: Iterable[str]) -> None:
    """Sentences, one per dash."""
    for line in lines:
        sys.stdout.write(f"{_wrapped(printable(line), '- ', '  ')}\n")


def next_step(step: str) -> None:
    """The next step, always the last line of a command."""
    from trials.words.language import text

    sys.stdout.write(f"\n{_wrapped(printable(text('Next: {step}', step=step)))}\n")


def next_command(name: str, *arguments: str | Path | Blank) -> None:
    """The next step where it is one command, put into words here."""
    from trials.words.records import next_words

    typed = tuple(part if isinstance(part, Blank) else str(part) for part in arguments)
    next_step(next_words(Next(Command(name, typed))))


def table(headers: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
    """A table with aligned columns: words to the left, figures to the right."""
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table

    drawn = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False)
    for i, name in enumerate(headers):
        figures = bool(rows) and all(_is_figure(row[i]) for row in rows)
        drawn.add_column(printable(name), justify="right" if figures else "left", overflow="fold")
    for row in rows:
        drawn.add_row(*(_cell(value) for value in row))
    console = Console(file=sys.stdout, width=None if sys.stdout.isatty() else 110, highlight=False, markup=False)
    console.print(drawn)


def as_json(value: Any) -> None:
    """Machine-readable result on standard output; keys are listed in DEVELOPERS.md."""
    from trials.steps import plain

    document = {"schema": SCHEMA, **value} if isinstance(value, dict) else value
    text = json.dumps(plain(document), ensure_ascii=False, indent=2, allow_nan=False)
    sys.stdout.write(_HIDDEN.sub(lambda found: f"\\u{ord(found.group()):04x}", text))
    sys.stdout.write("\n")


def rows_of(frame: Any) -> list[dict[str, Any]]:
    """A pandas table as a list of plain rows for JSON."""
    rows: list[dict[str, Any]] = frame.astype(object).where(frame.notna(), None).to_dict(orient="records")
    return rows


def _is_figure(value: Any) -> bool:
    return isinstance(value, (int, float)) or (isinstance(value, str) and value[:1].isdigit())


def _cell(value: Any) -> str:
    if value is None or value != value:
        return ""
    return f"{value:.4g}" if isinstance(value, float) else printable(str(value))


def width() -> int:
    """Columns of the screen, at most `WIDE`; `WIDE` where no screen is known."""
    return max(NARROW, min(WIDE, shutil.get_terminal_size((WIDE, 24)).columns))


def _wrapped(line: str, first: str = "", later: str = "") -> str:
    import textwrap

    if len(line) + len(first) <= width():
        return f"{first}{line}"
    return textwrap.fill(
        line, width(), initial_indent=first, subsequent_indent=later, break_long_words=False, break_on_hyphens=False
    )
