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
    """A correlation with its interval and test; not-a-number where it is not defined (see `warnings`)."""

    estimate: float  # The correlation and its two-sided interval
    ci_low: float
    ci_high: float
    statistic: float  # t, its degrees of freedom and the p value of `alternative`
    df: float
    p: float
    n_athletes: int  # Athletes, and rows of both values behind them
    n_observations: int
    method: str  # In words: the coefficient, how the interval was made, the alternative of `p`
    interval: str
    level: float = 0.95  # Of the interval
    alternative: str = "two-sided"
    slope: float = float("nan")  # Of y on x: of the athletes' values, or the common slope within athletes
    adjusted_for: tuple[str, ...] = ()  # Covariates of a partial correlation
    left_out: pd.DataFrame = field(default_factory=left_out_table)  # Rows without both values
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class CapacityFit(Result):
    """The slope of an outcome on capacity, between athletes."""

    estimate: float  # Change of the outcome per one unit of capacity, with its two-sided interval
    standard_error: float
    ci_low: float
    ci_high: float
    ci90_low: float  # The interval of the equivalence question (level 1 - 2 alpha)
    ci90_high: float
    statistic: float  # t, Kenward-Roger degrees of freedom, two-sided p
    df: float
    p: float
    outcome: str  # Columns, and the unit of capacity
    capacity: str
    unit: str
    adjusted_for: tuple[str, ...]  # Covariates in the model, in addition to the round
    residual_df: int  # Athletes minus intercept, slope and covariates
    coefficients: pd.DataFrame  # Every fixed effect; variance between athletes and within an athlete
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
    """What the error of a fitness test did to a correlation and a slope. Estimates, never tests."""

    # The corrected correlation, not cut at 1; the interval is infinite where reliability cannot be separated from 0
    estimate: float
    ci_low: float
    ci_high: float
    observed: float  # The correlation as measured
    kind: str  # "retest" or "prediction" (physiology of the test's error), or "none"
    error_sd: float  # In the unit of capacity
    capacity_sd: float
    reliability: float  # Retest error: 1 - sd²/SD². Prediction error: SD²/(SD² + SEE²). With its interval.
    reliability_low: float
    reliability_high: float
    outcome_reliability: float  # Of the outcome, 1 where not given
    attenuation: float  # observed / corrected: the share of the correlation that the errors leave
    slope_factor: float  # Multiply the slope on the measured capacity by this; 1 for prediction error
    slope_factor_low: float  # Its interval
    slope_factor_high: float
    bounded: bool  # False where reliability cannot be separated from 0
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
    """One pair of outcomes at three levels: between athletes, within athletes, and all rows pooled (the mistake)."""

    x: str  # Outcomes
    y: str
    between: Correlation  # Of the athletes' means; within athletes with one common slope
    within: Correlation
    between_weighted: float  # The correlation of the means, each weighted by its number of rows
    # The correlation of all rows as if each were an athlete: shown to be recognised, never to be reported
    pooled_mistake: float
    rows: pd.DataFrame  # athlete, x, y of every row, and of the athletes' means
    means: pd.DataFrame
    n_athletes: int
    n_observations: int
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Specifications(Result):
    """The planned analysis and every other reasonable one, in multiples of the smallest effect that matters."""

    # One line per analysis, in order of `multiple`: order, planned, outcome, scaling, covariates, rows, athletes,
    # left_out_athlete, step, effect, multiple, multiple_low, multiple_high and the columns of estimates. `effect` is the
    # difference between athletes who are `step` apart in capacity; `multiple` that difference in multiples of the outcome's
    # smallest effect.
    table: pd.DataFrame
    n_specifications: int  # Analyses without those that leave one athlete out
    # Of these: with the sign of the planned one; with an interval on that side of zero; on the other side
    share_same_sign: float
    share_excluding_zero: float
    share_opposite: float
    smallest: float  # Of `multiple`
    median: float
    largest: float
    outcome: str
    contrast_step: float
    method: str
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Refused(NotYet):
    """An analysis that would not answer the question, with the reason and what to do instead (falsy)."""

    why: str = ""  # Why it is refused
    guards: pd.DataFrame = field(default_factory=pd.DataFrame)  # guard, status, n_athletes, text
    # Athletes and rows set aside before refusing
    left_out: pd.DataFrame = field(default_factory=left_out_table)

    def __str__(self) -> str:
        return f"Not analysed: {self.question}. {self.why} What to do: {self.needs}."


@dataclass(frozen=True)
class CapacityAnswer(Result):
    """Do fitter athletes respond less? Everything about one outcome."""

    # The outcome's column; the unit of capacity; the expected direction ("lower", "higher" or "differs")
    outcome: str
    capacity_unit: str
    direction: str
    capacity_step: float  # The effect is the change of the outcome for `capacity_step` more capacity
    alpha: float
    effect: float  # The planned effect with its interval (1 - alpha)
    effect_ci_low: float
    effect_ci_high: float
    # The verdict compares athletes who are `contrast_step` apart in capacity (a fit and a less fit athlete of one club) with
    # the smallest effect that matters
    contrast_step: float
    smallest_effect: float
    # The difference between two such athletes, with its interval (1 - alpha) and that of the equivalence question (1 - 2
    # alpha)
    contrast: float
    contrast_ci_low: float
    contrast_ci_high: float
    contrast_ci90_low: float
    contrast_ci90_high: float
    # The difference between athletes who truly are `contrast_step` apart, where the fitness test has a retest error that
    # shrinks the slope: its error and what is not known of it are in the intervals. Infinite where the value cannot be
    # corrected; missing where the error does not shrink the slope.
    true_contrast: float
    true_contrast_ci_low: float
    true_contrast_ci_high: float
    true_contrast_ci90_low: float
    true_contrast_ci90_high: float
    verdict: str  # "negligible", "supported", "opposite" or "too imprecise" (see `judge`)
    planned: CapacityFit  # The slope as planned, and with no covariate
    unadjusted: CapacityFit
    adjusted_for: tuple[str, ...]  # Covariates of `planned`
    adjustment_reason: str  # Why these: the plan, or the default rule and what it met
    departs: str  # Why the slope is not adjusted as asked for; "" where it is
    # Heart rate in bpm and in percent of the measured maximum as one finding: outcome, planned, adjusted_for, contrast with
    # its intervals, smallest_effect, verdict, n_athletes; empty where only one of them is there
    beside: pd.DataFrame
    # Estimate columns by `analysis` ("planned", "unadjusted", the second opinion, "within sex", "within group") and `level`
    slopes: pd.DataFrame
    # Estimate columns by `analysis`: Pearson with Fisher and BCa intervals, permutation p, Spearman, a robust one, partial;
    # `bayes_factor` with its `prior`
    correlations: pd.DataFrame
    correlations_agree: bool  # Same sign in all, and all intervals on the same side of (or across) zero
    # Within athletes: heart rate with lactate and exertion; estimate columns by x, y and `level` (within, between)
    within: pd.DataFrame
    # Behind `within`, for the teaching picture: the other outcome -> between, within and pooled
    levels: dict[str, Levels]
    # Each athlete's own slope over the rounds, drift in a round, and recovery in the rests, regressed on capacity
    drift: pd.DataFrame
    # Leave-one-out: the correlation of the adjusted points; planned_effect (for `capacity_step`) with its interval and the
    # verdict without that athlete; Cook's distance and leverage
    influence: pd.DataFrame
    # What the test's error does to r and slope; range restriction; corrected estimates with intervals
    errors: pd.DataFrame
    # The correction behind the first row of `errors`; None where the test gives no error
    correction: ErrorCorrection | None
    specifications: Specifications | None  # All reasonable analyses at once
    # Capacity with the activity rating, and the slope at equal activity; empty without ratings
    activity: pd.DataFrame
    delay: pd.DataFrame  # Lactate only: capacity with the sampling delay, and the slope at equal delay
    # Lactate off the analyser's scale: the planned slope (per one unit) with these readings at the scale's end and elsewhere;
    # empty without any. The contrast's intervals and the verdict hold for all lines.
    off_scale: pd.DataFrame
    # One line per athlete: athlete, capacity, capacity_error, outcome (mean over rounds, balanced for missed rounds),
    # outcome_adjusted, plain_mean, n_rounds, sex, group, age_years
    points: pd.DataFrame
    # The planned line with its interval band, for the figure: capacity, estimate, ci_low, ci_high
    line: pd.DataFrame
    guards: pd.DataFrame  # guard, status ("passed", "warned", "applied"), n_athletes, text
    cautions: tuple[str, ...]  # What limits the reading, always shown with the verdict
    n_athletes: int
    n_observations: int
    method: str
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()


DIRECTIONS = ("lower", "higher", "differs")


def judge(
    ci_low: float, ci_high: float, ci90_low: float, ci90_high: float, *, smallest_effect: float,
    direction: str = "lower",
) -> str:  # fmt: skip
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
