"""Which settings each nozzle type may be cut at: crossings of the levels, less what a limit forbids."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Mapping

from trials.errors import Infeasible
from trials.trial import Level, Limit, Trial

Setting = dict[str, Level]


def crossed(trial: Trial) -> list[Setting]:
    """Every crossing of the factor levels, the last factor changing fastest; one empty setting without factors."""
    names = list(trial.factors)
    return [
        dict(zip(names, levels, strict=True)) for levels in itertools.product(*(trial.factors[n].levels for n in names))
    ]


def breaks(limit: Limit, nozzle: str, setting: Mapping[str, Level]) -> bool:
    """True where cutting `nozzle` at `setting` is against the limit; a value on the limit is allowed."""
    if limit.nozzle is not None and limit.nozzle != nozzle:
        return False
    if limit.factor is not None:
        value = float(setting[limit.factor])
        return _above(value, limit.at_most) or _above(-value, None if limit.at_least is None else -limit.at_least)
    values = [float(setting[name]) for name in limit.factors]
    weights = limit.weights or (1.0,) * len(values)
    return _above(math.prod(values), limit.product_at_most) or _above(
        sum(w * v for w, v in zip(weights, values, strict=True)), limit.sum_at_most
    )


def _above(value: float, bound: float | None) -> bool:
    return bound is not None and value > bound + 1e-9 * max(1.0, abs(bound))


def broken(trial: Trial, nozzle: str, setting: Mapping[str, Level]) -> Limit | None:
    """The first limit of the trial that forbids the setting for this nozzle type; None where it may be cut."""
    return next((limit for limit in trial.plan.limits if breaks(limit, nozzle, setting)), None)


def allowed_settings(trial: Trial, nozzle: str) -> list[Setting]:
    """The crossings that a nozzle type may be cut at.

    Raises
    ------
    Infeasible
        If limits forbid every setting of the type; the text names the type and the limit.
    """
    found = [setting for setting in crossed(trial) if broken(trial, nozzle, setting) is None]
    if not found:
        counts = Counter(broken(trial, nozzle, setting).words() for setting in crossed(trial))
        words = counts.most_common(1)[0][0]
        raise Infeasible(
            f"No setting is left for nozzle {nozzle!r}: the limit '{words}' forbids every crossing of the levels. "
            "Change the limit or the levels."
        )
    return found


def limit_corners(trial: Trial, nozzle: str) -> list[Setting]:
    """Allowed settings on a limit, between the levels: where the crossings next to it are forbidden.

    From each forbidden crossing, one factor of the limit at a time goes back to the limit, rounded to three digits
    towards the allowed side, if it stays between its lowest and highest level.
    """
    found: dict[tuple, Setting] = {}
    for setting in crossed(trial):
        limit = broken(trial, nozzle, setting)
        if limit is None:
            continue
        for name in [limit.factor] if limit.factor else limit.factors:
            levels = trial.factors[name].levels
            value = _moved_back(limit, setting, name)
            if value is None or not min(levels) <= value <= max(levels):
                continue
            moved = setting | {name: value}
            if value not in levels and broken(trial, nozzle, moved) is None:
                found.setdefault(tuple(moved.values()), moved)
    return list(found.values())


def _moved_back(limit: Limit, setting: Mapping[str, Level], name: str) -> float | None:
    """Value of one factor that puts the setting on the limit; None if no value does."""
    value = float(setting[name])
    if limit.factor is not None:
        exact = limit.at_most if _above(value, limit.at_most) else limit.at_least
        return None if exact is None else float(exact)
    numbers = {n: float(setting[n]) for n in limit.factors}
    if _above(math.prod(numbers.values()), limit.product_at_most):
        others = math.prod(numbers.values()) / value if value else 0.0
        exact = limit.product_at_most / others if others else None
    else:
        weights = dict(zip(limit.factors, limit.weights or (1.0,) * len(numbers), strict=True))
        rest = sum(weights[n] * v for n, v in numbers.items() if n != name)
        exact = (limit.sum_at_most - rest) / weights[name] if weights[name] else None
    return None if exact is None else _three_digits(exact, towards=-1.0 if exact < value else 1.0)


def _three_digits(value: float, towards: float) -> float:
    """Rounded to three significant digits, down for towards = -1 and up for 1, so that a limit is not passed."""
    if value == 0.0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 2)
    count = value / step
    whole = math.floor(count + 1e-9) if towards < 0 else math.ceil(count - 1e-9)
    return float(f"{whole * step:.3g}")


def left_out(trial: Trial) -> list[str]:
    """One sentence per nozzle type and limit on the settings that are not cut."""
    said = []
    settings = crossed(trial)
    for nozzle in trial.types:
        forbidden: dict[Limit, list[Setting]] = {}
        for setting in settings:
            limit = broken(trial, nozzle, setting)
            if limit is not None:
                forbidden.setdefault(limit, []).append(setting)
        for limit, own in forbidden.items():
            names = [limit.factor] if limit.factor else limit.factors
            shown = dict.fromkeys(words(trial, {name: setting[name] for name in names}) for setting in own)
            said.append(
                f"Nozzle {nozzle}: {len(own)} of {len(settings)} settings left out by the limit '{limit.words()}': "
                f"{'; '.join(shown)}."
            )
    return said


def words(trial: Trial, setting: Mapping[str, Level]) -> str:
    """A setting in words: `pressure 0.7 bar, standoff 1 mm`."""
    parts = []
    for name, value in setting.items():
        shown = value if isinstance(value, str) else f"{value:g}"
        parts.append(f"{name} {shown} {trial.factors[name].unit}".strip())
    return ", ".join(parts) or "the held settings"


def coded(trial: Trial, setting: Mapping[str, Level]) -> dict[str, float]:
    """Settings from -1 (lowest level) to 1 (highest); text levels 0 where equal to today's, else 1."""
    result = {}
    for name, value in setting.items():
        asked = trial.factors[name]
        if asked.is_text:
            result[name] = float(value != trial.today_settings[name])
            continue
        low, high = min(asked.levels), max(asked.levels)
        result[name] = 0.0 if high == low else (2.0 * float(value) - low - high) / (high - low)
    return result


def repeat_setting(trial: Trial, nozzle: str) -> tuple[Setting, bool]:
    """Where repeats of a type are cut: today's setting, or the nearest allowed one (then the flag is False)."""
    today = dict(trial.today_settings)
    if broken(trial, nozzle, today) is None:
        return today, True
    aim = coded(trial, today)

    def far(setting: Setting) -> float:
        here = coded(trial, setting)
        return round(sum((here[name] - aim[name]) ** 2 for name in here), 9)

    return min(allowed_settings(trial, nozzle), key=far), False
