"""Is our answer consistent with the published one, and what could ours have detected?

In: our estimates and published ones (r with n; round means with their spread). Out: `ReplicationAnswer` and its parts:
prediction interval, difference, detectability, combination, evidence. Knows nothing of files.
"""

from .answer import answer_replication
from .combine import combine
from .evidence import bayes_factor, consistency, detectability, prediction_interval
from .pool import pool_studies

__all__ = [
    "answer_replication",
    "bayes_factor",
    "combine",
    "consistency",
    "detectability",
    "pool_studies",
    "prediction_interval",
]
