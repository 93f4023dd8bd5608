"""Does it change from round to round, and where does it stop changing?

In: one row per athlete and round (`athlete`, `round_no` and an outcome), the smallest effect that matters.
Out: `RoundsAnswer` and its parts: the mixed-model comparison, the classical analyses beside it, equivalence and
plateau, sensitivity, reliability. Knows nothing of files; a difference is always later minus earlier.
"""

from .anova import anova_rounds
from .answer import answer_rounds
from .bounds import bound_limits
from .compare import compare_rounds, paired_effects
from .opponents import describe_opponents
from .plateau import equivalence, find_plateau
from .ranks import rank_rounds
from .reliability import reliability
from .tipping import tipping_point

__all__ = [
    "anova_rounds", "answer_rounds", "bound_limits", "compare_rounds", "describe_opponents", "equivalence",
    "find_plateau", "paired_effects", "rank_rounds", "reliability", "tipping_point",
]  # fmt: skip
