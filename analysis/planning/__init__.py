"""How many athletes, how sure, who spars whom, and when: before the first drop of blood.

In: a protocol, the plan's smallest effects, assumptions in bpm, mmol/L and points. Out: power, precision, sizes,
simulated studies, a pairing and a timetable. Knows nothing of files. Standardised sizes stay inside functions.
"""

from .answer import VERDICTS, DesignAnswer, answer_design, power_curves
from .correlation import correlation_power, correlation_precision, correlation_sample_size, replication_sizes
from .design import Assumptions, published_ranges
from .looks import estimate_after_looks, plan_looks
from .pairing import Pairing, pair_athletes
from .questions import assure_design
from .rounds import compare_covariances, equivalence_power, paired_power, rounds_power
from .simulate import simulate_grid, simulate_studies
from .timetable import Timetable, make_timetable

__all__ = [
    "VERDICTS", "Assumptions", "DesignAnswer", "Pairing", "Timetable", "answer_design", "assure_design",
    "compare_covariances", "correlation_power", "correlation_precision", "correlation_sample_size", "equivalence_power",
    "estimate_after_looks", "make_timetable", "pair_athletes", "paired_power", "plan_looks", "power_curves",
    "published_ranges", "replication_sizes", "rounds_power", "simulate_grid", "simulate_studies",
]  # fmt: skip
