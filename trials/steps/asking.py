"""A trial file from answers, for people who do not edit files: each answer checked as it is given, comments kept."""

from __future__ import annotations

import contextlib
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass

from trials.errors import InputError
from trials.trial import Trial, parse
from trials.units import parse_amount

MOST_TYPES, MOST_LEVELS = 12, 9
OXYGEN = "oxygen"


@dataclass(frozen=True)
class AskedNozzle:
    """One nozzle type: its name, how many pieces there are, its orifice in mm, single or double wall."""

    type: str
    pieces: int
    orifice_mm: float
    wall: str


@dataclass(frozen=True)
class AskedSetting:
    """One varied setting: levels in the order typed, and today's, which is one of them."""

    name: str
    unit: str
    levels: tuple[float, ...]
    today: float


@dataclass(frozen=True)
class Answers:
    """Everything that is asked for; a range or grade is None where the drawing asks none. The first type is today's."""

    material: str
    thickness_mm: float
    gas: str
    nozzles: tuple[AskedNozzle, ...]
    settings: tuple[AskedSetting, ...]
    roughness_range: int | None
    squareness_range: int | None
    dross_grade: int | None
    worthwhile: str


def words_of(typed: str) -> str:
    """A text that is not empty."""
    found = " ".join(typed.split())
    if not found:
        raise InputError("nothing was typed", do="Type a name.")
    return found


def number_of(typed: str, low: float = 0.0, high: float = math.inf) -> float:
    """A number above `low`, at most `high`; a decimal comma is read as a point."""
    try:
        found = float(typed.strip().replace(",", "."))
    except ValueError:
        raise InputError("not a number", found=typed, do="Type digits, such as 1.4.") from None
    if not (low < found <= high and math.isfinite(found)):
        raise InputError("out of range", found=typed, allowed=f"above {low:g}", do="Type another number.")
    return found


def count_of(typed: str, low: int, high: int) -> int:
    """A whole number from low to high."""
    if not typed.strip().isdigit() or not low <= int(typed) <= high:
        raise InputError("not such a number", found=typed, allowed=f"{low} to {high}", do="Type one of these.")
    return int(typed)


def count_or_none(typed: str, low: int, high: int) -> int | None:
    """The same; an empty answer or a dash is None."""
    return None if typed.strip() in ("", "-") else count_of(typed, low, high)


def one_of(typed: str, allowed: Sequence[str]) -> str:
    """One of the words."""
    if typed.strip().lower() not in allowed:
        raise InputError("not known here", found=typed, allowed=", ".join(allowed), do="Type one of these.")
    return typed.strip().lower()


def names_of(typed: str) -> tuple[str, ...]:
    """Names parted by commas, two or more, each once."""
    found = tuple(name for name in (" ".join(part.split()) for part in typed.split(",")) if name)
    if not 2 <= len(found) <= MOST_TYPES or len(set(found)) < len(found):
        raise InputError(
            "not a list of types", found=typed, allowed="2 to 12 names, each once", do="Part them by commas."
        )
    return found


def levels_of(typed: str) -> tuple[float, ...]:
    """Levels parted by blanks or semicolons, each once; none where the setting is not varied."""
    parts = typed.replace(";", " ").split()
    found = tuple(number_of(part.strip(","), -math.inf) for part in parts if part != "-")
    if len(found) == 1 or len(found) > MOST_LEVELS or len(set(found)) < len(found):
        do = "Part them by blanks, such as 0.5 0.7 0.9; a dash if it is not varied."
        raise InputError("not a list of levels", found=typed, allowed="2 to 9 levels, each once", do=do)
    return found


def level_of(typed: str, levels: Sequence[float]) -> float:
    """One of the levels."""
    found = number_of(typed, -math.inf)
    if found not in levels:
        raise InputError(
            "not a level", found=typed, allowed=", ".join(f"{x:g}" for x in levels), do="Type one of these."
        )
    return found


def worthwhile_of(typed: str) -> str:
    """A share of Rz5 such as `15 %`, or a figure such as `5 um`."""
    value, unit = 0.0, ""
    with contextlib.suppress(ValueError):
        value, unit = parse_amount(typed)
    if not (value > 0 and unit in ("%", "um")) or (unit == "%" and value >= 100):
        raise InputError("not a difference of Rz5", found=typed, allowed="15 %, 5 um", do="Type a share or a figure.")
    return f"{value:g} {unit}"


def trial_text(answers: Answers) -> str:
    """The commented trial file; raises InputError where the answers do not fit together."""
    return _checked("\n".join([*_head(answers), *_nozzles(answers), *_settings(answers), *_rest(answers)]) + "\n")


def _checked(text: str) -> str:
    found: Trial = parse(text)
    assert found.today.type
    return text


def _head(a: Answers) -> list[str]:
    job = f"{a.thickness_mm:g} mm {a.material} with {a.gas}"
    others = ", ".join(nozzle.type for nozzle in a.nozzles[1:])
    need = {"squareness_range": a.squareness_range, "roughness_range": a.roughness_range, "dross_grade": a.dross_grade}
    required = ", ".join(f"{name} = {value}" for name, value in need.items() if value is not None)
    return [
        "# Written by `trials new --ask`. Everything can be changed until `trials plan` freezes it.",
        "",
        "[trial]",
        f"title = {_quoted(f'{job}: which nozzle type?')}",
        f"question = {_quoted(f'Does {others} give a better edge than {a.nozzles[0].type}, which is in use today?')}",
        'engineer = ""                      # who answers for the trial',
        "",
        "[application]",
        f"material = {_quoted(a.material)}",
        f"thickness_mm = {float(a.thickness_mm)!r}",
        f"gas = {_quoted(a.gas)}",
        f"cut = {_quoted('flame' if a.gas == OXYGEN else 'fusion')}"
        "                      # flame: oxygen burns the steel; fusion: the melt is blown out",
        "# What the drawing asks of the edge: ranges of ISO 9013 (1 is best), dross grade 0 (none) to 4.",
        f"required = {{ {required} }}" if required else "required = {}",
    ]


def _nozzles(a: Answers) -> list[str]:
    lines = ["", "# One block per nozzle type; a number of specimens draws their marks."]
    for place, nozzle in enumerate(a.nozzles):
        lines += [
            "[[nozzles]]",
            f"type = {_quoted(nozzle.type)}",
            f"wall = {_quoted(nozzle.wall)}",
            f"orifice_mm = {float(nozzle.orifice_mm)!r}",
            f"specimens = {nozzle.pieces}",
            *(["today = true                       # the others are compared with it"] if place == 0 else []),
            "",
        ]
    return lines


def _settings(a: Answers) -> list[str]:
    lines = ["# What is varied inside each mount."] if a.settings else []
    for setting in a.settings:
        levels = ", ".join(repr(float(level)) for level in setting.levels)
        lines += [
            f"[factors.{setting.name}]",
            f"unit = {_quoted(setting.unit)}",
            f"levels = [{levels}]",
            f"today = {float(setting.today)!r}",
            "",
        ]
    return lines


def _rest(a: Answers) -> list[str]:
    return [
        "# What is kept the same, printed on the run sheet, for example: speed_m_min = 1.1",
        "[held]",
        "",
        "[plan]",
        "sheets = 1                         # each sheet holds every type in the same proportion",
        "seed = 1                           # another number gives another random order",
        "",
        "[responses.roughness]              # Rz5 in micrometres, the response that decides",
        "primary = true",
        "readings = 3",
        f"worthwhile = {_quoted(a.worthwhile)}",
        "# What you expect, as a guess; it tells what the plan can show. Put in your own figures.",
        "[responses.roughness.expected]",
        "level = 35.0",
        'specimen = "8 %"',
        'mount = "5 %"',
        'coupon = "10 %"',
        'reading = "7 %"',
        'source = "guess"',
        "",
        "[responses.squareness]             # u in millimetres",
        "readings = 3",
        "",
        "[responses.dross]                  # grade 0 to 4, the worst place of the coupon",
        "readings = 1",
    ]


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
