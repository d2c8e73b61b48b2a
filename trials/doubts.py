"""Settings that may not be what was meant: a decimal comma, a unit left out, a pressure of another machine.

Nothing here is refused for good: each is asked about with the value as it is understood, and with what may be meant.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from enum import StrEnum

from trials.errors import InputError
from trials.findings import About, Fact, Finding, Weight
from trials.gas import find_gas
from trials.responses import Quantity, Scale
from trials.trial import Level, Method, Trial
from trials.units import factor, parse_amount, shown, suffix

HIGHEST_BAR = 40.0
"""Gauge pressure that assist gas regulators do not exceed (common practice, no source)."""
LOWEST_FUSION_BAR = 3.0
"""Below it nitrogen and argon hardly blow a melt out (common practice, no source)."""
LARGEST_ORIFICE_MM = 8.0  # common practice, no source
NOTHING = About()
TIMES = 10.0  # a changed setting so many times the plan, or so small a part of it
UNDERSTOOD = "Correct it, or confirm it with --as-written."


class DoubtKind(StrEnum):
    """What may be a slip of the pen."""

    DECIMAL_COMMA = "doubt_decimal_comma"
    NO_UNIT = "doubt_no_unit"
    PRESSURE = "doubt_pressure"
    ORIFICE = "doubt_orifice"
    ONE_TYPE = "doubt_one_type"
    TEN_TIMES = "doubt_ten_times"


def trial_doubts(trial: Trial, text: str) -> tuple[Finding, ...]:
    """What to ask about a trial file before its plan is frozen. text: of the file, where a comma is still a comma.

    Each finding has the facts `place`, `understood` and `meant` (empty where nothing is likely), as they are typed.
    """
    found = (*_commas(text), *_amounts(trial), *_pressures(trial), *_orifices(trial), *_one_type(trial))
    return tuple(found)


def _doubt(kind: DoubtKind, place: str, understood: str, meant: str = "", about: About = NOTHING) -> Finding:
    return Finding(kind, about, {"place": place, "understood": understood, "meant": meant}, Weight.COULD_CHANGE)


_LEVELS = re.compile(r"^\s*([\w.\-]*\blevels)\s*=\s*\[([^\]]*)\]", re.MULTILINE)
_TABLE = re.compile(r"^\s*\[([^\[\]]+)\]\s*$", re.MULTILINE)
_TIGHT = re.compile(r"(?<=\d),(?=\d)")


def _commas(text: str) -> Iterator[Finding]:
    """Rows of numbers in which one comma has no space after it: where others have one, or the numbers do not rise."""
    plain = "\n".join(line.split("#")[0] for line in text.splitlines())
    for row in _LEVELS.finditer(plain):
        name, inside = row.groups()
        numbers = [float(part) for part in re.findall(r"-?\d+(?:\.\d+)?", inside)]
        spaced = bool(re.search(r",\s+[-\d]", inside))
        if _TIGHT.search(inside) and (spaced or numbers != sorted(numbers)) and '"' not in inside:
            understood = ", ".join(f"{number:g}" for number in numbers)
            pairs = " ".join(_TIGHT.sub(".", inside).split())
            meant = "" if re.search(r"\d\.\d+\.\d", pairs) else f"[{pairs}]"
            above = [table[1].strip() for table in _TABLE.finditer(plain, 0, row.start())]
            place = ".".join([*above[-1:], name])
            yield _doubt(DoubtKind.DECIMAL_COMMA, place, f"[{understood}]", meant)


def _amounts(trial: Trial) -> Iterator[Finding]:
    """Worthwhile differences and expected spreads without a unit, where the response has one."""
    for name, asked in trial.responses.items():
        quantity = trial.quantity(name)
        stated = {"worthwhile": asked.worthwhile}
        if asked.expected is not None:
            sources = ("sheet", "specimen", "mount", "coupon", "reading")
            stated |= {f"expected.{source}": getattr(asked.expected, source) for source in sources}
        for key, text in stated.items():
            if text is not None and _bare(text, quantity):
                figure = text.strip()
                place = f"responses.{name}.{key}"
                yield _doubt(
                    DoubtKind.NO_UNIT, place, f"{figure} {shown(quantity.unit)}", f"{figure} %", About(response=name)
                )


def _bare(text: str, quantity: Quantity) -> bool:
    return bool(quantity.unit) and quantity.scale != Scale.GRADE and parse_amount(text)[1] == ""


def _pressures(trial: Trial) -> Iterator[Finding]:
    for place, unit, value in _pressures_stated(trial):
        scale = factor(unit, "bar")
        if scale is not None and value > 0:
            meant = _meant_bar(value, unit, value * scale, trial)
            if meant is not None:
                yield _doubt(DoubtKind.PRESSURE, place, _in_bar(value, unit, scale), meant)


def _in_bar(value: float, unit: str, scale: float) -> str:
    own = f"{value:g} {unit}"
    return own if suffix(unit) == "bar" else f"{own} ({value * scale:g} bar)"


def _pressures_stated(trial: Trial) -> Iterator[tuple[str, str, float]]:
    """Place, unit and value of every pressure of a trial file."""
    for name, asked in trial.factors.items():
        if suffix(asked.unit) in _PRESSURE_UNITS:
            for level in asked.numbers:
                yield f"factors.{name}.levels", asked.unit, level
    for key, value in trial.held.items():
        unit = next((one for one in _PRESSURE_UNITS if key.lower().endswith(f"_{one}")), "")
        if unit and isinstance(value, (int, float)) and not isinstance(value, bool):
            yield f"held.{key}", unit, float(value)


_PRESSURE_UNITS = ("mbar", "bar", "kpa", "mpa", "psi")


def _meant_bar(value: float, unit: str, bar: float, trial: Trial) -> str | None:
    """What a pressure may have been meant to be; None where it is nothing out of the way."""
    if bar > HIGHEST_BAR:
        if suffix(unit) == "mpa" and value <= HIGHEST_BAR:
            return f"{value:g} bar"
        lower = next((bar / step for step in (10.0, 100.0, 1000.0) if bar / step <= 0.75 * HIGHEST_BAR), None)
        return "" if lower is None else f"{lower:g} bar"
    gas = find_gas(trial.application.gas)
    inert = gas is not None and gas.name in ("nitrogen", "argon")
    if inert and trial.application.cut != "flame" and suffix(unit) == "bar" and bar < LOWEST_FUSION_BAR:
        return f"{value:g} MPa ({10.0 * value:g} bar)"
    return None


def _orifices(trial: Trial) -> Iterator[Finding]:
    for nozzle in trial.nozzles:
        size = nozzle.orifice_mm
        if size is not None and size > LARGEST_ORIFICE_MM:
            meant = f"{size / 10.0:g} mm" if size / 10.0 <= LARGEST_ORIFICE_MM else ""
            yield _doubt(
                DoubtKind.ORIFICE, f"nozzles.{nozzle.type}.orifice_mm", f"{size:g} mm", meant, About(nozzle=nozzle.type)
            )


_OTHER_QUESTIONS = (Method.SCREENING, Method.SURFACE, Method.BENCH, Method.PILOT, Method.ADOPTED)


def _one_type(trial: Trial) -> Iterator[Finding]:
    """One nozzle type where types are to be compared: other methods ask about settings, or where it cuts well."""
    asks = trial.plan.method not in _OTHER_QUESTIONS and trial.plan.aim == "effects" and bool(trial.deciding)
    if len(trial.nozzles) == 1 and asks:
        yield _doubt(DoubtKind.ONE_TYPE, "nozzles", trial.nozzles[0].type, "", About(nozzle=trial.nozzles[0].type))


def ten_times(coupon: str, planned: Mapping[str, Level], changed: Mapping[str, Level]) -> tuple[Finding, ...]:
    """Changed settings of one coupon that are ten times the plan or more, or a tenth of it or less."""
    found = []
    for column, value in changed.items():
        was = planned.get(column)
        if isinstance(was, str) or isinstance(value, str) or not was or not value or was * value < 0:
            continue
        times = value / was
        if 1.0 / TIMES * (1 + 1e-9) < times < TIMES * (1 - 1e-9):
            continue
        near = value / TIMES if times > 1 else value * TIMES
        meant = f"{column}={near:g}" if 1 / 3 <= near / was <= 3 else ""
        facts: dict[str, Fact] = {"place": "changed_setting", "understood": f"{column}={value:g}", "meant": meant}
        facts["planned"] = f"{was:g}"
        found.append(Finding(DoubtKind.TEN_TIMES, About(coupons=(coupon,)), facts, Weight.COULD_CHANGE))
    return tuple(found)


_PROBLEMS: Mapping[DoubtKind, str] = {
    DoubtKind.DECIMAL_COMMA: "a decimal comma or two numbers",
    DoubtKind.NO_UNIT: "has no unit",
    DoubtKind.PRESSURE: "an unlikely pressure",
    DoubtKind.ORIFICE: "an unlikely orifice",
    DoubtKind.ONE_TYPE: "one nozzle type only, so there is nothing to compare",
    DoubtKind.TEN_TIMES: "far from the plan",
}
_REMEDIES: Mapping[DoubtKind, str] = {
    DoubtKind.DECIMAL_COMMA: "Write a decimal point, or a space after each comma.",
    DoubtKind.NO_UNIT: "Write the unit, or '%', behind the figure.",
    DoubtKind.ONE_TYPE: "Add the type to compare with, or set plan.aim to 'prediction'; or confirm with --as-written.",
}


def doubt_error(doubt: Finding, file: str, row: int | None = None) -> InputError:
    """A doubt as an error where nobody can be asked: what is understood, what may be meant, what to do."""
    kind, facts = DoubtKind(doubt.kind), doubt.facts
    coupon = f" of coupon {doubt.about.coupons[0]}" if doubt.about.coupons else ""
    planned = f" ({facts['planned']} is planned)" if "planned" in facts else ""
    meant = f" (did you mean {facts['meant']}?)" if facts["meant"] else ""
    return InputError(
        f"{_PROBLEMS[kind]}{coupon}{planned}: understood as {facts['understood']}{meant}",
        file=file,
        row=row,
        column=str(facts["place"]),
        do=_REMEDIES.get(kind, UNDERSTOOD),
    )
