"""What was cut and what the drawing asks of an edge, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trials.grade.conformity import Demand, demands
from trials.grade.kinds import Item
from trials.words.language import text, word
from trials.words.numbers import plain

if TYPE_CHECKING:
    from trials.standards import ExecutionClass
    from trials.trial import Application, Requirement


def job_and_requirement(job: Application) -> str:
    """What was cut and what the drawing asks, in one line."""
    what = job_words(job) or text("Material not given")
    demand = ", ".join(requirement_parts(job.required)) or text("none stated")
    return text("{job}. Requirement: {demand}.", job=what, demand=demand)


def job_words(job: Application) -> str:
    """Thickness, material, gas and kind of cut, as far as they are known."""
    parts = [plain(job.thickness_mm, "mm")] if job.thickness_mm else []
    parts += [] if job.material in ("", "not given") else [job.material]
    parts += [word(job.gas)] if job.gas else []
    parts += [text("flame cut") if job.cut == "flame" else text("fusion cut")] if job.cut else []
    return ", ".join(parts)


def requirement_parts(asked: Requirement) -> list[str]:
    """Each thing that the drawing asks of an edge."""
    parts = [text("execution class {name}", name=asked.execution_class)] if asked.execution_class else []
    parts += (
        [text("squareness u in range {range} or better", range=asked.squareness_range)]
        if asked.squareness_range
        else []
    )
    parts += [text("squareness u at most {limit}", limit=plain(asked.u_mm, "mm"))] if asked.u_mm else []
    parts += (
        [text("roughness Rz5 in range {range} or better", range=asked.roughness_range)] if asked.roughness_range else []
    )
    parts += [text("roughness Rz5 at most {limit}", limit=plain(asked.rz5_um, "um"))] if asked.rz5_um else []
    parts += [text("dross grade at most {grade}", grade=asked.dross_grade)] if asked.dross_grade is not None else []
    return parts


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
    parts = (
        text(asked.text)
        if asked.text
        else text("u range {u}, Rz5 range {rz5}", u=asked.squareness_range, rz5=asked.roughness_range)
    )
    return text(
        "{name} of EN 1090-2:{edition} ({parts}; {status})",
        name=asked.name,
        edition=asked.edition,
        parts=parts,
        status=asked.status,
    )
