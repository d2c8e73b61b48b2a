"""What a nozzle type is made of, and what the trade says about each kind.

The cautions are common practice, no source: they advise, they never forbid.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from trials.gas import find_gas

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

    def described(self) -> str:
        """The type in one line of trade words; unknown details are left out."""
        words = [f"{self.bore} bore" if self.bore else "", f"{self.wall} wall" if self.wall else ""]
        words += [name for name, has in (("side jets", self.side_jets), ("plated", self.plated)) if has]
        words += ["pointed body"] if self.point else []
        words += [f"orifice {self.orifice_mm:g} mm"] if self.orifice_mm else []
        return ", ".join(word for word in words if word) or "details not given"


STYLE_FIELDS = ("bore", "wall", "side_jets", "plated", "point")


def style(nozzle: Nozzle) -> tuple[object, ...]:
    """The style of a type: everything but its orifice and its price."""
    return tuple(getattr(nozzle, name) for name in STYLE_FIELDS)


def cautions(nozzles: Sequence[Nozzle], gas: str, material: str = "") -> list[str]:
    """What the trade would say about running these types with this gas (common practice, no source)."""
    found: list[str] = []
    known = find_gas(gas)
    name = known.name if known else gas.lower()
    high_pressure = name in {"nitrogen", "argon", "air"}
    for nozzle in nozzles:
        if nozzle.bore == "cylindrical" and high_pressure:
            found.append(f"{nozzle.type}: a cylindrical bore is mostly for low-pressure oxygen on mild steel.")
        if nozzle.bore == "conical" and name == "oxygen":
            found.append(f"{nozzle.type}: a conical bore is mostly for high-pressure nitrogen or argon.")
        if nozzle.wall == "double" and high_pressure:
            found.append(
                f"{nozzle.type}: a double wall is mostly run with oxygen on mild steel; with high-pressure "
                f"{name} its use is an open question."
            )
        if nozzle.side_jets:
            found.append(f"{nozzle.type}: side jets can plug and the cut then fails fast; look at them at each mount.")
        if nozzle.point:
            found.append(
                f"{nozzle.type}: a pointed body leaves less area for the height sensor; record the measured standoff."
            )
        if nozzle.wall == "double":
            found.append(f"{nozzle.type}: thin walls wear sooner; count the pierces of each specimen.")
    if len(nozzles) > 1:
        found.append(
            "Bodies that look the same can differ inside: check the bore and mark each specimen before mounting."
        )
    if high_pressure:
        found.append(
            "At high pressure the edge need not change steadily with standoff: use three standoff levels or more."
        )
    return found
