"""Parts of a trial file that need no other part: size of a coupon, how readings are judged, the fastest clean cut."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def _as_text(value: Any) -> Any:
    return str(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else value


Amount = Annotated[str, BeforeValidator(_as_text)]
"""A figure with its unit, or a share, as typed."""


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


class ExpectedSpeed(_Part):
    """`[responses.clean_speed.expected]`: fastest clean speed of today's type, and what pieces and mounts differ by."""

    level: float = Field(gt=0)
    specimen: Amount | None = None
    mount: Amount | None = None
    source: Literal["guess", "pilot", "earlier trial"] = "guess"


class CleanSpeedRequest(_Part):
    """`[responses.clean_speed]`: the fastest clean cut decides a ladder trial.

    worthwhile: a share (`10 %`) of today's speed or a figure with its unit; expected: for planning; dross_grade: the
    highest that counts as clean; that of the requirement if left out, 0 where there is none.
    """

    worthwhile: Amount
    expected: ExpectedSpeed | None = None
    dross_grade: int | None = Field(default=None, ge=0, le=4)
