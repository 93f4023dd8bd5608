"""Is our answer consistent with the published one, and what could ours have detected?

In: our estimates and published ones (r with n; round means with their spread). Out: `ReplicationAnswer` and its parts:
prediction interval, difference, detectability, combination, evidence. Knows nothing of files.
"""

from .answer import ReplicationAnswer, answer_replication
from .combine import Combined, combine
from .correlations import Consistency, Interval, consistency, prediction_interval
from .evidence import Detectability, ReplicationBayes, bayes_factor, detectability
from .findings import Findings, read_findings
from .pool import PooledAnswer
from .pool_write import pool_studies

__all__ = [
    "Combined",
    "Consistency",
    "Detectability",
    "Findings",
    "Interval",
    "PooledAnswer",
    "ReplicationAnswer",
    "ReplicationBayes",
    "answer_replication",
    "bayes_factor",
    "combine",
    "consistency",
    "detectability",
    "pool_studies",
    "prediction_interval",
    "read_findings",
]
