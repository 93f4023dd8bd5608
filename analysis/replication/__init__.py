"""Is our answer consistent with the published one, and what could ours have detected?

In: our estimates and published ones (r with n; round means with their spread). Out: `ReplicationAnswer` and its parts:
prediction interval, difference, detectability, combination, evidence. Knows nothing of files.
"""

from .answer import ReplicationAnswer, answer_replication, compare_protocols
from .combine import Combined, combine, combine_correlations
from .compare import CorrelationComparison, compare_correlation
from .correlations import (
    Consistency,
    Detectability,
    Interval,
    ReplicationBayes,
    bayes_factor,
    consistency,
    detectability,
    prediction_interval,
    prediction_interval_from_limits,
    smallest_detectable,
)
from .findings import Findings, r_from_p, read_findings, sd_from_spread
from .profiles import compare_profiles, compare_steps

__all__ = [
    "Combined",
    "Consistency",
    "CorrelationComparison",
    "Detectability",
    "Findings",
    "Interval",
    "ReplicationAnswer",
    "ReplicationBayes",
    "answer_replication",
    "bayes_factor",
    "combine",
    "combine_correlations",
    "compare_correlation",
    "compare_profiles",
    "compare_protocols",
    "compare_steps",
    "consistency",
    "detectability",
    "prediction_interval",
    "prediction_interval_from_limits",
    "r_from_p",
    "read_findings",
    "sd_from_spread",
    "smallest_detectable",
]
