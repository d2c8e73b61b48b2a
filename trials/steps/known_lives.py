"""Lives from elsewhere for an edge trial: figures of the trial file, or the records of a life trial, only read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

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
    from trials.steps.lives import lives_named

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
