"""Do fitter athletes respond less to sparring, and how sure are we? The unit is the athlete.

In: aerobic tests and athletes -> one capacity per athlete (`measure_capacity`); with the rows of rounds -> slopes,
correlations, corrections for test error, verdict (`answer_capacity`). Out: `CapacityAnswer` and its parts, or `Refused`
(falsy) with the reason and what to do. Knows nothing of files.
"""

from .activity import ActivityAnswer, fitness_and_activity
from .adjustment import Adjustment, choose_covariates
from .answer import answer_capacity, bayes_factor
from .beside import fitness_by_bound
from .correlation import correlate, correlate_within, correlation_levels, partial_correlation
from .error import correct_for_error
from .fit import fit_capacity
from .guards import CircularTestError, hr_max_source
from .leverage import influence
from .measure import ChosenTests, choose_tests, describe_tests, measure_capacity
from .results import (
    IMPRECISE,
    NEGLIGIBLE,
    OPPOSITE,
    SUPPORTED,
    VERDICTS,
    CapacityAnswer,
    CapacityFit,
    Correlation,
    ErrorCorrection,
    Levels,
    Refused,
    Specifications,
)

__all__ = [
    "IMPRECISE",
    "NEGLIGIBLE",
    "OPPOSITE",
    "SUPPORTED",
    "VERDICTS",
    "ActivityAnswer",
    "Adjustment",
    "CapacityAnswer",
    "CapacityFit",
    "ChosenTests",
    "CircularTestError",
    "Correlation",
    "ErrorCorrection",
    "Levels",
    "Refused",
    "Specifications",
    "answer_capacity",
    "bayes_factor",
    "choose_covariates",
    "choose_tests",
    "correct_for_error",
    "correlate",
    "correlate_within",
    "correlation_levels",
    "describe_tests",
    "fit_capacity",
    "fitness_and_activity",
    "fitness_by_bound",
    "hr_max_source",
    "influence",
    "measure_capacity",
    "partial_correlation",
]
