"""Units that people type, and the one unit each quantity is kept in.

A column carries its unit at the end of its name (`rz5_um`, `pressure_bar`). A column that carries another unit of the
same quantity (`rz5_uin`, `pressure_psi`) is converted on the way in, here and nowhere else. The inch is 25.4 mm exactly
(ISO 80000-3); the pound-force per square inch is 0.06894757293168 bar (NIST SP 811, Appendix B).
"""

from __future__ import annotations

import math
import re
from typing import Literal

# suffix of a column -> (suffix it is kept in, factor)
_LENGTH_MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "um": 1e-3, "mil": 0.0254}
_LENGTH_UM = {"um": 1.0, "nm": 1e-3, "mm": 1e3, "uin": 0.0254, "mil": 25.4}
_PRESSURE_BAR = {"bar": 1.0, "mbar": 1e-3, "kpa": 0.01, "mpa": 10.0, "psi": 0.06894757293168, "kg_cm2": 0.980665}
_SPEED_M_MIN = {"m_min": 1.0, "mm_min": 1e-3, "mm_s": 0.06, "m_s": 60.0, "in_min": 0.0254, "ipm": 0.0254}
_POWER_KW = {"kw": 1.0, "w": 1e-3}
_FAMILIES: dict[str, dict[str, float]] = {
    "mm": _LENGTH_MM,
    "um": _LENGTH_UM,
    "bar": _PRESSURE_BAR,
    "m_min": _SPEED_M_MIN,
    "kw": _POWER_KW,
}
_SHOWN = {
    **{"um": "µm", "uin": "µin", "kw": "kW", "deg": "°"},
    **{"m_min": "m/min", "mm_min": "mm/min", "in_min": "in/min"},
}
_SPELLINGS = {"µm": "um", "μm": "um", "micron": "um", "inch": "in", '"': "in", "µin": "uin", "μin": "uin", "°": "deg"}


def suffix(unit: str) -> str:
    """Column suffix of a unit as people write it: `m/min` -> `m_min`, `µm` -> `um`, `` -> ``."""
    text = _SPELLINGS.get(unit.strip(), unit.strip())
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")


def column(name: str, unit: str) -> str:
    """Column name of a quantity: `pressure`, `bar` -> `pressure_bar`; a quantity without unit keeps its name."""
    end = suffix(unit)
    return f"{name}_{end}" if end else name


def shown(unit: str) -> str:
    """Unit as printed for people: `um` -> `µm`, `m_min` -> `m/min`."""
    return _SHOWN.get(unit, unit)


def factor(found: str, kept: str) -> float | None:
    """Multiply a value in unit `found` by this to have it in unit `kept`; None if they measure different things.

    >>> factor("uin", "um")
    0.0254
    >>> factor("psi", "mm") is None
    True
    """
    found, kept = suffix(found), suffix(kept)
    if found == kept:
        return 1.0
    family = _FAMILIES.get(kept)
    return family.get(found) if family else None


def step_difference(text: str, kept: str, place: str) -> tuple[float, Literal["difference", "ratio"]]:
    """A worthwhile difference of a speed or thickness as typed: in the unit `kept`, or a share; place: where it stands.

    Raises
    ------
    ValueError
        If the amount has no number, is not above zero, is no share below 100 %, or its unit does not fit.

    >>> step_difference("10 %", "m/min", "here"), step_difference("5 mm/s", "m/min", "here")
    ((0.1, 'ratio'), (0.3, 'difference'))
    """
    try:
        value, unit = parse_amount(text)
    except ValueError as error:
        raise ValueError(f"{place}: {error}; write a share like '10 %' or a figure like '0.3 {kept}'") from None
    if not math.isfinite(value) or value <= 0 or (unit == "%" and value >= 100):
        raise ValueError(f"{place}: {text!r} is not above zero, or not below 100 %")
    if unit == "%":
        return value / 100.0, "ratio"
    scale = factor(unit, kept) if unit else None
    if scale is None:
        raise ValueError(f"{place}: {text!r} needs a unit that fits one in {kept!r}, or '%'")
    return value * scale, "difference"


def match_header(header: str, wanted: dict[str, str]) -> tuple[str, float] | None:
    """Which kept column a typed header means, and the factor onto its unit.

    `wanted` maps each kept column to its unit suffix (`{"rz5_um": "um"}`); headers are compared without regard to
    case, spaces and hyphens. None if the header is no known column in any unit.
    """
    typed = re.sub(r"[\s\-]+", "_", header.strip()).lower().replace("µ", "u").replace("μ", "u")
    for kept in wanted:
        if typed == kept.lower():
            return kept, 1.0
    for kept, unit in wanted.items():
        stem = kept[: -len(unit)] if unit and kept.endswith(unit) else None
        if stem and typed.startswith(stem.lower()):
            scale = factor(typed[len(stem) :], unit)
            if scale is not None:
                return kept, scale
    return None


def parse_amount(text: str | float) -> tuple[float, str]:
    """Number and unit of an amount as typed: `15 %` -> (15.0, `%`), `0.03 mm` -> (0.03, `mm`), 2 -> (2.0, ``).

    Raises
    ------
    ValueError
        If the text does not start with a number.
    """
    if isinstance(text, (int, float)):
        return float(text), ""
    found = re.fullmatch(r"\s*([-+]?[0-9]*\.?[0-9]+(?:[eE][-+]?[0-9]+)?)\s*(.*?)\s*", text)
    if not found:
        raise ValueError(f"no number in {text!r}")
    return float(found[1]), "%" if found[2] == "%" else suffix(found[2])
