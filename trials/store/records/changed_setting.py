"""`changed_setting` of a cut record: `column=value`, several separated by `;`."""

from __future__ import annotations

import difflib
import math

from trials.errors import InputError
from trials.store.language import language_named, printed_columns
from trials.trial import Level, Trial
from trials.units import match_header, suffix


def nearest(word: str, known: list[str] | tuple[str, ...], alike: float = 0.6) -> str:
    """`Did you mean X?` for the nearest known word, at least `alike` (0 to 1) to it, or an empty text."""
    lower = {str(name).lower(): str(name) for name in known}
    found = difflib.get_close_matches(str(word).lower(), list(lower), n=1, cutoff=alike)
    return f"Did you mean {lower[found[0]]!r}?" if found else ""


def parse_changed_setting(text: str, trial: Trial, file: str = "", row: int | None = None) -> dict[str, Level]:
    """Settings that differed from the plan: column (kept unit) -> value as cut.

    Columns are those of the factors (another unit is converted) or keys of `[held]`, as kept or as a language of the
    papers prints them; the decimal sign may be that of the trial's papers.

    Raises
    ------
    InputError
        If a part is not `column=value`, the column is unknown or named twice, or a number is missing.
    """
    try:
        return _parsed(text, trial)
    except InputError as error:
        raise error.placed(file, row) from None


def _parsed(text: str, trial: Trial) -> dict[str, Level]:
    found: dict[str, Level] = {}
    for part in (piece.strip() for piece in str(text).split(";")):
        if not part:
            continue
        name, sign, value = (piece.strip() for piece in part.partition("="))
        if not sign or not value:
            raise _problem("not of the form column=value", part, trial)
        column, level = _setting(name, value, trial)
        if column in found:
            raise _problem("a setting is named twice", part, trial)
        found[column] = level
    return found


def written(settings: dict[str, Level]) -> str:
    """The settings as they are stored: `pressure_bar=0.6; standoff_mm=1.0`."""
    return "; ".join(f"{column}={value}" for column, value in settings.items())


def _setting(name: str, value: str, trial: Trial) -> tuple[str, Level]:
    factors = {trial.factor_column(key): factor for key, factor in trial.factors.items()}
    printed = printed_columns(factors)
    matched = match_header(name, {head: suffix(factors[column].unit) for head, column in printed.items()})
    if matched is None:
        held = printed_columns(trial.held).get(name)
        if held is None:
            raise _problem("unknown setting", name, trial)
        return held, value if isinstance(trial.held[held], (str, bool)) else _number(value, name, trial)
    column, scale = printed[matched[0]], matched[1]
    if factors[column].is_text:
        return column, value
    number = _number(value, name, trial)
    return column, number if scale == 1.0 else float(f"{number * scale:.12g}")


def _number(value: str, name: str, trial: Trial) -> float:
    try:
        number = float(value.replace(language_named(trial.trial.language).decimal, "."))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise _problem(f"{name} needs a number", value, trial)
    return number


def _problem(problem: str, found: str, trial: Trial) -> InputError:
    columns = [trial.factor_column(name) for name in trial.factors] + list(trial.held)
    return InputError(
        problem,
        column="changed_setting",
        found=found,
        allowed=f"column=value; column=value with {', '.join(columns)}",
        do="Correct the cell.",
    )
