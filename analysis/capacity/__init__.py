"""Do fitter athletes respond less to sparring, and how sure are we? The unit is the athlete.

In: aerobic tests and athletes -> one capacity per athlete (`measure_capacity`); with the rows of rounds -> slopes,
correlations, corrections for test error, verdict (`answer_capacity`). Out: `CapacityAnswer` and its parts, or `Refused`
(falsy) with the reason and what to do. Knows nothing of files.
"""

from .activity import ActivityAnswer, fitness_and_activity
from .adjustment import Adjustment, choose_covariates, covariate_words, default_step, known_scalings, to_unit
from .answer import answer_capacity, bayes_factor
from .beside import fitness_by_bound
from .chart import specifications
from .correlation import correlate, correlate_within, correlation_levels, partial_correlation
from .drift import drift_and_recovery
from .error import correct_for_error, correct_slope, reliability_interval, unrestrict_range
from .fit import fit_capacity
from .guards import (
    CircularTestError,
    check_residual_df,
    hr_max_source,
    set_aside_circular,
    shared_test_warning,
)
from .leverage import influence, robust_correlation
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
    judge,
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
    "check_residual_df",
    "choose_covariates",
    "choose_tests",
    "correct_for_error",
    "correct_slope",
    "correlate",
    "correlate_within",
    "correlation_levels",
    "covariate_words",
    "default_step",
    "describe_tests",
    "drift_and_recovery",
    "fit_capacity",
    "fitness_and_activity",
    "fitness_by_bound",
    "hr_max_source",
    "influence",
    "judge",
    "known_scalings",
    "measure_capacity",
    "partial_correlation",
    "reliability_interval",
    "robust_correlation",
    "set_aside_circular",
    "shared_test_warning",
    "specifications",
    "to_unit",
    "unrestrict_range",
]
