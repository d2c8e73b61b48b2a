"""In which units papers and screens show what is kept in metric ones: as kept, or those of a shop that works in inches.

Records, JSON and reckoning stay metric; a figure is converted where it becomes a word or a mark on an axis, and nowhere
before. A setting whose unit was stated otherwise (`psi`, `in`) stays as it was stated, in both systems.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from enum import StrEnum

from trials.units import factor, shown, suffix


class System(StrEnum):
    """The units in which people read figures."""

    METRIC = "metric"
    INCH = "inch"


_system: ContextVar[System] = ContextVar("system", default=System.METRIC)
_INCH = {
    **dict.fromkeys(("mm", "cm"), ("in", "mm")),
    **dict.fromkeys(("um", "nm"), ("uin", "um")),
    **dict.fromkeys(("bar", "mbar", "kpa", "mpa"), ("psi", "bar")),
    **dict.fromkeys(("m_min", "mm_min", "mm_s", "m_s"), ("in_min", "m_min")),
}
"""Unit -> (unit it is shown in, unit that both convert to)."""
_STEPS = {"in": 0.01, "uin": 100.0, "psi": 10.0, "in_min": 10.0}
"""A change of a setting that a shop would make, where an effect is said by unit."""
DIGITS = 3
"""Significant digits of a converted setting (one part in 200 at most); a figure of four decimals is shown as it is."""


@contextmanager
def showing(system: System) -> Iterator[None]:
    """Every figure said or drawn inside comes out in this system."""
    token = _system.set(system)
    try:
        yield
    finally:
        _system.reset(token)


def inches() -> bool:
    """Whether figures are shown in inches, psi and inches a minute just now."""
    return _system.get() is System.INCH


def unit_in_use(unit: str) -> str:
    """The unit in which a figure of `unit` is shown: itself, or its like in inches.

    >>> with showing(System.INCH):
    ...     unit_in_use("um"), unit_in_use("m/min"), unit_in_use("psi"), unit_in_use("kW")
    ('uin', 'in_min', 'psi', 'kW')
    """
    known = _INCH.get(suffix(unit)) if inches() else None
    return known[0] if known else unit


def scale_in_use(unit: str) -> float:
    """Multiply a figure of `unit` by this to have it in the unit in use.

    >>> with showing(System.INCH):
    ...     round(scale_in_use("mm"), 7), round(scale_in_use("bar"), 4)
    (0.0393701, 14.5038)
    """
    known = _INCH.get(suffix(unit)) if inches() else None
    if known is None:
        return 1.0
    asked, base = known
    own, other = factor(unit, base), factor(asked, base)
    assert own is not None and other is not None
    return own / other


def shown_unit(unit: str) -> str:
    """The unit in use as printed.

    >>> shown_unit("um"), shown_unit("m_min")
    ('µm', 'm/min')
    """
    return shown(unit_in_use(unit))


def in_use(value: float, unit: str) -> float:
    """A figure of `unit` in the unit in use, unrounded."""
    return value * scale_in_use(unit)


def setting_in_use(value: float, unit: str) -> float:
    """A setting in the unit in use, rounded as it can be set: whole where four decimals say it, else three digits.

    >>> with showing(System.INCH):
    ...     [setting_in_use(size, "mm") for size in (6.35, 1.0, 3000.0)], setting_in_use(0.7, "bar")
    ([0.25, 0.0394, 118.0], 10.2)
    """
    scale = scale_in_use(unit)
    if scale == 1.0 or value == 0 or not math.isfinite(value):
        return value
    found = value * scale
    if abs(found - round(found, 4)) < 1e-9:
        return round(found, 4)
    return float(f"{found:.{DIGITS}g}")


def step_in_use(unit: str) -> tuple[float, str]:
    """The step of a setting by which an effect is said, in `unit`, and its figure in the unit in use.

    >>> step_in_use("bar")
    (1.0, '')
    >>> with showing(System.INCH):
    ...     step_in_use("mm")
    (0.254, '0.01')
    """
    size = _STEPS.get(unit_in_use(unit)) if inches() and suffix(unit) in _INCH else None
    return (1.0, "") if size is None else (size / scale_in_use(unit), f"{size:g}")
