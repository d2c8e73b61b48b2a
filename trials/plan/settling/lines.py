"""A plan that settles as lines of a trial file, put into its text with every other byte left as it is."""

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import dataclass
from typing import Any

from trials.errors import InputError
from trials.nozzles import with_marks
from trials.plan.settling.request import Candidate
from trials.responses import Scale
from trials.trial import Trial

Value = str | int | list[str]
_HEADER = re.compile(r"^\s*\[{1,2}\s*([^\[\]]+?)\s*\]{1,2}\s*(#.*)?$")


@dataclass(frozen=True)
class Line:
    """One key of a trial file: table as in its header, nozzle: which of the [[nozzles]] blocks, by its type."""

    table: str
    key: str
    value: Value
    nozzle: str = ""

    @property
    def text(self) -> str:
        """The line as it is typed."""
        return f"{self.key} = {_toml(self.value)}"


def _toml(value: Value) -> str:
    return json.dumps(value, ensure_ascii=False)


def lines_of(trial: Trial, candidate: Candidate) -> tuple[Line, ...]:
    """The keys that make a trial the plan; those that stand in the file with the same value are left out.

    A type keeps the marks it has, and gets more of them where it needs more pieces.
    """
    pieces = dict(zip(trial.types, candidate.specimens, strict=True))
    taken = {mark for nozzle in trial.nozzles for mark in nozzle.specimens}
    found = []
    for nozzle in trial.nozzles:
        marks = list(nozzle.specimens[: pieces[nozzle.type]])
        marks += more_marks(nozzle.type, marks, pieces[nozzle.type] - len(marks), taken)
        taken |= set(marks)
        if tuple(marks) != nozzle.specimens:
            found.append(Line("nozzles", "specimens", marks, nozzle.type))
        if len(nozzle.lots) > len(marks):
            found.append(Line("nozzles", "lots", list(nozzle.lots[: len(marks)]), nozzle.type))
    return (*found, *_plan_lines(trial, candidate), *_reading_lines(trial, candidate.readings))


def more_marks(kind: str, marks: list[str], count: int, taken: set[str]) -> list[str]:
    """Marks of further pieces, unlike those taken: they go on from those there are, or are drawn by the letters of the
    type."""
    if count <= 0:
        return []
    start = re.sub(r"\d+$", "", marks[-1]) if marks else ""
    if not start:
        drawn = with_marks({"nozzles": [{"type": kind, "specimens": count}, {"type": "-", "specimens": sorted(taken)}]})
        return list(drawn["nozzles"][0]["specimens"])
    free = (f"{start}{number}" for number in range(1, 10_000))
    return [mark for mark, _ in zip((m for m in free if m not in taken), range(count), strict=False)]


def _plan_lines(trial: Trial, candidate: Candidate) -> list[Line]:
    plan = trial.plan
    wanted: dict[str, tuple[Value, object]] = {
        "method": ("full", plan.method.value),
        "coupons_per_mount": (candidate.coupons, plan.coupons_per_mount),
        "repeats": (candidate.repeats, plan.repeats),
        "mounts_per_specimen": (candidate.mounts, plan.mounts_per_specimen),
        "sheets": (candidate.sheets, plan.sheets),
    }
    return [Line("plan", key, new) for key, (new, old) in wanted.items() if new != old]


def _reading_lines(trial: Trial, readings: int) -> list[Line]:
    """Readings of the primaries as the plan has them, of other measured responses no more than that."""
    found = []
    for name, asked in trial.responses.items():
        if trial.quantity(name).scale is Scale.GRADE:
            continue
        wanted = readings if asked.primary else min(asked.readings, readings)
        if wanted != asked.readings:
            found.append(Line(f"responses.{name}", "readings", wanted))
    return found


def as_text(lines: tuple[Line, ...]) -> str:
    """The lines under the headers they belong to, to be put in by hand."""
    blocks: dict[tuple[str, str], list[str]] = {}
    for line in lines:
        blocks.setdefault((line.table, line.nozzle), []).append(line.text)
    parts = []
    for (table, nozzle), texts in blocks.items():
        head = ["[[nozzles]]", f"type = {_toml(nozzle)}"] if nozzle else [f"[{table}]"]
        parts.append("\n".join([*head, *texts]))
    return "\n\n".join(parts) + "\n" if parts else ""


def put_in(text: str, lines: tuple[Line, ...], file: str = "trial.toml") -> str:
    """The text of a trial file with these lines in it: values replaced, missing keys added below their header.

    Raises
    ------
    InputError
        If the file is laid out so that a line cannot be put in safely; nothing is changed then.
    """
    changed = text
    for line in lines:
        changed = _with_line(changed, line, file)
    if _parsed(changed) != _expected(text, lines):
        raise _by_hand(file, lines)
    return changed


def _by_hand(file: str, lines: tuple[Line, ...]) -> InputError:
    first = lines[0]
    return InputError(
        "is laid out so that the plan cannot be put in safely",
        file=file,
        column=f"{first.table}.{first.key}",
        do="Put the lines in by hand; without --write they are printed.",
    )


def _parsed(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


def _expected(text: str, lines: tuple[Line, ...]) -> dict[str, Any]:
    data = tomllib.loads(text)
    for line in lines:
        at: Any = data
        if line.nozzle:
            at = next(nozzle for nozzle in data["nozzles"] if nozzle.get("type") == line.nozzle)
        else:
            for part in line.table.split("."):
                at = at.setdefault(part, {})
        at[line.key] = line.value
    return data


def _with_line(text: str, line: Line, file: str) -> str:
    rows = text.splitlines(keepends=True)
    block = _block(rows, line)
    if block is None and line.nozzle:
        raise _by_hand(file, (line,))
    end = "\r\n" if "\r\n" in text else "\n"
    if block is None:
        glue = "" if not text or text.endswith("\n") else end
        return f"{text}{glue}{end}[{line.table}]{end}{line.text}{end}"
    start, stop = block
    for i in range(start, stop):
        if re.match(rf"\s*{re.escape(line.key)}\s*=", rows[i]):
            last = _last_row(rows, i, stop)
            rows[i : last + 1] = [_replaced("".join(rows[i : last + 1]), line, end)]
            return "".join(rows)
    if start and not rows[start - 1].endswith("\n"):
        rows[start - 1] += end
    return "".join([*rows[:start], f"{line.text}{end}", *rows[start:]])


def _block(rows: list[str], line: Line) -> tuple[int, int] | None:
    """First and last + 1 row of the table that the line belongs to, without its header."""
    heads = [(i, match[1]) for i, row in enumerate(rows) if (match := _HEADER.match(row))]
    for place, (at, name) in enumerate(heads):
        stop = heads[place + 1][0] if place + 1 < len(heads) else len(rows)
        typed = rf"\s*type\s*=\s*{re.escape(_toml(line.nozzle))}\s*(#.*)?$"
        if name == line.table and (not line.nozzle or any(re.match(typed, row) for row in rows[at + 1 : stop])):
            return at + 1, stop
    return None


def _last_row(rows: list[str], first: int, stop: int) -> int:
    """Last row of the value that starts on row `first`: the first one that makes it complete."""
    for last in range(first, stop):
        if _parsed("".join(rows[first : last + 1])) is not None:
            return last
    return first


def _replaced(old: str, line: Line, end: str) -> str:
    """The key with its new value; a comment behind the old one stays."""
    indent = old[: len(old) - len(old.lstrip())]
    body = old.rstrip("\r\n")
    comment = _comment(body)
    rest = old[len(body) :] or ("" if not old.endswith("\n") else end)
    new = f"{indent}{line.text}"
    return (f"{new.ljust(body.rindex(comment))}{comment}" if comment and "\n" not in body else new) + rest


def _comment(row: str) -> str:
    """The comment at the end of a row, with its sign; signs inside quotes are none."""
    quote = ""
    for i, letter in enumerate(row):
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter == "#":
            return row[i:]
    return ""
