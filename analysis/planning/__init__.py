"""How many athletes, how sure, who spars whom, and when: before the first drop of blood.

In: a protocol, the plan's smallest effects, assumptions in bpm, mmol/L and points. Out: power, precision, sizes,
simulated studies, a pairing and a timetable. Knows nothing of files. Standardised sizes stay inside functions.
"""

from .answer import VERDICTS, DesignAnswer, PowerCurves, answer_design, power_curves
from .assurance import Assurance, assure_design
from .correlation import (
    correlation_power,
    correlation_precision,
    correlation_sample_size,
    smallest_detectable_r,
)
from .design import Assumptions, Design, OutcomeAssumption, published_ranges, round_profile
from .looks import AfterLooks, Looks, estimate_after_looks, plan_looks
from .paired import equivalence_power
from .pairing import Pairing, pair_athletes
from .replication import ReplicationSizes, replication_sizes
from .rounds import CovariancePower, compare_covariances, rounds_power
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
    "Looks",
    "OutcomeAssumption",
    "Pairing",
    "PowerCurves",
    "ReplicationSizes",
    "Sampling",
    "SimulatedGrid",
    "SimulatedStudies",
    "Timetable",
    "answer_design",
    "assure_design",
    "compare_covariances",
    "correlation_power",
    "correlation_precision",
    "correlation_sample_size",
    "equivalence_power",
    "estimate_after_looks",
    "make_timetable",
    "pair_athletes",
    "plan_looks",
    "power_curves",
    "published_ranges",
    "replication_sizes",
    "round_profile",
    "rounds_power",
    "sampling_of",
    "simulate_grid",
    "simulate_studies",
    "smallest_detectable_r",
]
