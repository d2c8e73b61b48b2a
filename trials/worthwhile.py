"""Amounts as people write them (`15 %`, `0.03 mm`) on the scale of a model; both sides of a worthwhile difference."""

from __future__ import annotations

import math
from dataclasses import dataclass

from trials.errors import WrongArgument
from trials.responses import Quantity, Scale
from trials.units import factor, parse_amount


@dataclass(frozen=True)
class Margins:
    """How much better, and how much worse, matters: each above zero, on the scale of the model.

    Raises
    ------
    WrongArgument
        If a side is not above zero.
    """

    better: float
    worse: float

    def __post_init__(self) -> None:
        """Refuse a side that is not above zero."""
        if not (self.better > 0 and self.worse > 0):
            raise WrongArgument("The worthwhile difference must be above zero; state it in the trial file.")

    @property
    def smaller(self) -> float:
        """The stricter side, which plans are made for."""
        return min(self.better, self.worse)

    @classmethod
    def of_share(cls, share: float, higher_is_better: bool) -> Margins:
        """A share (0.15 for 15 %) as people read it, on the log scale: 15 % lower is a ratio of 0.85, higher 1.15.

        Raises
        ------
        WrongArgument
            If the share is not above zero and below one.
        """
        if not 0 < share < 1:
            raise WrongArgument("A worthwhile share must be above zero and below 100 %; state another.")
        up, down = math.log1p(share), -math.log1p(-share)
        return cls(up, down) if higher_is_better else cls(down, up)


def amount_on_scale(text: str, quantity: Quantity, level: float | None, place: str) -> float:
    """An amount (`15 %`, `0.03 mm`) upwards on the scale of a response's model (log ratio, or the kept unit).

    A figure in units becomes a ratio at the level, on the log scale; a share a figure in units, as measured.

    Raises
    ------
    ValueError
        If the text has no number, it is not positive, its unit does not fit, or the level that it needs is missing.
    """
    size, _ = _read(text, quantity, level, place)
    return math.log1p(size) if quantity.scale == Scale.LOG else size


def margins(text: str, quantity: Quantity, level: float | None, place: str) -> Margins:
    """Both sides of a worthwhile difference; a figure in units is the same on both sides where measured as such.

    Raises
    ------
    ValueError
        As `amount_on_scale`; or a share is 100 % or more, or a figure on the log scale not below the level.
    """
    size, as_share = _read(text, quantity, level, place)
    if as_share and (size if quantity.scale == Scale.LOG else size / (level or 1.0)) >= 1.0:
        raise ValueError(
            f"{place}: {text!r} lower leaves nothing; write a figure in units, such as '5 {quantity.unit}'"
        )
    if quantity.scale != Scale.LOG:
        return Margins(size, size)
    if size >= 1.0:
        raise ValueError(f"{place}: {text!r} is not below the expected level {level:g}; write a smaller figure")
    return Margins.of_share(size, quantity.higher_is_better)


def coupon_share(text: str, quantity: Quantity, grade: int | None, place: str) -> float | None:
    """How many more of all coupons have to come out at the required grade to matter: 0.2 for `20 %`.

    None for a response that is no grade, or a difference in grades.

    Raises
    ------
    ValueError
        If the share is not above zero and below 100 %, or no grade is required.
    """
    if quantity.scale != Scale.GRADE or not text.strip().endswith("%"):
        return None
    share = parse_amount(text)[0] / 100.0
    if not 0.0 < share < 1.0:
        raise ValueError(f"{place}: {text!r} is no share of coupons; write one such as '20 %'")
    if grade is None:
        raise ValueError(f"{place}: {text!r} of the coupons at which grade? State application.required.dross_grade")
    return share


def _read(text: str, quantity: Quantity, level: float | None, place: str) -> tuple[float, bool]:
    """The amount as a share of the level (log scale) or in the kept unit, and whether a share was written."""
    try:
        value, unit = parse_amount(text)
    except ValueError as error:
        raise ValueError(f"{place}: {error}; write a share like '15 %' or a figure with its unit") from None
    if not math.isfinite(value) or value <= 0:
        raise ValueError(f"{place}: {text!r} is not above zero")
    log, as_share = quantity.scale == Scale.LOG, unit == "%"
    if as_share and log:
        return value / 100.0, True
    if (as_share or log) and level is None:
        raise ValueError(f"{place}: {text!r} needs responses.{quantity.name}.expected.level to be turned around")
    if as_share:
        return value / 100.0 * (level or 1.0), True
    scale = factor(unit, quantity.unit) if unit else 1.0
    if scale is None:
        raise ValueError(f"{place}: unit {unit!r} does not fit a response in {quantity.unit!r}")
    return (value * scale / level if log and level else value * scale), False
