"""Is our answer consistent with the published one, and what could ours have detected?

In: our estimates and published ones (r with n; round means with their spread). Out: `ReplicationAnswer` and its parts:
prediction interval, difference, detectability, combination, evidence. Knows nothing of files.
"""

from .answer import ReplicationAnswer, answer_replication
from .combine import (
    Combined,
    CorrelationComparison,
    combine,
    combine_correlations,
    combine_estimates,
    compare_correlation,
)
from .correlations import (
    Consistency,
    Interval,
    consistency,
    prediction_interval,
    prediction_interval_from_limits,
)
from .evidence import Detectability, ReplicationBayes, bayes_factor, detectability, smallest_detectable
from .findings import Findings, r_from_p, read_findings, sd_from_spread
from .pool import JoinedStudies, PooledAnswer, answer_pooled, join_studies
from .pool_write import pool_studies
from .profiles import compare_profiles, compare_protocols, compare_steps

__all__ = [
    "Combined",
    "Consistency",
    "CorrelationComparison",
    "Detectability",
    "Findings",
    "Interval",
    "JoinedStudies",
    "PooledAnswer",
    "ReplicationAnswer",
    "ReplicationBayes",
    "answer_pooled",
    "answer_replication",
    "bayes_factor",
    "combine",
    "combine_correlations",
    "combine_estimates",
    "compare_correlation",
    "compare_profiles",
    "compare_protocols",
    "compare_steps",
    "consistency",
    "detectability",
    "join_studies",
    "pool_studies",
    "prediction_interval",
    "prediction_interval_from_limits",
    "r_from_p",
    "read_findings",
    "sd_from_spread",
    "smallest_detectable",
]
