"""What a set of nozzles cannot tell apart, said before any sheet is cut."""

from __future__ import annotations

from collections.abc import Sequence

from trials.findings import About, Finding, Weight
from trials.nozzles import Nozzle
from trials.plan.kinds import PlanKind
from trials.trial import Method, Trial

FEATURES = (
    "double wall",
    "conical bore",
    "cylindrical bore",
    "diverging bore",
    "side jets",
    "plating",
    "pointed body",
)
"""What a type may have beside its size; their words stand in `trials.words.plan`."""
_SIZES = ("orifice_mm", "flow_area_mm2")


def _has(nozzle: Nozzle, feature: str) -> bool | None:
    """Whether a type has a feature; None where the trial file does not say."""
    if feature.endswith(" bore"):
        return None if nozzle.bore is None else f"{nozzle.bore} bore" == feature
    if feature == "double wall":
        return None if nozzle.wall is None else nozzle.wall == "double"
    return {"side jets": nozzle.side_jets, "plating": nozzle.plated, "pointed body": nozzle.point}[feature]


def _part(feature: str) -> str:
    """What differs between types with and without a feature: the bore, whatever its form, or the feature itself."""
    return "bore" if feature.endswith(" bore") else feature


def confounded(trial: Trial) -> list[Finding]:
    """What these nozzles cannot separate; empty where nothing is confounded."""
    return _style_with_size(trial.nozzles) + _style_with_style(trial.nozzles) + _one_specimen(trial)


Sides = tuple[list[Nozzle], list[Nozzle]]


def _splits(nozzles: Sequence[Nozzle]) -> dict[str, Sides]:
    """Types with and without each feature, for features that divide the types which state them."""
    found = {}
    for feature in FEATURES:
        sides = ([n for n in nozzles if _has(n, feature) is True], [n for n in nozzles if _has(n, feature) is False])
        if all(sides):
            found[feature] = sides
    return found


def _division(sides: Sides) -> frozenset[frozenset[str]]:
    return frozenset(frozenset(n.type for n in side) for side in sides)


def _style_with_size(nozzles: Sequence[Nozzle]) -> list[Finding]:
    found, told = [], set()
    for feature, sides in _splits(nozzles).items():
        for size in _SIZES:
            own, rest = ([getattr(n, size) for n in side] for side in sides)
            key = (_division(sides), _part(feature), size)
            if None in own + rest or set(own) & set(rest) or key in told:
                continue
            told.add(key)
            facts = {"feature": feature, "size": size, "side": _side(own, rest)}
            found.append(Finding(PlanKind.STYLE_WITH_SIZE, facts=facts, weight=Weight.COULD_CHANGE))
    return found


def _side(own: Sequence[float], rest: Sequence[float]) -> str:
    """Which sizes the types with the feature have: `larger`, `smaller`, or `other` ones than all others."""
    if min(own) > max(rest):
        return "larger"
    return "smaller" if max(own) < min(rest) else "other"


def _style_with_style(nozzles: Sequence[Nozzle]) -> list[Finding]:
    """Features that divide the types in the same way."""
    groups: dict[frozenset[frozenset[str]], list[str]] = {}
    for feature, sides in _splits(nozzles).items():
        parts = groups.setdefault(_division(sides), [])
        if _part(feature) not in parts:
            parts.append(_part(feature))
    return [
        Finding(PlanKind.STYLES_TOGETHER, facts={"features": tuple(parts)}, weight=Weight.COULD_CHANGE)
        for parts in groups.values()
        if len(parts) > 1
    ]


def _one_specimen(trial: Trial) -> list[Finding]:
    single = tuple(nozzle.type for nozzle in trial.nozzles if len(nozzle.specimens) == 1)
    if trial.plan.method is Method.BENCH or not single:
        return []
    kind = PlanKind.ONE_OF_EACH if len(single) == len(trial.nozzles) else PlanKind.ONE_SPECIMEN
    return [Finding(kind, About(nozzles=single), weight=Weight.COULD_CHANGE)]
