"""Do fitter athletes respond less to sparring, and how sure are we? The unit is the athlete.

In: aerobic tests and athletes -> one capacity per athlete; with the rows of rounds -> slopes, correlations, corrections,
verdict. Out: `CapacityAnswer` and its parts. Knows nothing of files.

Interface (being filled in)
---------------------------
measure_capacity(aerobic_tests, athletes, *, sessions=None, primary_session=None, unit="mL/kg/min", exponent=None,
    within_days=42, attendance=None, gas_exchange=None) -> table: athlete, capacity, unit, standard_error, error_kind, test,
    uses_heart_rate, warnings, and date, days_from_session, mass_kg, vo2_l_min, maximal, hr_max_bpm, n_tests;
    tests not used are in `choose_tests(...)`.left_out
correlate(data, x, y, *, method="pearson", interval=None, level=0.95, alternative="two-sided", seed=0) -> Correlation
correlate_within(data, x, y, *, level=0.95, alternative="two-sided") -> Correlation
partial_correlation(data, x, y, *, covariates, level=0.95, alternative="two-sided") -> Correlation
correlation_levels(data, x, y) -> Levels (between, within, and the pooled mistake, for teaching)
fit_capacity(data, capacity, outcome, *, covariates=(), level=0.95) -> CapacityFit; `capacity` a column, or a table of measure_capacity
drift_and_recovery(data, capacity, outcome, *, level=0.95) -> table of estimates
influence(data, x, y) -> leave-one-out table
correct_for_error(r, n, *, retest_sd=None, prediction_see=None, capacity_sd, outcome_reliability=None, level=0.95, seed=0)
    -> ErrorCorrection; unrestrict_range(r, *, sd, reference_sd) -> float
specifications(rows, capacity, athletes, outcome, *, ...) -> Specifications
check_circular, check_hr_max_sources, check_shared_test, check_residual_df (guards)
judge(estimate limits ...) -> verdict; VERDICTS in the order of the rule
answer_capacity(rows, capacity, athletes, outcome, *, smallest_effect, capacity_step=5.0, direction="lower", alpha=0.05,
    covariates=None, seed=0, chart=True, alternative_rows=None) -> CapacityAnswer, or Refused / NotYet (falsy, they say why and what to do)
"""

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
    "CapacityAnswer",
    "CapacityFit",
    "Correlation",
    "ErrorCorrection",
    "Levels",
    "Refused",
    "Specifications",
]
