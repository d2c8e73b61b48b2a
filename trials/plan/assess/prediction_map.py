"""How well a plan predicts over two of its settings, on a grid fine enough to draw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trials.plan.assess.frame import build_frame
from trials.plan.assess.questions import NOZZLE
from trials.plan.choose import Plan
from trials.plan.settings import broken
from trials.trial import Level, Trial, expected_spreads

STEPS = 25
"""Grid points along each setting."""


@dataclass(frozen=True)
class PredictionMap:
    """Standard error of the typical edge of one type, on the model's scale.

    x, y (STEPS,): settings of `across` and `up`; errors (len(y), len(x)), NaN where a limit forbids the setting;
    held: the other factors, at today's setting or the nearest that is planned for.
    """

    response: str
    nozzle: str
    across: str
    up: str
    x: np.ndarray
    y: np.ndarray
    errors: np.ndarray
    held: dict[str, Level]


def prediction_map(trial: Trial, plan: Plan, response: str, nozzle: str) -> PredictionMap | None:
    """Prediction error over the first two number factors; None with fewer of them or without expected spreads.

    Raises
    ------
    TrialError
        If the plan's tables and the trial do not belong together.
    """
    names = [name for name, factor in trial.factors.items() if len(factor.numbers) > 1][:2]
    spreads = expected_spreads(trial, response)
    frame = build_frame(trial, plan)
    if len(names) < 2 or not spreads or not any(axis.name == names[0] for axis in frame.model.axes):
        return None
    across, up = names
    x, y = (np.linspace(min(trial.factors[n].numbers), max(trial.factors[n].numbers), STEPS) for n in names)
    held = {n: _inside(trial, n, level) for n, level in trial.today_settings.items() if n not in names}
    points = [{**held, across: float(a), up: float(c)} for c in y for a in x]
    columns = {n: np.array([point[n] for point in points], dtype=object) for n in trial.factors}
    values = {
        axis.name: np.full(len(points), nozzle, dtype=object)
        if axis.name == NOZZLE
        else columns[axis.name].astype(object if axis.is_text else float)
        for axis in frame.model.axes
    }
    rows = frame.model.matrix(values)
    covariance = frame.covariance(spreads, trial.responses[response].readings, sheets_out=False)
    errors = np.sqrt(np.einsum("ij,jk,ik->i", rows, covariance, rows))
    forbidden = np.array([broken(trial, nozzle, point) is not None for point in points])
    errors[forbidden] = np.nan
    return PredictionMap(response, nozzle, across, up, x, y, errors.reshape(STEPS, STEPS), held)


def _inside(trial: Trial, name: str, level: Level) -> Level:
    """Today's level, brought between the planned ones."""
    numbers = trial.factors[name].numbers
    return level if isinstance(level, str) else float(np.clip(level, min(numbers), max(numbers)))
