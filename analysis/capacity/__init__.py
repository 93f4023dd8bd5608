"""Do fitter athletes respond less to sparring, and how sure are we? The unit is the athlete.

In: aerobic tests and athletes -> one capacity per athlete (`measure_capacity`); with the rows of rounds -> slopes,
correlations, corrections for test error, verdict (`answer_capacity`). Out: `CapacityAnswer` and its parts, or `Refused`
(falsy) with the reason and what to do. Knows nothing of files.
"""

from .answer import answer_capacity
from .beside import influence
from .correlation import correlate, correlate_within, partial_correlation
from .error import correct_for_error
from .fit import fit_capacity
from .measure import measure_capacity
from .related import fitness_and_activity

__all__ = [
    "answer_capacity", "correct_for_error", "correlate", "correlate_within", "fit_capacity", "fitness_and_activity",
    "influence", "measure_capacity", "partial_correlation",
]  # fmt: skip
