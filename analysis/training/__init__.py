"""Does adding training raise capacity and lower sparring heart rate? Allocation, comparison, what one athlete's change says.

In: baselines and follow-ups with a phase and an occasion, groups that chance made, the training log. Out: a `TrainingAnswer`,
with a `BeforeAfter` where nobody went without. Knows nothing of files.
"""

from .allocation import allocate, allocate_late
from .before_after import individual_response
from .compare import compare_groups, effect_from_summaries
from .power import ancova_power, plan_training, simulate_training
from .randomise import randomisation_test

__all__ = [
    "allocate",
    "allocate_late",
    "ancova_power",
    "compare_groups",
    "effect_from_summaries",
    "individual_response",
    "plan_training",
    "randomisation_test",
    "simulate_training",
]
