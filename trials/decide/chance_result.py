"""The chance that the next edge of a nozzle type meets what the drawing asks: plain values."""

from __future__ import annotations

from dataclasses import dataclass

from trials.findings import Amount, Finding, Place


@dataclass(frozen=True)
class Asked:
    """What an edge has to meet: one response within its limit; without a response all requirements together."""

    response: str = ""
    limit: Amount | None = None


TOGETHER = Asked()


@dataclass(frozen=True)
class ChanceResult:
    """Chance that the next edge of a type meets one requirement (or all), at a place.

    low: 95 % confident lower bound; cuts, lost: coupons of the type that were tried, and lost (they count as not
    meeting); most: what the bound can be at most by the number of cuts alone; share_met of n_coupons: coupons that met
    everything, over all settings (for all together only); notes: what is found about this chance; rests_on: what it
    takes for granted, alike for many.
    """

    nozzle: str
    asked: Asked
    place: Place
    estimate: float
    low: float
    share_met: float | None = None
    n_coupons: int = 0
    cuts: int = 0
    lost: int = 0
    notes: tuple[Finding, ...] = ()
    rests_on: tuple[Finding, ...] = ()
    most: float | None = None
