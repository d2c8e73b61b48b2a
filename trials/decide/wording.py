"""Numbers as people read them: settings, spreads, worthwhile differences."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from trials.responses import Quantity
from trials.trial import Level, Trial
from trials.units import shown

SOURCES = {
    "sheet": "from one sheet to the next",
    "specimen": "from one nozzle of a type to the next",
    "mount": "from one fitting of a nozzle to the next",
    "coupon": "from coupon to coupon at one setting",
    "reading": "from reading to reading on one coupon",
}


def number(value: float, digits: int = 3) -> str:
    """A figure with so many significant digits and no exponent in the usual range: 34.96 -> `35.0`."""
    if not math.isfinite(value):
        return "no bound"
    if value == 0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return f"{value:.{min(places, 6)}f}"


def with_unit(value: float, quantity: Quantity, digits: int = 3) -> str:
    """A figure with its unit as printed."""
    return f"{number(value, digits)} {shown(quantity.unit)}".strip()


def setting_words(trial: Trial, settings: Mapping[str, Level]) -> str:
    """Settings in words: `pressure 0.7 bar, standoff 1 mm`."""
    parts = []
    for name, level in settings.items():
        unit = trial.factors[name].unit
        text = level if isinstance(level, str) else f"{level:g}"
        parts.append(f"{name} {text} {shown(unit)}".strip())
    return ", ".join(parts) or "the settings that were cut"


def spread_words(source: str, sd: float, quantity: Quantity, block_word: str = "sheet") -> str:
    """One spread in words: `8.1 % from one nozzle of a type to the next`."""
    words = SOURCES.get(source, source).replace("sheet", block_word)
    size = f"{100 * math.expm1(sd):.1f} %" if quantity.scale == "log" else with_unit(sd, quantity)
    return f"{size} {words}"


def worthwhile_words(worthwhile: float, quantity: Quantity) -> str:
    """The worthwhile difference in words: `15 %` or `0.03 mm`."""
    if quantity.scale == "log":
        return f"{100 * math.expm1(worthwhile):.3g} %"
    return with_unit(worthwhile, quantity)


def listed(names: Sequence[object]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    texts = [str(name) for name in names]
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}" if texts else "none"
