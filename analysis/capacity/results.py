"""The results of this room: what a correlation, a slope, a correction and the whole answer carry."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import pandas as pd

from ..basics import KitError, NotYet, Result, check_choice, left_out_table

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
        The corrected correlation, not cut at 1; the interval is infinite where reliability cannot be separated from 0.
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
        False where reliability cannot be separated from 0.
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

    @property
    def sensible(self) -> bool:
        """True where the corrected correlation is one: no value beyond 1, reliability surely above LEAST_RELIABILITY."""
        ends = (self.estimate, self.ci_low, self.ci_high)
        return self.bounded and self.reliability_low >= LEAST_RELIABILITY and all(abs(v) <= 1 for v in ends)


LEAST_RELIABILITY = 0.2
"""Where the reliability of the fitness test may be lower, a value cannot be corrected for its error (our proposal)."""


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


@dataclass(frozen=True)
class Refused(NotYet):
    """An analysis that would not answer the question, with the reason and what to do instead (falsy).

    Parameters
    ----------
    question : str
        The question, in plain words.
    needs : str
        What would allow an answer.
    why : str
        Why it is refused.
    guards : DataFrame
        guard, status, n_athletes, text.
    left_out : DataFrame
        Athletes and rows set aside before refusing.
    """

    why: str = ""
    guards: pd.DataFrame = field(default_factory=pd.DataFrame)
    left_out: pd.DataFrame = field(default_factory=left_out_table)

    def __str__(self) -> str:
        return f"Not analysed: {self.question}. {self.why} What to do: {self.needs}."


@dataclass(frozen=True)
class CapacityAnswer(Result):
    """Do fitter athletes respond less? Everything about one outcome.

    Parameters
    ----------
    outcome, capacity_unit, direction : str
        The outcome's column; the unit of capacity; the expected direction ("lower", "higher" or "differs").
    capacity_step, alpha : float
        The effect is the change of the outcome for `capacity_step` more capacity.
    effect, effect_ci_low, effect_ci_high : float
        The planned effect with its interval (1 - alpha).
    contrast_step, smallest_effect : float
        The verdict compares athletes who are `contrast_step` apart in capacity (a fit and a less fit athlete of one club)
        with the smallest effect that matters.
    contrast, contrast_ci_low, contrast_ci_high, contrast_ci90_low, contrast_ci90_high : float
        The difference between two such athletes, with its interval (1 - alpha) and that of the equivalence question
        (1 - 2 alpha).
    true_contrast, true_contrast_ci_low, true_contrast_ci_high, true_contrast_ci90_low, true_contrast_ci90_high : float
        The difference between athletes who truly are `contrast_step` apart, where the fitness test has a retest error that
        shrinks the slope: its error and what is not known of it are in the intervals. Infinite where the value cannot be
        corrected; missing where the error does not shrink the slope.
    verdict : str
        "negligible", "supported", "opposite" or "too imprecise" (see `judge`).
    planned, unadjusted : CapacityFit
        The slope as planned, and with no covariate.
    adjusted_for : tuple of str
        Covariates of `planned`.
    adjustment_reason : str
        Why these: the plan, or the default rule and what it met.
    departs : str
        Why the slope is not adjusted as asked for; "" where it is.
    beside : DataFrame
        Heart rate in bpm and in percent of the measured maximum as one finding: outcome, planned, adjusted_for, contrast with
        its intervals, smallest_effect, verdict, n_athletes; empty where only one of them is there.
    slopes : DataFrame
        Estimate columns by `analysis` ("planned", "unadjusted", the second opinion, "within sex", "within group") and `level`.
    correlations : DataFrame
        Estimate columns by `analysis`: Pearson with Fisher and BCa intervals, permutation p, Spearman, a robust one,
        partial; `bayes_factor` with its `prior`.
    correlations_agree : bool
        Same sign in all, and all intervals on the same side of (or across) zero.
    within : DataFrame
        Within athletes: heart rate with lactate and exertion; estimate columns by x, y and `level` (within, between).
    levels : dict of str to Levels
        Behind `within`, for the teaching picture: the other outcome -> between, within and pooled.
    drift : DataFrame
        Each athlete's own slope over the rounds, drift in a round, and recovery in the rests, regressed on capacity.
    influence : DataFrame
        Leave-one-out: the correlation of the adjusted points; planned_effect (for `capacity_step`) with its interval and
        the verdict without that athlete; Cook's distance and leverage.
    errors : DataFrame
        What the test's error does to r and slope; range restriction; corrected estimates with intervals.
    correction : ErrorCorrection or None
        The correction behind the first row of `errors`; None where the test gives no error.
    specifications : Specifications or None
        All reasonable analyses at once.
    activity : DataFrame
        Capacity with the activity rating, and the slope at equal activity; empty without ratings.
    delay : DataFrame
        Lactate only: capacity with the sampling delay, and the slope at equal delay.
    off_scale : DataFrame
        Lactate off the analyser's scale: the planned slope (per one unit) with these readings at the scale's end and
        elsewhere; empty without any. The contrast's intervals and the verdict hold for all lines.
    points : DataFrame
        One line per athlete: athlete, capacity, capacity_error, outcome (mean over rounds, balanced for missed rounds),
        outcome_adjusted, plain_mean, n_rounds, sex, group, age_years.
    line : DataFrame
        The planned line with its interval band, for the figure: capacity, estimate, ci_low, ci_high.
    guards : DataFrame
        guard, status ("passed", "warned", "applied"), n_athletes, text.
    cautions : tuple of str
        What limits the reading, always shown with the verdict.
    """

    outcome: str
    capacity_unit: str
    direction: str
    capacity_step: float
    alpha: float
    effect: float
    effect_ci_low: float
    effect_ci_high: float
    contrast_step: float
    smallest_effect: float
    contrast: float
    contrast_ci_low: float
    contrast_ci_high: float
    contrast_ci90_low: float
    contrast_ci90_high: float
    true_contrast: float
    true_contrast_ci_low: float
    true_contrast_ci_high: float
    true_contrast_ci90_low: float
    true_contrast_ci90_high: float
    verdict: str
    planned: CapacityFit
    unadjusted: CapacityFit
    adjusted_for: tuple[str, ...]
    adjustment_reason: str
    departs: str
    beside: pd.DataFrame
    slopes: pd.DataFrame
    correlations: pd.DataFrame
    correlations_agree: bool
    within: pd.DataFrame
    levels: dict[str, Levels]
    drift: pd.DataFrame
    influence: pd.DataFrame
    errors: pd.DataFrame
    correction: ErrorCorrection | None
    specifications: Specifications | None
    activity: pd.DataFrame
    delay: pd.DataFrame
    off_scale: pd.DataFrame
    points: pd.DataFrame
    line: pd.DataFrame
    guards: pd.DataFrame
    cautions: tuple[str, ...]
    n_athletes: int
    n_observations: int
    method: str
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()


DIRECTIONS = ("lower", "higher", "differs")


def judge(
    ci_low: float,
    ci_high: float,
    ci90_low: float,
    ci90_high: float,
    *,
    smallest_effect: float,
    direction: str = "lower",
) -> str:
    """Judge an effect by its two intervals."""
    # The first question is an equivalence test (two one-sided tests at alpha); it comes first, so that an
    # effect too small to matter is called negligible even where it differs from 0.
    # Schuirmann DJ (1987) J Pharmacokinet Biopharm 15:657-680. Lakens D (2017) Soc Psychol Personal Sci
    # 8:355-362.
    check_choice(direction, DIRECTIONS, name="direction")
    if not smallest_effect > 0 or math.isinf(smallest_effect):
        raise KitError(
            f"smallest_effect is {smallest_effect!r}, but must be a number above 0 in the unit of the outcome."
        )
    if any(math.isnan(v) for v in (ci_low, ci_high, ci90_low, ci90_high)):
        return IMPRECISE
    if -smallest_effect < ci90_low and ci90_high < smallest_effect:
        return NEGLIGIBLE
    return judge_difference(ci_low, ci_high, direction=direction)


def judge_difference(ci_low: float, ci_high: float, *, direction: str) -> str:
    """Judge an effect by its interval alone: on the expected side of 0, on the other, or on both."""
    below, above = ci_high < 0, ci_low > 0
    if not (below or above):
        return IMPRECISE
    if direction == "differs" or below == (direction == "lower"):
        return SUPPORTED
    return OPPOSITE
