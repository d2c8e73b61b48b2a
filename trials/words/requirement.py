"""What was cut and what the drawing asks, in words."""

from __future__ import annotations

from trials.trial import Application, Requirement
from trials.words.language import text
from trials.words.numbers import plain


def job_and_requirement(job: Application) -> str:
    """What was cut and what the drawing asks, in one line."""
    what = job_words(job) or text("Material not given")
    demand = ", ".join(requirement_parts(job.required)) or text("none stated")
    return text("{job}. Requirement: {demand}.", job=what, demand=demand)


def job_words(job: Application) -> str:
    """Thickness, material, gas and kind of cut, as far as they are known."""
    parts = [plain(job.thickness_mm, "mm")] if job.thickness_mm else []
    parts += [] if job.material in ("", "not given") else [job.material]
    parts += [job.gas] if job.gas else []
    parts += [text("flame cut") if job.cut == "flame" else text("fusion cut")] if job.cut else []
    return ", ".join(parts)


def requirement_parts(asked: Requirement) -> list[str]:
    """Each thing that the drawing asks of an edge."""
    parts = [text("execution class {name}", name=asked.execution_class)] if asked.execution_class else []
    parts += [text("u in range {range} or better", range=asked.squareness_range)] if asked.squareness_range else []
    parts += [text("u at most {limit}", limit=plain(asked.u_mm, "mm"))] if asked.u_mm else []
    parts += [text("Rz5 in range {range} or better", range=asked.roughness_range)] if asked.roughness_range else []
    parts += [text("Rz5 at most {limit}", limit=plain(asked.rz5_um, "um"))] if asked.rz5_um else []
    parts += [text("dross grade at most {grade}", grade=asked.dross_grade)] if asked.dross_grade is not None else []
    return parts
