"""What the drawing asks of an edge, in words."""

from __future__ import annotations

from trials.grade.conformity import Demand, demands
from trials.grade.kinds import Item
from trials.standards import ExecutionClass
from trials.trial import Requirement
from trials.words.language import text
from trials.words.numbers import plain


def item(name: str) -> str:
    """How a sentence names an item that is judged."""
    return {Item.SQUARENESS: "u", Item.ROUGHNESS: "Rz5"}.get(Item(name)) or text("dross")


def required(requirement: Requirement) -> tuple[str, ...]:
    """The parts of a requirement; empty if nothing is required."""
    return tuple(_part(demand) for demand in demands(requirement))


def _part(demand: Demand) -> str:
    if demand.execution_class is not None:
        return class_sentence(demand.execution_class)
    assert demand.item is not None
    if demand.range is not None:
        return text("{item} in range {n}", item=item(demand.item), n=demand.range)
    assert demand.limit is not None
    value = plain(demand.limit.value, demand.limit.unit)
    if demand.item == Item.DROSS:
        return text("dross grade up to {value}", value=value)
    return text("{item} up to {value}", item=item(demand.item), value=value)


def class_sentence(asked: ExecutionClass) -> str:
    """What an execution class of EN 1090-2 asks, with its edition and how the figures were checked."""
    parts = asked.text or text("u range {u}, Rz5 range {rz5}", u=asked.squareness_range, rz5=asked.roughness_range)
    return text(
        "{name} of EN 1090-2:{edition} ({parts}; {status})",
        name=asked.name,
        edition=asked.edition,
        parts=parts,
        status=asked.status,
    )
