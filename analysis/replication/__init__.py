"""Is our answer consistent with the published one, and what could ours have detected?

In: our estimates and published ones (r with n; round means with their spread). Out: `ReplicationAnswer` and its parts:
prediction interval, difference, detectability, combination, evidence. Knows nothing of files.
"""

from .combine import Combined, combine, combine_correlations
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

__all__ = [
    "Combined",
    "Consistency",
    "Detectability",
    "Interval",
    "ReplicationBayes",
    "bayes_factor",
    "combine",
    "combine_correlations",
    "consistency",
    "detectability",
    "prediction_interval",
    "prediction_interval_from_limits",
    "smallest_detectable",
]
