"""Does it change from round to round, and where does it stop changing?

In: one row per athlete and round (`athlete`, `round_no` and an outcome), the smallest effect that matters.
Out: `RoundsAnswer` and its parts: the mixed-model comparison, the classical analyses beside it, equivalence and
plateau, sensitivity, reliability. Knows nothing of files; a difference is always later minus earlier.
"""

from .answer import answer_rounds
from .reliability import reliability

__all__ = [
    "answer_rounds",
    "reliability",
]
