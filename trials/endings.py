"""Whose life it was, and how the life of a nozzle, lens or window ended."""

from __future__ import annotations

from enum import StrEnum


class Part(StrEnum):
    """What wears: the nozzle itself, or the lens or protective window behind it."""

    NOZZLE = "nozzle"
    LENS = "lens"
    WINDOW = "window"


class Ended(StrEnum):
    """Cause of the end of a life; taken off while good is no failure."""

    WORN = "worn"
    PLUGGED = "plugged"
    DAMAGED = "damaged"  # in a crash or by a part that tipped up
    OUT_OF_CENTRE = "out_of_centre"
    WINDOW_BURNT = "window_burnt"
    LENS_BURNT = "lens_burnt"
    NOT_SAID = "not_said"  # it failed, and nobody wrote down how
    TAKEN_OFF_GOOD = "taken_off_good"

    @property
    def failed(self) -> bool:
        """False where the piece was still good."""
        return self is not Ended.TAKEN_OFF_GOOD
