"""Parts of a trial file that the freeze never covers: prices of the shop, where records lie, lives from elsewhere.

They change what a paper says in money, not what was asked of the edges; each kept look holds its own copy.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

Price = Annotated[float | None, Field(default=None, ge=0, allow_inf_nan=False)]
Above = Annotated[float | None, Field(default=None, gt=0, allow_inf_nan=False)]
LifeUnit = Literal["hours", "metres", "pierces"]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Costs(_Part):
    """`[costs]`: what the shop pays, in the currency of the trial; None where not given.

    machine_hour, bench_hour: per hour; sheet_m2: per square metre of sheet; gas_m3: per cubic metre at 0 C and
    1.01325 bar; mount_minutes: to change, centre and calibrate a nozzle; coupon_minutes, reading_minutes: per coupon
    and reading; rework_per_edge: of an edge that fails; edge_m: metres of such an edge; metres_per_year: cut per year;
    lens_price, lens_hours: of a lens or protective window, and the hours of cutting that it lasts.
    """

    machine_hour: Price = None
    bench_hour: Price = None
    sheet_m2: Price = None
    gas_m3: Price = None
    mount_minutes: Price = None
    coupon_minutes: Price = None
    reading_minutes: Price = None
    rework_per_edge: Price = None
    edge_m: Above = None
    metres_per_year: Price = None
    lens_price: Price = None
    lens_hours: Above = None

    @property
    def stated(self) -> bool:
        """Whether the trial file states anything here; money appears nowhere otherwise."""
        return self != Costs()


class StorePlace(_Part):
    """`[store]`: where records are kept.

    url: of a PostgreSQL database of a lab, without a password; empty for `trial.db` beside the trial file. trial: the
    identity of the records that belong to this question, written by the tool when the plan is frozen.
    """

    url: str = ""
    trial: Annotated[str, Field(pattern=r"^([0-9a-f]{12})?$")] = ""

    @model_validator(mode="after")
    def _no_password(self) -> StorePlace:
        if re.search(r"://[^/@?]*:[^/@]*@|[?&]password=", self.url):
            raise ValueError("store.url holds a password; leave it out and give it in ~/.pgpass or in PGPASSWORD")
        return self


class Lives(_Part):
    """`lives`: the folder of a life trial, or figures with their source.

    folder: as written, taken from the folder of the trial; figures: nozzle type -> typical life in `unit`.
    """

    folder: str = ""
    figures: dict[str, Annotated[float, Field(gt=0, allow_inf_nan=False)]] = Field(default_factory=dict)
    unit: LifeUnit | None = None
    source: str = ""

    @model_validator(mode="after")
    def _one_of_two(self) -> Lives:
        if bool(self.folder) == bool(self.figures):
            raise ValueError("lives needs the folder of a life trial, or figures by nozzle type; give one of them")
        if self.figures and (self.unit is None or not self.source.strip()):
            raise ValueError("lives: figures need their unit (hours, metres or pierces) and a source")
        return self


def _folder_or_table(value: object) -> object:
    return {"folder": value} if isinstance(value, str) else value


LivesAsWritten = Annotated[Lives, BeforeValidator(_folder_or_table)]
"""`lives = "../lives"`, or a table `[lives]`."""
