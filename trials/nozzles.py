"""What a nozzle type is made of."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

Bore = Literal["cylindrical", "conical", "diverging"]
Wall = Literal["single", "double"]


class Nozzle(BaseModel):
    """One nozzle type and the physical pieces (specimens) that stand for it; details may be unknown (None).

    lots: delivery or lot of each piece, in the order of the specimens; empty where not stated.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    type: str = Field(min_length=1)
    bore: Bore | None = None
    wall: Wall | None = None
    side_jets: bool | None = None
    plated: bool | None = None
    point: bool | None = None
    orifice_mm: float | None = Field(default=None, gt=0)
    flow_area_mm2: float | None = Field(default=None, gt=0)
    price: float | None = Field(default=None, ge=0)
    specimens: tuple[str, ...] = ()
    lots: tuple[str, ...] = ()
    today: bool = False
    notes: str = ""


STYLE_FIELDS = ("bore", "wall", "side_jets", "plated", "point")


def style(nozzle: Nozzle) -> tuple[object, ...]:
    """The style of a type: everything but its orifice and its price."""
    return tuple(getattr(nozzle, name) for name in STYLE_FIELDS)
