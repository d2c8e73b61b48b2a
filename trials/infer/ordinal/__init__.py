"""Ordered and yes/no outcomes: the cumulative-logit model."""

from trials.infer.ordinal.regression import OrdinalFit, Penalised, ProportionalOdds, fit_ordinal, proportional_odds

__all__ = ["OrdinalFit", "Penalised", "ProportionalOdds", "fit_ordinal", "proportional_odds"]
