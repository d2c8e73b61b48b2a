"""What a plan can show, costs and cannot tell apart, judged before cutting."""

from typing import TYPE_CHECKING

from trials.late import fetched_late

if TYPE_CHECKING:
    from trials.plan.assess.assessment import Assessment, Detectable, assess
    from trials.plan.assess.effort import Effort
    from trials.plan.assess.questions import Asks, Question, RestsOn, Subject

__all__ = fetched_late(
    __name__,
    {
        "assessment": "Assessment Detectable assess",
        "effort": "Effort",
        "questions": "Asks Question RestsOn Subject",
    },
)
