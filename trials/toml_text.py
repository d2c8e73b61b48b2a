"""The text of a trial file as TOML, refused at once where it is too long or too deep to be one."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from trials.errors import InputError

MOST_TEXT = 1_000_000  # characters of a trial file; the longest ready-made one has 5,000
MOST_DOTS = 2_000  # on one line
MOST_DEPTH = 20  # tables inside tables; a trial file has three


def read_toml(text: str, file: str) -> dict[str, Any]:
    """The text as TOML, within limits of size and depth.

    Raises
    ------
    InputError
        If it is no TOML, too long, or a key or table of it is nested too deep.
    """
    do = "Correct the file and run again."
    if len(text) > MOST_TEXT:
        raise InputError("too long for a trial file", file=file, allowed=f"up to {MOST_TEXT:,} characters", do=do)
    for number, line in enumerate(text.splitlines(), 1):
        if line.count(".") > MOST_DOTS or _DEEP.match(line):
            raise InputError("a key of too many parts", file=file, row=number, allowed=f"up to {MOST_DEPTH}", do=do)
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise InputError("nested too deep", file=file, allowed=f"up to {MOST_DEPTH} levels", do=do) from None
    except ValueError as error:  # tomllib's own, or an integer with thousands of digits
        reason = str(error).split(";")[0]
        raise InputError(f"not valid TOML: {reason}", file=file, do=_comma_hint(reason, text) or do) from None
    _check_depth(data, file, do)
    return data


def _comma_hint(reason: str, text: str) -> str:
    """The remedy where the line at fault holds a number with a decimal comma."""
    at = re.search(r"line (\d+)", reason)
    line = text.splitlines()[int(at[1]) - 1] if at and int(at[1]) <= len(text.splitlines()) else ""
    found = re.search(r"=\s*(-?\d+),(\d+)\s*(?:#.*)?$", line)
    return f"Write a decimal point: {found[1]}.{found[2]}." if found else ""


_DEEP = re.compile(rf"\s*\[*(?:\s*(?:[\w-]+|\"[^\"]*\"|'[^']*')\s*\.){{{MOST_DEPTH},}}")


def _check_depth(data: dict[str, Any], file: str, do: str) -> None:
    level: list[Any] = [data]
    for _ in range(MOST_DEPTH):
        level = [inner for part in level for inner in (part.values() if isinstance(part, dict) else part)]
        level = [part for part in level if isinstance(part, (dict, list))]
        if not level:
            return
    raise InputError("nested too deep", file=file, allowed=f"up to {MOST_DEPTH} levels", do=do)
