"""Chance that the worst of several readings keeps to a limit, looked up for many edges at once."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from trials.infer.chance.spline import Curve, Sheet, curve, sheet

ENOUGH = 2_000  # edges from which on looking up is quicker than integrating
HALVINGS = 50  # of twice the reach: 2e-14
REACH = 9.0  # standard deviations beyond which the chance is 0 or 1
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(128)  # to 1e-12 for the worst of fifty


def worst_within(room: np.ndarray, between: np.ndarray, reading: np.ndarray, readings: int) -> np.ndarray:
    """Chance that the highest of so many readings lies within `room` of the mean, to 1e-6.

    room, between, reading: arrays of one shape; the sd between edges and that of readings, not both zero.
    """
    total = np.hypot(between, reading)
    place = np.clip(room / total, -REACH, REACH)
    return np.clip(_table(readings)(np.arctan2(between, reading), place), 0.0, 1.0)


def room_of_worst(share: float, between: np.ndarray, reading: np.ndarray, readings: int) -> np.ndarray:
    """Room within which the highest of so many readings lies with chance `share`: `worst_within` turned round, to 1e-5
    of the sd of both."""
    return np.asarray(np.hypot(between, reading) * _places(share, readings)(np.arctan2(between, reading)))


@lru_cache(maxsize=8)
def _places(share: float, readings: int) -> Curve:
    """Spline of that room, in standard deviations of both, over the angle of `_table`; halved until it is found."""
    angle = np.linspace(0.0, np.pi / 2, 49)
    low, high = np.full(len(angle), -REACH), np.full(len(angle), REACH)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        short = _table(readings)(angle, middle) < share
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return curve(angle, (low + high) / 2)


@lru_cache(maxsize=8)
def _table(readings: int) -> Sheet:
    """Spline over the angle whose tangent is between / reading, and the room in standard deviations of both."""
    angle, room = np.linspace(0.0, np.pi / 2, 49), np.linspace(-REACH, REACH, 289)
    nodes, weights = REACH * _NODES, REACH * _WEIGHTS
    density = weights * np.exp(-(nodes**2) / 2) / np.sqrt(2 * np.pi)
    worst = readings * density * ndtr(nodes) ** (readings - 1)
    found = np.empty((len(angle), len(room)))
    for i, at in enumerate(angle):
        if np.tan(at) <= 1.0:  # readings spread more: integrate over the edge
            found[i] = ndtr((room[:, None] - np.sin(at) * nodes) / np.cos(at)) ** readings @ density
        else:
            found[i] = ndtr((room[:, None] - np.cos(at) * nodes) / np.sin(at)) @ worst
    return sheet(angle, room, found)
