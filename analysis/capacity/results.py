"""The results of this room: what a correlation, a slope, a correction and the whole answer carry."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from ..basics import Result, left_out_table

NEGLIGIBLE = "negligible"
SUPPORTED = "supported"
OPPOSITE = "opposite"
IMPRECISE = "too imprecise"
VERDICTS = (NEGLIGIBLE, SUPPORTED, OPPOSITE, IMPRECISE)
"""The verdicts, in the order in which the rule asks for them."""


@dataclass(frozen=True)
class Correlation(Result):
    """A correlation with its interval and test; not-a-number where it is not defined (see `warnings`).

    Parameters
    ----------
    estimate, ci_low, ci_high : float
        The correlation and its two-sided interval.
    statistic, df, p : float
        t, its degrees of freedom and the p value of `alternative`.
    n_athletes, n_observations : int
        Athletes, and rows of both values behind them.
    method, interval, alternative : str
        In words: the coefficient, how the interval was made, the alternative of `p`.
    level : float
        Of the interval.
    slope : float
        Of y on x: of the athletes' values, or the common slope within athletes.
    adjusted_for : tuple of str
        Covariates of a partial correlation.
    left_out : DataFrame
        Rows without both values.
    warnings : tuple of str
        What a reader must know.
    """

    estimate: float
    ci_low: float
    ci_high: float
    statistic: float
    df: float
    p: float
    n_athletes: int
    n_observations: int
    method: str
    interval: str
    level: float = 0.95
    alternative: str = "two-sided"
    slope: float = float("nan")
    adjusted_for: tuple[str, ...] = ()
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class CapacityFit(Result):
    """The slope of an outcome on capacity, between athletes.

    Parameters
    ----------
    estimate, standard_error, ci_low, ci_high : float
        Change of the outcome per one unit of capacity, with its two-sided interval.
    ci90_low, ci90_high : float
        The interval of the equivalence question (level 1 - 2 alpha).
    statistic, df, p : float
        t, Kenward-Roger degrees of freedom, two-sided p.
    outcome, capacity, unit : str
        Columns, and the unit of capacity.
    adjusted_for : tuple of str
        Covariates in the model, in addition to the round.
    residual_df : int
        Athletes minus intercept, slope and covariates.
    coefficients, variances : DataFrame
        Every fixed effect; variance between athletes and within an athlete.
    n_athletes, n_observations, level, method, left_out, warnings
        As everywhere.
    """

    estimate: float
    standard_error: float
    ci_low: float
    ci_high: float
    ci90_low: float
    ci90_high: float
    statistic: float
    df: float
    p: float
    outcome: str
    capacity: str
    unit: str
    adjusted_for: tuple[str, ...]
    residual_df: int
    coefficients: pd.DataFrame
    variances: pd.DataFrame
    n_athletes: int
    n_observations: int
    method: str
    level: float = 0.95
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()

    @property
    def slope(self) -> float:
        """The slope per unit of capacity (the same as `estimate`)."""
        return self.estimate


@dataclass(frozen=True)
class ErrorCorrection(Result):
    """What the error of a fitness test did to a correlation and a slope. Estimates, never tests.

    Parameters
    ----------
    estimate, ci_low, ci_high : float
        The corrected correlation, not cut at 1; the interval is infinite where reliability cannot be told from 0.
    observed : float
        The correlation as measured.
    kind : str
        "retest" or "prediction" (physiology of the test's error), or "none".
    error_sd, capacity_sd : float
        In the unit of capacity.
    reliability, reliability_low, reliability_high : float
        Retest error: 1 - sd²/SD². Prediction error: SD²/(SD² + SEE²). With its interval.
    outcome_reliability : float
        Of the outcome, 1 where not given.
    attenuation : float
        observed / corrected: the share of the correlation that the errors leave.
    slope_factor : float
        Multiply the slope on the measured capacity by this; 1 for prediction error.
    slope_factor_low, slope_factor_high : float
        Its interval.
    bounded : bool
        False where reliability cannot be told from 0.
    n_athletes : int
    method : str
    level : float
    warnings : tuple of str
    """

    estimate: float
    ci_low: float
    ci_high: float
    observed: float
    kind: str
    error_sd: float
    capacity_sd: float
    reliability: float
    reliability_low: float
    reliability_high: float
    outcome_reliability: float
    attenuation: float
    slope_factor: float
    slope_factor_low: float
    slope_factor_high: float
    bounded: bool
    n_athletes: int
    method: str
    level: float = 0.95
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Levels(Result):
    """One pair of outcomes at three levels: between athletes, within athletes, and all rows pooled (the mistake).

    Parameters
    ----------
    x, y : str
        Outcomes.
    between, within : Correlation
        Of the athletes' means; within athletes with one common slope.
    between_weighted : float
        The correlation of the means, each weighted by its number of rows.
    pooled_mistake : float
        The correlation of all rows as if each were an athlete: shown to be recognised, never to be reported.
    rows, means : DataFrame
        athlete, x, y of every row, and of the athletes' means.
    n_athletes, n_observations : int
    warnings : tuple of str
    """

    x: str
    y: str
    between: Correlation
    within: Correlation
    between_weighted: float
    pooled_mistake: float
    rows: pd.DataFrame
    means: pd.DataFrame
    n_athletes: int
    n_observations: int
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Specifications(Result):
    """The planned analysis and every other reasonable one, in multiples of the smallest effect that matters.

    Parameters
    ----------
    table : DataFrame
        One line per analysis, in order of `multiple`: order, planned, outcome, scaling, covariates, rows, athletes,
        left_out_athlete, step, effect, multiple, multiple_low, multiple_high and the columns of estimates.
        `effect` is the difference between athletes who are `step` apart in capacity; `multiple` that difference in
        multiples of the outcome's smallest effect.
    n_specifications : int
        Analyses without those that leave one athlete out.
    share_same_sign, share_excluding_zero, share_opposite : float
        Of these: with the sign of the planned one; with an interval on that side of zero; on the other side.
    smallest, median, largest : float
        Of `multiple`.
    outcome : str
    contrast_step : float
    method : str
    warnings : tuple of str
    """

    table: pd.DataFrame
    n_specifications: int
    share_same_sign: float
    share_excluding_zero: float
    share_opposite: float
    smallest: float
    median: float
    largest: float
    outcome: str
    contrast_step: float
    method: str
    warnings: tuple[str, ...] = ()
