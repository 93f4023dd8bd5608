"""Does adding training raise capacity and lower sparring heart rate? Allocation, comparison, what one athlete's change says.

In: baselines and follow-ups with a phase and an occasion, groups that chance made, the training log. Out: `TrainingAnswer`, or
`BeforeAfter` where nobody went without. Knows nothing of files.

Planning
    ``ancova_power(*, n_per_group, effect, sd_between, typical_error, alpha=0.05)``, ``plan_training(...)``,
    ``simulate_training(...)``.
Allocation
    ``allocate(baselines, *, strata, public_number, plan_sha256)``, ``allocate_late(...)``, ``add_late_joiners(...)``.
Analysis
    ``compare_groups(table, *, outcome, baseline, group, reference)``, ``randomisation_test(...)``, ``individual_response(...)``,
    ``constrained_baseline(...)``, ``effect_from_summaries(...)``, ``before_after(...)``, ``analyse_outcome(...)``,
    ``answer_training(...)``.
"""

from .adherence import Adherence, Harms, describe_adherence, describe_harms
from .allocation import Allocation, add_late_joiners, allocate, allocate_late
from .answer import TrainingAnswer, TrainingOutcome, answer_training
from .before_after import BeforeAfter, before_after
from .compare import GroupComparison, SummaryEffect, compare_groups, effect_from_summaries
from .individual import IndividualResponse, individual_response
from .occasions import capacity_by_occasion, outcome_by_occasion
from .power import TrainingPlan, ancova_power, plan_training
from .randomise import RandomisationTest, randomisation_test
from .simulate import SimulatedTraining, simulate_training

__all__ = [
    "Adherence",
    "Allocation",
    "BeforeAfter",
    "GroupComparison",
    "Harms",
    "IndividualResponse",
    "RandomisationTest",
    "SimulatedTraining",
    "SummaryEffect",
    "TrainingAnswer",
    "TrainingOutcome",
    "TrainingPlan",
    "add_late_joiners",
    "allocate",
    "allocate_late",
    "ancova_power",
    "answer_training",
    "before_after",
    "capacity_by_occasion",
    "compare_groups",
    "describe_adherence",
    "describe_harms",
    "effect_from_summaries",
    "individual_response",
    "outcome_by_occasion",
    "plan_training",
    "randomisation_test",
    "simulate_training",
]
