"""Lives of nozzles and lenses: Weibull regression with censoring, ratios of types."""

from trials.infer.life.causes import CauseLife, CauseStudy, Incidence, cumulative_incidence, study_causes
from trials.infer.life.detectable import detectable_ratio
from trials.infer.life.kinds import LifeKind
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
from trials.infer.life.study import LifeAt, LifeStudy, TypeLife, study_lives

__all__ = [
    "CauseLife",
    "CauseStudy",
    "Incidence",
    "LifeAt",
    "LifeFit",
    "LifeKind",
    "LifeRatio",
    "LifeStudy",
    "ShapeCheck",
    "SurvivalTable",
    "TypeLife",
    "bound_without_failures",
    "check_shape",
    "cumulative_incidence",
    "detectable_ratio",
    "fit_life",
    "life_ratio",
    "study_causes",
    "study_lives",
    "survival_table",
]
