"""How repeatable is it? Between evenings: reliability; between the rounds of one evening: consistency."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ..basics import Result


@dataclass(frozen=True)
class Reliability(Result):
    """Intraclass correlations and typical error of repeated measurements.

    Parameters
    ----------
    kind : str
        "reliability between evenings" or "within-evening consistency".
    icc : DataFrame
        type ("ICC(2,1)", "ICC(3,1)", "ICC(2,k)", "ICC(3,k)"), estimate, ci_low, ci_high, statistic, df_num, df_den, p, meaning.
    typical_error, typical_error_ci_low, typical_error_ci_high : float
        Within-athlete SD of one measurement.
    cv_percent : float
        Typical error as a percentage, from logarithms; missing where a value is not above 0.
    smallest_detectable_change : float
        1.96 times the square root of 2 times the typical error.
    change_in_mean : DataFrame
        trial, minus_trial, estimate, ci_low, ci_high, sd_of_differences, typical_error (with interval), cv_percent, change_percent,
        smallest_detectable_change, limit_low, limit_high (limits of agreement), pearson_r.
    n_athletes, n_trials : int
    method : str
    left_out : DataFrame
    warnings : tuple of str
    """

    kind: str
    icc: pd.DataFrame
    typical_error: float
    typical_error_ci_low: float
    typical_error_ci_high: float
    cv_percent: float
    smallest_detectable_change: float
    change_in_mean: pd.DataFrame
    n_athletes: int
    n_trials: int
    method: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def reliability(data: pd.DataFrame, outcome: str, *, trial: str | None = None) -> Reliability:
    """Estimate how repeatable an outcome is between evenings, or between the rounds of one evening.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no`, the outcome, and `session` where there are several evenings.
    outcome : str
        A numeric column.
    trial : str, optional
        The column that numbers the repeats. Default: `session` where it has two or more values, else `round_no`.

    Returns
    -------
    Reliability
    """
    raise NotImplementedError
