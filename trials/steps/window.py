"""The operating window of a trial folder, as values, JSON and picture."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trials.errors import InputError
from trials.steps.files import plain, write_bytes
from trials.steps.fit import evidence
from trials.steps.load import load
from trials.store.records.changed_setting import nearest
from trials.trial import Level, Trial

if TYPE_CHECKING:
    from trials.decide.window_result import WindowStudy


def window(
    folder: Path | str, across: Sequence[str] = (), held: Sequence[str] = (), only: str | None = None
) -> WindowStudy:
    """Where each nozzle type meets the whole requirement, over two factors.

    across: names of the two factors, the first two with several numbers if empty; held: `NAME=VALUE` of others, those
    not named are at today's setting; only: the one nozzle type that is asked about, all if None.

    Raises
    ------
    InputError
        If nothing can be studied, or a factor or setting is not one of the trial.
    """
    from trials.decide.response import Studied, fit_response
    from trials.decide.window import study_window

    records = load(folder)
    trial, found = records.trial, evidence(records)
    fits = {name: fit_response(trial, name, table) for name, table in found.tables.items()}
    studied = {name: fitted for name, fitted in fits.items() if isinstance(fitted, Studied)}
    settings = held_settings(trial, held)
    return study_window(trial, studied, found.coupons, found.tables.get("dross"), across, settings, only=only)


def held_settings(trial: Trial, held: Sequence[str]) -> dict[str, Level]:
    """Settings typed as `NAME=VALUE`; raises InputError where one is not of the trial."""
    found: dict[str, Level] = {}
    for text in held:
        name, _, value = (part.strip() for part in text.partition("="))
        if name not in trial.factors or not value:
            hint = "" if name in trial.factors else nearest(name, list(trial.factors))
            allowed = ", ".join(trial.factors)
            do = hint or "Write NAME=VALUE, such as standoff=1."
            raise InputError("no such setting", column="--at", found=text, allowed=allowed, do=do)
        found[name] = value if trial.factors[name].is_text else _number(value, text)
    return found


def _number(value: str, text: str) -> float:
    try:
        return float(value)
    except ValueError:
        raise InputError(
            "not a number", column="--at", found=text, do="Write NAME=VALUE, such as standoff=1."
        ) from None


def window_json(found: WindowStudy) -> dict[str, Any]:
    """A window as plain values, its sentences beside its fields; keys are listed in DEVELOPERS.md."""
    from trials.words.window import sentences

    facts: dict[str, Any] = plain(found)
    return {"schema": 2, **facts, "sentences": list(sentences(found))}


def keep_window_picture(found: WindowStudy, path: Path) -> None:
    """Write the maps as .svg, .png or .pdf; raises InputError for another ending."""
    from trials.report.figures.window import window_figure
    from trials.report.pictures import picture_bytes

    write_bytes(path, picture_bytes(window_figure(found), path.suffix))
