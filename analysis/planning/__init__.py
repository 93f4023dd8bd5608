"""How many athletes, how sure, who spars whom, and when: before the first drop of blood.

In: a protocol, the plan's smallest effects, assumptions in bpm, mmol/L and points. Out: power, precision, sizes,
simulated studies, a pairing and a timetable. Knows nothing of files. Standardised sizes stay inside functions.

Interface (being filled in)
---------------------------
correlation_power, correlation_sample_size, smallest_detectable_r, correlation_precision (half width),
    correlation_interval, correlation_size_for_width, slope_power, attenuated_correlation, restricted_correlation,
    slope_factor, fitness_signal(truth, rounds=, outcome=, adjust=)
paired_power, paired_sample_size, equivalence_power, equivalence_sample_size, plateau_power
rounds_power, rounds_sample_size, effect_f_of, steps_power, round_covariance, simulate_rounds_power
Assumptions (heart_rate, lactate, exertion: OutcomeAssumption(mean, rise, sd_between, sd_within, slope); shape,
    capacity_mean, capacity_sd, test_error, test_error_kind ...), assumptions_for(protocol), published_ranges(), round_profile
Design(n, rounds, alpha, heart_rate_smallest ..., capacity_step, adjust)
replication_sizes(r, n, *, n_new=None, power=0.8, fraction=0.5) -> ReplicationSizes
answer_design(protocol, plan=None, assumptions=None, n=12, *, published=None) -> DesignAnswer(n, rounds, questions table:
    question, part, about, outcome, unit, smallest_effect, assumed_effect, power_smallest, power_assumed, detectable,
    half_width, n_for_80, verdict ("answerable" / "only if large" / "not answerable"), words; design, assumptions, warnings)
simulate_studies(design, truth, *, n_studies, seed=0) -> SimulatedStudies(power table ...); simulate_grid(designs, truths, *, ...)
pair_athletes(athletes, rounds, *, avoid=(), guests=0, unavailable=None, ...) -> Pairing(schedule, opponents, sat_out, ...)
make_timetable(protocol, *, athletes, sampling=None, start="common"|"staggered", ...) -> Timetable(slots, options ...)
"""

from .answer import VERDICTS, DesignAnswer, answer_design
from .assumptions import Assumptions, OutcomeAssumption, assumptions_for, published_ranges, round_profile
from .attenuation import (
    FitnessSignal,
    attenuated_correlation,
    fitness_signal,
    restricted_correlation,
    slope_factor,
)
from .correlation import (
    correlation_interval,
    correlation_power,
    correlation_precision,
    correlation_sample_size,
    correlation_size_for_width,
    slope_power,
    smallest_detectable_r,
)
from .design import Design
from .paired import (
    equivalence_power,
    equivalence_sample_size,
    paired_power,
    paired_sample_size,
    plateau_power,
)
from .pairing import Pairing, pair_athletes
from .replication import ReplicationSizes, detectability_power, replication_sizes, shrunk_correlation
from .rounds import (
    effect_f_of,
    round_covariance,
    rounds_power,
    rounds_sample_size,
    simulate_rounds_power,
    steps_power,
)
from .timetable import Sampling, Timetable, make_timetable, sampling_of

__all__ = [
    "VERDICTS",
    "Assumptions",
    "Design",
    "DesignAnswer",
    "FitnessSignal",
    "OutcomeAssumption",
    "Pairing",
    "ReplicationSizes",
    "Sampling",
    "Timetable",
    "answer_design",
    "assumptions_for",
    "attenuated_correlation",
    "correlation_interval",
    "correlation_power",
    "correlation_precision",
    "correlation_sample_size",
    "correlation_size_for_width",
    "detectability_power",
    "effect_f_of",
    "equivalence_power",
    "equivalence_sample_size",
    "fitness_signal",
    "make_timetable",
    "pair_athletes",
    "paired_power",
    "paired_sample_size",
    "plateau_power",
    "published_ranges",
    "replication_sizes",
    "restricted_correlation",
    "round_covariance",
    "round_profile",
    "rounds_power",
    "rounds_sample_size",
    "sampling_of",
    "shrunk_correlation",
    "simulate_rounds_power",
    "slope_factor",
    "slope_power",
    "smallest_detectable_r",
    "steps_power",
]
