"""Parts of a trial file that need no other part: the size of a coupon, how readings are judged."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


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
