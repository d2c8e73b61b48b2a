"""Which settings each nozzle type may be cut at: crossings of the levels, less what a limit forbids."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Mapping

from trials.errors import Infeasible
from trials.plan.methods.model_matrix import Factors, candidate_settings
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
    """Allowed settings where limits cut a line of crossings or meet each other, between the levels.

    Values between the levels are rounded to three digits towards the allowed side.
    """
    numbers = {name: asked.levels for name, asked in trial.factors.items() if not asked.is_text}
    limits = [limit for limit in trial.plan.limits if limit.nozzle in (None, nozzle)]
    if not limits:
        return []
    asked = [limit.model_dump(exclude={"nozzle"}, exclude_defaults=True) for limit in limits]
    # a single level needs some range, which only the coding uses
    ranges = {
        name: (min(levels), max(levels) if len(levels) > 1 else levels[0] + 1) for name, levels in numbers.items()
    }
    columns = candidate_settings(Factors((), ranges), numbers, asked)
    points = [{n: float(columns[n][i]) for n in numbers} for i in range(len(columns[next(iter(numbers))]))]
    words_of = {name: asked.levels for name, asked in trial.factors.items() if asked.is_text}
    found = []
    for point, levels in itertools.product(points, itertools.product(*words_of.values())):
        near = [[v] if v in numbers[n] else [_three_digits(v, way) for way in (-1, 1)] for n, v in point.items()]
        for values in itertools.product(*near):
            mixed = dict(zip(numbers, values, strict=True)) | dict(zip(words_of, levels, strict=True))
            setting = {name: mixed[name] for name in trial.factors}
            inside = all(min(numbers[n]) <= setting[n] <= max(numbers[n]) for n in numbers)
            if inside and broken(trial, nozzle, setting) is None:
                found.append(setting)
                break
    grid = crossed(trial)
    return [setting for setting in found if setting not in grid]


def _three_digits(value: float, towards: int) -> float:
    """Rounded to three significant digits, down for towards = -1, up for 1."""
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
