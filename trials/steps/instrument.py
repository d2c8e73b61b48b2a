"""The register of instruments: listed, or a calibration entered."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from trials.findings import Finding
from trials.store import records
from trials.store.records import Instrument

__all__ = ["Instrument", "Register", "enter_instrument", "register"]


@dataclass(frozen=True)
class Register:
    """Every instrument with each of its calibrations, and what they leave open about the readings on record.

    entered: whether a new entry was made, None where none was asked for.
    """

    instruments: tuple[Instrument, ...]
    doubts: tuple[Finding, ...]
    entered: bool | None = None


def register(folder: Path | str) -> Register:
    """The register of a trial.

    Raises
    ------
    InputError
        If the folder is no trial folder.
    """
    return _register(folder, None)


def enter_instrument(folder: Path | str, entry: Instrument, who: str) -> Register:
    """Enter an instrument, or a new calibration of one; what was entered before stays.

    Raises
    ------
    InputError
        If nobody is named, a date or a column cannot be used, or the trial has no frozen plan.
    """
    return _register(folder, records.keep_instrument(folder, entry, who))


def _register(folder: Path | str, entered: bool | None) -> Register:
    readings = records.load(folder).readings
    known = tuple(records.instruments(folder))
    return Register(known, records.calibration_doubts(known, readings), entered)
