"""Trial plans that spend a budget of coupons where the model needs them."""

from trials.plan.optimal.rows import Chosen, Efficiency, assess, choose_rows, prediction_variance, relative_efficiency

__all__ = ["Chosen", "Efficiency", "assess", "choose_rows", "prediction_variance", "relative_efficiency"]
