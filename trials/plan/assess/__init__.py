"""What a plan can show, costs and cannot tell apart, said before cutting."""

from trials.plan.assess.assessment import Assessment, Detectable, assess, expected_spreads

__all__ = ["Assessment", "Detectable", "assess", "expected_spreads"]
