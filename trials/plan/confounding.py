"""What a set of nozzles cannot tell apart, said before any sheet is cut."""

from __future__ import annotations

from collections.abc import Sequence

from trials.nozzles import Nozzle
from trials.trial import Trial

# (feature, what the nozzles that have it are called, what it is called beside the orifice)
_FEATURES = (
    ("double wall", "double-wall nozzle", "wall"),
    ("conical bore", "conical nozzle", "bore form"),
    ("cylindrical bore", "cylindrical nozzle", "bore form"),
    ("diverging bore", "diverging nozzle", "bore form"),
    ("side jets", "nozzle with side jets", "side jets"),
    ("plating", "plated nozzle", "plating"),
    ("pointed body", "pointed nozzle", "pointed body"),
)
_SIZES = (("orifice_mm", "orifice"), ("flow_area_mm2", "flow area"))


def _has(nozzle: Nozzle, feature: str) -> bool | None:
    """Whether a type has a feature; None where the trial file does not say."""
    if feature.endswith(" bore"):
        return None if nozzle.bore is None else f"{nozzle.bore} bore" == feature
    if feature == "double wall":
        return None if nozzle.wall is None else nozzle.wall == "double"
    return {"side jets": nozzle.side_jets, "plating": nozzle.plated, "pointed body": nozzle.point}[feature]


def confounded(trial: Trial) -> list[str]:
    """Plain sentences on what these nozzles cannot separate; empty where nothing is confounded."""
    return _style_with_size(trial.nozzles) + _style_with_style(trial.nozzles) + _one_specimen(trial)


def _splits(nozzles: Sequence[Nozzle]) -> dict[str, tuple[list[Nozzle], list[Nozzle]]]:
    """Types with and without each feature, for features that divide the types which state them."""
    found = {}
    for feature, _, _ in _FEATURES:
        sides = ([n for n in nozzles if _has(n, feature) is True], [n for n in nozzles if _has(n, feature) is False])
        if all(sides):
            found[feature] = sides
    return found


def _style_with_size(nozzles: Sequence[Nozzle]) -> list[str]:
    said, told = [], set()
    for feature, group, name in _FEATURES:
        split = _splits(nozzles).get(feature)
        if split is None:
            continue
        division = frozenset(n.type for n in split[0]), frozenset(n.type for n in split[1])
        for field, size in _SIZES:
            sides = [[getattr(n, field) for n in side] for side in split]
            key = (frozenset(division), name, field)
            if None in sides[0] + sides[1] or set(sides[0]) & set(sides[1]) or key in told:
                continue
            told.add(key)
            which = _which(sides[0], sides[1], size)
            said.append(f"Every {group} here has {which}: {name} and {size} cannot be told apart.")
    return said


def _which(own: Sequence[float], rest: Sequence[float], size: str) -> str:
    if min(own) > max(rest):
        return f"the larger {size}"
    if max(own) < min(rest):
        return f"the smaller {size}"
    return f"{'an' if size[0] in 'aeiou' else 'a'} {size} that no other nozzle has"


def _style_with_style(nozzles: Sequence[Nozzle]) -> list[str]:
    """Features that divide the types in the same way."""
    groups: dict[frozenset, list[str]] = {}
    named = {feature: name for feature, _, name in _FEATURES}
    for feature, (own, rest) in _splits(nozzles).items():
        division = frozenset((frozenset(n.type for n in own), frozenset(n.type for n in rest)))
        names = groups.setdefault(division, [])
        if named[feature] not in names:
            names.append(named[feature])
    return [
        f"{_listed(names).capitalize()} change together in these nozzles and cannot be told apart."
        for names in groups.values()
        if len(names) > 1
    ]


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _one_specimen(trial: Trial) -> list[str]:
    if trial.plan.method == "bench":
        return []
    single = [nozzle.type for nozzle in trial.nozzles if len(nozzle.specimens) == 1]
    if not single:
        return []
    if len(single) == len(trial.nozzles):
        number = {1: "this one nozzle", 2: "these two nozzles"}.get(len(single), f"these {len(single)} nozzles")
        return [f"One specimen per type: the trial is about {number}, not about the types they stand for."]
    return [f"One specimen only of {_listed(single)}: what is found there holds for that piece, not for its type."]
