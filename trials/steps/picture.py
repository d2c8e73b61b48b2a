"""One figure of a trial as a file, for a slide."""

from __future__ import annotations

from pathlib import Path

from trials.errors import InputError
from trials.steps.files import check_place, write_bytes
from trials.steps.fit import evidence
from trials.steps.grade import require_plan
from trials.steps.load import load
from trials.steps.verdict_facts import verdict_extras
from trials.store.language import units_of


def picture(folder: Path | str, name: str, path: Path) -> Path:
    """Write the figure of that name as `path` asks (.svg, .png or .pdf) and return the path.

    Raises
    ------
    InputError
        If no plan is frozen, the trial has no such figure, or the ending is none of the three.
    """
    from trials.report.gallery import sheet_gallery, study_gallery
    from trials.report.pictures import SUFFIXES, picture_bytes

    check_place(path, SUFFIXES)
    records = load(folder)
    require_plan(records)
    known = dict(sheet_gallery(records.trial, records.coupons))
    if name not in known and len(records.readings):
        from trials.decide.study import study

        found = evidence(records)
        with units_of(records.trial):
            known |= study_gallery(study(records.trial, found), records.trial, verdict_extras(records, found))
    if name not in known:
        raise InputError(
            "no such picture", file=str(folder), found=name, allowed=", ".join(known) or "none yet", do="Name one."
        )
    with units_of(records.trial):
        drawn = known[name]()["svg"]
    write_bytes(path, picture_bytes(drawn, path.suffix), SUFFIXES)
    return path
