"""What an extension of a trial brings, said before it is cut."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from trials.findings import About, Finding
from trials.plan.kinds import PlanKind
from trials.responses import Scale
from trials.trial import Trial, expected_spreads


def gain_of_repeats(trial: Trial, before: pd.DataFrame, added: pd.DataFrame) -> list[Finding]:
    """How much sharper the mean of each type gets; `before` and `added` are coupons tables of a plan."""
    measured = (n for n in trial.primaries if trial.quantity(n).scale is not Scale.GRADE)
    name = next((n for n in measured if expected_spreads(trial, n)), None)
    if name is None:
        return [Finding(PlanKind.GAIN_NO_SPREAD)]
    spreads, readings = expected_spreads(trial, name), trial.responses[name].readings
    falls, share = [], 0.0
    for nozzle in [n for n in trial.types if n in set(added["nozzle"])]:
        old, new = (frame[frame["nozzle"] == nozzle] for frame in (before, pd.concat([before, added])))
        then, _ = mean_variance(old, spreads, readings)
        now, piece = mean_variance(new, spreads, readings)
        if now == 0.0:
            return [Finding(PlanKind.GAIN_SPREADS_ZERO)]
        falls.append((nozzle, 1.0 - (now / then) ** 0.5))
        share = max(share, piece / now)
    return [Finding(PlanKind.GAIN_MEANS, About(response=name), {"falls": tuple(falls), "specimens_share": share})]


def mean_variance(coupons: pd.DataFrame, spreads: Mapping[str, float], readings: int) -> tuple[float, float]:
    """Variance of the mean of one type over its coupons, and the part of it that specimens bring.

    One specimen's own difference is left out: the statement is then about that piece. Equal numbers are assumed.
    """
    specimens = coupons["specimen"].nunique()
    piece = spreads.get("specimen", 0.0) ** 2 / specimens if specimens > 1 else 0.0
    mount = spreads.get("mount", 0.0) ** 2 / coupons["mount"].nunique()
    coupon = spreads.get("coupon", 0.0) ** 2 + spreads.get("reading", 0.0) ** 2 / readings
    return piece + mount + coupon / len(coupons), piece


def gain_of_axial_points(trial: Trial, before: pd.DataFrame, added: pd.DataFrame) -> list[Finding]:
    """Which curves can be estimated that could not before, and which get sharper."""
    new: list[str] = []
    known: list[str] = []
    for name, asked in trial.factors.items():
        column = trial.factor_column(name)
        if asked.is_text or pd.concat([before, added])[column].nunique() < 3:
            continue
        (new if before[column].nunique() < 3 else known).append(name)
    kinds = ((PlanKind.GAIN_CURVATURE_NEW, new), (PlanKind.GAIN_CURVATURE_SHARPER, known))
    return [Finding(kind, facts={"factors": tuple(names)}) for kind, names in kinds if names]


def gain_of_confirmation(added: pd.DataFrame) -> list[Finding]:
    """What is known at best if every coupon meets: the exact binomial bound of Clopper and Pearson (1934) at 95 %."""
    fewest = int(added.groupby("nozzle").size().min())
    return [Finding(PlanKind.GAIN_CONFIRMED, facts={"coupons": fewest, "chance": 0.05 ** (1.0 / fewest)})]
