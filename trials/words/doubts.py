"""Questions about settings that may not be what was meant."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from enum import StrEnum
from typing import TYPE_CHECKING

from trials.doubts import DoubtKind
from trials.words.facts import word
from trials.words.language import text

if TYPE_CHECKING:
    from trials.findings import Finding


def _asked(finding: Finding, said: str) -> str:
    """The statement, and what may be meant instead where something is likely."""
    meant = word(finding, "meant")
    return (
        text("{said}; did you mean {meant}?", said=said, meant=meant)
        if meant
        else text("{said}; is that so?", said=said)
    )


def _understood(finding: Finding) -> str:
    said = text(
        "{place} is understood as {understood}", place=word(finding, "place"), understood=word(finding, "understood")
    )
    return _asked(finding, said)


def _ten_times(finding: Finding) -> str:
    said = text(
        "Coupon {coupon}: {understood} where {planned} is planned",
        coupon=finding.about.coupons[0],
        understood=word(finding, "understood"),
        planned=word(finding, "planned"),
    )
    return _asked(finding, said)


def _one_type(finding: Finding) -> str:
    said = text("{nozzle} is the only nozzle type, so there is nothing to compare it with", nozzle=finding.about.nozzle)
    return _asked(finding, said)


SENTENCES: Mapping[StrEnum, Callable[[Finding], str]] = {
    DoubtKind.DECIMAL_COMMA: _understood,
    DoubtKind.NO_UNIT: _understood,
    DoubtKind.PRESSURE: _understood,
    DoubtKind.ORIFICE: _understood,
    DoubtKind.ONE_TYPE: _one_type,
    DoubtKind.TEN_TIMES: _ten_times,
}


def key_words() -> str:
    """Which key confirms."""
    return text("Press y if it is right as it is understood; any other key stops, and nothing is written.")


def confirmed_words(understood: str) -> str:
    """What was confirmed."""
    return text("Taken as {understood}.", understood=understood)
