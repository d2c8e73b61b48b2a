"""Settings dealt to mounts in turn, so that every nozzle type meets every setting equally often."""

from __future__ import annotations

import math

from trials.plan.settings import Setting, allowed_settings, repeat_setting
from trials.trial import Trial


def deal(settings: int, mounts: int, each: int) -> tuple[tuple[int, ...], ...]:
    """Indices of `each` settings for each of so many mounts; any two settings are dealt equally often, within one.

    Neighbours in the deal lie far apart in the list, and each round through the list has a step of its own, so that
    the same settings do not always share a mount. Mounts added later leave earlier ones as they are.

    >>> deal(4, 4, 2)
    ((0, 1), (2, 3), (0, 3), (2, 1))
    """
    steps = [step for step in range(1, max(settings, 2)) if math.gcd(step, settings) == 1]
    steps.sort(key=lambda step: abs(step - 0.38 * settings))
    rounds = math.ceil(mounts * each / settings) if settings else 0
    dealt = [(place * steps[turn % len(steps)]) % settings for turn in range(rounds) for place in range(settings)]
    return tuple(tuple(dealt[mount * each : (mount + 1) * each]) for mount in range(mounts))


def dealt_settings(trial: Trial, nozzle: str, repeats: int) -> list[Setting]:
    """The settings of a type that are dealt: all it may be cut at, without the repeated one if there are repeats."""
    allowed = allowed_settings(trial, nozzle)
    if not repeats:
        return allowed
    again, _ = repeat_setting(trial, nozzle)
    return [setting for setting in allowed if setting != again]
