"""The trial file of an adopted table: what its columns are said to be, written as `trial.toml`."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from trials.errors import InputError
from trials.responses import QUANTITIES
from trials.units import column as column_name
from trials.units import match_header, suffix

ASSUMED_WORTHWHILE = 15.0
"""Worthwhile difference in per cent, taken where none is given for the first response."""


@dataclass(frozen=True)
class AdoptedResponse:
    """One response of an adopted table: its column, and what the column name does not say.

    name: a known response (roughness, squareness, ...) or one of the user's own; worthwhile as in trial.toml.
    """

    name: str
    column: str
    unit: str = ""
    scale: str | None = None
    primary: bool = True
    worthwhile: str | None = None
    level: float | None = None
    resolution: float | None = None
    higher_is_better: bool = False


@dataclass(frozen=True)
class AdoptedFactor:
    """One setting of an adopted table: its column, its unit where the column does not end in it, and its kind."""

    column: str
    unit: str
    is_text: bool

    @property
    def parts(self) -> tuple[str, str]:
        """Name and unit in the trial file: `pressure_bar` -> (`pressure`, `bar`); a name without known unit whole."""
        if self.unit:
            end = f"_{suffix(self.unit)}"
            return (self.column.removesuffix(end) or self.column), self.unit
        for unit in ("m_min", "mm", "um", "bar", "kw"):
            stem = self.column[: -len(unit) - 1]
            if stem and self.column == column_name(stem, unit):
                return stem, unit
        return self.column, ""


def column_and_unit(text: str) -> tuple[str, str]:
    """`Rz:um` -> (`Rz`, `um`); without a colon the unit is empty."""
    name, _, unit = text.partition(":")
    return name.strip(), unit.strip()


def asked_response(asked: AdoptedResponse | str, place: int, scale: str, worthwhile: str) -> AdoptedResponse:
    """A response spelled `column:unit` or `name=column:unit`.

    A column that is known in some unit keeps its known name; one named like a roughness figure (Rz, Ra, Rq, Rt) is
    taken on the log scale unless the scale is given.
    """
    if isinstance(asked, AdoptedResponse):
        return asked
    if scale not in ("", "log", "measured", "as measured"):
        raise InputError("unknown scale", found=scale, allowed="log, measured", do="Name one of these.")
    name, _, rest = asked.rpartition("=")
    column, unit = column_and_unit(rest)
    known = next((q for q in QUANTITIES.values() if match_header(column, {q.column: suffix(q.unit)})), None)
    chosen = {"": None, "log": "log"}.get(scale, "as measured")
    if chosen is None and re.fullmatch(r"r[zaqt]\d?", column.lower()):
        chosen = "log"
    return AdoptedResponse(
        name.strip() or (known.name if known else column),
        column,
        unit=unit,
        scale=chosen,
        primary=place == 0,
        worthwhile=worthwhile or None if place == 0 else None,
    )


@dataclass(frozen=True)
class AdoptedTrial:
    """What the trial file of an adopted table says beside its rows: keys of `[trial]` and `[application]`, the type in
    use, factors, responses."""

    heading: Mapping[str, str]
    application: Mapping[str, Any]
    today: str
    factors: tuple[AdoptedFactor, ...]
    responses: tuple[AdoptedResponse, ...]


def trial_text(said: AdoptedTrial, rows: list[dict[str, Any]], file: str) -> str:
    """The text of the trial file."""
    heading, application, today = said.heading, said.application, said.today
    lines = [f"# Written from {json.dumps(Path(file).name)}; details that are missing may be added.", "", "[trial]"]
    question = heading["question"] or f"Which nozzle type gives the better edge, compared with {today}?"
    lines += [f"title = {_quoted(heading['title'])}", f"question = {_quoted(question)}", "", "[application]"]
    lines += [f"{key} = {_value(value)}" for key, value in application.items() if value not in (None, "")]
    types = list(dict.fromkeys(row["nozzle"] for row in rows))
    for kind in sorted(types, key=lambda name: name != today):
        pieces = dict.fromkeys(row["specimen"] for row in rows if row["nozzle"] == kind and row["specimen"])
        lines += ["", "[[nozzles]]", f"type = {_quoted(kind)}"]
        lines += [f"specimens = {_value(list(pieces))}"] if pieces else []
        lines += ["today = true"] if kind == today else []
    for factor in said.factors:
        stem, unit = factor.parts
        levels = dict.fromkeys(row["settings"][factor.column] for row in rows)
        ordered = list(levels) if factor.is_text else sorted(levels)
        lines += ["", f"[factors.{_quoted(stem)}]", f"unit = {_quoted(unit)}", f"levels = {_value(ordered)}"]
    blocks = len({row["block"] for row in rows if row["block"]})
    lines += ["", "[plan]", 'method = "adopted"', f"sheets = {max(blocks, 1)}", 'compare_at = "average"']
    for response in said.responses:
        lines += _response_lines(response, rows, file)
    return "\n".join(lines) + "\n"


def _response_lines(response: AdoptedResponse, rows: list[dict[str, Any]], file: str) -> list[str]:
    per_coupon: dict[str, int] = {}
    for row in rows:
        if response.name in row["values"]:
            per_coupon[row["coupon"]] = per_coupon.get(row["coupon"], 0) + 1
    if not per_coupon:
        raise InputError("no value in the whole column", file=file, column=response.column, do="Name another column.")
    lines = ["", f"[responses.{_quoted(response.name)}]", f"readings = {max(per_coupon.values())}"]
    known = QUANTITIES.get(response.name)
    scale = response.scale or (known.scale if known else "as measured")
    assumed = f"{ASSUMED_WORTHWHILE:g} %" if response.primary and scale != "grade" else None
    stated = {
        "primary": response.primary or None,
        "worthwhile": response.worthwhile or assumed,
        "scale": response.scale,
        "column": None if known else response.column,
        "unit": None if known else response.unit or None,
        "resolution": response.resolution,
        "higher_is_better": response.higher_is_better or None,
    }
    lines += [f"{key} = {_value(value)}" for key, value in stated.items() if value is not None]
    level = response.level
    if level is None and scale == "as measured" and str(stated["worthwhile"]).endswith("%"):
        values = [row["values"][response.name] for row in rows if response.name in row["values"]]
        level = float(f"{pd.Series(values).median():.4g}")
    if level is not None:
        lines += [f"[responses.{_quoted(response.name)}.expected]", f"level = {_value(level)}"]
    return lines


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _value(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)
