"""Which settings each nozzle type may be cut at: crossings of the levels, less what a limit forbids."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from trials.errors import Infeasible
from trials.findings import About, Amount, Fact, Finding
from trials.plan.kinds import PlanKind
from trials.trial import Factor, Level, Limit, Trial

Setting = dict[str, Level]


def crossed(trial: Trial) -> list[Setting]:
    """Every crossing of the factor levels, the last factor changing fastest; one empty setting without factors."""
    names = list(trial.factors)
    return [
        dict(zip(names, levels, strict=True)) for levels in itertools.product(*(trial.factors[n].levels for n in names))
    ]


def broken(trial: Trial, nozzle: str, setting: Mapping[str, Level]) -> Limit | None:
    """The first limit of the trial that forbids the setting for this nozzle type; None where it may be cut."""
    return next((limit for limit in trial.plan.limits if limit.forbids(nozzle, setting)), None)


def allowed_settings(trial: Trial, nozzle: str) -> list[Setting]:
    """The crossings that a nozzle type may be cut at.

    Raises
    ------
    Infeasible
        If limits forbid every setting of the type; the text names the type and the limit.
    """
    limits = [(setting, broken(trial, nozzle, setting)) for setting in crossed(trial)]
    found = [setting for setting, limit in limits if limit is None]
    if not found:
        most, _ = Counter(limit.formula for _, limit in limits if limit is not None).most_common(1)[0]
        raise Infeasible(
            f"No setting is left for nozzle {nozzle!r}: the limit '{most}' forbids every crossing of the levels. "
            "Change the limit or the levels."
        )
    return found


def limit_corners(trial: Trial, nozzle: str) -> list[Setting]:
    """Allowed settings where limits cut a line of crossings or meet each other, between the levels.

    Values between the levels are rounded to three digits towards the allowed side.
    """
    limits = [limit for limit in trial.plan.limits if limit.nozzle in (None, nozzle)]
    if not limits:
        return []
    numbers = {name: asked.numbers for name, asked in trial.factors.items() if not asked.is_text}
    words = {name: asked.levels for name, asked in trial.factors.items() if asked.is_text}
    grid, found = crossed(trial), []
    for point, levels in itertools.product(_corner_points(numbers, nozzle, limits), itertools.product(*words.values())):
        setting = _rounded_inside(trial, nozzle, point, dict(zip(words, levels, strict=True)))
        if setting is not None and setting not in grid:
            found.append(setting)
    return found


def _corner_points(
    numbers: Mapping[str, Sequence[float]], nozzle: str, limits: Sequence[Limit]
) -> list[dict[str, float]]:
    """Points on the limits: forbidden crossings with one factor at a time moved back onto a limit that they break.

    What one move leaves forbidden by another limit moves again, so that crossings of two limits are found.
    """
    crossings = [dict(zip(numbers, v, strict=True)) for v in itertools.product(*numbers.values())]
    forbidden = [point for point in crossings if _forbidden(point, nozzle, limits)]
    found: list[dict[str, float]] = []
    for _ in limits:
        moved = _each_once(move for point in forbidden for move in _moves(point, nozzle, limits, numbers))
        found += [point for point in moved if not _forbidden(point, nozzle, limits)]
        forbidden = [point for point in moved if _forbidden(point, nozzle, limits)]
    return _each_once(found)


def _forbidden(point: Mapping[str, Level], nozzle: str, limits: Sequence[Limit]) -> bool:
    return any(limit.forbids(nozzle, point) for limit in limits)


def _moves(
    point: Mapping[str, float], nozzle: str, limits: Sequence[Limit], numbers: Mapping[str, Sequence[float]]
) -> Iterable[dict[str, float]]:
    """The point with one factor of a limit it breaks moved onto that limit, where this stays within the levels."""
    for limit in limits:
        if not limit.forbids(nozzle, dict(point)):
            continue
        for name in limit.named:
            value = limit.onto(dict(point), name)
            if value is not None and min(numbers[name]) <= value <= max(numbers[name]):
                yield {**point, name: value}


def _each_once(points: Iterable[dict[str, float]]) -> list[dict[str, float]]:
    """Repeated points dropped, first kept; numbers equal to 9 digits are the same."""
    first = {tuple(round(value, 9) for value in point.values()): point for point in reversed(list(points))}
    return list(reversed(first.values()))


def _rounded_inside(
    trial: Trial, nozzle: str, point: Mapping[str, float], words: Mapping[str, Level]
) -> Setting | None:
    """The point with values between the levels at three digits, within levels and limits; None where none is."""
    levels = {name: trial.factors[name].numbers for name in point}
    near = [[v] if v in levels[n] else [_three_digits(v, way) for way in (-1, 1)] for n, v in point.items()]
    for values in itertools.product(*near):
        numbers = dict(zip(point, values, strict=True))
        setting = {name: words[name] if name in words else numbers[name] for name in trial.factors}
        inside = all(min(levels[n]) <= value <= max(levels[n]) for n, value in numbers.items())
        if inside and broken(trial, nozzle, setting) is None:
            return setting
    return None


def _three_digits(value: float, towards: int) -> float:
    """Rounded to three significant digits, down for towards = -1, up for 1."""
    if value == 0.0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 2)
    count = value / step
    whole = math.floor(count + 1e-9) if towards < 0 else math.ceil(count - 1e-9)
    return float(f"{whole * step:.3g}")


def left_out(trial: Trial) -> list[Finding]:
    """One finding per nozzle type and limit on the settings that are not cut."""
    found, settings = [], crossed(trial)
    for nozzle in trial.types:
        forbidden: dict[Limit, list[Setting]] = {}
        for setting in settings:
            limit = broken(trial, nozzle, setting)
            if limit is not None:
                forbidden.setdefault(limit, []).append(setting)
        for limit, own in forbidden.items():
            named = dict.fromkeys(setting_facts(trial, {name: each[name] for name in limit.named}) for each in own)
            facts: dict[str, Fact] = {"count": len(own), "of": len(settings), "settings": tuple(named)}
            found.append(Finding(PlanKind.SETTINGS_LEFT_OUT, About(nozzle=nozzle), facts | limit_facts(limit)))
    return found


def setting_facts(trial: Trial, setting: Mapping[str, Level]) -> tuple[tuple[str, Amount | str], ...]:
    """A setting as facts of a finding: factor and level, a number with its unit."""
    return tuple(
        (name, value if isinstance(value, str) else Amount(float(value), trial.factors[name].unit))
        for name, value in setting.items()
    )


def limit_facts(limit: Limit) -> dict[str, Fact]:
    """A limit as facts of a finding; see `trials.words.plan.limit_words`."""
    return {
        "limit_nozzle": limit.nozzle,
        "limit_factors": limit.named,
        "limit_weights": limit.weights,
        "at_most": limit.at_most,
        "at_least": limit.at_least,
        "product_at_most": limit.product_at_most,
        "sum_at_most": limit.sum_at_most,
    }


def setting_formula(trial: Trial, setting: Mapping[str, Level]) -> str:
    """A setting in signs, for error messages: `pressure 0.7 bar, standoff 1 mm`."""
    parts = []
    for name, value in setting.items():
        level = value if isinstance(value, str) else f"{value:g}"
        parts.append(f"{name} {level} {trial.factors[name].unit}".strip())
    return ", ".join(parts)


def coded(trial: Trial, setting: Mapping[str, Level]) -> dict[str, float]:
    """Settings from -1 (lowest level) to 1 (highest); text levels 0 where equal to today's, else 1."""
    return {name: _code(trial.factors[name], value, trial.today_settings[name]) for name, value in setting.items()}


def _code(factor: Factor, value: Level, today: Level) -> float:
    if isinstance(value, str):
        return float(value != today)
    low, high = min(factor.numbers), max(factor.numbers)
    return 0.0 if high == low else (2.0 * float(value) - low - high) / (high - low)


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
