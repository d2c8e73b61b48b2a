"""What is measured on a cut edge: the columns, their units, the scale they are analysed on, the way that is better."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Scale(StrEnum):
    """What the model of a response works on: the logarithm, the value as measured, or a grade."""

    LOG = "log"
    AS_MEASURED = "as measured"
    GRADE = "grade"


class Beyond(StrEnum):
    """Readings that are no measured figure: a bound of the instrument's range on either side, or none at all."""

    ABOVE = "above"
    BELOW = "below"
    NOT_MEASURABLE = "not_measurable"


@dataclass(frozen=True)
class Quantity:
    """One measured quantity.

    column: name in the readings table, unit at its end; unit: kept unit; scale: what the model works on;
    per_coupon: one value per coupon (the worst), not one per reading; resolution: smallest step of the usual
    instrument, in the kept unit (common practice, no source), used for zeros on the log scale; low, high: what a cell
    of the bench workbook accepts, in the kept unit; symbol: as in a sentence, the label if empty; taken_off: what is
    judged is taken off the edge afterwards, so that it cannot be measured again.
    """

    name: str
    label: str
    column: str
    unit: str
    scale: Scale
    resolution: float
    low: float = 0.0
    high: float = float("inf")
    per_coupon: bool = False
    higher_is_better: bool = False
    symbol: str = ""
    taken_off: bool = False

    @property
    def short(self) -> str:
        """How a sentence names it."""
        return self.symbol or self.label


QUANTITIES: dict[str, Quantity] = {
    q.name: q
    for q in (
        Quantity("roughness", "mean height of profile Rz5", "rz5_um", "um", Scale.LOG, 0.1, 0.0, 1000.0, symbol="Rz5"),
        Quantity(
            "squareness", "perpendicularity tolerance u", "u_mm", "mm", Scale.AS_MEASURED, 0.001, 0.0, 10.0, symbol="u"
        ),
        Quantity(
            "dross", "dross grade", "dross_grade", "", Scale.GRADE, 1.0, 0.0, 4.0, per_coupon=True, taken_off=True
        ),
        Quantity(
            "dross_height", "dross height", "dross_height_mm", "mm", Scale.AS_MEASURED, 0.01, 0.0, 20.0, taken_off=True
        ),
        Quantity("kerf", "kerf width", "kerf_mm", "mm", Scale.AS_MEASURED, 0.01, 0.0, 10.0),
        Quantity("drag", "drag n", "drag_mm", "mm", Scale.AS_MEASURED, 0.1, 0.0, 100.0),
        Quantity("standoff", "measured standoff", "standoff_measured_mm", "mm", Scale.AS_MEASURED, 0.01, 0.0, 50.0),
    )
}

VALUE_COLUMNS: tuple[str, ...] = tuple(q.column for q in QUANTITIES.values())
