"""What a plan can show, costs and cannot tell apart, judged before cutting."""

from trials.plan.assess.assessment import Assessment, Detectable, assess
from trials.plan.assess.effort import Effort
from trials.plan.assess.questions import Asks, Question, RestsOn, Subject

__all__ = ["Asks", "Assessment", "Detectable", "Effort", "Question", "RestsOn", "Subject", "assess"]
