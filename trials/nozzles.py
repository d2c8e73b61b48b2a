"""What a nozzle type is made of."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Bore = Literal["cylindrical", "conical", "diverging"]
Wall = Literal["single", "double"]


class Nozzle(BaseModel):
    """One nozzle type and the physical pieces (specimens) that stand for it; details may be unknown (None).

    lots: delivery or lot of each piece, in the order of the specimens; empty where not stated.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

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


def with_marks(data: dict[str, Any]) -> dict[str, Any]:
    """The data of a trial file with a number of specimens turned into so many marks: `C1`, `C2`, ... by type.

    Marks are letters of the type, as few as keep them unlike those of the other types, and a number.
    """
    nozzles = data.get("nozzles")
    if not isinstance(nozzles, list) or not all(
        isinstance(n, dict) and isinstance(n.get("type"), str) for n in nozzles
    ):
        return data
    taken = {str(mark) for n in nozzles if isinstance(n.get("specimens"), list) for mark in n["specimens"]}
    drawn = []
    for nozzle in nozzles:
        count = nozzle.get("specimens")
        if isinstance(count, int) and not isinstance(count, bool) and count > 0:
            marks = _marks(nozzle["type"], count, taken)
            taken |= set(marks)
            nozzle = {**nozzle, "specimens": marks}
        drawn.append(nozzle)
    return {**data, "nozzles": drawn}


def _marks(kind: str, count: int, taken: set[str]) -> list[str]:
    letters = "".join(letter for letter in kind.upper() if letter.isalnum()) or "N"
    starts = [letters[:length] for length in range(1, len(letters) + 1) if not letters[length - 1].isdigit()]
    free = (start for start in starts if not any(mark.startswith(start) for mark in taken))
    start = next(free, f"{letters}-")
    return [f"{start}{number}" for number in range(1, count + 1)]
