"""Lives from elsewhere for an edge trial: figures of the trial file, or the records of a life trial, only read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from trials.errors import InputError, TrialError
from trials.store.records import Records
from trials.trial import Trial

if TYPE_CHECKING:
    from trials.decide.known_lives import KnownLives


def known_lives(records: Records) -> KnownLives | None:
    """What `lives` of a trial says; None where it says nothing.

    Raises
    ------
    InputError
        If the folder that it names holds no life trial with lives on record, or its lives cannot be used.
    """
    asked = records.trial.lives
    if asked is None:
        return None
    if not asked.folder:
        return _stated(records.trial)
    from trials.decide.known_lives import UNITS, lives_of_study
    from trials.steps.lives import recorded_lives, study_table

    place = records.folder / asked.folder
    try:
        table = recorded_lives(place)
        found = study_table(table)
    except TrialError as error:
        raise InputError(
            f"the life trial that `lives` names cannot be used: {error}",
            file=str(records.folder / "trial.toml"),
            column="lives",
            found=asked.folder,
            do="Correct the folder, or state figures with their source under [lives].",
        ) from None
    known = lives_of_study(found.study, table.unit, asked.folder)
    if known is None:
        raise InputError(
            "the life trial that `lives` names counts lives in a unit that a cost cannot use",
            file=str(place),
            found=table.unit,
            allowed=", ".join(UNITS),
            do="State figures in hours, metres or pierces under [lives].",
        )
    return known


def _stated(trial: Trial) -> KnownLives | None:
    from trials.decide.known_lives import KnownLife, KnownLives

    asked = trial.lives
    if asked is None or asked.unit is None:
        return None
    return KnownLives(asked.unit, asked.source, {name: KnownLife(life) for name, life in asked.figures.items()})


def lives_kept(trial: Trial, known: KnownLives | None) -> dict[str, Any] | None:
    """Lives as they are copied into a look: what the trial file says, and the figures that were read from elsewhere."""
    if trial.lives is None:
        return None
    said: dict[str, Any] = trial.lives.model_dump(mode="json")
    return said if known is None or not trial.lives.folder else said | {"read": _figures(known)}


def _figures(known: KnownLives) -> Mapping[str, Any]:
    types = {name: [life.life, life.log_sd, life.at_least] for name, life in known.types.items()}
    return {"unit": known.unit, "types": types}
