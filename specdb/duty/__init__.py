"""What is required of an element, and where each requirement comes from.

*Stated* by the duty, or taken *from the original* element's own ratings where the duty is silent.
"""

from __future__ import annotations

from specdb.duty.question import Question
from specdb.duty.requirement import (
    ASSUMPTION_SENTENCES,
    CUSTOMARY,
    NO_ASSUMPTIONS,
    SAME_FLOW,
    Assumptions,
    Requirement,
)

__all__ = ["ASSUMPTION_SENTENCES", "CUSTOMARY", "NO_ASSUMPTIONS", "SAME_FLOW", "Assumptions", "Question", "Requirement"]
