"""Lives of nozzles and lenses: Weibull regression with censoring, ratios of types."""

from trials.infer.life.ratio import (
    LifeRatio,
    ShapeCheck,
    SurvivalTable,
    bound_without_failures,
    check_shape,
    life_ratio,
    survival_table,
)
from trials.infer.life.regression import LifeFit, fit_life

__all__ = [
    "LifeFit",
    "LifeRatio",
    "ShapeCheck",
    "SurvivalTable",
    "bound_without_failures",
    "check_shape",
    "fit_life",
    "life_ratio",
    "survival_table",
]
