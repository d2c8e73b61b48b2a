"""What the trade would say about running nozzle types with a gas: common practice, no source.

Cautions advise, they never forbid.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from trials.findings import About, Finding, Weight
from trials.gas import find_gas
from trials.nozzles import Nozzle
from trials.plan.kinds import PlanKind
from trials.trial import Trial

HIGH_PRESSURE = ("nitrogen", "argon", "air")
"""Gases that are cut with at ten bar and more (common practice, no source)."""

_OF_A_TYPE: tuple[tuple[PlanKind, Callable[[Nozzle, str], bool]], ...] = (
    (PlanKind.CYLINDRICAL_HIGH_PRESSURE, lambda n, gas: n.bore == "cylindrical" and gas in HIGH_PRESSURE),
    (PlanKind.CONICAL_OXYGEN, lambda n, gas: n.bore == "conical" and gas == "oxygen"),
    (PlanKind.DOUBLE_WALL_HIGH_PRESSURE, lambda n, gas: n.wall == "double" and gas in HIGH_PRESSURE),
    (PlanKind.SIDE_JETS_PLUG, lambda n, gas: bool(n.side_jets)),
    (PlanKind.POINTED_BODY, lambda n, gas: bool(n.point)),
    (PlanKind.THIN_WALLS, lambda n, gas: bool(n.side_jets)),
)


def nozzle_cautions(trial: Trial, nozzles: Sequence[Nozzle] | None = None) -> list[Finding]:
    """Cautions on the types of a trial, or on some of them, with its gas."""
    known = trial.nozzles if nozzles is None else nozzles
    known_gas = find_gas(trial.application.gas)
    gas = known_gas.name if known_gas else trial.application.gas.strip().lower()
    found = [
        Finding(kind, About(nozzle=nozzle.type), {"gas": gas}, Weight.LOOK_AT)
        for nozzle in known
        for kind, applies in _OF_A_TYPE
        if applies(nozzle, gas)
    ]
    if len(known) > 1:
        found.append(Finding(PlanKind.LOOK_ALIKE, weight=Weight.LOOK_AT))
    if gas in HIGH_PRESSURE:
        found.append(Finding(PlanKind.STANDOFF_NOT_STEADY, weight=Weight.LOOK_AT))
    return found


def no_worthwhile(trial: Trial) -> list[Finding]:
    """Decisive grades without a worthwhile difference, which end in no word."""
    names = [name for name in trial.primaries if trial.responses[name].worthwhile is None]
    grade = trial.application.required.dross_grade
    return [
        Finding(PlanKind.GRADE_WITHOUT_WORTHWHILE, About(response=name), {"grade": grade}, Weight.COULD_CHANGE)
        for name in names
    ]
