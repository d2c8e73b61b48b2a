"""Lives from elsewhere for an edge trial: figures of the trial file, or the records of a life trial, only read."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trials.decide.typical_life import TypicalLife
from trials.endings import Part
from trials.errors import InputError, TrialError
from trials.store.records import Records
from trials.trial import Trial

if TYPE_CHECKING:
    from trials.decide.known_lives import KnownLife, KnownLives


def known_lives(records: Records) -> KnownLives | None:
    """What `lives` of a trial says; None where it says nothing.

    Raises
    ------
    InputError
        If the folder that it names holds no life trial with lives on record, or its lives cannot be used.
    """
    if records.trial.lives is None:
        return None
    from trials.decide.known_lives import UNITS, known_from

    file = str(records.folder / "trial.toml")
    try:
        lives = lives_named(records.trial, records.folder)
    except TrialError as error:
        raise InputError(
            f"the lives that the trial names cannot be used: {error}",
            file=file,
            column="lives",
            found=records.trial.lives.folder,
            do="Correct the folder, or state figures with their source under [lives].",
        ) from None
    known = known_from(lives)
    if known is None:
        raise InputError(
            "the lives that the trial names are in a unit that a cost cannot use",
            file=file,
            column="lives",
            found=lives[0].unit if lives else None,
            allowed=", ".join(UNITS),
            do="State figures in hours, metres or pierces under [lives].",
        )
    return known


def lives_named(trial: Trial, folder: Path) -> tuple[TypicalLife, ...]:
    """Lives that a trial loaded from a folder points at; raises as `lives_of_trial`."""
    asked = trial.lives
    if asked is None:
        return ()
    if asked.figures:
        return tuple(_stated(nozzle, life, asked.unit or "", asked.source) for nozzle, life in asked.figures.items())
    place = folder / asked.folder
    if not place.exists():
        raise InputError(
            "no such life trial", file=str(folder), column="lives", found=asked.folder, do="Correct it in trial.toml."
        )
    from trials.decide.lives import typical_lives
    from trials.steps.lives import read_lives, recorded_lives, study_table

    table = read_lives(place) if place.is_file() else recorded_lives(place)
    return typical_lives(study_table(table), asked.folder)


def _stated(nozzle: str, life: float, unit: str, source: str) -> TypicalLife:
    """A figure taken as median and mean, with nothing known of its spread."""
    nan = math.nan
    return TypicalLife(nozzle, Part.NOZZLE, unit, life, nan, nan, life, nan, nan, nan, nan, 0, 0, source)


def lives_kept(trial: Trial, known: KnownLives | None) -> dict[str, Any] | None:
    """Lives as they are copied into a look: what the trial file says, and the figures that were read from elsewhere."""
    if trial.lives is None:
        return None
    said: dict[str, Any] = trial.lives.model_dump(mode="json")
    if known is None or not trial.lives.folder:
        return said
    return said | {"read": {"unit": known.unit, "types": _figures(known.types), "lens": _figures(known.lens)}}


def _figures(lives: Mapping[str, KnownLife]) -> dict[str, list[float | bool]]:
    return {name: [life.life, life.log_sd, life.at_least] for name, life in lives.items()}
