"""How many athletes, how sure, who spars whom, and when: before the first drop of blood.

In: a protocol, the plan's smallest effects, assumptions in bpm, mmol/L and points. Out: power, precision, sizes,
simulated studies, a pairing and a timetable. Knows nothing of files. Standardised sizes stay inside functions.
"""

from .answer import VERDICTS, DesignAnswer, PowerCurves, answer_design, power_curves
from .assurance import Assurance, assure_design
from .attenuation import (
    FitnessSignal,
    fitness_signal,
    slope_factor,
)
from .correlation import (
    correlation_interval,
    correlation_power,
    correlation_precision,
    correlation_sample_size,
    smallest_detectable_r,
)
from .design import Assumptions, Design, OutcomeAssumption, assumptions_for, published_ranges, round_profile
from .generate import StudyBatch, generate_studies
from .looks import (
    AfterLooks,
    Looks,
    error_spent,
    estimate_after_looks,
    normal_levels,
    plan_looks,
    stage_probabilities,
)
from .paired import (
    equivalence_power,
    plateau_power,
)
from .pairing import Pairing, pair_athletes
from .replication import ReplicationSizes, detectability_power, replication_sizes, shrunk_correlation
from .rounds import (
    CovariancePower,
    compare_covariances,
    effect_f_of,
    round_covariance,
    rounds_power,
    simulate_rounds_power,
)
from .simulate import SimulatedGrid, SimulatedStudies, simulate_grid, simulate_studies
from .timetable import Sampling, Timetable, make_timetable, sampling_of

__all__ = [
    "VERDICTS",
    "AfterLooks",
    "Assumptions",
    "Assurance",
    "CovariancePower",
    "Design",
    "DesignAnswer",
    "FitnessSignal",
    "Looks",
    "OutcomeAssumption",
    "Pairing",
    "PowerCurves",
    "ReplicationSizes",
    "Sampling",
    "SimulatedGrid",
    "SimulatedStudies",
    "StudyBatch",
    "Timetable",
    "answer_design",
    "assumptions_for",
    "assure_design",
    "compare_covariances",
    "correlation_interval",
    "correlation_power",
    "correlation_precision",
    "correlation_sample_size",
    "detectability_power",
    "effect_f_of",
    "equivalence_power",
    "error_spent",
    "estimate_after_looks",
    "fitness_signal",
    "generate_studies",
    "make_timetable",
    "normal_levels",
    "pair_athletes",
    "plan_looks",
    "plateau_power",
    "power_curves",
    "published_ranges",
    "replication_sizes",
    "round_covariance",
    "round_profile",
    "rounds_power",
    "sampling_of",
    "shrunk_correlation",
    "simulate_grid",
    "simulate_rounds_power",
    "simulate_studies",
    "slope_factor",
    "smallest_detectable_r",
    "stage_probabilities",
]
