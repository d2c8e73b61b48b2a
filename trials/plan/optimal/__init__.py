"""Trial plans that spend a budget of coupons where the model needs them."""

from trials.plan.optimal.rows import Chosen, Efficiency, choose_rows, efficiencies

__all__ = ["Chosen", "Efficiency", "choose_rows", "efficiencies"]
