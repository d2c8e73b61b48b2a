"""Parts of a trial file that need no other part: size of a coupon, how readings are judged, the fastest clean cut."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from trials.units import parse_amount


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def _as_text(value: Any) -> Any:
    return str(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else value


Amount = Annotated[str, BeforeValidator(_as_text)]


def _as_share(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    number, unit = parse_amount(value)
    return number / 100.0 if unit == "%" else number


Share = Annotated[float, BeforeValidator(_as_share), Field(gt=0, lt=1)]
"""`80 %` or 0.8, kept as 0.8."""


class BestBy(StrEnum):
    """What the best setting of a nozzle type is: where the requirement is met most surely, where the typical edge is
    lowest, or the fastest or the cheapest among those that meet it.
    """

    CHANCE = "chance"
    EDGE = "edge"
    SPEED = "speed"
    COST = "cost"


class CouponSize(_Part):
    """`[coupon]`: outline in mm; the slat pitch decides whether a coupon can tip."""

    length_mm: float = Field(default=60.0, gt=0)
    width_mm: float = Field(default=40.0, gt=0)
    slat_pitch_mm: float | None = Field(default=None, gt=0)
    sheet_length_mm: float = Field(default=1500.0, gt=0)
    sheet_width_mm: float = Field(default=1000.0, gt=0)


class BenchRequest(_Part):
    """`[bench]`: how readings are judged, by column.

    uncertainty: expanded U (k = 2) of one reading; repeatability: the standard deviation of its part that averages
    out over readings, used where a mean is graded.
    """

    uncertainty: dict[str, float] = Field(default_factory=dict)
    repeatability: dict[str, float] = Field(default_factory=dict)
    rule: Literal["guard band", "simple acceptance"] = "guard band"
    judged_by: Literal["worst", "mean"] = "worst"
    cutoff_mm: float = Field(default=2.5, gt=0)
    repeat_share: float = Field(default=0.1, ge=0, le=1)


CLEAN_SPEED = "clean_speed"
CLEAN_THICKNESS = "clean_thickness"


class ExpectedLimit(_Part):
    """`[responses.clean_speed.expected]`: limit of today's type, and what pieces and mounts differ by; for planning."""

    level: float = Field(gt=0)
    specimen: Amount | None = None
    mount: Amount | None = None
    source: Literal["guess", "pilot", "earlier trial"] = "guess"


class CleanRequest(_Part):
    """`[responses.clean_speed]` or `[responses.clean_thickness]`: the limit of a clean cut decides a ladder trial.

    worthwhile: a share (`10 %`) of today's limit or a figure with its unit; expected: for planning; dross_grade: the
    highest that counts as clean; that of the requirement if left out, 0 where there is none.
    """

    worthwhile: Amount
    expected: ExpectedLimit | None = None
    dross_grade: int | None = Field(default=None, ge=0, le=4)


def taken_apart(data: Any) -> Any:
    """A trial file with the clean cut, which is asked for among the responses, beside them: no coupon reads it."""
    responses = data.get("responses") if isinstance(data, dict) else None
    if not isinstance(responses, dict):
        return data
    apart = {name: responses[name] for name in (CLEAN_SPEED, CLEAN_THICKNESS) if name in responses}
    if not apart:
        return data
    return {**data, "responses": {name: asked for name, asked in responses.items() if name not in apart}, **apart}
