"""What an extension of a trial brings, said before it is cut."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from trials.plan.assess.assessment import expected_spreads
from trials.plan.power import percent
from trials.trial import Trial


def gain_words(trial: Trial, kind: str, before: pd.DataFrame, added: pd.DataFrame) -> list[str]:
    """The gain of adding coupons, in sentences; `before` and `added` are coupons tables of a plan."""
    if kind == "repeat mounts":
        return _sharper_means(trial, before, added)
    if kind == "axial":
        return _curvature(trial, before, added)
    return _confirmed(added)


def mean_variance(coupons: pd.DataFrame, spreads: Mapping[str, float], readings: int) -> tuple[float, float]:
    """Variance of the mean of one type over its coupons, and the part of it that specimens bring.

    One specimen's own difference is left out: the statement is then about that piece. Equal numbers are assumed.
    """
    specimens = coupons["specimen"].nunique()
    piece = spreads.get("specimen", 0.0) ** 2 / specimens if specimens > 1 else 0.0
    mount = spreads.get("mount", 0.0) ** 2 / coupons["mount"].nunique()
    coupon = spreads.get("coupon", 0.0) ** 2 + spreads.get("reading", 0.0) ** 2 / readings
    return piece + mount + coupon / len(coupons), piece


def _sharper_means(trial: Trial, before: pd.DataFrame, added: pd.DataFrame) -> list[str]:
    name = next((n for n in trial.primaries if trial.quantity(n).scale != "grade" and expected_spreads(trial, n)), None)
    if name is None:
        return ["The gain cannot be stated: no expected spread is given for a primary response."]
    spreads, readings = expected_spreads(trial, name), trial.responses[name].readings
    falls, share = [], 0.0
    for nozzle in [n for n in trial.types if n in set(added["nozzle"])]:
        old, new = (frame[frame["nozzle"] == nozzle] for frame in (before, pd.concat([before, added])))
        then, _ = mean_variance(old, spreads, readings)
        now, piece = mean_variance(new, spreads, readings)
        if now == 0.0:
            return ["The gain cannot be stated: the expected spreads are all zero."]
        falls.append(f"{percent(1.0 - (now / then) ** 0.5)} ({nozzle})")
        share = max(share, piece / now)
    said = f"Gain by the expected spreads: the standard error of a type's mean {name} falls by {_listed(falls)}"
    rest = f"; {percent(share)} of the variance left"
    return [f"{said}{rest} lies between specimens, which only further specimens reduce." if share else f"{said}."]


def _curvature(trial: Trial, before: pd.DataFrame, added: pd.DataFrame) -> list[str]:
    new, known = [], []
    for name, asked in trial.factors.items():
        column = trial.factor_column(name)
        if asked.is_text or pd.concat([before, added])[column].nunique() < 3:
            continue
        (new if before[column].nunique() < 3 else known).append(name)
    said = []
    if new:
        said.append(f"Gain: curvature over {_listed(new)}, which two levels could not show, can be estimated.")
    if known:
        said.append(
            f"Gain: curvature over {_listed(known)} could be estimated before and is estimated more sharply now."
        )
    return said


def _confirmed(added: pd.DataFrame) -> list[str]:
    fewest = int(added.groupby("nozzle").size().min())
    bound = 0.05 ** (1.0 / fewest)  # exact binomial lower bound where all n succeed, Clopper and Pearson (1934)
    return [
        f"Gain: if all {fewest} coupons of a type meet the requirement, its chance to do so is above {percent(bound)} "
        "(95 % confidence) at best, with coupons taken as independent; coupons of few specimens tell less."
    ]


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
